"""Sheets that show plain shapes: paint masks, underlays, templates."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np
import shapely
from shapely.geometry import Polygon
from shapely.geometry.base import BaseGeometry

from decalprep.calibration import correction_for
from decalprep.compose.correction import correction_note, past_margins
from decalprep.geometry import Affine, Box, Line, Path
from decalprep.marks import (
    mark_places,
    printable_text,
    reserved_zones,
    sheet_mark_notices,
    sheet_marks,
    text_width_mm,
)
from decalprep.model import (
    Drawing,
    FillMark,
    Item,
    Layer,
    Notice,
    PrinterRecord,
    Severity,
    Sheet,
    StrokeMark,
    TextMark,
)
from decalprep.model.drawing import BLACK, RGB

CAPTION_MM = 2.0


@dataclass(frozen=True)
class Shape:
    """Paths by even-odd in a frame of their own (mm): filled with ``fill``, or else stroked.

    ``hatch_mm`` above 0 strokes lines at 45 degrees that far apart inside the paths instead.
    """

    paths: tuple[Path, ...]
    layer: Layer = Layer.MASK
    fill: RGB | None = None
    line_mm: float = 0.1
    line: RGB = BLACK
    hatch_mm: float = 0.0
    name: str = ""


@dataclass(frozen=True)
class ShapeSheet:
    """One sheet for shapes: words on it, and how the shapes' frame lies on it.

    ``sheet_from_shapes`` None puts the shapes in the middle of what the marks leave free.
    """

    sheet: Sheet
    title: str = ""
    captions: tuple[str, ...] = ()
    sheet_from_shapes: Affine | None = None
    record: PrinterRecord | None = field(default=None)


def shapes_drawing(shapes: Sequence[Shape], settings: ShapeSheet) -> Drawing:
    """The drawing of one sheet that shows the shapes at true size, with marks and captions.

    Does not turn or split shapes: what reaches past the printable area or over the marks is told
    in a notice.
    """
    sheet, title = settings.sheet, settings.title or "shapes"
    note = correction_note(settings.record)
    boxes = [path.box for shape in shapes for path in shape.paths]
    place = settings.sheet_from_shapes
    if place is None:
        place = _middle(sheet, boxes)
    items = [item for shape in shapes for item in _shape_items(shape, place)]
    items += sheet_marks(sheet, title=title, note=note)
    captions, notices = _captions(settings.captions, sheet)
    correction = correction_for(settings.record, sheet)
    areas = (
        {title: Box.around(place.apply_all(c for b in boxes for c in b.corners))} if boxes else {}
    )
    notices += past_margins(areas, correction, sheet, title)
    notices += sheet_mark_notices(sheet, title=title, note=note)
    notices += _over_marks(shapes, place, sheet, title)
    return Drawing(sheet, (*items, *captions), correction, title, tuple(notices))


def mask_drawing(
    mask: Sequence[Path], settings: ShapeSheet, *, name: str, mirrored: bool = False
) -> Drawing:
    """The sheet of one paint mask: the area that keeps paint off in light grey, its edges as lines.

    ``mask`` are the mask's edges by even-odd, as the plate is seen from its front; ``mirrored``
    turns the picture left for right, for a mask that is stuck on from behind, and says so.
    """
    flip = Affine.scaling(-1.0, 1.0) if mirrored else Affine()
    paths = tuple(path.mapped(flip) for path in mask)
    side = "mirrored: stick on from behind" if mirrored else "as seen from the front"
    words = (f"paint mask {name}, {side}", "cut along the lines; grey keeps the paint off")
    shapes = [
        Shape(paths, Layer.MASK, fill=(0.88, 0.88, 0.88), name=name),
        Shape(paths, Layer.CUT_OUTLINE, name=name),
    ]
    full = ShapeSheet(
        settings.sheet,
        settings.title or f"paint mask {name}",
        (*words, *settings.captions),
        settings.sheet_from_shapes,
        settings.record,
    )
    return shapes_drawing(shapes, full)


def _middle(sheet: Sheet, boxes: Sequence[Box]) -> Affine:
    """Centre the shapes in the printable area less the strips of the marks at the left and foot."""
    p = sheet.printable
    marks = [b for b in mark_places(sheet).boxes if b.y1 < sheet.height_mm / 4]
    low = max([b.y1 for b in marks], default=p.y0) + 1.0
    bars = [bar.box.x1 for bar in mark_places(sheet).bars if bar.upward]
    left = max(bars, default=p.x0) + 1.0
    if not boxes:
        return Affine()
    area = boxes[0]
    for box in boxes[1:]:
        area = area.union(box)
    x, y = area.centre
    return Affine.translation((left + p.x1) / 2 - x, (low + p.y1) / 2 - y)


def _shape_items(shape: Shape, place: Affine) -> list[Item]:
    paths = tuple(path.mapped(place) for path in shape.paths)
    if shape.hatch_mm > 0:
        lines = hatch_lines(paths, shape.hatch_mm)
        return [
            StrokeMark(shape.layer, p, shape.line_mm, shape.line, (), shape.name) for p in lines
        ]
    if shape.fill is not None:
        return [FillMark(shape.layer, paths, shape.fill, shape.name)]
    return [
        StrokeMark(shape.layer, path, shape.line_mm, shape.line, (), shape.name) for path in paths
    ]


def hatch_lines(paths: Sequence[Path], apart_mm: float) -> list[Path]:
    """Lines at 45 degrees, ``apart_mm`` apart, inside the paths by even-odd.

    >>> from decalprep.geometry import rectangle_path
    >>> len(hatch_lines([rectangle_path(Box(0, 0, 10, 10))], 2.0))
    7
    """
    rings = [Polygon(path.points(0.01)) for path in paths]
    area: BaseGeometry = Polygon()
    for ring in rings:
        area = area.symmetric_difference(shapely.make_valid(ring))
    if area.is_empty:
        return []
    x0, y0, x1, y1 = area.bounds
    step = apart_mm * math.sqrt(2)
    low, high = y0 - x1, y1 - x0
    offsets = [k * step for k in range(math.ceil(low / step), math.floor(high / step) + 1)]
    lines = [shapely.LineString([(x0, x0 + c), (x1, x1 + c)]) for c in offsets]
    inside = shapely.get_parts(shapely.intersection(np.array(lines, dtype=object), area))
    found = [list(one.coords) for one in inside if one.geom_type == "LineString"]
    return [Path((Line(ends[0], ends[-1]),), closed=False) for ends in found if len(ends) > 1]


def _captions(captions: Sequence[str], sheet: Sheet) -> tuple[list[Item], list[Notice]]:
    """Lines of words at the top of the printable area, between the corner ticks."""
    p = sheet.printable
    items: list[Item] = []
    notices: list[Notice] = []
    width = p.width - 14.0
    for k, caption in enumerate(captions):
        text, lost = printable_text(caption)
        if lost or text_width_mm(text, CAPTION_MM) > width:
            told = f"this line cannot be printed whole: {caption}"
            notices.append(Notice("caption-cut", told, sheet.name, Severity.WARNING))
        y = p.y1 - 1.0 - CAPTION_MM - k * CAPTION_MM * 1.7
        items.append(TextMark(Layer.LABEL, text, p.x0 + 7.0, y, CAPTION_MM))
    return items, notices


def _over_marks(shapes: Sequence[Shape], place: Affine, sheet: Sheet, title: str) -> list[Notice]:
    zones = shapely.union_all(list(reserved_zones(sheet)))
    for shape in shapes:
        for path in shape.paths:
            moved = path.mapped(place)
            if moved.closed and moved.polygon(0.05).intersects(zones):
                text = "a shape covers registration ticks or check bars: take a larger sheet"
                return [Notice("shape-over-marks", text, title)]
    return []
