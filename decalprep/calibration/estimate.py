"""One calibration page: readings to scale and skew errors with their uncertainty.

Model about the sheet's centre: printed = true + (scale_x x + skew y, scale_y y).
A baseline (dx, dy) then measures sqrt((dx (1 + scale_x) + skew dy)^2 + (dy (1 + scale_y))^2),
solved by Gauss-Newton steps of weighted least squares.
All values are relative to the user's rule: its own error is a common scale, kept apart
as ``u_rule`` and joined only where an absolute length is stated.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass, field, replace

import numpy as np

from decalprep.calibration.leastsquares import (
    Array,
    Fit,
    coverage_factor,
    rank_of,
    standardised,
    weighted_fit,
)
from decalprep.calibration.readings import PageReadings, Reading
from decalprep.calibration.rules import PLAIN, Hand, rule_uncertainty
from decalprep.calibration.suspicion import (
    check_typing,
    doubtful,
    name_misfits,
    refuse_dialog_scaling,
)
from decalprep.errors import ReadingsRefused
from decalprep.geometry import Affine
from decalprep.model import Baseline, Margins, Notice, TargetLayout

UNMEASURED = 0.004
"""Standard uncertainty of an error nobody measured: the spread of printers (assumed, no source)."""

LONG_RULE_MM = 250.0
"""What a rule is taken to be read over where no reading says: seen along a scan."""


@dataclass(frozen=True)
class Residual:
    """How far one reading lies from what the others make of it."""

    line: str
    residual_mm: float
    standardised: float


@dataclass(frozen=True)
class Estimate:
    """What one page says about a printer, as printed with the correction in force.

    ``covariance`` is of (scale_x, scale_y, skew) without the rule. ``freedom`` counts the degrees
    behind it. ``sigma_mm`` is the scatter of one reading, prior knowledge and residuals pooled.
    """

    scale_x: float
    scale_y: float
    skew: float
    covariance: tuple[tuple[float, float, float], ...]
    freedom: float
    sigma_mm: float
    u_rule: float
    method: str = "rule"
    residuals: tuple[Residual, ...] = ()
    offset_mm: tuple[float, float] | None = None
    margins: Margins | None = None
    notices: tuple[Notice, ...] = field(default=())

    @property
    def u(self) -> tuple[float, float, float]:
        """Standard uncertainties of scale_x, scale_y and skew, relative to the rule."""
        c = self.covariance
        return math.sqrt(c[0][0]), math.sqrt(c[1][1]), math.sqrt(c[2][2])

    @property
    def u_with_rule(self) -> tuple[float, float, float]:
        """The same with the rule's own scale; a common scale does not touch the skew."""
        ux, uy, us = self.u
        return math.hypot(ux, self.u_rule), math.hypot(uy, self.u_rule), us

    @property
    def intervals(self) -> tuple[tuple[float, float], ...]:
        """95 % intervals of scale_x, scale_y and skew, relative to the rule."""
        k = coverage_factor(self.freedom)
        values = (self.scale_x, self.scale_y, self.skew)
        return tuple((v - k * u, v + k * u) for v, u in zip(values, self.u, strict=True))

    @property
    def printed_from_true(self) -> Affine:
        """What came out against what was meant, correction in force included, about the centre."""
        return Affine(a=1 + self.scale_x, c=self.skew, d=1 + self.scale_y)


@dataclass(frozen=True)
class ShapeFinding:
    """What scans add: y/x ratio less one, and skew over the mean scale, with their covariance.

    ``size``, where a rule was scanned along: mean scale error and its standard uncertainty,
    relative to that rule.
    """

    ratio: float
    skew: float
    covariance: tuple[tuple[float, float], tuple[float, float]]
    freedom: float
    notices: tuple[Notice, ...] = ()
    source: str = "scan"
    size: tuple[float, float] | None = None


def with_rules(
    shape: ShapeFinding, rules: Sequence[tuple[float, float]], *, apart: float = 3.3
) -> ShapeFinding:
    """The finding with the size that rules scanned along give, weighed together.

    ``rules`` are (mean scale error, standard uncertainty) of each.

    Raises:
        ReadingsRefused: two of them contradict each other.
    """
    if not rules:
        return shape
    for i, (a, ua) in enumerate(rules):
        for b, ub in rules[:i]:
            if abs(a - b) > apart * math.hypot(ua, ub):
                raise ReadingsRefused(
                    f"the rules in the scans differ by {abs(a - b) * 250:.2f} mm over 250 mm",
                    do="use one rule, flat on the glass, and scan again",
                )
    weights = [1 / u**2 for _, u in rules]
    mean = sum(w * e for w, (e, _) in zip(weights, rules, strict=True)) / sum(weights)
    return replace(shape, size=(mean, 1 / math.sqrt(sum(weights))))


def estimate_printer(
    readings: PageReadings,
    layout: TargetLayout,
    *,
    shape: ShapeFinding | None = None,
    accept: frozenset[str] = frozenset(),
) -> Estimate:
    """Scale and skew errors (parts of one) of a printed page, relative to the user's rule.

    ``shape`` adds what two scans found; then one reading is enough, two check each other.
    ``accept`` overrides a refusal by its name: ``dialog-scaling`` or ``misfit``.
    Does not know of errors that bend lines (bow, feed ripple): they are part of the scatter.

    Raises:
        ReadingsRefused: too few readings, a slip of typing, or a page the dialog has scaled.
    """
    lines = {b.name: b for b in layout.baselines}
    check_typing(readings.lengths, lines)
    solved = _solve(readings.lengths, lines, readings.hand, shape)
    if "misfit" not in accept:
        name_misfits(
            solved.w, [r.line for r in readings.lengths], readings.lengths, solved.expected
        )
    doubts = doubtful(solved.w, readings.lengths, solved.expected)
    values = solved.values
    if "dialog-scaling" not in accept:
        refuse_dialog_scaling(values[0], values[1], layout)
    longest = max((lines[r.line].length_mm for r in readings.lengths), default=LONG_RULE_MM)
    residuals = tuple(
        Residual(r.line, float(e), float(w))
        for r, e, w in zip(readings.lengths, solved.residuals, solved.w, strict=True)
    )
    return Estimate(
        values[0],
        values[1],
        values[2],
        solved.covariance,
        solved.freedom,
        solved.sigma_mm,
        rule_uncertainty(readings.rule, longest),
        f"{shape.source} and rule" if shape else "rule",
        residuals,
        offset_of(readings),
        readings.margins,
        (*(shape.notices if shape else ()), *solved.notices, *doubts),
    )


@dataclass(frozen=True)
class _Solved:
    values: tuple[float, float, float]
    covariance: tuple[tuple[float, float, float], ...]
    freedom: float
    sigma_mm: float
    residuals: Array
    w: Array
    expected: Array
    notices: tuple[Notice, ...]


def _solve(
    lengths: Sequence[Reading],
    lines: dict[str, Baseline],
    hand: Hand,
    shape: ShapeFinding | None,
) -> _Solved:
    observed = np.array([r.length_mm for r in lengths])
    vectors = np.array([_vector(lines[r.line]) for r in lengths]).reshape(-1, 2)
    used = _determined(vectors, shape)
    values = np.zeros(3)
    sigmas = np.full(len(lengths), hand.sigma_mm)
    for _ in range(4):
        design, predicted = _linearised(vectors, values)
        fit = _fit_step(design, observed - predicted, sigmas, values, used, shape)
        values[used] += fit.values
    residuals = fit.residuals[: len(lengths)]
    free = fit.freedom
    own = float(np.sum((residuals / sigmas) ** 2))
    variance = (hand.worth + own) / (hand.worth + free)
    covariance = np.diag([UNMEASURED**2] * 3)
    # The scans' own covariance is known apart; only the hand's part grows with the residuals.
    covariance[np.ix_(used, used)] = fit.covariance * (variance if shape is None else 1.0)
    freedom = hand.worth + free if shape is None else min(hand.worth + free, shape.freedom)
    w = standardised(fit, np.concatenate([sigmas, np.ones(len(fit.residuals) - len(lengths))]))
    w = w[: len(lengths)]
    # What the others say of each reading: its deleted residual.
    deleted = residuals / np.maximum(1 - fit.leverages[: len(lengths)], 1e-6)
    rows = tuple((float(r[0]), float(r[1]), float(r[2])) for r in covariance)
    return _Solved(
        (float(values[0]), float(values[1]), float(values[2])),
        rows,
        freedom,
        hand.sigma_mm * math.sqrt(variance),
        residuals,
        w,
        observed - deleted,
        _unmeasured_notices(used),
    )


def _vector(baseline: Baseline) -> tuple[float, float]:
    return baseline.end[0] - baseline.start[0], baseline.end[1] - baseline.start[1]


def _linearised(vectors: Array, values: Array) -> tuple[Array, Array]:
    """Derivatives by (scale_x, scale_y, skew), and the lengths predicted, mm."""
    dx, dy = vectors[:, 0], vectors[:, 1]
    px = dx * (1 + values[0]) + dy * values[2]
    py = dy * (1 + values[1])
    length = np.hypot(px, py)
    return np.column_stack([px * dx, py * dy, px * dy]) / length[:, None], length


def _fit_step(
    design: Array,
    observed: Array,
    sigmas: Array,
    values: Array,
    used: list[int],
    shape: ShapeFinding | None,
) -> Fit:
    if shape is None:
        return weighted_fit(design[:, used], observed, sigmas)
    # More rows, whitened: ratio = scale_y - scale_x (to first order), skew, and the mean scale.
    white = np.linalg.inv(np.linalg.cholesky(np.array(shape.covariance)))
    ratio = (1 + values[1]) / (1 + values[0]) - 1
    rows = white @ np.array([[-1.0, 1.0, 0.0], [0.0, 0.0, 1.0]])
    mean = 1 + (values[0] + values[1]) / 2
    target = white @ np.array([shape.ratio - ratio, shape.skew - values[2] / mean])
    if shape.size is not None:
        error, u = shape.size
        rows = np.vstack([rows, np.array([0.5, 0.5, 0.0]) / u])
        target = np.append(target, (error - (mean - 1)) / u)
    return weighted_fit(
        np.vstack([design, rows]),
        np.concatenate([observed, target]),
        np.concatenate([sigmas, np.ones(len(target))]),
    )


def _determined(vectors: Array, shape: ShapeFinding | None) -> list[int]:
    """Which of (scale_x, scale_y, skew) the readings determine."""
    if shape is not None:
        if len(vectors) == 0 and shape.size is None:
            raise ReadingsRefused(
                "scans show the shape but not the size",
                do="measure one long line with a rule and enter it, better two",
            )
        return [0, 1, 2]
    design = _linearised(vectors, np.zeros(3))[0] if len(vectors) else np.zeros((1, 3))
    if rank_of(design) == 3:
        return [0, 1, 2]
    if rank_of(design[:, :2]) == 2:
        # One diagonal alone cannot be told from the scales; leave the skew unmeasured.
        return [0, 1]
    raise ReadingsRefused(
        "the readings do not give both directions",
        do="read at least one line across and one down; each diagonal twice for the skew",
    )


def plain_rule_u(layout: TargetLayout) -> tuple[float, float]:
    """Standard uncertainties (parts of one) of ratio and skew read with a plain rule, page by page.

    Each line once and the diagonals twice, read to the mark: what anything finer has to beat.
    """
    twice = [b for b in layout.baselines if b.name.startswith("diag")]
    vectors = np.array([_vector(b) for b in (*layout.baselines, *twice)])
    design, predicted = _linearised(vectors, np.zeros(3))
    c = weighted_fit(design, predicted, np.full(len(vectors), PLAIN.sigma_mm)).covariance
    return math.sqrt(c[0, 0] + c[1, 1] - 2 * c[0, 1]), math.sqrt(c[2, 2])


def _unmeasured_notices(used: list[int]) -> tuple[Notice, ...]:
    if 2 in used:
        return ()
    return (
        Notice(
            "skew-not-measured",
            "no diagonal was read: skew is taken as 0, give or take "
            f"{UNMEASURED * 200:.1f} mm over 200 mm",
        ),
    )


def offset_of(readings: PageReadings) -> tuple[float, float] | None:
    """Shift of the picture on the paper in mm, from paper edge to line 10 on opposite edges.

    With both edges of a pair the paper's own size drops out; with one it does not.
    """
    edges = dict(readings.edges_mm)
    if not edges:
        return None
    found = []
    for low, high in (("left", "right"), ("bottom", "top")):
        shifts = [edges[low] - 10.0] if low in edges else []
        shifts += [10.0 - edges[high]] if high in edges else []
        found.append(sum(shifts) / len(shifts) if shifts else 0.0)
    return found[0], found[1]
