"""DXF entities to exact paths in drawing units, seen along -z.

Lines, arcs and circles stay exact, bulges become arcs, ellipses are unit arcs under an affine map,
cubic splines without weights become their own Bezier pieces; other splines are flattened within
``FLAT_SHARE`` of their size.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from itertools import pairwise
from typing import Any

from decalprep.geometry import Affine, Arc, Cubic, Line, Path, Point, Segment, circle_path

FLAT_SHARE = 1e-6
TINY_BULGE = 1e-9


def paths_of(entity: Any) -> list[Path] | None:
    """The paths of one simple entity; None where its type is not one of those read here."""
    reader = _READERS.get(entity.dxftype())
    return None if reader is None else [p for p in reader(entity) if p.segments]


def filled_paths_of(entity: Any) -> list[Path] | None:
    """The boundary of a filled entity (SOLID, TRACE, HATCH, MPOLYGON); None for other types."""
    kind = entity.dxftype()
    if kind in ("SOLID", "TRACE"):
        return _corners_filled(entity)
    if kind in ("HATCH", "MPOLYGON"):
        return hatch_boundary(entity)
    return None


def ocs_map(entity: Any, elevation: float = 0.0) -> Affine:
    """World x, y from the entity's own plane (its object coordinate system)."""
    ocs = entity.ocs()
    if not ocs.transform:
        return Affine()
    ux, uy, uz = ocs.ux, ocs.uy, ocs.uz
    return Affine(ux.x, ux.y, uy.x, uy.y, elevation * uz.x, elevation * uz.y)


def is_closed(segments: Sequence[Segment]) -> bool:
    """Whether the last piece ends where the first starts, to rounding."""
    if not segments:
        return False
    (x0, y0), (x1, y1) = segments[0].start, segments[-1].end
    reach = max(abs(x0), abs(y0), abs(x1), abs(y1), 1e-6)
    return math.dist((x0, y0), (x1, y1)) <= 1e-12 * reach + 1e-12


def _line(entity: Any) -> list[Path]:
    a, b = entity.dxf.start, entity.dxf.end
    if a.x == b.x and a.y == b.y:
        return []
    return [Path((Line((a.x, a.y), (b.x, b.y)),), closed=False)]


def _circle(entity: Any) -> list[Path]:
    centre, radius = entity.dxf.center, abs(float(entity.dxf.radius))
    if radius == 0:
        return []
    return [circle_path(centre.x, centre.y, 2 * radius).mapped(ocs_map(entity, centre.z))]


def _sweep(start_deg: float, end_deg: float) -> float:
    sweep = (end_deg - start_deg) % 360.0
    return sweep if sweep > 1e-9 else 360.0


def _arc(entity: Any) -> list[Path]:
    centre, radius = entity.dxf.center, abs(float(entity.dxf.radius))
    if radius == 0:
        return []
    start = float(entity.dxf.start_angle)
    arc = Arc((centre.x, centre.y), radius, start, _sweep(start, float(entity.dxf.end_angle)))
    whole = abs(arc.sweep_deg - 360) < 1e-9
    return [Path((arc,), closed=whole).mapped(ocs_map(entity, centre.z))]


def _elliptic(
    centre: Point, major: Point, minor: Point, start_deg: float, sweep_deg: float
) -> Path:
    """Part of an ellipse as a unit arc under the map of its axes."""
    unit = Arc((0.0, 0.0), 1.0, start_deg, sweep_deg)
    m = Affine(major[0], major[1], minor[0], minor[1], centre[0], centre[1])
    return Path((unit,), closed=abs(abs(sweep_deg) - 360) < 1e-9).mapped(m)


def _ellipse(entity: Any) -> list[Path]:
    dxf = entity.dxf
    major = dxf.major_axis
    if major.magnitude == 0:
        return []
    minor = dxf.extrusion.normalize().cross(major) * float(dxf.ratio)
    start = math.degrees(float(dxf.start_param))
    sweep = _sweep(start, math.degrees(float(dxf.end_param)))
    ends = (dxf.center.x, dxf.center.y), (major.x, major.y), (minor.x, minor.y)
    return [_elliptic(*ends, start, sweep)]


def bulged(corners: Sequence[tuple[float, float, float]], *, closed: bool) -> Path:
    """A path through (x, y, bulge) corners; a bulge is the tangent of a quarter of the arc."""
    segments: list[Segment] = []
    following = [*corners[1:], *corners[:1]] if closed else corners[1:]
    for (x0, y0, bulge), (x1, y1, _) in zip(corners, following, strict=False):
        if x0 == x1 and y0 == y1:
            continue
        if abs(bulge) < TINY_BULGE:
            segments.append(Line((x0, y0), (x1, y1)))
            continue
        lean = (1 - bulge * bulge) / (4 * bulge)
        centre = (x0 + x1) / 2 - lean * (y1 - y0), (y0 + y1) / 2 + lean * (x1 - x0)
        radius = math.dist((x0, y0), (x1, y1)) * (1 + bulge * bulge) / (4 * abs(bulge))
        start = math.degrees(math.atan2(y0 - centre[1], x0 - centre[0]))
        segments.append(Arc(centre, radius, start, math.degrees(4 * math.atan(bulge))))
    return Path(tuple(segments), closed or is_closed(segments))


def _lwpolyline(entity: Any) -> list[Path]:
    corners = [(float(x), float(y), float(b)) for x, y, b in entity.get_points("xyb")]
    path = bulged(corners, closed=bool(entity.closed))
    return [path.mapped(ocs_map(entity, float(entity.dxf.elevation)))]


def _polyline(entity: Any) -> list[Path]:
    if entity.is_polygon_mesh or entity.is_poly_face_mesh:
        return []
    shown = [v for v in entity.vertices if not v.dxf.flags & 16]
    flat = not entity.is_3d_polyline
    corners = [
        (v.dxf.location.x, v.dxf.location.y, float(v.dxf.get("bulge", 0.0)) if flat else 0.0)
        for v in shown
    ]
    path = bulged(corners, closed=bool(entity.is_closed))
    height = shown[0].dxf.location.z if shown else 0.0
    return [path.mapped(ocs_map(entity, height)) if flat else path]


def spline_path(tool: Any) -> Path:
    """The path of an ezdxf B-spline: its own Bezier pieces where it is a plain clamped cubic."""
    if tool.degree == 3 and not tool.is_rational and tool.is_clamped:
        segments: list[Segment] = [
            Cubic(*((float(p.x), float(p.y)) for p in piece))
            for piece in tool.bezier_decomposition()
        ]
        return Path(tuple(segments), is_closed(segments))
    points = _sampled(tool)
    lines = [Line(a, b) for a, b in pairwise(points) if a != b]
    return Path(tuple(lines), is_closed(lines))


def _sampled(tool: Any) -> list[Point]:
    """Points of a B-spline over its own range, chords within ``FLAT_SHARE`` of its size.

    The range is from knot ``degree`` to knot ``count``: a spline whose ends are not clamped does
    not reach its end knots, which the library's own flattening overlooks.
    """
    knots, degree = [float(k) for k in tool.knots()], int(tool.degree)
    first, last = knots[degree], knots[len(knots) - 1 - degree]
    spans = sorted({first, last, *(k for k in knots if first < k < last)})
    controls = [(float(p.x), float(p.y)) for p in tool.control_points]
    xs, ys = zip(*controls, strict=True)
    tolerance = max(FLAT_SHARE * max(max(xs) - min(xs), max(ys) - min(ys)), 1e-12)

    def at(t: float) -> Point:
        p = tool.point(t)
        return float(p.x), float(p.y)

    points = [at(first)]

    def split(t0: float, p0: Point, t1: float, p1: Point, depth: int) -> None:
        middle = (t0 + t1) / 2
        p = at(middle)
        off = math.dist(p, ((p0[0] + p1[0]) / 2, (p0[1] + p1[1]) / 2))
        if depth < 2 or (off > tolerance and depth < 14):
            split(t0, p0, middle, p, depth + 1)
            split(middle, p, t1, p1, depth + 1)
        else:
            points.append(p1)

    for t0, t1 in pairwise(spans):
        split(t0, at(t0), t1, at(t1), 0)
    return points


def _spline(entity: Any) -> list[Path]:
    return [spline_path(entity.construction_tool())]


def _face_edges(entity: Any) -> list[Path]:
    points = [(p.x, p.y) for p in entity.wcs_vertices()]
    return [bulged([(x, y, 0.0) for x, y in points], closed=True)]


def _corners_filled(entity: Any) -> list[Path]:
    points = [(p.x, p.y) for p in entity.wcs_vertices()]
    return [bulged([(x, y, 0.0) for x, y in points], closed=True)] if len(points) > 2 else []


# ---------------------------------------------------------------- hatches


def hatch_boundary(entity: Any) -> list[Path]:
    """The closed loops of a hatch, its text boxes left out."""
    m = ocs_map(entity, float(entity.dxf.elevation.z))
    loops = []
    for boundary in entity.paths.paths:
        if boundary.path_type_flags & 8:
            continue
        if hasattr(boundary, "vertices"):
            corners = [(float(x), float(y), float(b)) for x, y, b in boundary.vertices]
            path = bulged(corners, closed=True)
        else:
            path = _edges_joined(boundary.edges)
        if path.segments:
            loops.append(path.mapped(m))
    return loops


def _edges_joined(edges: Iterable[Any]) -> Path:
    """The edges of one boundary in their order, each turned so that it goes on from the last."""
    segments: list[Segment] = []
    for edge in edges:
        piece = _edge(edge)
        if not piece.segments:
            continue
        if segments and math.dist(segments[-1].end, piece.segments[-1].end) < math.dist(
            segments[-1].end, piece.segments[0].start
        ):
            piece = piece.reversed()
        segments.extend(piece.segments)
    return Path(tuple(segments))


def _edge(edge: Any) -> Path:
    kind = edge.type.name
    if kind == "LINE":
        return Path((Line((edge.start.x, edge.start.y), (edge.end.x, edge.end.y)),), False)
    if kind == "ARC":
        start = float(edge.start_angle)
        centre = (edge.center.x, edge.center.y)
        piece = Path((Arc(centre, edge.radius, start, _sweep(start, edge.end_angle)),), False)
    elif kind == "ELLIPSE":
        major = (edge.major_axis.x, edge.major_axis.y)
        minor = (-major[1] * edge.ratio, major[0] * edge.ratio)
        start = float(edge.start_angle)
        piece = _elliptic(
            (edge.center.x, edge.center.y), major, minor, start, _sweep(start, edge.end_angle)
        )
    else:
        return spline_path(edge.construction_tool())
    return piece if edge.ccw else piece.reversed()


_READERS = {
    "LINE": _line,
    "CIRCLE": _circle,
    "ARC": _arc,
    "ELLIPSE": _ellipse,
    "LWPOLYLINE": _lwpolyline,
    "POLYLINE": _polyline,
    "SPLINE": _spline,
    "HELIX": _spline,
    "3DFACE": _face_edges,
}
