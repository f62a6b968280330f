"""Disc places from scans to the printer's shape error: y/x ratio and skew, scanner taken apart.

A scanner has errors of its own of up to some tenths of a percent. The same page laid on it at 0 and
at 90 degrees turns the printer's error against the scanner's, so both can be solved for:

    p = ((1 - r/2) x + k y + q1 y^2, (1 + r/2) y + q2 x^2)      printer, from the sheet's centre
    b = R(turn) p + t                                    page on the bed
    U = (1 + a/2) b_x + h b_y + l2 b_x^2 + l3 b_x^3      across the sensor: scale, shear, lens
    V = (1 - a/2) b_y                                    along the carriage

all times pixels per mm; q1 and q2 are a bow, which would else count as scatter. The size itself
cannot be seen in scans: the scanner's scale hides it.
Uncertainty: residuals are grouped by rows, and by columns (the sandwich covariance of Liang and
Zeger, Biometrika 73, 1986, which a bootstrap over rows approaches), because feed errors of printer
and carriage are shared by whole rows and white-noise errors understate them 2 to 5 times.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from decalprep.calibration.estimate import ShapeFinding
from decalprep.calibration.leastsquares import Array
from decalprep.errors import ReadingsRefused
from decalprep.model import Notice
from decalprep.units import format_turn

CROSS_SINE = 0.8
"""Two scans must differ in turn by 53 to 127 degrees: at 0 or 180 the equations are singular."""
_UNIT_MM = 100.0
_SHARED = 8
_SHAPE, _FLATBED, _LENS, _BOW = (0, 1), (2, 3), (4, 5), (6, 7)
_NO_LENS_U = 250e-6
_SINGULAR = 1e13
_LENS_MM = 0.15
"""Standard deviation of a scanner's lens terms at 100 mm from its middle (assumed, no source)."""
_TOGETHER_MM = 0.007
"""So far a sheet's lines err together (from simulation: ink that ends at the line)."""
"""Added where the lens cannot be fitted: 278 against 89 ppm for a 0.3 mm lens error (simulated)."""


@dataclass(frozen=True)
class ScanPoints:
    """Where the marks of one page lie in one scan.

    ``page_mm``: meant places from the sheet's centre, y up. ``image_px``: found places from the
    image's centre, y up. ``rows`` and ``columns`` group the marks. ``turn_deg`` is the page's turn
    in the image, counter-clockwise. ``px_per_mm`` is measured along the image's axes.
    ``normals`` (image frame, y up, unit length) are given where only the distance across a line
    was seen; without them a place counts both ways. ``weights`` (0 to 1, all 1 where absent) say
    how much each mark counts; residuals are found for all of them.
    """

    source: str
    page_mm: tuple[tuple[float, float], ...]
    image_px: tuple[tuple[float, float], ...]
    rows: tuple[int, ...]
    columns: tuple[int, ...]
    turn_deg: float
    px_per_mm: tuple[float, float]
    image_size_px: tuple[int, int]
    claimed_dpi: tuple[float, float] | None = None
    page: str = ""
    code: str = ""
    notices: tuple[Notice, ...] = ()
    normals: tuple[tuple[float, float], ...] = ()
    weights: tuple[float, ...] = ()


@dataclass(frozen=True)
class Scanner:
    """A scanner's own error: anisotropy a, shear h, lens terms in mm at 100 mm from the middle."""

    anisotropy: float
    shear: float
    lens2_mm: float
    lens3_mm: float


@dataclass(frozen=True)
class ShapeFit:
    """The finding, the scanner told apart from it, and what is left of each place.

    ``px_per_mm`` of each scan is against the page's own mean scale. ``residuals_mm`` of each scan
    are found less fitted: (across, up) in the image, or one number a line.
    """

    shape: ShapeFinding
    scanner: Scanner
    residual_rms_mm: float
    px_per_mm: tuple[float, ...]
    residuals_mm: tuple[Array, ...]


def shape_from_scans(scans: Sequence[ScanPoints], *, scanner: Scanner | None = None) -> ShapeFit:
    """y/x ratio error and skew of a printed page (parts of one) from scans at 0 and 90 degrees.

    Does not give the size: ``estimate_printer`` joins it with readings of a rule. ``scanner`` known
    from before gives the lens terms, which few lines would mix up with the scale.

    Raises:
        ReadingsRefused: one scan only, no two scans across each other, different pages, a scan
            that is a turned copy of another.
    """
    _refuse_useless(scans)
    lens = scanner is None and _same_bed(scans)
    # Few lines of a job sheet would mix a bow up with what their decals do.
    bow = () if any(s.normals for s in scans) else _BOW
    problem = _Problem(scans, (*_SHAPE, *_FLATBED, *(_LENS if lens else ()), *bow))
    start = problem.start()
    if scanner is not None:
        start[[*_LENS]] = (scanner.lens2_mm, scanner.lens3_mm)
    known = lens or scanner is not None
    extra = 0.0 if known else _NO_LENS_U**2
    notices = [n for scan in scans for n in scan.notices]
    if not known:
        text = (
            "the scans differ in size: the scan program has cropped them, so the scanner's lens "
            "error cannot be told apart; scan the whole bed each time"
        )
        notices.append(Notice("scan-cropped", text))
    return _fitted(problem, start, extra, tuple(notices))


def shape_from_one(scan: ScanPoints, scanner: Scanner | None, *, u_scanner: float) -> ShapeFit:
    """The same from a single scan through a scanner taken as known (without one: as true).

    Never a base for a correction: ``u_scanner`` (parts of one), what the scanner's error is
    uncertain by, goes into ratio and skew whole.
    """
    problem = _Problem([scan], _SHAPE)
    x = problem.start()
    if scanner is not None:
        x[[*_FLATBED, *_LENS]] = (
            scanner.anisotropy,
            scanner.shear,
            scanner.lens2_mm,
            scanner.lens3_mm,
        )
    return _fitted(problem, x, u_scanner**2, scan.notices)


def bed_places(fit: ShapeFit, number: int, image_px: Array) -> Array:
    """Places on the glass of places in scan ``number`` (px from its middle, y up).

    In mm of the page's own mean scale: a true millimetre is shorter there where the page came out
    too large.
    """
    u, v = (np.asarray(image_px, dtype=np.float64) / fit.px_per_mm[number]).T
    s = fit.scanner
    by = v / (1 - s.anisotropy / 2)
    bx = u.copy()
    for _ in range(20):
        w = bx / _UNIT_MM
        bx = u - s.shear * by - s.lens2_mm * w**2 - s.lens3_mm * w**3
        bx = bx / (1 + s.anisotropy / 2)
    return np.column_stack([bx, by])


def _fitted(
    problem: "_Problem", start: Array, extra: float, notices: tuple[Notice, ...]
) -> ShapeFit:
    x = problem.solved(start)
    jacobian, residual = problem.linearised(x)
    variance = problem.variances(jacobian, residual)[:2] + extra
    groups = len(set(problem.rows.tolist())) + len(set(problem.columns.tolist()))
    poses = x[_SHARED:].reshape(-1, 4)
    return ShapeFit(
        ShapeFinding(
            float((1 + x[0] / 2) / (1 - x[0] / 2) - 1),
            float(x[1]),
            ((float(variance[0]), 0.0), (0.0, float(variance[1]))),
            float(max(groups - 2, 1)),
            notices,
        ),
        Scanner(float(x[2]), float(x[3]), float(x[4]), float(x[5])),
        float(np.sqrt(np.mean(residual**2))),
        tuple(float(g * scale) for g, scale in zip(poses[:, 0], problem.scale, strict=True)),
        problem.split(residual),
    )


def _refuse_useless(scans: Sequence[ScanPoints]) -> None:
    if len(scans) < 2:
        raise ReadingsRefused(
            "one scan alone cannot tell the printer's error from the scanner's",
            do="scan the same page twice, once upright and once turned by 90 degrees",
        )
    if len({s.page for s in scans}) > 1 or len({s.code for s in scans if s.code}) > 1:
        raise ReadingsRefused(
            "the scans show different pages", do="scan one and the same printed page each time"
        )
    sines = [
        abs(math.sin(math.radians(a.turn_deg - b.turn_deg)))
        for i, a in enumerate(scans)
        for b in scans[:i]
    ]
    if max(sines) < CROSS_SINE:
        turns = ", ".join(format_turn(s.turn_deg, 0) for s in scans)
        raise ReadingsRefused(
            f"the page lies the same way or upside down in all scans (turned {turns} degrees)",
            do="turn the page itself on the scanner by 90 degrees for one of the scans",
        )
    for i, a in enumerate(scans):
        for b in scans[:i]:
            _refuse_copy(a, b)


def _refuse_copy(a: ScanPoints, b: ScanPoints) -> None:
    """A picture turned in software says nothing new, and would look like proof."""
    there = dict(zip(a.page_mm, a.image_px, strict=True))
    both = [(there[m], px) for m, px in zip(b.page_mm, b.image_px, strict=True) if m in there]
    if len(both) < 8:
        return
    p, q = np.array([m[0] for m in both]), np.array([m[1] for m in both])
    for quarter in range(4):
        c, s = ((1, 0), (0, 1), (-1, 0), (0, -1))[quarter]
        turned = p @ np.array([[c, s], [-s, c]])
        shift = q - turned
        if float(np.ptp(shift, axis=0).max()) < 0.01:
            raise ReadingsRefused(
                f"{a.source} and {b.source} are the same scan, turned afterwards",
                do="turn the page on the glass, not the picture in the computer",
            )


def _same_bed(scans: Sequence[ScanPoints]) -> bool:
    """Whether all images show the same part of the bed, to 2 mm across."""
    widths = [s.image_size_px[0] / s.px_per_mm[0] for s in scans]
    return max(widths) - min(widths) < 2.0


def _solve(matrix: Array, right: Array) -> Array:
    # Equal to nothing but rounding: solving would give any numbers, or fail, as rounding falls.
    if not np.linalg.cond(matrix) < _SINGULAR:
        raise ReadingsRefused(
            "what can be seen of the page does not determine its shape",
            do="scan the whole page; lines or discs are needed in both directions",
        )
    return np.asarray(np.linalg.solve(matrix, right), dtype=np.float64)


class _Problem:
    """The least-squares problem: shared unknowns (r, k, a, h, l2, l3, q1, q2), four for each scan.

    Of the shared ones those named ``free`` are solved for, the rest stay as they start.
    """

    def __init__(self, scans: Sequence[ScanPoints], free: Sequence[int]) -> None:
        self.page = [np.array(s.page_mm) for s in scans]
        self.scale = [math.sqrt(s.px_per_mm[0] * s.px_per_mm[1]) for s in scans]
        self.image = [np.array(s.image_px) / g for s, g in zip(scans, self.scale, strict=True)]
        self.turns = [math.radians(s.turn_deg) for s in scans]
        self.normals = [np.array(s.normals) if s.normals else None for s in scans]
        self.counts = [len(s.rows) * (1 if s.normals else 2) for s in scans]
        self.weights = np.concatenate(
            [
                np.repeat(
                    np.array(s.weights) if s.weights else np.ones(len(s.rows)), c // len(s.rows)
                )
                for s, c in zip(scans, self.counts, strict=True)
            ]
        )
        self.rows = self._groups([s.rows for s in scans])
        self.columns = self._groups([s.columns for s in scans])
        self.used = [*free, *range(_SHARED, _SHARED + 4 * len(scans))]
        # Lines at the edge of ink err to one side together, which looks like a lens of ten times
        # the true: as if all lines were one, they count little against what lenses are like.
        few = any(s.normals for s in scans)
        weight = len(self.weights) * (_TOGETHER_MM / _LENS_MM) ** 2 if few else 0.0
        self.held = np.array([weight if j in _LENS else 0.0 for j in self.used])

    def _groups(self, groups: Sequence[tuple[int, ...]]) -> npt.NDArray[np.int64]:
        """The group of every residual."""
        each = zip(groups, self.counts, strict=True)
        return np.concatenate([np.repeat(np.array(g), count // len(g)) for g, count in each])

    def split(self, residual: Array) -> tuple[Array, ...]:
        """Residuals scan by scan, places as (n, 2), lines as (n,)."""
        ends = np.cumsum(self.counts)[:-1]
        return tuple(
            part.reshape(-1, 2) if normals is None else part
            for part, normals in zip(np.split(residual, ends), self.normals, strict=True)
        )

    def _seen(self, places: Sequence[Array]) -> Array:
        """Both coordinates of each place, or its distance along its normal."""
        pairs = zip(places, self.normals, strict=True)
        return np.concatenate([p.ravel() if n is None else np.sum(p * n, axis=1) for p, n in pairs])

    def start(self) -> Array:
        x = np.zeros(_SHARED + 4 * len(self.page))
        for i, (page, image, turn) in enumerate(
            zip(self.page, self.image, self.turns, strict=True)
        ):
            c, s = math.cos(turn), math.sin(turn)
            moved = page @ np.array([[c, s], [-s, c]])
            x[_SHARED + 4 * i : _SHARED + 4 * i + 4] = (1, turn, *(image - moved).mean(axis=0))
        return x

    def predicted(self, x: Array) -> Array:
        """Places in mm on the bed as the scanner shows them, as far as they count."""
        r, k, a, h, l2, l3, q1, q2 = x[:_SHARED]
        out = []
        for i, page in enumerate(self.page):
            g, turn, tx, ty = x[_SHARED + 4 * i : _SHARED + 4 * i + 4]
            u, v = (page / _UNIT_MM).T
            px = (1 - r / 2) * page[:, 0] + k * page[:, 1] + q1 * v**2
            py = (1 + r / 2) * page[:, 1] + q2 * u**2
            c, s = math.cos(turn), math.sin(turn)
            bx, by = c * px - s * py + tx, s * px + c * py + ty
            w = bx / _UNIT_MM
            across = (1 + a / 2) * bx + h * by + l2 * w**2 + l3 * w**3
            out.append(g * np.column_stack([across, (1 - a / 2) * by]))
        return self._seen(out)

    def linearised(self, x: Array) -> tuple[Array, Array]:
        """(derivatives by the used unknowns, residuals in mm)."""
        base = self.predicted(x)
        jacobian = np.empty((len(base), len(self.used)))
        for column, j in enumerate(self.used):
            moved = x.copy()
            moved[j] += 1e-6
            jacobian[:, column] = (self.predicted(moved) - base) / 1e-6
        return jacobian, self._seen(self.image) - base

    def solved(self, start: Array) -> Array:
        """The unknowns at the least squares."""
        x = start.copy()
        for _ in range(8):
            jacobian, residual = self.linearised(x)
            w = self.weights
            weighted = jacobian * w[:, None]
            # Well conditioned once the turns cross (about 1e3), so normal equations will do.
            pull = weighted.T @ (residual * w) - self.held * x[self.used]
            step = _solve(weighted.T @ weighted + np.diag(self.held), pull)
            x[self.used] += step
            if float(np.abs(step).max()) < 1e-11:
                break
        return x

    def variances(self, jacobian: Array, residual: Array) -> Array:
        """Variances of the used unknowns, residuals grouped by rows or columns: the larger."""
        return np.maximum(
            np.diag(self._grouped(jacobian, residual, self.rows)),
            np.diag(self._grouped(jacobian, residual, self.columns)),
        )

    def _grouped(self, jacobian: Array, residual: Array, groups: npt.NDArray[np.int64]) -> Array:
        jacobian, residual = jacobian * self.weights[:, None], residual * self.weights
        square = jacobian.T @ jacobian + np.diag(self.held)
        inverse = _solve(square, np.eye(len(square)))
        names = np.unique(groups)
        scores = np.array([jacobian[groups == n].T @ residual[groups == n] for n in names])
        spread = scores.T @ scores * len(names) / (len(names) - 1)
        grouped: Array = inverse @ (spread + np.diag((self.held * _LENS_MM) ** 2)) @ inverse
        return grouped
