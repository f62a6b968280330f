"""Where marks go: on every page size, on small sheets, between die-cut labels, on used sheets."""

import dataclasses
import math

import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st

from decalprep.errors import UsageProblem
from decalprep.geometry import Box
from decalprep.marks import (
    label_cells,
    mark_places,
    mark_zones,
    reserved_zones,
    sheet_mark_notices,
    sheet_marks,
    text_width_mm,
)
from decalprep.model import DieCutGrid, Layer, Margins, Sheet, StrokeMark, TextMark
from decalprep.units import PAGE_SIZES_MM

LABELS_30 = DieCutGrid(10, 3, 66.675, 25.4, 4.7625, 12.7, 69.85, 25.4, 1.5)


def shape(box):
    return shapely.box(box.x0, box.y0, box.x1, box.y1)


def item_shape(item):
    if isinstance(item, StrokeMark):
        line = shapely.LineString(item.path.points())
        return line.buffer(item.width_mm / 2, cap_style="flat", join_style="mitre")
    return shape(item_box(item))


def item_box(item):
    if isinstance(item, StrokeMark):
        return item.path.box.grown(item.width_mm / 2)
    w = text_width_mm(item.text, item.height_mm)
    start = {"start": 0.0, "middle": -w / 2, "end": -w}[item.anchor]
    if item.turn_deg == 90:
        y = item.y_mm + start
        return Box(item.x_mm - item.height_mm, y, item.x_mm + 0.5, y + w)
    x = item.x_mm + start
    return Box(x, item.y_mm - 0.5, x + w, item.y_mm + item.height_mm)


@pytest.mark.parametrize("turned", [False, True], ids=["portrait", "landscape"])
@pytest.mark.parametrize("name", PAGE_SIZES_MM)
def test_every_page_size_has_all_marks(name, turned):
    w, h = PAGE_SIZES_MM[name]
    sheet = Sheet(name, *((h, w) if turned else (w, h)))
    places = mark_places(sheet)
    assert places.notices == ()
    assert len(places.corners) == 4
    assert [(bar.length_mm, bar.upward) for bar in places.bars] == [(100, False), (100, True)]
    assert places.title is not None


@pytest.mark.parametrize("name", PAGE_SIZES_MM)
def test_marks_take_little_of_the_sheet(name):
    sheet = Sheet(name, *PAGE_SIZES_MM[name])
    taken = shapely.union_all(list(reserved_zones(sheet))).area
    assert taken < 1700
    assert taken < (0.035 if name != "A5" else 0.095) * sheet.printable.area


def test_marks_lie_in_their_zones_and_touch_nothing_else():
    sheet = Sheet("A4", 210, 297)
    zones = shapely.union_all(list(reserved_zones(sheet)))
    items = sheet_marks(sheet, title="Harbour tug", note="no printer correction")
    for item in items:
        assert zones.covers(item_shape(item))
        assert sheet.printable.contains(item_box(item))
    texts = [shape(item_box(i)) for i in items if isinstance(i, TextMark)]
    assert len(texts) == 4
    for k, one in enumerate(texts):
        assert not any(one.intersects(other) for other in texts[k + 1 :])


def test_check_bar_is_exactly_as_long_as_it_says():
    items = sheet_marks(Sheet("Letter", 215.9, 279.4), title="t", note="n")
    bars = [i for i in items if isinstance(i, StrokeMark) and i.layer is Layer.CHECK_BAR]
    for across in (True, False):
        ends = []
        for mark in bars:
            box = mark.path.box
            deep, wide = (box.height, box.width) if across else (box.width, box.height)
            if wide == 0 and abs(deep - 3.6) < 1e-9:
                ends.append((box.x0 if across else box.y0, mark.width_mm))
        assert len(ends) == 2
        assert abs(abs(ends[0][0] - ends[1][0]) - 100) < 1e-9
        assert ends[0][1] == ends[1][1]


def test_small_sheet_gets_a_short_bar_and_says_so():
    sheet = Sheet("card", 120, 120)
    places = mark_places(sheet)
    assert {bar.length_mm for bar in places.bars} == {50}
    assert [n.code for n in places.notices] == ["check-bar-short", "check-bar-short"]
    texts = [i.text for i in sheet_marks(sheet, title="t", note="n") if isinstance(i, TextMark)]
    assert "50 mm, left edge to left edge" in texts
    assert "print at actual size (100 %)" in texts


def test_tiny_sheet_says_what_is_left_out():
    codes = [n.code for n in mark_places(Sheet("stamp", 60, 60)).notices]
    assert codes.count("check-bar-left-out") == 2
    with pytest.raises(UsageProblem, match="30 mm"):
        mark_places(Sheet("speck", 40, 60))


def test_die_cut_labels_are_left_alone():
    sheet = Sheet("labels", 215.9, 279.4, Margins(4.3, 4.3, 4.3, 4.3), grid=LABELS_30)
    cells = shapely.union_all([shape(cell) for cell in label_cells(sheet)])
    zones = shapely.union_all(list(reserved_zones(sheet)))
    assert not zones.intersects(cells)
    places = mark_places(sheet)
    assert [bar.upward for bar in places.bars] == [False]
    text = " ".join(n.text for n in places.notices)
    assert "no room for the upright check bar" in text


def test_die_cut_cells_close_on_the_sheet():
    """Ten rows of 1 in with 1/2 in at both ends make 11 in: closure of the grid (ISO-free)."""
    cells = label_cells(Sheet("labels", 215.9, 279.4, grid=LABELS_30))
    assert len(cells) == 30
    assert math.isclose(cells[0].y1, 279.4 - 12.7)
    assert math.isclose(cells[-1].y0, 12.7)
    assert math.isclose(cells[-1].x1, 215.9 - 4.7625)


def test_part_used_sheet_moves_its_marks_off_the_gone_area():
    gone = Box(0, 0, 210, 60)
    sheet = Sheet("A4", 210, 297, gone=(gone,))
    zones = shapely.union_all(list(mark_zones(sheet)))
    assert not zones.intersects(shape(gone))
    whole = shapely.union_all(list(mark_zones(dataclasses.replace(sheet, gone=()))))
    both = shapely.union_all(list(reserved_zones(sheet)))
    assert both.covers(zones.buffer(-1e-6))
    assert both.covers(whole.buffer(-1e-6))
    places = mark_places(sheet)
    assert [bar.length_mm for bar in places.bars] == [100, 100]
    assert "ticks-left-out" in {n.code for n in places.notices}


@settings(max_examples=25, deadline=None)
@given(st.floats(45, 450), st.floats(45, 450), st.floats(0, 7))
def test_any_sheet_keeps_marks_apart_and_inside(width, height, margin):
    sheet = Sheet("any", width, height, Margins(margin, margin, margin, margin))
    if min(sheet.printable.width, sheet.printable.height) < 30:
        return
    places = mark_places(sheet)
    shapes = [shape(box) for box in (*(bar.box for bar in places.bars), places.title) if box]
    shapes += [shape(arm) for corner in places.corners for arm in corner.arms[:1]]
    for k, one in enumerate(shapes):
        assert shape(sheet.printable).covers(one)
        assert not any(one.intersects(other) for other in shapes[k + 1 :])
    assert len(places.bars) + sum(n.code == "check-bar-left-out" for n in places.notices) == 2


def test_notices_tell_of_lost_letters_and_shortened_lines():
    sheet = Sheet("A4", 210, 297)
    codes = [n.code for n in sheet_mark_notices(sheet, title="\u8239 " + "W" * 90, note="n")]
    assert codes == ["letters-missing", "title-shortened"]
