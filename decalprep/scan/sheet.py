"""Measure the print: every decal's true size and place on a printed sheet, before anything is cut.

Needs the sheet scanned twice, upright and turned by 90 degrees: then the scanner's own error is
told apart as on the calibration page. What stays unknown is the common scale, unless the scanner's
resolution is known from a calibrated page; what one scan leaves unknown is said, not guessed.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from decalprep.calibration import (
    Estimate,
    Scanner,
    ScanPoints,
    ShapeFit,
    shape_from_one,
    shape_from_scans,
)
from decalprep.errors import InputProblem, ReadingsRefused
from decalprep.geometry import Affine
from decalprep.model import Notice
from decalprep.scan.findings import (
    ExpectedPrint,
    MeanScale,
    PrintFinding,
    ScannerScale,
    SheetDecal,
)
from decalprep.scan.images import ScanImage
from decalprep.scan.judging import Judge
from decalprep.scan.lines import Samples
from decalprep.scan.printed import PlacedPrint, place_print, print_samples

Array = npt.NDArray[np.float64]
Owners = npt.NDArray[np.int64]

SINGLE_SCAN_U = 3600e-6
"""Standard uncertainty of the y/x ratio in a single scan (from simulation of flatbeds)."""
KNOWN_SCANNER_U = 150e-6
"""The same where an earlier pair of scans has shown the scanner's error (from simulation)."""
SCANNER_SCALE_U = 2000e-6
"""Standard uncertainty of the scale that a dpi setting promises (assumed, no source)."""
_LARGE = 8
_CLOSE_MM = 0.12


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
    fitted = fit_print(scans, expected, scanner=scanner)
    return judge_print(fitted, _mean_scale(fitted, scale, mean_scale_u), tolerance_mm=tolerance_mm)


@dataclass(frozen=True)
class FittedPrint:
    """A sheet found in its scans and the shape that most of its lines agree on, not yet judged.

    ``px_per_mm`` is of the first scan, against the sheet's own mean scale. ``judging`` is False
    where one scan through an unknown scanner is all there is.
    """

    expected: ExpectedPrint
    samples: Samples
    seen: tuple[npt.NDArray[np.bool_], ...]
    fit: ShapeFit
    notices: tuple[Notice, ...]
    judging: bool
    image_from_mm: Affine

    @property
    def px_per_mm(self) -> float:
        """Pixels of the first scan for each mm of the sheet as printed."""
        return self.fit.px_per_mm[0]


def fit_print(
    scans: Sequence[ScanImage], expected: ExpectedPrint, *, scanner: Scanner | None = None
) -> FittedPrint:
    """The sheet's shape in its scans, the scanner told apart; a misprinted decal does not bend it.

    Raises:
        InputProblem: a scan does not show this sheet.
        ReadingsRefused: two scans that cannot be told apart (see ``shape_from_scans``).
    """
    if not scans or not expected.decals:
        raise InputProblem("nothing to measure", do="give one or two scans of a sheet with decals")
    return fit_placed([place_print(s, expected) for s in scans], expected, scanner=scanner)


def fit_placed(
    placed: Sequence[PlacedPrint], expected: ExpectedPrint, *, scanner: Scanner | None = None
) -> FittedPrint:
    """The same from scans in which the sheet has been found.

    Raises:
        ReadingsRefused: two scans that cannot be told apart (see ``shape_from_scans``).
    """
    samples = print_samples(expected)
    owners = [samples.owners[p.seen] for p in placed]
    fit = _robust([p.points for p in placed], owners, len(expected.decals), scanner)
    notices = [*fit.shape.notices]
    if len(placed) == 1:
        notices.append(_one_scan(placed[0], expected, scanner))
    return FittedPrint(
        expected,
        samples,
        tuple(p.seen for p in placed),
        fit,
        tuple(notices),
        # One scan through an unknown scanner measures, but never passes a decal.
        len(placed) > 1 or scanner is not None,
        placed[0].image_from_mm,
    )


def judge_print(fitted: FittedPrint, mean: MeanScale, *, tolerance_mm: float) -> PrintFinding:
    """Each decal's true size, place (mm) and verdict; ``mean`` says how large the sheet is."""
    expected, fit = fitted.expected, fitted.fit
    judge = Judge(fitted.samples, fitted.seen, fit, mean, tolerance_mm, judging=fitted.judging)
    size = (expected.width_mm, expected.height_mm)
    return PrintFinding(
        tuple(judge.decal(k, decal, size) for k, decal in enumerate(expected.decals)),
        fit.shape.ratio,
        fit.shape.skew,
        mean.absolute,
        tolerance_mm,
        (*fitted.notices, *mean.notices),
        fitted.image_from_mm,
    )


def _robust(
    points: Sequence[ScanPoints], owners: Sequence[Owners], decals: int, scanner: Scanner | None
) -> ShapeFit:
    """The shape from what most lines agree on: a decal that is off must not bend the scanner."""
    fit = _agreed(points, owners, decals, scanner)
    for _ in range(4):
        middle = float(np.median(np.abs(np.concatenate(fit.residuals_mm))))
        cut = max(6.0 * middle, 0.02)
        weights = [np.clip(1 - (r / cut) ** 2, 0, 1) for r in fit.residuals_mm]
        fit = _through_scanner(_weighed(points, weights), scanner)
    return fit


def _agreed(
    points: Sequence[ScanPoints], owners: Sequence[Owners], decals: int, scanner: Scanner | None
) -> ShapeFit:
    """The best of several first fits: to all lines, without each large decal, to the marks alone.

    A large decal that is off pulls a fit to all lines so far that nothing stands out any more.
    """
    best = _through_scanner(points, scanner)
    score = _agreement(best, owners, decals)
    counts = np.bincount(np.concatenate(owners), minlength=decals)[:decals]
    large = np.argsort(-counts)[:_LARGE]
    # Lists, not generators: those would all look at the last decal.
    for kept in [*([o != k for o in owners] for k in large), [o >= decals for o in owners]]:
        weights = [k.astype(float) for k in kept]
        try:
            tried = _through_scanner(_weighed(points, weights), scanner)
        except ReadingsRefused:
            continue  # too few lines are left to tell
        found = _agreement(tried, owners, decals)
        if found > score + 1e-3:
            best, score = tried, found
    return best


def _agreement(fit: ShapeFit, owners: Sequence[Owners], decals: int) -> float:
    """How many decals agree with a fit; the sheet's marks count as two."""
    whose = np.minimum(np.concatenate(owners), decals)
    close = np.clip(1 - (np.concatenate(fit.residuals_mm) / _CLOSE_MM) ** 2, 0, 1)
    counts = np.bincount(whose, minlength=decals + 1)
    shares = np.bincount(whose, close, minlength=decals + 1) / np.maximum(counts, 1)
    return float(shares.sum() + shares[decals])


def _weighed(points: Sequence[ScanPoints], weights: Sequence[Array]) -> list[ScanPoints]:
    return [replace(p, weights=tuple(w.tolist())) for p, w in zip(points, weights, strict=True)]


def _through_scanner(points: Sequence[ScanPoints], scanner: Scanner | None) -> ShapeFit:
    """The shape of the sheet, the scanner told apart where two scans allow it."""
    if len(points) > 1:
        # Refuses where they do not lie across each other, and says which way to turn the sheet.
        return shape_from_scans(points, scanner=scanner)
    return shape_from_one(points[0], scanner, u_scanner=_u_of_one(scanner))


def _u_of_one(scanner: Scanner | None) -> float:
    return KNOWN_SCANNER_U if scanner is not None else SINGLE_SCAN_U


def _one_scan(placed: PlacedPrint, expected: ExpectedPrint, scanner: Scanner | None) -> Notice:
    """What a single scan leaves open, in mm over the largest decal."""
    whence = (
        "the scanner's own error is taken from its record"
        if scanner is not None
        else "one scan alone cannot tell the scanner's error from the printer's, nor lean from "
        "stretch"
    )
    # The ratio's error falls half on each direction.
    text = (
        f"{whence}: sizes are open by {over_largest(2 * _u_of_one(scanner) / 2, expected.decals)}; "
        "scan the sheet again, turned by 90 degrees"
    )
    return Notice("one-scan-only", text, placed.name)


def over_largest(error: float, decals: Sequence[SheetDecal], *, u: float | None = None) -> str:
    """An error in parts of one as mm over the longest side of the largest decal, in words.

    With ``u``, its standard uncertainty, the 95 % range is told as well.

    >>> helm = SheetDecal("helm", 1, ((0, 0), (120, 0), (120, 80), (0, 80)))
    >>> over_largest(0.002, [helm])
    '0.24 mm over the 120 mm of helm'
    >>> over_largest(-0.002, [helm], u=0.0005)
    '-0.24 mm, give or take 0.12, over the 120 mm of helm'
    """
    sides = [(float(np.ptp(np.array(d.outline), axis=0).max()), d.name) for d in decals]
    longest, name = max(sides, key=lambda side: side[0])
    if u is None:
        return f"{error * longest:.2f} mm over the {longest:.0f} mm of {name}"
    found = f"{error * longest:+.2f} mm, give or take {2 * u * longest:.2f}"
    return f"{found}, over the {longest:.0f} mm of {name}"


def _mean_scale(fitted: FittedPrint, scale: ScannerScale | None, mean_scale_u: float) -> MeanScale:
    if scale is not None:
        return MeanScale(fitted.px_per_mm / scale.px_per_mm - 1, scale.u, True)
    text = (
        "the common scale cannot be seen in scans: the sheet as a whole is taken as intended, open "
        f"by {over_largest(2 * mean_scale_u, fitted.expected.decals)}; scan a calibrated page at "
        "the same setting"
    )
    return MeanScale(0.0, mean_scale_u, False, (Notice("print-scale-open", text),))
