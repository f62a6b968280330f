"""Compare with the part: the bare part and the printed sheet on one scanner, the same way round.

Both are seen through the same scanner lying the same way, so its error falls on both and cancels:
what differs between them is real. Part holes are found at half the step of brightness round their
rims. The decal as printed is laid on them by shift and turn alone, as a hand would; what is left at
each hole is how far the legend will be off there.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import cv2
import numpy as np
import numpy.typing as npt

from decalprep.errors import InputProblem, ReadingsRefused
from decalprep.geometry import fit_circle
from decalprep.model import Notice, PartRecord
from decalprep.scan.findings import ExpectedPrint, SheetDecal
from decalprep.scan.images import Grey, ScanImage
from decalprep.scan.lines import sample_lines
from decalprep.scan.page import fit_affine
from decalprep.scan.placing import fitted_to, place_sheet

Array = npt.NDArray[np.float64]
Point = tuple[float, float]

TURN_LIMIT_DEG = 3.0
"""Turned further than this against the sheet, the scanner's error no longer cancels."""
HOLE_U_MM = 0.03
"""Standard uncertainty of a hole's centre on a scanned part (from simulation, flat face)."""
_MATCH_MM = 3.0
_ROUND_MM = 0.25


@dataclass(frozen=True)
class SheetHole:
    """A round hole of the decal: its name, intended centre on the sheet (true mm), diameter."""

    name: str
    x_mm: float
    y_mm: float
    diameter_mm: float


@dataclass(frozen=True)
class HoleOffset:
    """How far the legend is off at one hole once the decal lies as well as it can, sheet mm."""

    name: str
    dx_mm: float
    dy_mm: float
    range_mm: float
    part_diameter_mm: float

    @property
    def distance_mm(self) -> float:
        """Length of the offset."""
        return math.hypot(self.dx_mm, self.dy_mm)


@dataclass(frozen=True)
class PartComparison:
    """The offsets hole by hole, the part's error against the print, and what to tell.

    ``fitted`` stretches the decal so that it fits; None where fewer than three holes that are not
    on a line were found. ``part_size_mm`` is the part's outline, across and up, in print mm.
    """

    holes: tuple[HoleOffset, ...]
    fitted: PartRecord | None
    left_mm: float
    part_size_mm: tuple[float, float]
    missing: tuple[str, ...]
    notices: tuple[Notice, ...]


def compare_with_part(
    part_scan: ScanImage,
    sheet_scan: ScanImage,
    expected: ExpectedPrint,
    decal: SheetDecal,
    holes: Sequence[SheetHole],
    *,
    part: str = "",
) -> PartComparison:
    """How far a printed decal's legend will be off on a real part, in mm, hole by hole.

    Does not measure absolute sizes, and does not see the far rim of deep holes or a warped face.

    Raises:
        InputProblem: the sheet or the part cannot be found in its scan.
        ReadingsRefused: they lie differently on the scanner, or fewer than two holes match.
    """
    lines = [*(d.outline for d in expected.decals), *expected.marks]
    samples = sample_lines(lines)
    placed = place_sheet(sheet_scan, lines, samples, (expected.width_mm, expected.height_mm))
    own = sample_lines([decal.outline])
    printed = fitted_to(sheet_scan.views, placed.image_from_mm, own)
    found = find_part(part_scan, math.sqrt(abs(float(np.linalg.det(printed[:, :2])))))
    pairs = _matched(found, holes, printed)
    if len(pairs) < 2:
        raise ReadingsRefused(
            f"only {len(pairs)} holes of the part match the decal's",
            where=part_scan.name,
            do="lay the part face down the same way round as the sheet; a dark sheet of paper "
            "behind a light part shows its holes",
        )
    return _compared(found, holes, pairs, printed, part)


@dataclass(frozen=True)
class FoundPart:
    """A part in a scan: outline (px) and round holes as (column, row, diameter) in px."""

    outline_px: Array
    holes_px: Array


def find_part(image: ScanImage, px_per_mm: float) -> FoundPart:
    """Outline and round holes of a flat part on a scanner, to some hundredths of a millimetre.

    Raises:
        InputProblem: nothing in the picture stands out from the background.
    """
    grey = cv2.GaussianBlur(image.grey, (0, 0), 1.0).astype(np.uint8)
    _, mask = cv2.threshold(grey, 0, 255, cv2.THRESH_BINARY + cv2.THRESH_OTSU)
    border = np.concatenate([mask[0], mask[-1], mask[:, 0], mask[:, -1]])
    if np.mean(border) > 127:
        mask = cv2.bitwise_not(mask)
    contours, tree = cv2.findContours(mask, cv2.RETR_CCOMP, cv2.CHAIN_APPROX_NONE)
    areas = [cv2.contourArea(c) if tree[0][i][3] < 0 else 0.0 for i, c in enumerate(contours)]
    if not areas or max(areas) < (10 * px_per_mm) ** 2:
        raise InputProblem(
            "shows no part",
            where=image.name,
            do="scan the part on a background that is much lighter or darker than it",
        )
    outer = int(np.argmax(areas))
    circles = []
    for contour, node in zip(contours, tree[0], strict=True):
        if node[3] != outer or cv2.contourArea(contour) < (1.0 * px_per_mm) ** 2:
            continue
        rim = _rim(image.grey, contour.reshape(-1, 2).astype(float) + 0.5, px_per_mm)
        circle, error = fit_circle([(float(x), float(y)) for x, y in rim])
        if error < _ROUND_MM * px_per_mm + 1:
            circles.append((circle.x, circle.y, circle.diameter))
    outline = contours[outer].reshape(-1, 2).astype(float) + 0.5
    return FoundPart(outline, np.array(circles).reshape(-1, 3))


def _rim(grey: Grey, contour: Array, px_per_mm: float) -> Array:
    """Contour points moved along their normals to where the brightness crosses the middle level."""
    run = np.ones(9) / 9
    smooth = np.column_stack(
        [np.convolve(np.pad(axis, 4, mode="wrap"), run, "valid") for axis in contour.T]
    )
    tangent = np.roll(smooth, -2, axis=0) - np.roll(smooth, 2, axis=0)
    length = np.hypot(*tangent.T)
    good = length > 1e-6
    smooth, tangent, length = smooth[good], tangent[good], length[good]
    normal = np.column_stack([-tangent[:, 1], tangent[:, 0]]) / length[:, None]
    reach = max(3.0, 0.4 * px_per_mm)
    steps = np.arange(-reach, reach + 0.01, 0.25)
    at = smooth[:, None, :] + steps[None, :, None] * normal[:, None, :] - 0.5
    a32 = at.astype(np.float32)
    profile = cv2.remap(grey, a32[..., 0], a32[..., 1], cv2.INTER_LINEAR).astype(float)
    low, high = profile[:, :4].mean(axis=1), profile[:, -4:].mean(axis=1)
    middle = (low + high) / 2
    sign = np.sign(high - low)
    above = (profile - middle[:, None]) * sign[:, None] > 0
    first = np.argmax(above, axis=1)
    rows = np.arange(len(first))
    usable = (first > 0) & (np.abs(high - low) > 30)
    before, after = profile[rows, first - 1], profile[rows, first]
    gap = np.where(np.abs(after - before) > 1e-9, after - before, 1.0)
    share = np.clip((middle - before) / gap, 0, 1)
    shift = steps[first - 1] + 0.25 * share
    if int(usable.sum()) < 12:
        return contour
    moved: Array = smooth[usable] + shift[usable, None] * normal[usable]
    return moved


def _matched(found: FoundPart, holes: Sequence[SheetHole], printed: Array) -> list[tuple[int, int]]:
    """Pairs (number of the decal's hole, number of the part's), nearest after a common shift."""
    if len(found.holes_px) == 0 or not holes:
        return []
    scale = math.sqrt(abs(float(np.linalg.det(printed[:, :2]))))
    meant = np.array([(h.x_mm, h.y_mm) for h in holes]) @ printed[:, :2].T + printed[:, 2]
    there = found.holes_px[:, :2]
    best: list[tuple[int, int]] = []
    spread = math.inf
    for i, j in [(i, j) for i in range(len(meant)) for j in range(len(there))]:
        # One pair of holes fixes the shift, a second far one the turn; all others must agree.
        moved = meant + (there[j] - meant[i])
        for turn in np.radians(np.linspace(-5, 5, 21)):
            c, s = math.cos(turn), math.sin(turn)
            turned = (moved - there[j]) @ np.array([[c, s], [-s, c]]) + there[j]
            gaps = np.hypot(*(turned[:, None, :] - there[None, :, :]).transpose(2, 0, 1))
            near = [(int(a), int(np.argmin(gaps[a]))) for a in range(len(turned))]
            near = [(a, b) for a, b in near if gaps[a, b] < _MATCH_MM * scale]
            total = sum(float(gaps[a, b]) for a, b in near)
            if (len(near), -total) > (len(best), -spread) and len({b for _, b in near}) == len(
                near
            ):
                best, spread = near, total
    return best


def _compared(
    found: FoundPart,
    holes: Sequence[SheetHole],
    pairs: Sequence[tuple[int, int]],
    printed: Array,
    part: str,
) -> PartComparison:
    meant = np.array([(holes[a].x_mm, holes[a].y_mm) for a, _ in pairs])
    inverse = np.linalg.inv(printed[:, :2])
    # The part as the print would have to be: part holes in the print's own mm.
    there = (found.holes_px[[b for _, b in pairs], :2] - printed[:, 2]) @ inverse.T
    turn, laid = _laid(meant, there)
    if abs(math.degrees(turn)) > TURN_LIMIT_DEG:
        raise ReadingsRefused(
            f"the part lies {abs(math.degrees(turn)):.1f} degrees turned against the sheet",
            do="lay both against the same edge of the glass, the same way round",
        )
    off = laid - meant
    scale = math.sqrt(abs(float(np.linalg.det(printed[:, :2]))))
    reported = tuple(
        HoleOffset(
            holes[a].name,
            float(-dx),
            float(-dy),
            2 * HOLE_U_MM,
            float(found.holes_px[b, 2] / scale),
        )
        for (a, b), (dx, dy) in zip(pairs, off, strict=True)
    )
    fitted, left = _fit_of(part, meant, laid)
    outline = (found.outline_px - printed[:, 2]) @ inverse.T
    c, s = math.cos(turn), math.sin(turn)
    size = np.ptp(outline @ np.array([[c, -s], [s, c]]), axis=0)
    missing = tuple(h.name for k, h in enumerate(holes) if k not in {a for a, _ in pairs})
    size_mm = (float(size[0]), float(size[1]))
    return PartComparison(reported, fitted, left, size_mm, missing, _told(part, missing))


def _told(part: str, missing: tuple[str, ...]) -> tuple[Notice, ...]:
    text = (
        "part and print were seen by the same scanner the same way round: its error falls on both "
        "and cancels; offsets are in the print's own millimetres"
    )
    notices = [Notice("same-scanner", text, part)]
    if missing:
        text = "not found on the part: " + ", ".join(missing)
        notices.append(Notice("part-holes-missing", text, part))
    return tuple(notices)


def _laid(meant: Array, there: Array) -> tuple[float, Array]:
    """(turn in radians, part holes turned and shifted so that the decal lies on them best)."""
    a, b = meant - meant.mean(axis=0), there - there.mean(axis=0)
    turn = math.atan2(float(np.sum(a[:, 0] * b[:, 1] - a[:, 1] * b[:, 0])), float(np.sum(a * b)))
    c, s = math.cos(turn), math.sin(turn)
    laid: Array = b @ np.array([[c, -s], [s, c]]) + meant.mean(axis=0)
    return turn, laid


def _fit_of(part: str, meant: Array, laid: Array) -> tuple[PartRecord | None, float]:
    """(the part's error against the print, rms in mm that a fitted decal would leave)."""
    rms = float(np.sqrt(np.mean(np.sum((laid - meant) ** 2, axis=1))))
    spread = np.linalg.svd(meant - meant.mean(axis=0), compute_uv=False)
    if len(meant) < 3 or spread[-1] < 3.0:
        return None, rms
    affine = fit_affine(meant, laid)
    # Turn out what turning the decal does: upper triangular, as the records state it.
    r = np.linalg.qr(affine[:, :2])[1]
    signs = np.sign(np.diag(r))
    upper = r * signs[:, None]
    left = laid - (meant @ affine[:, :2].T + affine[:, 2])
    u = HOLE_U_MM / np.sqrt(np.maximum(np.sum((meant - meant.mean(axis=0)) ** 2, axis=0), 1e-9))
    record = PartRecord(
        part,
        float(upper[0, 0] - 1),
        float(upper[1, 1] - 1),
        float(upper[0, 1]),
        float(u[0]),
        float(u[1]),
        float(u[1]),
        same_rule_as_printer=True,
    )
    return record, float(np.sqrt(np.mean(np.sum(left**2, axis=1))))
