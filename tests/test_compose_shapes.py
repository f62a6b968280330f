"""Sheets of plain shapes: masks at true size, mirrored ones say so, misfits are told."""

import math
from itertools import pairwise

import pytest

from decalprep.compose import Shape, ShapeSheet, hatch_lines, mask_drawing, shapes_drawing
from decalprep.geometry import Box, circle_path, polygon_path, rectangle_path
from decalprep.model import FillMark, Layer, PrinterRecord, Sheet, StrokeMark, TextMark

A4 = Sheet("A4", 210.0, 297.0)
FLAG = polygon_path([(0, 0), (40, 0), (40, 30), (0, 10)])


def test_mask_keeps_size_and_holes():
    drawing = mask_drawing([FLAG, circle_path(30, 10, 8)], ShapeSheet(A4), name="winch plate")
    fill = next(i for i in drawing.items if isinstance(i, FillMark))
    lines = [i for i in drawing.items if i.layer is Layer.CUT_OUTLINE]
    assert len(fill.paths) == len(lines) == 2
    assert fill.paths[0].box.width == pytest.approx(40)
    assert fill.paths[0].polygon().area == pytest.approx(FLAG.polygon().area)
    assert drawing.notices == ()


def test_mirrored_mask_is_turned_over_and_says_so():
    plain = mask_drawing([FLAG], ShapeSheet(A4), name="winch plate")
    turned = mask_drawing([FLAG], ShapeSheet(A4), name="winch plate", mirrored=True)

    def left_side(drawing):
        path = next(i for i in drawing.items if isinstance(i, FillMark)).paths[0]
        return sum(1 for x, _ in path.points() if abs(x - path.box.x0) < 1e-6), path

    (_, a), (_, b) = left_side(plain), left_side(turned)
    tall_a = [y for x, y in a.points() if abs(x - a.box.x1) < 1e-6]
    tall_b = [y for x, y in b.points() if abs(x - b.box.x0) < 1e-6]
    assert max(tall_a) - min(tall_a) == pytest.approx(30)
    assert max(tall_b) - min(tall_b) == pytest.approx(30)
    texts = [i.text for i in turned.items if isinstance(i, TextMark)]
    assert any("mirrored: stick on from behind" in text for text in texts)
    assert any("as seen from the front" in i.text for i in plain.items if isinstance(i, TextMark))


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


def test_hatching_lies_inside_and_evenly():
    ring = [circle_path(0, 0, 40), circle_path(0, 0, 20)]
    lines = hatch_lines(ring, 2.0)
    between = [path.points() for path in lines]
    offsets = sorted({round((a[1] - a[0]) / math.sqrt(2), 6) for a, _ in between})
    assert all(b - a == pytest.approx(2.0) for a, b in pairwise(offsets))
    area = sum(math.dist(a, b) for a, b in between) * 2.0
    assert area == pytest.approx(math.pi * (20**2 - 10**2), rel=0.02)
    for a, b in between:
        assert 9.99 <= math.dist(((a[0] + b[0]) / 2, (a[1] + b[1]) / 2), (0, 0)) <= 20


def test_hatched_shape_is_lines_only():
    shape = Shape((FLAG,), Layer.MASK, hatch_mm=3.0, line_mm=0.15)
    drawing = shapes_drawing([shape], ShapeSheet(A4, "plate difference"))
    marks = [i for i in drawing.items if i.layer is Layer.MASK]
    assert len(marks) > 8
    assert all(isinstance(m, StrokeMark) and not m.path.closed for m in marks)
