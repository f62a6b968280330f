"""Sheets of plain shapes: masks at true size, mirrored ones say so, misfits are told."""

import math

import pytest

from decalprep.compose import Shape, ShapeSheet, mask_drawing, shapes_drawing
from decalprep.geometry import Box, circle_path, polygon_path, rectangle_path
from decalprep.model import (
    FillMark,
    Hole,
    Layer,
    PartFace,
    PrinterRecord,
    Sheet,
    StrokeMark,
    TextMark,
)
from decalprep.outline.masks import MaskSettings, paint_mask, plate_masks

A4 = Sheet("A4", 210.0, 297.0)
FLAG = polygon_path([(0, 0), (40, 0), (40, 30), (0, 10)])


def plate(*holes):
    contours = tuple(Hole(circle_path(*h)) for h in holes)
    return PartFace(FLAG, contours)


def tallest_side(path):
    """Height of the path's upright side at its left and at its right end."""
    box, points = path.box, path.points()

    def height(x):
        ys = [q for p, q in points if abs(p - x) < 1e-6]
        return max(ys) - min(ys)

    return height(box.x0), height(box.x1)


def test_mask_keeps_size_and_holes():
    mask = paint_mask(plate((30, 10, 8)), name="winch plate", settings=MaskSettings(0.0, 1.0))
    drawing = mask_drawing(mask, ShapeSheet(A4))
    fill = next(i for i in drawing.items if isinstance(i, FillMark))
    lines = [i.layer for i in drawing.items if i.layer in (Layer.CUT_OUTLINE, Layer.HOLE_GUIDE)]
    assert lines == [Layer.CUT_OUTLINE, Layer.HOLE_GUIDE]
    assert len(fill.paths) == 2
    assert fill.paths[0].box.width == pytest.approx(40)
    area = fill.paths[0].polygon().area - fill.paths[1].polygon().area
    assert area == pytest.approx(FLAG.polygon().area - math.pi * 5**2, abs=0.1)
    assert drawing.notices == ()


def test_mirrored_mask_is_turned_over_once_and_says_so():
    front, back = (paint_mask(plate(), name="winch plate", side=s) for s in ("front", "back"))
    drawings = [mask_drawing(mask, ShapeSheet(A4)) for mask in (front, back)]
    fills = [next(i for i in d.items if isinstance(i, FillMark)).paths[0] for d in drawings]
    assert tallest_side(fills[0])[1] == pytest.approx(tallest_side(fills[1])[0])
    assert tallest_side(fills[0])[1] > 2 * tallest_side(fills[0])[0]
    words = [" ".join(i.text for i in d.items if isinstance(i, TextMark)) for d in drawings]
    assert "as seen from the front" in words[0]
    assert "mirrored: stick on from behind" in words[1]


def test_difference_of_plates_is_hatched_on_the_front_only():
    other = PartFace(polygon_path([(0, 0), (30, 0), (30, 25), (0, 10)]))
    masks, difference = plate_masks(plate(), other, name="winch")
    for mask in masks:
        drawing = mask_drawing(mask, ShapeSheet(A4), difference=difference)
        hatch = [i for i in drawing.items if isinstance(i, StrokeMark) and i.layer is Layer.LABEL]
        words = " ".join(i.text for i in drawing.items if isinstance(i, TextMark))
        assert bool(hatch) == (not mask.mirrored) == ("hatched" in words)


def test_shape_too_large_is_told():
    big = rectangle_path(Box(0, 0, 205, 100))
    drawing = shapes_drawing([Shape((big,))], ShapeSheet(A4, "underlay"))
    assert {n.code for n in drawing.notices} == {"past-margin", "shape-over-marks"}


def test_stroked_shapes_and_captions_and_correction():
    record = PrinterRecord("desk laser", "film", scale_x=0.002)
    settings = ShapeSheet(A4, "templates", ("drill after checking two lengths",), None, record)
    drawing = shapes_drawing([Shape((FLAG,), Layer.UNDERLAY, line_mm=0.2)], settings)
    assert drawing.page_from_sheet.a == pytest.approx(1 / 1.002)
    strokes = [i for i in drawing.items if isinstance(i, StrokeMark) and i.layer is Layer.UNDERLAY]
    assert [s.width_mm for s in strokes] == [0.2]
    assert any(i.text.startswith("drill") for i in drawing.items if isinstance(i, TextMark))


def test_caption_that_does_not_fit_is_told():
    drawing = shapes_drawing([], ShapeSheet(A4, "empty", ("w" * 300,)))
    assert [n.code for n in drawing.notices] == ["caption-cut"]


def test_hatched_shape_is_lines_only():
    shape = Shape((FLAG,), Layer.MASK, hatch_mm=3.0, line_mm=0.15)
    drawing = shapes_drawing([shape], ShapeSheet(A4, "plate difference"))
    marks = [i for i in drawing.items if i.layer is Layer.MASK]
    assert len(marks) > 8
    assert all(isinstance(m, StrokeMark) and not m.path.closed for m in marks)
