"""Mesh files to the face of a part: outline and holes as exact loops in mm, thickness.

The corners of a faceted circle lie on the true circle, its edges inside it: holes are fitted
through the corners, and how far the edges fall short is told as the facet error. The face is seen
from outside; its frame has the lower left of the outline's box at the origin.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from pathlib import Path as FilePath
from typing import Any

import numpy as np
from shapely import affinity
from shapely.geometry import Polygon

from decalprep.errors import InputProblem
from decalprep.geometry import Box, Circle, Path, circle_path, fit_circle, path_from_ring
from decalprep.intake.files import kind_of, read_whole
from decalprep.intake.meshfile import healed, loaded, one_body, unit_doubt
from decalprep.intake.meshflats import Flat, chosen_flat, flat_faces
from decalprep.intake.meshloops import face_polygons, sagitta
from decalprep.intake.meshprobe import Probe
from decalprep.intake.options import FaceOptions
from decalprep.model import Hole, Notice, PartFace, Severity
from decalprep.units import format_mm

Array = np.ndarray[Any, np.dtype[Any]]

LEAST_CORNERS = 8
ON_CIRCLE_MM = 0.005
"""Corners of a round hole lie on its circle within this: ten times the rounding of mesh files."""


def read_mesh_face(path: FilePath, options: FaceOptions) -> PartFace:
    """The face of a part from an STL, 3MF or OBJ file: outline, holes, thickness in mm.

    Does not follow chamfers and rounded edges beside the flat, nor take blind recesses for holes
    unless asked to; both are told.

    Raises:
        InputProblem: unreadable or broken beyond healing; no flat face that looks there.
        TooMuch: more facets than the limit.
        UsageProblem: an unknown direction, unit or body.
    """
    where = str(path)
    data = read_whole(path, options.limits)
    kind = kind_of(data, path)
    mesh, notices = loaded(data, kind, options, where)
    notices += unit_doubt(mesh, options, kind, where)
    notices += healed(mesh, where)
    mesh = one_body(mesh, options.body, where)
    triangles = np.asarray(mesh.triangles, dtype=float)
    flats = flat_faces(triangles, options.flat_mm)
    flat, rival = chosen_flat(flats, float(mesh.area), options, where)
    if rival is not None:
        notices.append(_rival_notice(flat, rival, where))
    return _face(mesh, flat, options, notices, where)


def _rival_notice(flat: Flat, rival: Flat, where: str) -> Notice:
    text = (
        f"the face that looks {flat.towards} is taken; the one that looks {rival.towards} is as "
        "large, and its outline is the mirror image of this if it is the other side: say which"
    )
    return Notice("face-tie", text, where)


def _face(
    mesh: Any, flat: Flat, options: FaceOptions, notices: list[Notice], where: str
) -> PartFace:
    seen = np.asarray(mesh.vertices, dtype=float) @ flat.frame.T
    polygons, mended = face_polygons(seen[:, :2], np.asarray(mesh.faces)[flat.facets])
    if not polygons:
        raise InputProblem("the face's outline does not close", where=where, do="repair the mesh")
    if mended:
        text = "the rim of the face did not close and was put together again within 0.0001 mm"
        notices.append(Notice("face-mended", text, where))
    if len(polygons) > 1:
        text = f"{len(polygons) - 1} smaller flats in the same plane are left out"
        notices.append(Notice("face-apart", text, where, Severity.NOTE))
    whole = polygons[0]
    probe = Probe(seen[np.asarray(mesh.faces)], flat.offset_mm)
    thickness = probe.thickness(whole)
    kept = _sorted_rings(whole, probe, options, notices, where)
    placed = _Placed.of(whole, options.turn_deg)
    notices += _edge_notice(seen, whole, where)
    return _described(flat, placed, kept, thickness, notices)


@dataclass(frozen=True)
class _Ring:
    """A hole's rim before it is placed, and what stands in it ("" where it goes through)."""

    polygon: Polygon
    standing: str = ""


@dataclass(frozen=True)
class _Placed:
    """How the face is laid on the paper: turned, then its box's lower left put at the origin."""

    outline: Polygon
    turn_deg: float
    x0: float
    y0: float

    @staticmethod
    def of(whole: Polygon, turn_deg: float) -> _Placed:
        turned = affinity.rotate(Polygon(whole.exterior), turn_deg, origin=(0, 0))
        x0, y0, _, _ = turned.bounds
        return _Placed(affinity.translate(turned, -x0, -y0), turn_deg, x0, y0)

    def moved(self, polygon: Polygon) -> Polygon:
        turned = affinity.rotate(polygon, self.turn_deg, origin=(0, 0))
        return affinity.translate(turned, -self.x0, -self.y0)


def _sorted_rings(
    whole: Polygon, probe: Probe, options: FaceOptions, notices: list[Notice], where: str
) -> list[_Ring]:
    kept, blind, raised = [], 0, 0
    for ring in whole.interiors:
        polygon = Polygon(ring)
        standing, depth_mm = probe.inside(polygon, whole)
        if standing == "blind":
            blind += 1
            if not options.recesses:
                continue
        raised += standing == "raised"
        label = f"{standing} {format_mm(depth_mm)}" if standing else ""
        kept.append(_Ring(polygon, label))
    if blind:
        done = "taken for holes too" if options.recesses else "not taken for holes"
        text = f"{blind} blind recesses in the face are {done}; the decal lies over them"
        if options.recesses:
            text = f"{blind} blind recesses in the face are {done}"
        notices.append(Notice("face-recesses", text, where, Severity.NOTE))
    if raised:
        text = f"something stands up from the face in {raised} places; the decal is cut out there"
        notices.append(Notice("face-raised", text, where))
    return kept


def _edge_notice(seen: Array, whole: Polygon, where: str) -> list[Notice]:
    """Told where the part reaches past the flat: chamfers, rounded edges, flanges."""
    x0, y0, x1, y1 = whole.bounds
    low, high = seen[:, :2].min(axis=0), seen[:, :2].max(axis=0)
    past = max(x0 - low[0], y0 - low[1], high[0] - x1, high[1] - y1)
    if past <= 0.05:
        return []
    size = f"{format_mm(high[0] - low[0])} x {format_mm(high[1] - low[1])}"
    text = (
        f"the part is {size} seen from there and reaches {format_mm(float(past))} past the flat "
        "face; the decal covers the flat alone"
    )
    return [Notice("face-inside-part", text, where, Severity.NOTE)]


def _described(
    flat: Flat,
    placed: _Placed,
    rings: list[_Ring],
    thickness_mm: float | None,
    notices: list[Notice],
) -> PartFace:
    outline, _, worst = _curved(placed.outline)
    holes = []
    for ring in rings:
        contour, circle, error = _curved(placed.moved(ring.polygon))
        worst = max(worst, error)
        fit = _fit_error(placed.moved(ring.polygon), circle)
        holes.append(Hole(contour, circle, fit, label=ring.standing))
    holes.sort(key=lambda hole: (-round(hole.contour.box.centre[1], 3), hole.contour.box.centre[0]))
    box = Box(*placed.outline.bounds)
    thick = f", {format_mm(thickness_mm)} thick" if thickness_mm is not None else ""
    described = (
        f"flat face that looks {flat.towards}, {format_mm(box.width)} x {format_mm(box.height)}"
        f"{thick}, {len(holes)} holes, facets within {worst:.3f} mm of the curves"
    )
    return PartFace(outline, tuple(holes), thickness_mm, worst, described, tuple(notices))


def _corners(polygon: Polygon) -> list[tuple[float, float]]:
    return [(float(x), float(y)) for x, y in polygon.exterior.coords[:-1]]


def _curved(polygon: Polygon) -> tuple[Path, Circle | None, float]:
    """(path, circle where it is round, facet error): a true circle through the corners if round."""
    corners = _corners(polygon)
    circle, gap = _round(corners)
    if circle is None:
        return path_from_ring(polygon.exterior.coords), None, sagitta(corners)
    error = circle.radius * (1 - math.cos(gap / 2))
    return circle_path(circle.x, circle.y, circle.diameter), circle, error


def _round(corners: list[tuple[float, float]]) -> tuple[Circle | None, float]:
    """(circle through all corners, largest angle between neighbours), if they are on one."""
    if len(corners) < LEAST_CORNERS:
        return None, 0.0
    try:
        circle, error = fit_circle(corners)
    except ValueError:
        return None, 0.0
    angles = sorted(math.atan2(y - circle.y, x - circle.x) for x, y in corners)
    gaps = [b - a for a, b in zip(angles, [*angles[1:], angles[0] + math.tau], strict=True)]
    round_enough = error <= ON_CIRCLE_MM and max(gaps) <= 1.5 * math.tau / LEAST_CORNERS
    return (circle, max(gaps)) if round_enough else (None, 0.0)


def _fit_error(polygon: Polygon, circle: Circle | None) -> float:
    if circle is None:
        return 0.0
    return max(
        abs(math.dist((circle.x, circle.y), corner) - circle.radius) for corner in _corners(polygon)
    )
