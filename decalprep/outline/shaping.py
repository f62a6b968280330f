"""Outlines moved in or out, and corners rounded, with arcs kept."""

import math

from shapely.geometry import MultiPolygon, Polygon
from shapely.geometry.base import BaseGeometry

from decalprep.errors import InputProblem
from decalprep.geometry import Arc, Line, Path, Segment, circle_path
from decalprep.outline.arcs import arcs_from_points

FINE_MM = 0.0005
"""Curves are flattened this finely before an offset, so that arcs can be found again in it."""


def offset_path(path: Path, by_mm: float) -> Path:
    """The closed path moved outward by ``by_mm`` (inward if negative), corners kept sharp.

    Raises:
        InputProblem: nothing is left of it, or it falls into pieces.

    >>> from decalprep.geometry import Box, rectangle_path
    >>> offset_path(rectangle_path(Box(0, 0, 10, 10)), -1).polygon().area
    64.0
    """
    if by_mm == 0:
        return path
    polygon = moved(path.polygon(FINE_MM), by_mm)
    parts = polygons_of(polygon)
    if len(parts) != 1:
        state = "leaves nothing of it" if not parts else f"breaks it into {len(parts)} pieces"
        raise InputProblem(f"moving the outline by {by_mm:g} mm {state}", do="use a smaller offset")
    return arcs_from_points(list(parts[0].exterior.coords)[:-1])


def moved(shape: BaseGeometry, by_mm: float) -> BaseGeometry:
    """A polygon grown by ``by_mm`` (shrunk if negative), corners sharp up to 5 times the offset."""
    if abs(by_mm) < 1e-9:
        return shape
    return shape.buffer(by_mm, join_style="mitre", mitre_limit=5.0, quad_segs=64)


def polygons_of(shape: BaseGeometry) -> list[Polygon]:
    """The polygons in a geometry, largest first."""
    parts = list(shape.geoms) if hasattr(shape, "geoms") else [shape]
    found: list[Polygon] = []
    for part in parts:
        if isinstance(part, MultiPolygon):
            found.extend(part.geoms)
        elif isinstance(part, Polygon) and not part.is_empty:
            found.append(part)
    return sorted(found, key=lambda p: (-p.area, p.bounds))


def paths_of(shape: BaseGeometry, tolerance: float = 0.002) -> tuple[Path, ...]:
    """Outer and inner rings of a polygon as closed paths (mm), arcs found within ``tolerance``."""
    rings = [r for p in polygons_of(shape) for r in (p.exterior, *p.interiors)]
    return tuple(arcs_from_points(list(r.coords)[:-1], tolerance) for r in rings)


def round_corners(path: Path, radius_mm: float) -> tuple[Path, int]:
    """(path with its line-to-line corners rounded by true arcs, how many were too tight to round).

    Does not touch corners where an arc or curve ends.

    >>> from decalprep.geometry import Box, rectangle_path
    >>> rounded, missed = round_corners(rectangle_path(Box(0, 0, 10, 10)), 2)
    >>> len(rounded.segments), missed
    (8, 0)
    """
    if radius_mm <= 0 or not path.closed:
        return path, 0
    pieces = list(path.segments)
    cuts = [_fillet(pieces[k - 1], pieces[k], radius_mm) for k in range(len(pieces))]
    tangents = [c[0] if c else 0.0 for c in cuts]
    missed = 0
    for k, piece in enumerate(pieces):
        if isinstance(piece, Line):
            following = (k + 1) % len(pieces)
            room = math.dist(piece.start, piece.end)
            if tangents[k] + tangents[following] > room + 1e-9:
                for tight in (k, following):
                    if cuts[tight] is not None:
                        missed += 1
                        cuts[tight], tangents[tight] = None, 0.0
    built: list[Segment] = []
    for k, piece in enumerate(pieces):
        cut, later = cuts[k], cuts[(k + 1) % len(pieces)]
        if cut is not None:
            built.append(cut[1])
        if isinstance(piece, Line):
            start = cut[1].end if cut else piece.start
            end = later[1].start if later else piece.end
            if math.dist(start, end) > 1e-9:
                built.append(Line(start, end))
        else:
            built.append(piece)
    return Path(tuple(built)), missed


def _fillet(before: Segment, after: Segment, radius: float) -> tuple[float, Arc] | None:
    """(tangent length, arc) of the rounding between two lines; None where there is no corner."""
    if not (isinstance(before, Line) and isinstance(after, Line)):
        return None
    ux, uy = _direction(before)
    vx, vy = _direction(after)
    turn = math.atan2(ux * vy - uy * vx, ux * vx + uy * vy)
    if abs(turn) < 1e-6 or abs(turn) > math.pi - 1e-3:
        return None
    tangent = radius * math.tan(abs(turn) / 2)
    x, y = after.start[0] - tangent * ux, after.start[1] - tangent * uy
    side = 1 if turn > 0 else -1
    centre = (x - side * radius * uy, y + side * radius * ux)
    start = math.degrees(math.atan2(y - centre[1], x - centre[0]))
    return tangent, Arc(centre, radius, start, math.degrees(turn))


def _direction(line: Line) -> tuple[float, float]:
    length = math.dist(line.start, line.end)
    if length == 0:
        return 0.0, 0.0
    return (line.end[0] - line.start[0]) / length, (line.end[1] - line.start[1]) / length


def offset_circle(x: float, y: float, diameter: float, by_mm: float) -> Path | None:
    """A circle grown by ``by_mm`` on the radius; None where nothing is left."""
    grown = diameter + 2 * by_mm
    return circle_path(x, y, grown) if grown > 0 else None
