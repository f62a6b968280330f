"""A real part against its model: caliper readings to scale and skew, with their uncertainty.

Best from hole to hole: near edge to near edge and far edge to far edge, whose mean is the distance
of the centres whatever the holes have shrunk. Outer edges are weaker: first layers spread and
corners swell by tenths of a millimetre. Frame: the decal's, mm, y up.
"""

import math
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from decalprep.calibration.estimate import UNMEASURED
from decalprep.calibration.leastsquares import (
    Array,
    coverage_factor,
    rank_of,
    standardised,
    weighted_fit,
)
from decalprep.calibration.suspicion import MISFIT_LIMIT
from decalprep.errors import ReadingsRefused, UsageProblem
from decalprep.model import Notice, PartRecord, Severity

HOLE_PAIR_MM = 0.05
"""Standard deviation of a centre distance from two caliper readings (from simulation)."""
OUTER_EDGE_MM = 0.25
"""The same of an outer size as a measure of the part's scale (from simulation)."""
LARGEST_ERROR = 0.03
"""Beyond 3 % a reading is a slip or the wrong pair of holes (common practice, no source)."""
SLANT = 0.02
"""A diagonal is more than a degree off the axes; fitted hole centres are off by micrometres."""
LEAST_SHARE = 1e-3
"""A direction that counts less than this beside the others is not measured at all."""
_WORTH = 8.0


@dataclass(frozen=True)
class PartReading:
    """One distance on the part: between the points ``a`` and ``b`` of the model, as measured."""

    label: str
    a: tuple[float, float]
    b: tuple[float, float]
    distance_mm: float
    sigma_mm: float = HOLE_PAIR_MM
    outer_edges: bool = False

    @property
    def model_mm(self) -> float:
        """The same distance on the model."""
        return math.dist(self.a, self.b)


@dataclass(frozen=True)
class PartEstimate:
    """Scale and skew errors of a part, parts of one, with covariance and what to tell."""

    scale_x: float
    scale_y: float
    skew: float
    covariance: tuple[tuple[float, float, float], ...]
    freedom: float
    sigma: float
    residuals: tuple[tuple[str, float], ...]
    notices: tuple[Notice, ...]

    @property
    def u(self) -> tuple[float, float, float]:
        """Standard uncertainties of scale_x, scale_y, skew."""
        c = self.covariance
        return math.sqrt(c[0][0]), math.sqrt(c[1][1]), math.sqrt(c[2][2])

    @property
    def intervals(self) -> tuple[tuple[float, float], ...]:
        """95 % intervals of scale_x, scale_y, skew."""
        k = coverage_factor(self.freedom)
        values = (self.scale_x, self.scale_y, self.skew)
        return tuple((v - k * u, v + k * u) for v, u in zip(values, self.u, strict=True))


def hole_pair(
    label: str, a: tuple[float, float], b: tuple[float, float], *, near_mm: float, far_mm: float
) -> PartReading:
    """The centre distance in mm of two holes from near-edge and far-edge readings.

    Raises:
        UsageProblem: near is not less than far.

    >>> hole_pair("h1-h2", (0, 0), (80, 0), near_mm=76.7, far_mm=83.1).distance_mm
    79.9
    """
    if not 0 < near_mm < far_mm:
        raise UsageProblem(
            f"{label}: near edges {near_mm:g} mm, far edges {far_mm:g} mm",
            do="near is over the gap between the holes and less than far, over both holes",
        )
    return PartReading(label, a, b, round((near_mm + far_mm) / 2, 9))


def estimate_part(readings: Sequence[PartReading], *, same_rule: bool = False) -> PartEstimate:
    """Scale and skew errors of a part (parts of one) from distances in two directions.

    Model: part = decal + (scale_x x + skew y, scale_y y). Skew needs distances along both
    diagonals and is taken as 0 otherwise. Does not see bends or twists.

    Raises:
        ReadingsRefused: one direction only, or a reading that cannot be right.
    """
    _refuse_gross(readings)
    vectors = np.array([(r.b[0] - r.a[0], r.b[1] - r.a[1]) for r in readings], dtype=float)
    sigmas = np.array([r.sigma_mm for r in readings])
    used = _determined(vectors)
    values = np.zeros(3)
    observed = np.array([r.distance_mm for r in readings])
    for _ in range(4):
        px = vectors[:, 0] * (1 + values[0]) + vectors[:, 1] * values[2]
        py = vectors[:, 1] * (1 + values[1])
        length = np.hypot(px, py)
        design = _slopes(vectors, px, py, length)
        fit = weighted_fit(design[:, used], observed - length, sigmas)
        values[used] += fit.values
    _name_misfit(readings, standardised(fit, sigmas), fit.residuals, fit.leverages)
    variance = (_WORTH + fit.chi_square) / (_WORTH + fit.freedom)
    covariance = np.diag([UNMEASURED**2] * 3)
    covariance[np.ix_(used, used)] = fit.covariance * variance
    rows = tuple((float(r[0]), float(r[1]), float(r[2])) for r in covariance)
    return PartEstimate(
        float(values[0]),
        float(values[1]),
        float(values[2]),
        rows,
        _WORTH + fit.freedom,
        math.sqrt(variance),
        tuple((r.label, float(e)) for r, e in zip(readings, fit.residuals, strict=True)),
        tuple(_notices(readings, used, same_rule)),
    )


def part_record(
    part: str,
    estimate: PartEstimate,
    readings: Sequence[PartReading],
    *,
    measured_on: str,
    same_rule: bool,
) -> PartRecord:
    """The part record with what was found and the readings behind it."""
    ux, uy, us = estimate.u
    return PartRecord(
        part,
        estimate.scale_x,
        estimate.scale_y,
        estimate.skew,
        ux,
        uy,
        us,
        measured_on,
        same_rule,
        tuple((r.label, r.model_mm, r.distance_mm) for r in readings),
    )


def _slopes(vectors: Array, px: Array, py: Array, length: Array) -> Array:
    dx, dy = vectors[:, 0], vectors[:, 1]
    return np.column_stack([px * dx, py * dy, px * dy]) / length[:, None]


def _determined(vectors: Array) -> list[int]:
    length = np.hypot(vectors[:, 0], vectors[:, 1])
    design = _slopes(vectors, vectors[:, 0], vectors[:, 1], length)
    lean = vectors[:, 0] * vectors[:, 1] / length**2
    both_ways = lean.max(initial=0.0) > SLANT and lean.min(initial=0.0) < -SLANT
    if both_ways and rank_of(design, least=LEAST_SHARE) == 3:
        return [0, 1, 2]
    if rank_of(design[:, :2], least=LEAST_SHARE) == 2:
        return [0, 1]
    raise ReadingsRefused(
        "the part was measured in one direction only",
        do="measure one pair of holes across and one pair up and down, as far apart as you can",
    )


def _refuse_gross(readings: Sequence[PartReading]) -> None:
    if not readings:
        raise ReadingsRefused("no readings of the part", do="measure two pairs of holes")
    for r in readings:
        if r.model_mm <= 0 or abs(r.distance_mm / r.model_mm - 1) > LARGEST_ERROR:
            raise ReadingsRefused(
                f"{r.label}: measured {r.distance_mm:.2f} mm, the model has {r.model_mm:.2f} mm",
                do="check that it is the pair of holes you meant, in mm, near and far edges",
            )


def _name_misfit(
    readings: Sequence[PartReading], w: Array, residuals: Array, leverages: Array
) -> None:
    worst = int(np.argmax(np.abs(w)))
    if abs(float(w[worst])) <= MISFIT_LIMIT:
        return
    r = readings[worst]
    others = r.distance_mm - float(residuals[worst]) / max(1 - float(leverages[worst]), 1e-6)
    raise ReadingsRefused(
        f"{r.label}: {r.distance_mm:.2f} mm does not fit; the others say {others:.2f} mm",
        do="measure this pair again",
    )


def _notices(readings: Sequence[PartReading], used: list[int], same_rule: bool) -> list[Notice]:
    notices = []
    if any(r.outer_edges for r in readings):
        text = (
            "outer edges are a weak measure of a printed part (they swell by tenths of a "
            "millimetre): hole to hole is better where there are holes"
        )
        notices.append(Notice("outer-edges-weak", text))
    if 2 not in used:
        text = "no two diagonals were measured: the part is taken as square"
        notices.append(Notice("part-skew-not-measured", text))
    if same_rule:
        text = (
            "the same rule or caliper measured the part and the calibration page: its own error "
            "falls on both and cancels"
        )
    else:
        text = (
            "part and calibration page were measured with different rules: the error of both "
            "counts; measure both with the same one"
        )
    severity = Severity.NOTE if same_rule else Severity.WARNING
    notices.append(Notice("same-rule" if same_rule else "different-rules", text, severity=severity))
    return notices


_PAIR = re.compile(
    r"\s*(?P<a>[\w.]+)-(?P<b>[\w.]+)\s*=\s*(?P<near>\d+(?:[.,]\d+)?)\s*/\s*(?P<far>\d+(?:[.,]\d+)?)"
    r"(?:\s*mm)?(?=[\s,;]|$)[,;]?\s*"
)
_SIZE = re.compile(
    r"\s*(?P<side>width|height)\s*=\s*(?P<value>\d+(?:[.,]\d+)?)(?:\s*mm)?(?=[\s,;]|$)[,;]?\s*"
)


def parse_part_readings(
    text: str,
    holes: Mapping[str, tuple[float, float]],
    *,
    size_mm: tuple[float, float] | None = None,
) -> tuple[PartReading, ...]:
    """Part readings from one line: ``h1-h2=76.7/83.1`` (near/far, mm), ``width=120.4``.

    ``holes`` are the centres on the model by name; ``size_mm`` its outer size.

    Raises:
        UsageProblem: something that is neither, or a hole that the model does not have.

    >>> holes = {"h1": (10, 10), "h2": (90, 10)}
    >>> parse_part_readings("h1-h2=76,7/83,1", holes)[0].distance_mm
    79.9
    """
    found, at = [], 0
    while at < len(text.rstrip()):
        pair, side = _PAIR.match(text, at), _SIZE.match(text, at)
        if pair is not None:
            found.append(_pair_reading(pair, holes))
        elif side is not None and size_mm is not None:
            width, height = size_mm
            end = (width, 0.0) if side["side"] == "width" else (0.0, height)
            value = float(side["value"].replace(",", "."))
            found.append(PartReading(side["side"], (0.0, 0.0), end, value, OUTER_EDGE_MM, True))
        else:
            raise UsageProblem(
                f"cannot read {text[at:].strip()[:40]!r} among the part readings",
                do='write hole pairs as "h1-h2=near/far" and outer sizes as "width=120.4", in mm',
            )
        at = (pair or side).end()  # type: ignore[union-attr]
    return tuple(found)


def _pair_reading(match: re.Match[str], holes: Mapping[str, tuple[float, float]]) -> PartReading:
    for name in (match["a"], match["b"]):
        if name not in holes:
            raise UsageProblem(
                f"the part has no hole called {name!r}", do="its holes are " + ", ".join(holes)
            )
    near, far = (float(match[k].replace(",", ".")) for k in ("near", "far"))
    a, b = match["a"], match["b"]
    return hole_pair(f"{a}-{b}", holes[a], holes[b], near_mm=near, far_mm=far)
