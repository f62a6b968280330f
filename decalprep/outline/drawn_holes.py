"""Holes drawn in an artwork: its own geometry, a layer, or closed paths that can only be holes.

The rule for closed paths, where no layer says so: a path is taken for a hole when it lies inside
the outline, is unfilled or filled white, is a circle or a round-ended slot of at least 2 mm, and
nothing is drawn inside it but other holes and a centre cross. Letters are text or filled shapes
and never holes; a ring round a legend has something inside and is none either. Inner edges of the
outline's own shape (the middle of a bezel) are always holes, of any shape. Other closed white
shapes are told, not taken.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from shapely.geometry import Polygon

from decalprep.errors import TooMuch, UsageProblem, near_first
from decalprep.geometry import Arc, Box, Circle, Line, Path, circle_path, fit_circle
from decalprep.model import Artwork, Hole, Notice, Severity
from decalprep.outline.align import hole_centre
from decalprep.outline.arcs import KAPPA_ERROR, arcs_restored
from decalprep.outline.drawn import (
    Drawn,
    arc_tolerance_mm,
    chained,
    closed_paths,
    is_shown,
    shown_boxes,
)
from decalprep.outline.own import same_name, spot_of
from decalprep.outline.settings import HoleSource, OutlineSettings
from decalprep.outline.trace import trace_openings

if TYPE_CHECKING:
    from decalprep.pdfstream import PageContents, PaintedShape

SAME_HOLE_MM = 0.2


@dataclass(frozen=True)
class FoundHoles:
    """The holes in decal mm, where they came from, and what to know about them.

    ``layer`` and ``spot`` name what only guides the knife and need not be printed.
    """

    holes: tuple[Hole, ...]
    source: str
    notices: tuple[Notice, ...] = ()
    layer: str = ""
    spot: str = ""


def fitted(hole: Hole, slack_mm: float = 0.0, tolerance: float = 0.002) -> Hole:
    """The hole with its circle where it is round: within 0.02 mm, the source's facets allowed.

    The middles of sides count too, so a hexagon is not taken for a circle.
    """
    if hole.circle is not None:
        return hole
    contour = arcs_restored(hole.contour, tolerance)
    corners, on_curve = contour.points(0.002), _points_on(contour)
    try:
        circle, error = fit_circle(on_curve)
    except ValueError:
        return replace(hole, contour=contour)
    # corners lie on the true curve; the middles of sides only say how far they cut it short
    for side in (s for s in contour.segments if isinstance(s, Line)):
        x, y = (side.start[0] + side.end[0]) / 2, (side.start[1] + side.end[1]) / 2
        error = max(error, abs(math.dist((x, y), (circle.x, circle.y)) - circle.radius))
    slack = min(1.5 * slack_mm, 0.03 * circle.radius)  # more would take an octagon for a circle
    allowed = max(0.02, tolerance, slack, KAPPA_ERROR * circle.radius)
    if error > allowed or not _goes_round(corners, circle):
        return replace(hole, contour=contour)
    return replace(
        hole,
        contour=circle_path(circle.x, circle.y, circle.diameter),
        circle=circle,
        fit_error_mm=error,
    )


def _points_on(contour: Path) -> list[tuple[float, float]]:
    """Points that lie on the contour itself: ends of pieces, and points along curves."""
    points = []
    for s in contour.segments:
        points.append(s.start)
        if not isinstance(s, Line):
            points.extend(s.at(k / 12) for k in range(1, 12))
    return points


def _goes_round(points: Sequence[tuple[float, float]], circle: Circle) -> bool:
    area = abs(float(Polygon(points).area))
    return len(points) >= 6 and area > 0.8 * math.pi * circle.radius**2


# ---------------------------------------------------------------- in the artwork


def holes_in_artwork(
    artwork: Artwork,
    contents: PageContents,
    within: Path,
    settings: OutlineSettings,
    *,
    outline_layer: str = "",
) -> FoundHoles:
    """Holes drawn in the artwork, in artwork mm: layer, else geometry, else closed paths."""
    source = settings.hole_source
    tolerance = arc_tolerance_mm(contents, artwork)
    inside = within.polygon(0.01).buffer(0.05)
    if source is not HoleSource.PATHS:
        named = _on_layer(artwork, contents, settings, tolerance)
        if named is not None:
            return _kept_inside(named, inside, artwork)
        if source is HoleSource.LAYER:
            raise UsageProblem(
                "holes are to come from a layer, but none is named",
                where=artwork.source,
                do="layers here: " + (", ".join(contents.layers) or "none"),
            )
        if artwork.face is not None and artwork.face.holes:
            refuse_many(len(artwork.face.holes), settings, artwork.source)
            holes = tuple(fitted(h, artwork.face.facet_error_mm) for h in artwork.face.holes)
            return FoundHoles(holes, f"drawing: {artwork.face.described or 'face'}")
    return _by_shape(artwork, contents, within, settings, outline_layer)


def _on_layer(
    artwork: Artwork, contents: PageContents, settings: OutlineSettings, tolerance: float
) -> FoundHoles | None:
    names = (settings.hole_layer,) if settings.hole_layer else settings.hole_names
    for name in names:
        shapes = [s for s in contents.shapes if _called(s, name)]
        loose = [p.mapped(artwork.artwork_from_page) for s in shapes for p in s.paths]
        paths = [p for p in chained(loose, settings.join_mm) if _area(p) > 0.05]
        if not paths:
            continue
        refuse_many(len(paths), settings, artwork.source)
        holes = _distinct([fitted(Hole(p), tolerance=tolerance) for p in paths])
        on_layer = next((s.layer for s in shapes if same_name(s.layer, name)), "") or ""
        spot = "" if on_layer else spot_of(shapes[0], name)
        by = f"{'layer' if on_layer else 'spot colour'} {name!r}"
        by += "" if settings.hole_layer else " (by its name)"
        return FoundHoles(holes, by, (), on_layer, spot)
    if settings.hole_layer:
        raise UsageProblem(
            f"no layer or spot colour {settings.hole_layer!r} with a closed path is in the artwork",
            where=artwork.source,
            do="layers here: " + near_first(settings.hole_layer, contents.layers),
        )
    return None


def refuse_many(count: int, settings: OutlineSettings, where: str) -> None:
    """Passes up to ``settings.most_holes`` holes.

    Raises:
        TooMuch: there are more.
    """
    if count > settings.most_holes:
        raise TooMuch(
            f"has {count:,} holes, more than {settings.most_holes:,}",
            where=where,
            do='say holes_from = "none" if they are only drawn, or raise the limit (max_holes)',
        )


def _called(shape: PaintedShape, name: str) -> bool:
    return same_name(shape.layer, name) or spot_of(shape, name) != ""


def _area(path: Path) -> float:
    points = path.points(0.02)
    return abs(float(Polygon(points).area)) if len(points) > 2 else 0.0


def _kept_inside(found: FoundHoles, inside: Polygon, artwork: Artwork) -> FoundHoles:
    kept, notices = [], list(found.notices)
    for hole in found.holes:
        polygon = hole.contour.polygon(0.02)
        if inside.contains(polygon):
            kept.append(hole)
        else:
            b = hole.contour.box
            text = (
                f"a hole on {found.source} at {b.centre[0]:.2f}, {b.centre[1]:.2f} mm is not "
                "wholly inside the outline and was left out"
            )
            notices.append(Notice("hole-outside", text, artwork.name, Severity.DANGER, b))
    return replace(found, holes=tuple(kept), notices=tuple(notices))


def _distinct(holes: Sequence[Hole]) -> tuple[Hole, ...]:
    """One of each group of holes drawn twice in the same place; the smaller of two concentric."""
    kept: list[Hole] = []
    for hole in sorted(holes, key=lambda h: _area(h.contour)):
        x, y = hole_centre(hole)
        if not any(
            math.dist((x, y), hole_centre(k)) <= SAME_HOLE_MM
            and hole.contour.box.grown(0.01).contains(k.contour.box)
            for k in kept
        ):
            kept.append(hole)
    return tuple(kept)


def _by_shape(
    artwork: Artwork,
    contents: PageContents,
    within: Path,
    settings: OutlineSettings,
    outline_layer: str,
) -> FoundHoles:
    tolerance = arc_tolerance_mm(contents, artwork)
    shapes = [s for s in contents.shapes if is_shown(s)]
    if artwork.pixels and not shapes:
        return _in_picture(artwork, within, settings)
    drawn = closed_paths(shapes, artwork, join_mm=settings.join_mm, tolerance=tolerance)
    certain, maybe = _likely(drawn, within, settings.smallest_hole_mm, outline_layer)
    refuse_many(len(certain), settings, artwork.source)
    round_ones = [d for d in maybe if _circle(d, tolerance) or is_slot(d.path)]
    boxes = _legend_boxes(contents, artwork, round_ones)
    taken = [d for d in round_ones if not _holds(d, boxes, round_ones)]
    refuse_many(len(certain) + len(taken), settings, artwork.source)
    holes = _distinct([fitted(Hole(d.path), tolerance=tolerance) for d in (*certain, *taken)])
    used = {id(d) for d in (*certain, *taken)}
    left = [d for d in maybe if d.white and id(d) not in used]
    notices = _told(holes, certain, left, artwork)
    return FoundHoles(holes, "closed paths inside the outline", notices)


def _likely(
    drawn: Sequence[Drawn], within: Path, smallest_mm: float, outline_layer: str
) -> tuple[list[Drawn], list[Drawn]]:
    """(paths that are holes for certain, paths that may be) among all that is drawn."""
    inside = within.polygon(0.01)
    limit, around, box = 0.9 * float(inside.area), inside.buffer(0.02), within.box
    of_shape: dict[int, list[Drawn]] = {}
    for d in drawn:
        of_shape.setdefault(id(d.shape), []).append(d)
    outers = {
        id(o.shape): o
        for o in drawn
        if o.filled and o.box.contains(box, 0.05) and box.contains(o.box, 0.05)
    }
    certain, maybe = [], []
    for d in drawn:
        if not box.contains(d.box, 0.03) or not around.contains(d.polygon):
            continue
        outer = outers.get(id(d.shape))
        inner = outer is not None and outer is not d and outer.polygon.contains(d.polygon)
        guide = bool(outline_layer) and d.layer == outline_layer and not d.filled
        if inner or (guide and d.area < limit):
            certain.append(d)
        elif (
            (not d.filled or d.white)
            and min(d.box.width, d.box.height) >= smallest_mm - 0.03
            and d.area < limit
            and not (d.filled and _part_of_shape(d, of_shape[id(d.shape)]))
        ):
            maybe.append(d)
    return certain, maybe


def _in_picture(artwork: Artwork, within: Path, settings: OutlineSettings) -> FoundHoles:
    """Transparent openings of a raster artwork."""
    paths, pixel = trace_openings(artwork, smallest_mm=settings.smallest_hole_mm)
    inside = within.polygon(0.01)
    holes = tuple(
        fitted(Hole(p), tolerance=0.75 * pixel)
        for p in paths
        if inside.contains(p.polygon(0.02)) and _area(p) < 0.9 * inside.area
    )
    return FoundHoles(holes, f"see-through openings of the picture, traced to {pixel / 2:.3f} mm")


def _part_of_shape(d: Drawn, mates: Sequence[Drawn]) -> bool:
    """Whether the path is the outer or inner edge of a filled shape of several, like a letter."""
    return any(o is not d and (o.box.contains(d.box) or d.box.contains(o.box)) for o in mates)


def _circle(d: Drawn, tolerance: float) -> bool:
    if abs(d.box.width - d.box.height) > 0.1:
        return False
    return fitted(Hole(d.path), tolerance=tolerance).circle is not None


def is_slot(path: Path) -> bool:
    """Whether the path is a round-ended slot: two equal half circles and two parallel lines."""
    arcs = [s for s in path.segments if isinstance(s, Arc)]
    lines = [s for s in path.segments if isinstance(s, Line)]
    if len(arcs) + len(lines) != len(path.segments) or len(lines) != 2:
        return False
    turned = sum(abs(a.sweep_deg) for a in arcs)
    same = max(a.radius for a in arcs) - min(a.radius for a in arcs) <= 0.02 if arcs else False
    centres = {(round(a.centre[0], 1), round(a.centre[1], 1)) for a in arcs}
    return same and abs(turned - 360) < 1 and len(centres) == 2


def _legend_boxes(
    contents: PageContents, artwork: Artwork, holes: Sequence[Drawn]
) -> list[tuple[Box, bool]]:
    """(box, whether it is a mere line) of all that is drawn, the would-be holes left out."""
    less = {id(d.shape) for d in holes}
    kept = tuple(s for s in contents.shapes if id(s) not in less)
    lines = [
        s.stroke
        and not s.fill
        and all(len(p.segments) == 1 and isinstance(p.segments[0], Line) for p in s.paths)
        for s in kept
        if is_shown(s)
    ]
    boxes = shown_boxes(replace(contents, shapes=kept), artwork)
    flags = lines + [False] * (len(boxes) - len(lines))
    return list(zip(boxes, flags, strict=True))


def _holds(d: Drawn, boxes: Sequence[tuple[Box, bool]], others: Sequence[Drawn]) -> bool:
    """Whether legend lies inside the path: anything but a line through its centre."""
    x, y = d.box.centre
    for box, line in boxes:
        bx, by = box.centre
        near_centre = math.dist((x, y), (bx, by)) <= 0.5
        if d.box.contains(box, 0.01) and not (line and near_centre):
            return True
    for other in others:
        beside = math.dist(other.box.centre, (x, y)) > SAME_HOLE_MM
        if other is not d and beside and d.box.contains(other.box, 0.01):
            return True  # a ring with a hole beside its middle is a dial
    return False


def _told(
    holes: Sequence[Hole], certain: Sequence[Drawn], left: Sequence[Drawn], artwork: Artwork
) -> tuple[Notice, ...]:
    notices = []
    guessed = len(holes) - min(len(_distinct([Hole(d.path) for d in certain])), len(holes))
    if guessed > 0:
        sizes = sorted({round(h.circle.diameter, 1) for h in holes if h.circle})
        text = (
            f"{guessed} holes were taken from unfilled or white circles and slots (diameters "
            f'{", ".join(f"{s:g}" for s in sizes)} mm); check them, or put holes on a layer "holes"'
        )
        notices.append(Notice("holes-by-shape", text, artwork.name, Severity.NOTE))
    for d in left[:10]:
        text = (
            f"a white shape {d.box.width:.1f} x {d.box.height:.1f} mm was not taken for a hole; "
            'put it on a layer "holes" if it is one'
        )
        notices.append(Notice("maybe-hole", text, artwork.name, Severity.NOTE, d.box))
    return tuple(notices)
