"""Compare with the part: the bare part and the printed sheet on one scanner, the same way round.

Both are seen through the same scanner lying the same way, so its error falls on both and cancels:
what differs between them is real. The decal as printed is laid on the holes by shift and turn
alone, as a hand would (on the edge, where there are fewer than two); what is left at each hole is
how far the legend will be off there.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from decalprep.errors import ReadingsRefused
from decalprep.model import Notice, PartRecord, Severity
from decalprep.scan.bare import FoundPart, find_part
from decalprep.scan.edges import (
    EDGE_U_MM,
    REACH_MM,
    EdgeDeviation,
    edge_deviation,
    laid_by_edge,
    turned,
)
from decalprep.scan.findings import ExpectedPrint, SheetDecal
from decalprep.scan.hole_pairs import HoleSet, hole_pairs, refuse_too_few
from decalprep.scan.images import ScanImage
from decalprep.scan.lines import sample_lines
from decalprep.scan.page import fit_affine
from decalprep.scan.part_ranges import (
    UNEVEN_MM,
    Left,
    OwnPlace,
    own_place,
    range_mm,
    sheet_gradient,
    uneven_share,
)
from decalprep.scan.placing import place_sheet

Array = npt.NDArray[np.float64]
Point = tuple[float, float]

TURN_LIMIT_DEG = 3.0
"""Turned further than this against the sheet, the scanner's error no longer cancels."""
HOLE_U_MM = 0.03
"""Standard uncertainty of a hole's centre on a scanned part (from simulation, flat face)."""
ELSEWHERE_MM = 40.0
"""Lying further apart than this is told: lens and carriage err differently (assumed, no source)."""
FEW = 0.9
"""Less than this of a decal's line seen is told."""


@dataclass(frozen=True)
class SheetHole:
    """A round hole of the decal: its name, intended centre on the sheet (true mm), diameter."""

    name: str
    x_mm: float
    y_mm: float
    diameter_mm: float


@dataclass(frozen=True)
class HoleOffset:
    """How far the legend is off at one hole once the decal lies as well as it can, sheet mm.

    ``x_mm``, ``y_mm``: where the hole was meant.
    """

    name: str
    dx_mm: float
    dy_mm: float
    range_mm: float
    part_diameter_mm: float
    x_mm: float = 0.0
    y_mm: float = 0.0

    @property
    def distance_mm(self) -> float:
        """Length of the offset."""
        return math.hypot(self.dx_mm, self.dy_mm)


@dataclass(frozen=True)
class PartComparison:
    """The offsets hole by hole, the edge place by place, the part's error against the print.

    ``fitted`` stretches the decal so that it fits; None where fewer than three holes that are not
    on a line were found. ``left_mm`` is what it would leave at the holes (rms; without one, what
    there is now). ``part_size_mm`` is the part's outline, across and up, in print mm. ``edge`` is
    None where the part's edge is not near the decal's.
    """

    holes: tuple[HoleOffset, ...]
    fitted: PartRecord | None
    left_mm: float
    part_size_mm: tuple[float, float]
    missing: tuple[str, ...]
    notices: tuple[Notice, ...]
    edge: EdgeDeviation | None = None


def compare_with_part(
    part_scan: ScanImage,
    sheet_scan: ScanImage,
    expected: ExpectedPrint,
    decal: SheetDecal,
    holes: Sequence[SheetHole],
    *,
    part: str = "",
    uneven_mm: float = UNEVEN_MM,
) -> PartComparison:
    """How far a printed decal's legend will be off on a real part, in mm, hole by hole.

    ``uneven_mm``: so far 100 mm differ between places of the glass that are 100 mm apart. Does not
    measure absolute sizes, and does not see the far rim of deep holes or a warped face.

    Raises:
        InputProblem: the sheet, the decal's line or the part cannot be found in its scan.
        ReadingsRefused: they lie differently on the scanner, or most holes do not match.
    """
    lines = [*(d.outline for d in expected.decals), *expected.marks]
    samples = sample_lines(lines)
    placed = place_sheet(sheet_scan, lines, samples, (expected.width_mm, expected.height_mm))
    own = sample_lines([decal.outline])
    sure = sheet_gradient(placed, samples)
    place = own_place(sheet_scan, placed.image_from_mm, own, sure)
    printed = place.image_from_mm
    found = find_part(part_scan, _scale_of(printed))
    apart = _apart(decal, _print_mm(found.outline_px, printed))
    place = place.wider(uneven_share(apart, uneven_mm))
    pairs: list[tuple[int, int]] = []
    if len(holes) > 1:
        meant, there = _hole_sets(found, holes, printed)
        pairs = hole_pairs(meant, there)
        refuse_too_few(meant, there, pairs, part_scan.name)
    compared = _compared(found, decal, holes, pairs, place, part or part_scan.name)
    notices = _told(compared, place, apart, part or part_scan.name)
    return replace(compared, notices=notices)


def _print_mm(px: Array, printed: Array) -> Array:
    """Places in the picture as the print would have to be: in the print's own mm."""
    inverse = np.linalg.inv(printed[:, :2])
    return np.asarray((px - printed[:, 2]) @ inverse.T)


def _hole_sets(
    found: FoundPart, holes: Sequence[SheetHole], printed: Array
) -> tuple[HoleSet, HoleSet]:
    """The holes of the decal, and those of the part in the print's own mm."""
    meant = np.array([(h.x_mm, h.y_mm) for h in holes])
    there = _print_mm(found.holes_px[:, :2], printed)
    across = found.holes_px[:, 2] / _scale_of(printed)
    return HoleSet(meant, np.array([h.diameter_mm for h in holes])), HoleSet(there, across)


def _scale_of(image_from_mm: Array) -> float:
    """Pixels per mm."""
    return math.sqrt(abs(float(np.linalg.det(image_from_mm[:, :2]))))


def _compared(
    found: FoundPart,
    decal: SheetDecal,
    holes: Sequence[SheetHole],
    pairs: Sequence[tuple[int, int]],
    place: OwnPlace,
    part: str,
) -> PartComparison:
    printed = place.image_from_mm
    there = _print_mm(found.holes_px[:, :2], printed)
    edge = _print_mm(found.outline_px, printed)
    mine = np.array([(holes[a].x_mm, holes[a].y_mm) for a, _ in pairs]).reshape(-1, 2)
    seen = there[[b for _, b in pairs]]
    turn, holes_laid, edge_laid = _laid(decal, mine, seen, edge, part)
    if abs(math.degrees(turn)) > TURN_LIMIT_DEG:
        raise ReadingsRefused(
            f"the part lies {abs(math.degrees(turn)):.1f} degrees turned against the sheet",
            where=part,
            do="lay both against the same edge of the glass, the same way round",
        )
    affine = _affine_of(mine, holes_laid)
    left = holes_laid - mine
    if affine is not None:
        left = holes_laid - (mine @ affine[:, :2].T + affine[:, 2])
    uncertain = Left(place, mine if len(mine) > 1 else np.asarray(decal.outline, dtype=float))
    ranges = [range_mm(HOLE_U_MM, float(u)) for u in uncertain.u_mm(mine)]
    offsets = tuple(
        HoleOffset(
            holes[a].name,
            dx_mm=float(at[0] - laid[0]),
            dy_mm=float(at[1] - laid[1]),
            range_mm=within,
            part_diameter_mm=float(found.holes_px[b, 2] / _scale_of(printed)),
            x_mm=float(at[0]),
            y_mm=float(at[1]),
        )
        for (a, b), at, laid, within in zip(pairs, mine, holes_laid, ranges, strict=True)
    )
    size = np.ptp(edge_laid, axis=0)
    missing = tuple(h.name for k, h in enumerate(holes) if k not in {a for a, _ in pairs})
    deviation = _widened(edge_deviation(decal.outline, edge_laid, affine), uncertain)
    return PartComparison(
        offsets,
        _record_of(part, mine, affine, place) if affine is not None else None,
        float(np.sqrt(np.mean(np.sum(left**2, axis=1)))) if len(left) else 0.0,
        (float(size[0]), float(size[1])),
        missing,
        (),
        deviation,
    )


def _widened(edge: EdgeDeviation | None, uncertain: Left) -> EdgeDeviation | None:
    """The edge with the range of the place where it is least known."""
    if edge is None:
        return None
    places, outward = np.array(edge.places_mm), np.array(edge.outward)
    return replace(
        edge, range_mm=range_mm(EDGE_U_MM, float(uncertain.u_across_mm(places, outward).max()))
    )


def _told(found: PartComparison, place: OwnPlace, apart_mm: float, part: str) -> tuple[Notice, ...]:
    text = (
        "part and print were seen by the same scanner the same way round: its error falls on both "
        "and cancels; offsets are in the print's own millimetres. It does not cancel if one of "
        "them was turned, scanned elsewhere on the glass or at another setting"
    )
    notices = [Notice("same-scanner", text, part, Severity.NOTE)]
    if apart_mm > ELSEWHERE_MM:
        text = (
            f"the part lay {apart_mm:.0f} mm elsewhere on the glass than the decal: a scanner's "
            "error differs from place to place, so it cancels in part only and ranges are wider; "
            "lay it where the decal was"
        )
        notices.append(Notice("part-elsewhere", text, part, numbers=(("apart_mm", apart_mm),)))
    if place.share < FEW:
        text = (
            f"only {100 * place.share:.0f} % of the decal's cut line is seen in the scan of its "
            "sheet: where it is not seen it may be stretched, and ranges are wider"
        )
        notices.append(Notice("print-lines-missing", text, part, numbers=(("share", place.share),)))
    if found.missing:
        text = "not found on the part: " + ", ".join(found.missing)
        notices.append(Notice("part-holes-missing", text, part))
    if found.edge is None:
        text = (
            f"the part's edge lies nowhere near the decal's (within {REACH_MM:g} mm): edges were "
            "not compared"
        )
        notices.append(Notice("part-edge-not-compared", text, part))
    return tuple(notices)


def _apart(decal: SheetDecal, edge: Array) -> float:
    """How far the middle of a part lay from that of its decal on the glass, mm."""
    ring = np.asarray(decal.outline, dtype=np.float64)
    away = (edge.min(axis=0) + edge.max(axis=0) - ring.min(axis=0) - ring.max(axis=0)) / 2
    return float(np.hypot(*away))


def _laid(
    decal: SheetDecal, meant: Array, there: Array, edge: Array, part: str
) -> tuple[float, Array, Array]:
    """(turn in radians; holes and edge of the part, turned and shifted so that the decal fits)."""
    if len(meant) < 2:
        by_edge = laid_by_edge(decal.outline, edge)
        if by_edge is None:
            raise ReadingsRefused(
                "the part's edge does not match the decal's, and there are no two holes to go by",
                where=part,
                do="lay the part face down the same way round as the sheet",
            )
        ring = np.asarray(decal.outline, dtype=np.float64)
        middle = (ring.min(axis=0) + ring.max(axis=0)) / 2
        return by_edge[0], turned(there, middle, *by_edge), turned(edge, middle, *by_edge)
    a, b = meant - meant.mean(axis=0), there - there.mean(axis=0)
    turn = math.atan2(float(np.sum(a[:, 0] * b[:, 1] - a[:, 1] * b[:, 0])), float(np.sum(a * b)))
    shift = meant.mean(axis=0) - there.mean(axis=0)
    about = meant.mean(axis=0)
    return turn, turned(there, about, -turn, shift), turned(edge, about, -turn, shift)


def _affine_of(meant: Array, laid: Array) -> Array | None:
    """The decal to one that fits the part's holes (2 x 3); None where they do not determine it."""
    if len(meant) < 3 or np.linalg.svd(meant - meant.mean(axis=0), compute_uv=False)[-1] < 3.0:
        return None
    return fit_affine(meant, laid)


def _record_of(part: str, meant: Array, affine: Array, place: OwnPlace) -> PartRecord:
    """The part's error against the print."""
    # Turn out what turning the decal does: upper triangular, as the records state it.
    r = np.linalg.qr(affine[:, :2])[1]
    upper = r * np.sign(np.diag(r))[:, None]
    u = HOLE_U_MM / np.sqrt(np.maximum(np.sum((meant - meant.mean(axis=0)) ** 2, axis=0), 1e-9))
    c = place.covariance
    lean = float(c[3, 3] + c[4, 4] + 2 * c[3, 4])
    return PartRecord(
        part,
        float(upper[0, 0] - 1),
        float(upper[1, 1] - 1),
        float(upper[0, 1]),
        math.hypot(float(u[0]), math.sqrt(c[2, 2])),
        math.hypot(float(u[1]), math.sqrt(c[5, 5])),
        math.hypot(float(u[1]), math.sqrt(lean)),
        same_rule_as_printer=True,
    )
