"""Sheets that show plain shapes: paint masks, underlays, templates."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import shapely
from shapely.geometry import Polygon
from shapely.geometry.base import BaseGeometry

from decalprep.calibration import correction_for
from decalprep.compose.correction import correction_note, past_margins
from decalprep.geometry import Affine, Box, Path
from decalprep.marks import (
    mark_places,
    mark_zones,
    printable_text,
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
from decalprep.outline.masks import PaintMask, PlateDifference, hatched

CAPTION_MM = 2.0
MASK_GREY: RGB = (0.88, 0.88, 0.88)


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
    record: PrinterRecord | None = None


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
    mask: PaintMask, settings: ShapeSheet, *, difference: PlateDifference | None = None
) -> Drawing:
    """The sheet of one paint mask: what keeps paint off in light grey, its edges as cut lines.

    A mask for the back is mirrored already, for it is stuck on from behind; the sheet says so.
    Where the two plates differ in outline, that is hatched over a mask seen from the front.
    """
    side = "mirrored: stick on from behind" if mask.mirrored else "as seen from the front"
    words = [f"paint mask, {mask.name}, {side}", "cut along the lines; grey keeps the paint off"]
    shapes = [
        Shape(mask.paths, Layer.MASK, fill=MASK_GREY, name=mask.name),
        Shape(_inner(mask.paths, wanted=False), Layer.CUT_OUTLINE, name=mask.name),
        Shape(_inner(mask.paths, wanted=True), Layer.HOLE_GUIDE, name=mask.name),
    ]
    if difference is not None and not mask.mirrored and difference.hatch:
        # with the words: the proof measures the mask's own layer, and lines there would cross it
        shapes.append(Shape(difference.hatch, Layer.LABEL, line_mm=0.15, name=mask.name))
        words.append(
            f"hatched: {difference.only_face_mm2:.1f} mm2 only in the face plate, "
            f"{difference.only_back_mm2:.1f} mm2 only in the back plate"
        )
    full = replace(
        settings,
        title=settings.title or f"paint mask {mask.name}",
        captions=(*words, *settings.captions),
    )
    drawing = shapes_drawing(shapes, full)
    return replace(drawing, notices=(*mask.notices, *drawing.notices))


def _inner(paths: Sequence[Path], *, wanted: bool) -> tuple[Path, ...]:
    """The paths that lie in an odd number of others (openings), or those that do not."""
    areas = [path.polygon(0.01) for path in paths]
    depth = [
        sum(b.contains(a.representative_point()) for b in areas if b is not a and b.area > a.area)
        for a in areas
    ]
    return tuple(p for p, d in zip(paths, depth, strict=True) if (d % 2 == 1) is wanted)


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
        lines = hatched(even_odd_area(paths), 45.0, shape.hatch_mm)
        return [
            StrokeMark(shape.layer, p, shape.line_mm, shape.line, (), shape.name) for p in lines
        ]
    if shape.fill is not None:
        return [FillMark(shape.layer, paths, shape.fill, shape.name)]
    return [
        StrokeMark(shape.layer, path, shape.line_mm, shape.line, (), shape.name) for path in paths
    ]


def even_odd_area(paths: Sequence[Path]) -> BaseGeometry:
    """The inside of closed paths by even-odd, as a shapely geometry."""
    area: BaseGeometry = Polygon()
    for path in paths:
        area = area.symmetric_difference(shapely.make_valid(Polygon(path.points(0.01))))
    return area


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
    zones = shapely.union_all(list(mark_zones(sheet)))
    for shape in shapes:
        for path in shape.paths:
            moved = path.mapped(place)
            if moved.closed and moved.polygon(0.05).intersects(zones):
                text = "a shape covers registration ticks or check bars: take a larger sheet"
                return [Notice("shape-over-marks", text, title)]
    return []
