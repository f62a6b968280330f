"""Line drawings on build sheets: a decal's holes with their labels, a sheet with its pieces' names.

Both are not to scale and say so; they show which is which. Labels are moved apart and joined to
what they mean by a thin line where they do not touch it.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import shapely
from shapely.geometry import Polygon

from decalprep.geometry import Affine
from decalprep.model import Decal

if TYPE_CHECKING:
    from reportlab.pdfgen.canvas import Canvas

Point = tuple[float, float]
Rect = tuple[float, float, float, float]
TAG_PT = 6.5
NAME_PT = (8.0, 7.0, 6.0, 5.0)
NUMBER_PT = (8.0, 7.0, 6.0, 5.0, 4.0)
CAPITAL = 0.73
"""Capital height of the typeface in parts of its size."""
LEADS_PT = (1.5, 5.0, 9.0, 14.0, 20.0, 28.0, 40.0)
WAYS = ((1, 0), (-1, 0), (0, 1), (0, -1), (0.7, 0.7), (-0.7, 0.7), (0.7, -0.7), (-0.7, -0.7))


@dataclass(frozen=True)
class PlanHole:
    """One hole: its label, its contour and its centre, in mm."""

    label: str
    contour: tuple[Point, ...]
    centre: Point


@dataclass(frozen=True)
class HolePlan:
    """A decal's cut outline and its labelled holes, in mm, as the drawing stands."""

    outline: tuple[Point, ...]
    holes: tuple[PlanHole, ...]


@dataclass(frozen=True)
class PlanPiece:
    """A piece on a sheet: its number and name there, and its cut outline in sheet mm."""

    number: int
    name: str
    outline: tuple[Point, ...]


@dataclass(frozen=True)
class SheetPlan:
    """A sheet (its size in mm) and the pieces on it, in the order of their numbers."""

    title: str
    width_mm: float
    height_mm: float
    pieces: tuple[PlanPiece, ...]


def hole_plan(decal: Decal) -> HolePlan | None:
    """The outline of a decal with its holes by label; None where it has none."""
    if not decal.holes:
        return None
    holes = tuple(
        PlanHole(h.label, tuple(h.contour.points(0.01)), h.contour.box.centre) for h in decal.holes
    )
    return HolePlan(tuple(decal.outline.points(0.05)), holes)


# ---------------------------------------------------------------- the holes of a decal


@dataclass(frozen=True)
class Tag:
    """Where a label is drawn: its box, and the line that joins it to its hole, if one is needed."""

    box: Rect
    leader: tuple[Point, Point] | None = None


def place_tags(
    circles: Sequence[tuple[float, float, float]],
    sizes: Sequence[Point],
    frame: Rect,
    *,
    line: Sequence[Point] = (),
) -> list[Tag]:
    """A place in the frame for each circle's label: inside it, beside it, or at a leader line.

    Circles are (x, y, radius), sizes (width, height); all in one unit. Labels touch neither each
    other nor another circle nor the closed ``line``, unless no place within 40 units is free.
    """
    edge = shapely.LinearRing(line).buffer(0.8) if line else Polygon()
    rings = [shapely.Point(x, y).buffer(r + 0.7) for x, y, r in circles]
    taken: list[Polygon] = []
    tags = []
    for k, ((x, y, r), size) in enumerate(zip(circles, sizes, strict=True)):
        tag = _inside(x, y, r, size)
        if tag is None:
            others = [*taken, *rings]
            tries = [_beside((x, y, r), size, way, lead) for lead in LEADS_PT for way in WAYS]
            free = [t for t in tries if _is_free(t, others, frame, rings[k])]
            tag = next((t for t in free if not edge.intersects(shapely.box(*t.box))), None)
            tag = tag or next(iter(free), tries[0])
        taken.append(shapely.box(*tag.box).buffer(0.8))
        tags.append(tag)
    return tags


def _inside(x: float, y: float, r: float, size: Point) -> Tag | None:
    wide, high = size
    if math.hypot(wide, high) / 2 > r - 1.0:
        return None
    return Tag((x - wide / 2, y - high / 2, x + wide / 2, y + high / 2))


def _beside(circle: tuple[float, float, float], size: Point, way: Point, lead: float) -> Tag:
    """The label at ``lead`` from the circle's rim in a direction."""
    (x, y, r), (wide, high), (dx, dy) = circle, size, way
    rim = (x + dx * r, y + dy * r)
    near = (x + dx * (r + lead), y + dy * (r + lead))
    cx = near[0] + (wide / 2 if dx > 0.1 else -wide / 2 if dx < -0.1 else 0.0)
    cy = near[1] + (high / 2 if dy > 0.1 else -high / 2 if dy < -0.1 else 0.0)
    box = (cx - wide / 2, cy - high / 2, cx + wide / 2, cy + high / 2)
    return Tag(box, (rim, near) if lead > LEADS_PT[0] else None)


def _is_free(tag: Tag, others: Sequence[Polygon], frame: Rect, own: Polygon) -> bool:
    box = shapely.box(*tag.box)
    if not shapely.box(*frame).contains(box) or any(o.intersects(box) for o in others):
        return False
    if tag.leader is None:
        return True
    line = shapely.LineString(tag.leader)
    return not any(o is not own and o.intersects(line) for o in others)


def draw_hole_plan(canvas: Canvas, plan: HolePlan, frame: Rect) -> None:
    """Draw the plan into a frame (x0, y0, x1, y1 in points)."""
    from reportlab.pdfbase.pdfmetrics import stringWidth

    x0, y0, x1, y1 = frame
    at = _fit(plan.outline, (x0 + 14, y0 + 14, x1 - 14, y1 - 14))
    canvas.saveState()
    canvas.setLineWidth(0.7)
    _polyline(canvas, [at.apply(*p) for p in plan.outline])
    canvas.setLineWidth(0.5)
    circles = []
    for hole in plan.holes:
        ring = [at.apply(*p) for p in hole.contour]
        _polyline(canvas, ring)
        cx, cy = at.apply(*hole.centre)
        circles.append((cx, cy, max(math.dist((cx, cy), p) for p in ring)))
    sizes = [(stringWidth(h.label, "Sheet", TAG_PT), TAG_PT * CAPITAL) for h in plan.holes]
    line = [at.apply(*p) for p in plan.outline]
    tags = place_tags(circles, sizes, frame, line=line)
    for hole, tag in zip(plan.holes, tags, strict=True):
        if tag.leader:
            canvas.setLineWidth(0.3)
            canvas.line(*tag.leader[0], *tag.leader[1])
        canvas.setFont("Sheet", TAG_PT)
        canvas.drawString(tag.box[0], tag.box[1], hole.label)
    canvas.restoreState()


# ---------------------------------------------------------------- the pieces of a sheet


def draw_sheet_plan(canvas: Canvas, plan: SheetPlan, frame: Rect) -> list[PlanPiece]:
    """Draw the plan into a frame (points); the pieces that got their number only, for a list."""
    x0, y0, x1, y1 = frame
    sheet = ((0.0, 0.0), (plan.width_mm, 0.0), (plan.width_mm, plan.height_mm))
    at = _fit((*sheet, (0.0, plan.height_mm)), (x0, y0, x1, y1))
    canvas.saveState()
    canvas.setLineWidth(0.5)
    _polyline(canvas, [at.apply(*p) for p in (*sheet, (0.0, plan.height_mm))])
    canvas.setLineWidth(0.8)
    listed = []
    for piece in plan.pieces:
        ring = [at.apply(*p) for p in piece.outline]
        _polyline(canvas, ring)
        if not _name_inside(canvas, Polygon(ring).buffer(0), piece):
            listed.append(piece)
    canvas.restoreState()
    return listed


def _name_inside(canvas: Canvas, shape: Polygon, piece: PlanPiece) -> bool:
    """Write number and name inside the piece, or the number alone; whether the name is there."""
    for text, sizes in (
        (f"{piece.number}  {piece.name}", NAME_PT),
        (str(piece.number), NUMBER_PT),
    ):
        for size in sizes:
            for turn in (0.0, 90.0):
                if _written(canvas, shape, text, (size, turn)):
                    return text != str(piece.number)
    x, y = shape.representative_point().coords[0]
    canvas.setFont("Sheet", NUMBER_PT[-1])
    canvas.drawCentredString(x, y - NUMBER_PT[-1] * CAPITAL / 2, str(piece.number))
    return False


def _written(canvas: Canvas, shape: Polygon, text: str, how: tuple[float, float]) -> bool:
    """Write the text (size, turn) where it lies inside the shape whole; whether there is room."""
    from reportlab.pdfbase.pdfmetrics import stringWidth

    size, turn = how
    wide, high = stringWidth(text, "Sheet", size), size * CAPITAL
    pad = size / 3
    half = (wide / 2 + pad, high / 2 + pad)
    half = half if turn == 0 else half[::-1]
    middle = shapely.maximum_inscribed_circle(shape, tolerance=1.0)
    for point in (shape.centroid, shapely.Point(middle.coords[0])):
        x, y = point.coords[0]
        if not shape.contains(shapely.box(x - half[0], y - half[1], x + half[0], y + half[1])):
            continue
        canvas.saveState()
        canvas.translate(x, y)
        canvas.rotate(turn)
        canvas.setFont("Sheet", size)
        canvas.drawCentredString(0, -high / 2, text)
        canvas.restoreState()
        return True
    return False


# ---------------------------------------------------------------- drawing


def _fit(points: Sequence[Point], frame: Rect) -> Affine:
    """Points of the page from mm: as large as the frame allows, from its top, in its middle."""
    xs, ys = [p[0] for p in points], [p[1] for p in points]
    x0, y0, x1, y1 = frame
    k = min((x1 - x0) / (max(xs) - min(xs)), (y1 - y0) / (max(ys) - min(ys)))
    left = (x0 + x1 - k * (max(xs) - min(xs))) / 2
    return Affine.translation(left - k * min(xs), y1 - k * max(ys)) @ Affine.scaling(k)


def _polyline(canvas: Canvas, points: Sequence[Point]) -> None:
    path = canvas.beginPath()
    path.moveTo(*points[0])
    for point in points[1:]:
        path.lineTo(*point)
    path.close()
    canvas.drawPath(path)
