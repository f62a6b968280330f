"""Legend too near an edge or a hole: a knife a little off would cut into it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from shapely.geometry import LineString, MultiLineString, Polygon, box
from shapely.geometry.base import BaseGeometry
from shapely.ops import unary_union

from decalprep.geometry import Affine, Box, Path
from decalprep.model import Artwork, Hole, Notice, Severity
from decalprep.outline.drawn import COARSE_MM, is_white, mapped_box

if TYPE_CHECKING:
    from decalprep.pdfstream import PageContents, PaintedShape

GROUND_SHARE = 0.3
"""A filled shape of this share of the decal's area is ground, not legend (our choice)."""
SAME_LINE_MM = 0.2


@dataclass(frozen=True)
class SafeMargins:
    """Least distances in mm of legend from the cut outline and from holes."""

    edge_mm: float = 1.5
    hole_mm: float = 0.8


def check_safe_margin(
    artwork: Artwork,
    contents: PageContents,
    outline: Path,
    holes: Sequence[Hole],
    *,
    decal_from_artwork: Affine,
    margins: SafeMargins,
) -> tuple[Notice, ...]:
    """Notices, with place, for legend nearer to the outline or a hole than ``margins`` (decal mm).

    Legend is text (by its box, which is a little larger than the ink) and painted shapes, less
    grounds (large fills), stripes that run past the edge on purpose, white fills, and lines that
    follow the outline or a hole. Does not look into pictures.
    """
    m = decal_from_artwork @ artwork.artwork_from_page
    inside = outline.polygon(COARSE_MM)
    rims = [(h.label or "a hole", h.contour.polygon(COARSE_MM)) for h in holes]
    told = []
    for what, shape in _legend(contents, m, inside, [p for _, p in rims]):
        if not shape.intersects(inside):
            continue
        told.extend(_edge_notice(what, shape, inside, artwork, margins))
        for name, hole in rims:
            told.extend(_hole_notice(what, shape, (name, hole), artwork, margins))
    return tuple(told)


def _edge_notice(
    what: str, shape: BaseGeometry, inside: Polygon, artwork: Artwork, margins: SafeMargins
) -> list[Notice]:
    away = float(shape.distance(inside.exterior))
    if away >= margins.edge_mm:
        return []
    place = Box(*shape.bounds)
    where = f"at {place.centre[0]:.1f}, {place.centre[1]:.1f} mm"
    numbers = (("distance_mm", away),)
    if away == 0 and not inside.contains(shape):
        text = f"{what} {where} is cut by the outline"
        return [Notice("legend-cut", text, artwork.name, Severity.DANGER, place, numbers)]
    text = f"{what} {where} is {away:.2f} mm from the outline (safe margin {margins.edge_mm:g} mm)"
    return [Notice("legend-near-edge", text, artwork.name, Severity.WARNING, place, numbers)]


def _hole_notice(
    what: str,
    shape: BaseGeometry,
    hole: tuple[str, Polygon],
    artwork: Artwork,
    margins: SafeMargins,
) -> list[Notice]:
    away = float(shape.distance(hole[1]))
    if away >= margins.hole_mm:
        return []
    place = Box(*shape.bounds)
    text = (
        f"{what} at {place.centre[0]:.1f}, {place.centre[1]:.1f} mm is "
        + (f"{away:.2f} mm from" if away > 0 else "cut by")
        + f" {hole[0]} (safe margin {margins.hole_mm:g} mm)"
    )
    severity = Severity.WARNING if away > 0 else Severity.DANGER
    numbers = (("distance_mm", away),)
    return [Notice("legend-near-hole", text, artwork.name, severity, place, numbers)]


def _legend(
    contents: PageContents, m: Affine, inside: Polygon, holes: Sequence[Polygon]
) -> list[tuple[str, BaseGeometry]]:
    found: list[tuple[str, BaseGeometry]] = []
    for word, b in _words(contents, m):
        found.append((f"the text {word!r}", box(b.x0, b.y0, b.x1, b.y1)))
    rims = [inside.exterior, *(p.exterior for p in holes)]
    followed = MultiLineString([list(r.coords) for r in rims]).buffer(SAME_LINE_MM)
    for shape in contents.shapes:
        if not shape.visible or shape.clipped:
            continue
        painted = painted_area(shape, m)
        if painted is None or painted.is_empty:
            continue
        white = (not shape.fill or is_white(shape.fill_colour)) and (
            not shape.stroke or is_white(shape.stroke_colour)
        )
        ground = shape.fill and painted.area >= GROUND_SHARE * inside.area
        stripe = shape.fill and not painted.within(inside.buffer(0.5))
        bare = shape.fill and white and _encloses_no_ground(shape, contents)
        gone = any(painted.within(p.buffer(SAME_LINE_MM)) for p in holes)
        if ground or stripe or bare or gone or painted.within(followed):
            continue
        found.append(("a legend shape", painted))
    return found


def _words(contents: PageContents, m: Affine) -> list[tuple[str, Box]]:
    """Shown strings in mm, letters that follow one another on one line put together."""
    words: list[tuple[str, Box]] = []
    for text in sorted(contents.texts, key=lambda t: t.order):
        if not text.visible or text.render_mode == 3 or not text.text.strip():
            continue
        b = mapped_box(text.box_pt, m)
        if words:
            word, last = words[-1]
            gap = b.x0 - last.x1
            level = abs(b.y0 - last.y0) + abs(b.y1 - last.y1) <= 0.2 * b.height
            if level and -0.2 * b.height <= gap <= 0.6 * b.height:
                space = " " if gap > 0.22 * b.height else ""
                words[-1] = (word + space + text.text.strip(), last.union(b))
                continue
        words.append((text.text.strip(), b))
    return words


def _encloses_no_ground(shape: PaintedShape, contents: PageContents) -> bool:
    """White is legend where a dark ground was painted before it, else it is bare paper."""
    return not any(
        s.order < shape.order and s.fill and not is_white(s.fill_colour) and s.visible
        for s in contents.shapes
    )


def painted_area(
    shape: PaintedShape, m: Affine, tolerance: float = COARSE_MM
) -> BaseGeometry | None:
    """What the shape covers in decal mm (fill by its own rule, stroke by its width)."""
    areas: list[BaseGeometry] = []
    if shape.fill:
        paths = [p.mapped(m) for p in shape.paths]
        areas.append(fill_area(paths, even_odd=shape.even_odd, tolerance=tolerance))
    if shape.stroke:
        width = max(shape.stroke_width_pt[0] * m.stretch[0], 0.01)
        for path in shape.paths:
            points = path.mapped(m).points(tolerance)
            if path.closed and len(points) > 2:
                points.append(points[0])
            if len(points) > 1:
                areas.append(LineString(points).buffer(width / 2, cap_style="flat"))
    return unary_union(areas) if areas else None


def fill_area(
    paths: Sequence[Path], *, even_odd: bool, tolerance: float = COARSE_MM
) -> BaseGeometry:
    """The filled area of closed paths in mm: even-odd, or non-zero winding.

    Non-zero is worked out ring by ring from the sense of turning, outermost first; rings that
    cross one another with opposite senses are taken as even-odd.
    """
    rings = []
    for path in paths:
        points = path.points(tolerance)
        if len(points) >= 3:
            polygon = Polygon(points)
            sense = 1 if polygon.exterior.is_ccw else -1
            rings.append((polygon if polygon.is_valid else polygon.buffer(0), sense))
    rings.sort(key=lambda r: -r[0].area)
    area: BaseGeometry = Polygon()
    if even_odd:
        for polygon, _ in rings:
            area = area.symmetric_difference(polygon)
        return area
    for index, (polygon, sense) in enumerate(rings):
        winding = sum(s for other, s in rings[:index] if other.contains(polygon))
        area = area.union(polygon) if winding + sense != 0 else area.difference(polygon)
    return area
