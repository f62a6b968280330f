"""Measure the print: every decal's true size and place on a printed sheet, before anything is cut.

Needs the sheet scanned twice, upright and turned by 90 degrees: then the scanner's own error is
told apart as on the calibration page. What stays unknown is the common scale, unless the scanner's
resolution is known from a calibrated page; what one scan leaves unknown is said, not guessed.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from enum import StrEnum

import numpy as np
import numpy.typing as npt

from decalprep.calibration import (
    Estimate,
    Scanner,
    ScanPoints,
    ShapeFit,
    coverage_factor,
    shape_from_one,
    shape_from_scans,
)
from decalprep.errors import InputProblem
from decalprep.geometry import Affine
from decalprep.model import Drawing, Layer, Notice, StrokeMark
from decalprep.scan.images import ScanImage
from decalprep.scan.lines import Samples, sample_lines
from decalprep.scan.placing import Placed, place_sheet

Array = npt.NDArray[np.float64]
Point = tuple[float, float]

SINGLE_SCAN_U = 3600e-6
"""Standard uncertainty of the y/x ratio in a single scan (from simulation of flatbeds)."""
KNOWN_SCANNER_U = 150e-6
"""The same where an earlier pair of scans has shown the scanner's error (from simulation)."""
SCANNER_SCALE_U = 2000e-6
"""Standard uncertainty of the scale that a dpi setting promises (assumed, no source)."""
_BAND_MM = 25.0
_LEAST_SHARE = 0.5
_LINE_U_MM = 0.01


class Verdict(StrEnum):
    """Whether a decal is within the tolerance; what lies inside the uncertainty is open."""

    GOOD = "good"
    BAD = "bad"
    OPEN = "cannot tell"
    UNSEEN = "not seen"


@dataclass(frozen=True)
class SheetDecal:
    """One copy of a decal as it should have come out: its closed outline in true sheet mm."""

    name: str
    copy: int
    outline: tuple[Point, ...]


@dataclass(frozen=True)
class ExpectedPrint:
    """What a printed sheet should show: outlines and marks (ticks, check bars) in true sheet mm."""

    width_mm: float
    height_mm: float
    decals: tuple[SheetDecal, ...]
    marks: tuple[tuple[Point, ...], ...] = ()


@dataclass(frozen=True)
class ScannerScale:
    """True pixels per mm of a scanner at one resolution setting, with its standard uncertainty."""

    px_per_mm: float
    u: float


@dataclass(frozen=True)
class MeasuredDecal:
    """What a decal measures: true width and height, how far it is off, each with its 95 % range.

    ``off_*`` is the shift of its middle against the sheet's marks. ``worst_mm`` is the largest
    size error of both ways.
    """

    name: str
    copy: int
    verdict: Verdict
    width_mm: float = 0.0
    height_mm: float = 0.0
    error_x_mm: float = 0.0
    error_y_mm: float = 0.0
    range_x_mm: float = 0.0
    range_y_mm: float = 0.0
    off_x_mm: float = 0.0
    off_y_mm: float = 0.0
    seen_share: float = 0.0

    @property
    def worst_mm(self) -> float:
        """The larger of the two size errors, without sign."""
        return max(abs(self.error_x_mm), abs(self.error_y_mm))


@dataclass(frozen=True)
class PrintFinding:
    """All decals of one sheet, what was found out on the way, and what to tell.

    ``image_from_mm`` takes sheet mm to px (column, row) of the first scan.
    """

    decals: tuple[MeasuredDecal, ...]
    ratio: float
    skew: float
    absolute: bool
    tolerance_mm: float
    notices: tuple[Notice, ...]
    image_from_mm: Affine = field(default_factory=Affine)


def expected_print(drawing: Drawing) -> ExpectedPrint:
    """Outlines and marks of a sheet from its drawing list, in true mm.

    The printer correction in the drawing is left out on purpose: what is printed should be true.
    """
    decals, marks = [], []
    for item in drawing.items:
        if not isinstance(item, StrokeMark):
            continue
        line = item.path.points(0.02)
        line = [*line, line[0]] if item.path.closed else line
        if item.layer is Layer.CUT_OUTLINE and item.path.closed:
            decals.append(SheetDecal(item.decal, item.copy, tuple(line)))
        elif item.layer in (Layer.REGISTRATION, Layer.CHECK_BAR):
            marks.append(tuple(line))
    return ExpectedPrint(
        drawing.sheet.width_mm, drawing.sheet.height_mm, tuple(decals), tuple(marks)
    )


def scanner_scale(fit: ShapeFit, estimate: Estimate, scan: int = 0) -> ScannerScale:
    """True px per mm of one of the scans behind a calibrated page.

    The scans gave px per mm of the page's own mean scale, the rule what that scale is.
    """
    mean = 1 + (estimate.scale_x + estimate.scale_y) / 2
    c = estimate.covariance
    u = math.sqrt((c[0][0] + 2 * c[0][1] + c[1][1]) / 4)
    return ScannerScale(fit.px_per_mm[scan] / mean, u)


def measure_print(
    scans: Sequence[ScanImage],
    expected: ExpectedPrint,
    *,
    tolerance_mm: float,
    scale: ScannerScale | None = None,
    scanner: Scanner | None = None,
    mean_scale_u: float = SCANNER_SCALE_U,
) -> PrintFinding:
    """True sizes and places in mm of all decals on a printed sheet, judged against a tolerance.

    ``scale`` is the scanner's true px per mm at the same setting. Without it the sheet's mean scale
    is taken as intended, give or take ``mean_scale_u`` (parts of one): as well as the printer's
    record knows it (``mean_scale_uncertainty``), or as a scanner keeps its dpi. With one scan only,
    the scanner's own error is part of the range, and nothing is judged (``scanner`` from an
    earlier pair narrows it).

    Raises:
        InputProblem: a scan does not show this sheet.
        ReadingsRefused: two scans that cannot be told apart (see ``shape_from_scans``).
    """
    if not scans or not expected.decals:
        raise InputProblem("nothing to measure", do="give one or two scans of a sheet with decals")
    lines = [*(d.outline for d in expected.decals), *expected.marks]
    samples = sample_lines(lines)
    size = (expected.width_mm, expected.height_mm)
    placed = [place_sheet(scan, lines, samples, size) for scan in scans]
    points = [_points(scan, p, samples, size) for scan, p in zip(scans, placed, strict=True)]
    fit, notices = _robust([p for p, _ in points], scanner)
    common = _common_scale(fit, scale, mean_scale_u)
    # One scan through an unknown scanner measures, but never judges.
    judging = len(scans) > 1 or scanner is not None
    masks = [seen for _, seen in points]
    judge = _Judge(samples, masks, fit, common, tolerance_mm, judging=judging)
    return PrintFinding(
        tuple(judge.decal(k, decal, size) for k, decal in enumerate(expected.decals)),
        fit.shape.ratio,
        fit.shape.skew,
        scale is not None,
        tolerance_mm,
        (*fit.shape.notices, *notices, *common.notices),
        _as_affine(placed[0].image_from_mm),
    )


def _as_affine(m: Array) -> Affine:
    return Affine(*(float(v) for v in (m[0, 0], m[1, 0], m[0, 1], m[1, 1], m[0, 2], m[1, 2])))


@dataclass(frozen=True)
class _Common:
    """The sheet's mean scale error against the intended size, and its standard uncertainty."""

    error: float
    u: float
    notices: tuple[Notice, ...]


def _points(
    scan: ScanImage, placed: Placed, samples: Samples, size_mm: tuple[float, float]
) -> tuple[ScanPoints, npt.NDArray[np.bool_]]:
    """The lines seen as scan points that count across the line only, and which samples they are."""
    seen = placed.across.seen & (np.abs(placed.across.offsets_mm) < 0.4)
    linear = placed.image_from_mm[:, :2]
    found = samples.points + placed.across.offsets_mm[:, None] * samples.normals
    px = found[seen] @ linear.T + placed.image_from_mm[:, 2]
    # A line's normal in the picture: the direction across the mapped tangent.
    tangents = np.column_stack([samples.normals[seen][:, 1], -samples.normals[seen][:, 0]])
    along = tangents @ linear.T
    # y runs down in the picture and up here: the tangent (p, q) is (p, -q), its left is (q, p).
    normals = np.column_stack([along[:, 1], along[:, 0]])
    normals = normals / np.linalg.norm(normals, axis=1)[:, None]
    high, wide = scan.grey.shape
    centred = samples.points[seen] - np.array(size_mm) / 2
    # The foot of the sample itself, so that the place along the line is the meant one.
    bands = np.floor(samples.points[seen] / _BAND_MM).astype(int)
    per_mm = (float(np.hypot(*linear[0])), float(np.hypot(*linear[1])))
    turn = math.degrees(math.atan2(-linear[1, 0], linear[0, 0]))
    image = np.column_stack([px[:, 0] - wide / 2, high / 2 - px[:, 1]])
    return (
        ScanPoints(
            scan.name,
            tuple(map(tuple, centred.tolist())),
            tuple(map(tuple, image.tolist())),
            tuple(bands[:, 1].tolist()),
            tuple(bands[:, 0].tolist()),
            turn,
            per_mm,
            (wide, high),
            scan.claimed_dpi,
            normals=tuple(map(tuple, normals.tolist())),
        ),
        seen,
    )


def _robust(
    points: Sequence[ScanPoints], scanner: Scanner | None
) -> tuple[ShapeFit, tuple[Notice, ...]]:
    """The shape from what most lines agree on: a decal that is off must not bend the scanner."""
    fit, notices = _through_scanner(points, scanner)
    for _ in range(4):
        middle = float(np.median(np.abs(np.concatenate(fit.residuals_mm))))
        cut = max(6.0 * middle, 0.02)
        weighed = [
            replace(p, weights=tuple(np.clip(1 - (r / cut) ** 2, 0, 1).tolist()))
            for p, r in zip(points, fit.residuals_mm, strict=True)
        ]
        fit, notices = _through_scanner(weighed, scanner)
    return fit, notices


def _through_scanner(
    points: Sequence[ScanPoints], scanner: Scanner | None
) -> tuple[ShapeFit, tuple[Notice, ...]]:
    """The shape of the sheet, the scanner told apart where two scans allow it."""
    if len(points) > 1:
        # Refuses where they do not lie across each other, and says which way to turn the sheet.
        return shape_from_scans(points), ()
    u = KNOWN_SCANNER_U if scanner is not None else SINGLE_SCAN_U
    text = (
        "one scan alone cannot tell the scanner's error from the printer's: sizes are open by "
        f"{2e2 * u:.2f} mm in 100 mm; scan the sheet again, turned by 90 degrees"
    )
    fit = shape_from_one(points[0], scanner, u_scanner=u)
    return fit, (Notice("one-scan-only", text, points[0].source),)


def _common_scale(fit: ShapeFit, scale: ScannerScale | None, mean_scale_u: float) -> _Common:
    if scale is not None:
        return _Common(fit.px_per_mm[0] / scale.px_per_mm - 1, scale.u, ())
    text = (
        "the common scale cannot be seen in scans: the sheet as a whole is taken as intended, open "
        f"by {2e2 * mean_scale_u:.2f} mm in 100 mm; scan a calibrated page at the same setting"
    )
    return _Common(0.0, mean_scale_u, (Notice("print-scale-open", text),))


class _Judge:
    """Fits each decal's own shift, stretch and turn to what is left of its lines."""

    def __init__(
        self,
        samples: Samples,
        seen: Sequence[npt.NDArray[np.bool_]],
        fit: ShapeFit,
        common: _Common,
        tolerance_mm: float,
        *,
        judging: bool,
    ) -> None:
        self.samples, self.seen, self.fit, self.judging = samples, seen, fit, judging
        self.common, self.tolerance_mm = common, tolerance_mm

    def decal(self, number: int, decal: SheetDecal, size_mm: Point) -> MeasuredDecal:
        """What one decal measures."""
        mine = self.samples.owners == number
        # Turned, the sheet hangs over the glass: seen well in one scan is seen.
        share = max(float(seen[mine].mean()) for seen in self.seen) if mine.any() else 0.0
        if share < _LEAST_SHARE:
            return MeasuredDecal(decal.name, decal.copy, Verdict.UNSEEN, seen_share=share)
        box = np.array(decal.outline)
        width, height = np.ptp(box, axis=0)
        middle = (box.min(axis=0) + box.max(axis=0)) / 2
        local, u_local = self._local(mine, middle, float(max(width, height)))
        r, mean = self.fit.shape.ratio, self.common.error
        scale_x = mean - r / 2 + local[2]
        scale_y = mean + r / 2 + local[5]
        u_ratio = math.sqrt(self.fit.shape.covariance[0][0]) / 2
        k = coverage_factor(self.fit.shape.freedom)
        ranges = [
            k * math.sqrt(u_local**2 + (side * u_ratio) ** 2 + (side * self.common.u) ** 2)
            for side in (width, height)
        ]
        errors = (float(scale_x * width), float(scale_y * height))
        off = self._off(middle, size_mm, local)
        return MeasuredDecal(
            decal.name,
            decal.copy,
            self._verdict(errors, ranges),
            float(width + errors[0]),
            float(height + errors[1]),
            errors[0],
            errors[1],
            ranges[0],
            ranges[1],
            off[0],
            off[1],
            share,
        )

    def _local(
        self, mine: npt.NDArray[np.bool_], middle: Array, side: float
    ) -> tuple[Array, float]:
        """((dx, dy, and the 2 x 2 gradient), standard uncertainty of a size in mm)."""
        rows, found, groups = [], [], []
        for seen, residual in zip(self.seen, self.fit.residuals_mm, strict=True):
            chosen = seen & mine
            p = self.samples.points[chosen] - middle
            n = self.samples.normals[chosen]
            design = [n[:, 0], n[:, 1], n[:, 0] * p[:, 0], n[:, 0] * p[:, 1]]
            design += [n[:, 1] * p[:, 0], n[:, 1] * p[:, 1]]
            rows.append(np.column_stack(design))
            found.append(residual[mine[seen]])
            groups.append(np.floor(p / 10.0) @ np.array([1.0, 1000.0]))
        design_all, d = np.vstack(rows), np.concatenate(found)
        # In units of the decal's size, so that all unknowns weigh alike; a circle has no turn.
        unit = np.array([1, 1, *(2 / side,) * 4])
        step = np.zeros(6)
        for _ in range(8):
            left = d - design_all * unit @ step
            spread = max(1.5 * float(np.median(np.abs(left))), 0.005)
            weight = np.clip(1 - (left / (4 * spread)) ** 2, 0, None)
            weighted = design_all * unit * weight[:, None]
            step = np.linalg.lstsq(weighted, d * weight, rcond=1e-4)[0]
        pieces = max(len(np.unique(np.concatenate(groups))), 4)
        # Lines err together over about 10 mm: each such piece counts once; two edges make a size.
        u = math.hypot(spread, _LINE_U_MM) * math.sqrt(2) / math.sqrt(max(pieces / 4, 1))
        local: Array = step * unit
        return local, u

    def _off(self, middle: Array, size_mm: Point, local: Array) -> tuple[float, float]:
        x, y = middle - np.array(size_mm) / 2
        r, k, mean = self.fit.shape.ratio, self.fit.shape.skew, self.common.error
        return (
            float((mean - r / 2) * x + k * y + local[0]),
            float((mean + r / 2) * y + local[1]),
        )

    def _verdict(self, errors: Sequence[float], ranges: Sequence[float]) -> Verdict:
        if not self.judging:
            return Verdict.OPEN
        worst = [abs(e) for e in errors]
        if any(w - u > self.tolerance_mm for w, u in zip(worst, ranges, strict=True)):
            return Verdict.BAD
        if all(w + u <= self.tolerance_mm for w, u in zip(worst, ranges, strict=True)):
            return Verdict.GOOD
        return Verdict.OPEN
