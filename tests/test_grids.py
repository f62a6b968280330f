"""Die-cut grids: labels where they are measured, and sums that do not close are told."""

from dataclasses import replace

import pytest

from decalprep.model import DieCutGrid, Sheet, StockKind
from decalprep.nesting import check_grid, even_grid, example_grids, label_boxes, start_at
from decalprep.units import MM_PER_IN


def inch_sheet(**changes):
    """3 x 10 labels of 2.625 x 1 in on Letter: the closure example of facts D, in inches."""
    grid = {
        "rows": 10,
        "columns": 3,
        "label_width_mm": 2.625 * MM_PER_IN,
        "label_height_mm": 1 * MM_PER_IN,
        "first_left_mm": 0.1875 * MM_PER_IN,
        "first_top_mm": 0.5 * MM_PER_IN,
        "pitch_x_mm": 2.75 * MM_PER_IN,
        "pitch_y_mm": 1 * MM_PER_IN,
    } | changes
    return Sheet("labels", 215.9, 279.4, stock=StockKind.DIE_CUT, grid=DieCutGrid(**grid))


def test_the_inch_grid_closes():
    sheet = inch_sheet()
    assert check_grid(sheet) == ()
    last = label_boxes(sheet)[-1]
    assert last.x1 + 0.1875 * MM_PER_IN == pytest.approx(8.5 * MM_PER_IN)
    assert last.y0 == pytest.approx(0.5 * MM_PER_IN)


@pytest.mark.parametrize(
    ("changes", "code"),
    [
        ({"first_left_mm": 6.5}, "grid-not-symmetric"),
        ({"pitch_x_mm": 72.5}, "grid-beyond-sheet"),
        ({"pitch_y_mm": 24.0}, "grid-labels-overlap"),
        ({"rows": 11, "pitch_y_mm": 25.4, "first_top_mm": 12.7}, "grid-beyond-sheet"),
    ],
)
def test_what_does_not_close_is_told(changes, code):
    assert code in [n.code for n in check_grid(inch_sheet(**changes))]


def test_a_label_that_does_not_exist_is_told():
    sheet = replace(inch_sheet(), gone_labels=(31,))
    assert [n.code for n in check_grid(sheet)] == ["grid-no-such-label"]


def test_numbers_run_row_by_row_from_the_top_left():
    boxes = label_boxes(inch_sheet())
    assert boxes[0].y1 == pytest.approx(279.4 - 12.7)
    assert boxes[1].x0 == pytest.approx(boxes[0].x0 + 2.75 * MM_PER_IN)
    assert boxes[3].y1 == pytest.approx(boxes[0].y0)


def test_start_at_marks_those_before():
    assert start_at(inch_sheet(), 4).gone_labels == (1, 2, 3)
    assert start_at(inch_sheet(), 1).gone_labels == ()


@pytest.mark.parametrize("sheet", example_grids(), ids=lambda s: s.name)
def test_every_example_closes(sheet):
    assert check_grid(sheet) == ()
    assert len(label_boxes(sheet)) == sheet.grid.rows * sheet.grid.columns


def test_a_plain_sheet_has_no_labels():
    plain = replace(even_grid("A4", 2, 2, (90.0, 120.0)), grid=None)
    assert label_boxes(plain) == ()
    assert check_grid(plain) == ()
