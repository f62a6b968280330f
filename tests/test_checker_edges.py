"""The checker at its edges: places worked out by hand, on either side of every limit."""

from dataclasses import replace

import pytest
from shapely.geometry import Polygon, box

from decalprep.geometry import Box
from decalprep.model import DieCutGrid, Margins, Placement, Sheet, Turns
from decalprep.nesting import Layout, NestPart, NestSettings, check_layout
from decalprep.nesting.checker import placed_polygon

A4 = Sheet("A4", 210, 297, Margins(5, 6, 7, 8))
RULES = NestSettings(gap_mm=2.0)
BAR = NestPart("bar", 1, box(0, 0, 30, 10), Turns.QUARTER)


def at(x, y, *, turn=0.0, copy=1, sheet=0, key="bar"):
    return Placement(key, copy, sheet, x, y, turn)


def faults(*placements, parts=(BAR,), rules=RULES, stock=None, sheets=(A4,), unplaced=()):
    given = Layout(tuple(placements), tuple(unplaced), tuple(sheets), 1, "test")
    return check_layout(parts, stock or (sheets[0],), rules, given)


@pytest.mark.parametrize(
    ("turn", "bounds"),
    [
        (0, (50, 60, 80, 70)),
        (90, (40, 60, 50, 90)),
        (180, (20, 50, 50, 60)),
        (270, (50, 30, 60, 60)),
    ],
)
def test_a_piece_turns_about_its_frames_origin_then_shifts(turn, bounds):
    where = placed_polygon(BAR.polygon, at(50, 60, turn=turn))
    assert where.bounds == pytest.approx(bounds)


def test_turns_in_steps_and_beside_them():
    for turns, step in ((Turns.NONE, 360), (Turns.HALF, 180), (Turns.QUARTER, 90)):
        part = replace(BAR, turns=turns)
        for k in range(-2, 5):
            assert faults(at(100, 100, turn=k * step), parts=(part,)) == ()
            assert faults(at(100, 100, turn=k * step + 1e-6), parts=(part,))
            assert faults(at(100, 100, turn=(k + 0.5) * step), parts=(part,))


def test_free_turns_may_be_held_to_steps():
    free = replace(BAR, turns=Turns.FREE)
    assert faults(at(100, 100, turn=17.3), parts=(free,)) == ()
    stepped = replace(free, turn_step_deg=30.0)
    assert faults(at(100, 100, turn=330), parts=(stepped,)) == ()
    assert "steps of 30 only" in faults(at(100, 100, turn=45), parts=(stepped,))[0]


def test_copies_left_over_count_too():
    two = replace(BAR, copies=2)
    assert faults(at(100, 100), parts=(two,), unplaced=(("bar", 2),)) == ()
    assert (
        "copy 2 appears 2 times"
        in faults(at(100, 100), at(100, 150, copy=2), parts=(two,), unplaced=(("bar", 2),))[0]
    )


@pytest.mark.parametrize(
    ("x", "y", "good"),
    [
        (100, 100, True),
        (A4.margins.left_mm, 100, True),
        (A4.margins.left_mm - 0.0005, 100, True),
        (A4.margins.left_mm - 0.002, 100, False),
        (210 - A4.margins.right_mm - 30, 100, True),
        (210 - A4.margins.right_mm - 30 + 0.002, 100, False),
        (100, A4.margins.bottom_mm, True),
        (100, A4.margins.bottom_mm - 0.002, False),
        (100, 297 - A4.margins.top_mm - 10, True),
        (100, 297 - A4.margins.top_mm - 10 + 0.002, False),
    ],
)
def test_each_margin(x, y, good):
    assert (faults(at(x, y)) == ()) == good


def test_half_the_gap_from_what_is_blocked_and_the_whole_from_what_is_gone():
    area = box(100, 100, 120, 120)
    rules = replace(RULES, blocked=(area,))
    assert faults(at(121.0, 100), rules=rules) == ()
    assert faults(at(120.9995, 100), rules=rules) == ()
    assert "0.990 mm from a blocked area, 1 mm" in faults(at(120.99, 100), rules=rules)[0]
    only = replace(RULES, blocked_on={"A4": (area,), "A5": (box(0, 0, 210, 297),)})
    assert faults(at(121.0, 100), rules=only) == ()
    assert faults(at(110, 100), rules=only)
    used = replace(A4, gone=(Box(100, 100, 120, 120),))
    assert faults(at(122.0, 100), sheets=(used,)) == ()
    assert "1.990 mm from an area that is gone, 2 mm" in faults(at(121.99, 100), sheets=(used,))[0]


def test_with_no_gap_touching_is_allowed_and_lying_over_is_not():
    rules = replace(RULES, gap_mm=0.0, blocked=(box(100, 100, 120, 120),))
    two = replace(BAR, copies=2)
    assert faults(at(120, 100), at(150, 100, copy=2), parts=(two,), rules=rules) == ()
    assert "blocked area" in faults(at(119.9, 100), rules=rules, parts=(BAR,))[0]
    over = faults(at(120, 100), at(149.9, 100, copy=2), parts=(two,), rules=rules)
    assert "overlap by 1.000 mm2" in over[0]


@pytest.mark.parametrize("gap", [0.5, 2.0, 7.0])
def test_the_gap_is_found_from_any_side_and_for_any_pair(gap):
    rules = replace(RULES, gap_mm=gap)
    three = replace(BAR, copies=3)
    for dx, dy in ((30 + gap, 0), (0, 10 + gap), (-30 - gap, 0), (0, -10 - gap)):
        far = at(20, 250, copy=3)
        good = (at(100, 100), at(100 + dx, 100 + dy, copy=2), far)
        assert faults(*good, parts=(three,), rules=rules) == ()
        near = at(100 + dx * 0.999, 100 + dy * 0.999, copy=2)
        assert len(faults(far, near, at(100, 100), parts=(three,), rules=rules)) == 1
        assert len(faults(at(100, 100), far, near, parts=(three,), rules=rules)) == 1


def test_pieces_on_other_sheets_do_not_meet():
    two = replace(BAR, copies=2)
    pair = (at(100, 100), at(100, 100, copy=2, sheet=1))
    assert faults(*pair, parts=(two,), sheets=(A4, A4)) == ()
    assert faults(*pair, parts=(two,), sheets=(A4,))
    third = at(100, 101, copy=3, sheet=1)
    told = faults(*pair, third, parts=(replace(BAR, copies=3),), sheets=(A4, A4))
    assert told[0].startswith("sheet 2: ")


# ---------------------------------------------------------------- labels

GRID = DieCutGrid(
    rows=3,
    columns=2,
    label_width_mm=60,
    label_height_mm=40,
    first_left_mm=20,
    first_top_mm=30,
    pitch_x_mm=70,
    pitch_y_mm=50,
    corner_radius_mm=5,
)
LABELS = replace(A4, grid=GRID)
MARGIN = replace(RULES, die_margin_mm=1.0)


def corner(number: int) -> tuple[float, float]:
    """Lower left corner of a label, by hand."""
    row, column = (number - 1) // 2, (number - 1) % 2
    return 20 + 70 * column, 297 - 30 - 50 * row - 40


@pytest.mark.parametrize("number", [1, 2, 3, 4, 5, 6])
def test_every_label_lies_where_it_should(number):
    left, bottom = corner(number)
    inner = NestPart("bar", 1, box(0, 0, 58 - 10, 38), Turns.NONE)  # clear of the round corners
    assert faults(at(left + 6, bottom + 1), parts=(inner,), sheets=(LABELS,), rules=MARGIN) == ()
    for dx, dy in ((0, 0.01), (0, -0.01)):
        told = faults(
            at(left + 6 + dx, bottom + 1 + dy), parts=(inner,), sheets=(LABELS,), rules=MARGIN
        )
        assert told == (f"'bar' copy 1 is not within label {number} less 1 mm",)
    gone = replace(LABELS, gone_labels=(number,))
    told = faults(at(left + 6, bottom + 1), parts=(inner,), sheets=(gone,), rules=MARGIN)
    assert told == (f"'bar' copy 1 lies on label {number}, which is gone",)
    other = replace(LABELS, gone_labels=(number % 6 + 1,))
    assert faults(at(left + 6, bottom + 1), parts=(inner,), sheets=(other,), rules=MARGIN) == ()


def test_round_corners_of_labels_are_kept_and_square_ones_filled():
    left, bottom = corner(4)
    whole = NestPart("bar", 1, box(0, 0, 58, 38), Turns.NONE)
    cut = Polygon([(4, 0), (54, 0), (58, 4), (58, 34), (54, 38), (4, 38), (0, 34), (0, 4)])
    octagon = NestPart("bar", 1, cut, Turns.NONE)
    place = at(left + 1, bottom + 1)
    assert faults(place, parts=(whole,), sheets=(LABELS,), rules=MARGIN)
    assert faults(place, parts=(octagon,), sheets=(LABELS,), rules=MARGIN) == ()
    square = replace(LABELS, grid=replace(GRID, corner_radius_mm=0))
    assert faults(place, parts=(whole,), sheets=(square,), rules=MARGIN) == ()
    wide = replace(whole, polygon=box(0, 0, 60, 40))
    close = replace(RULES, die_margin_mm=0.0)
    assert faults(at(left, bottom), parts=(wide,), sheets=(square,), rules=close) == ()
    assert faults(at(left + 0.01, bottom), parts=(wide,), sheets=(square,), rules=close)


def test_a_disc_label_is_a_disc():
    discs = replace(LABELS, grid=replace(GRID, label_width_mm=40, corner_radius_mm=99))
    left, bottom = corner(1)
    inside = NestPart("bar", 1, box(0, 0, 26, 26), Turns.NONE)  # a square in a circle of 38
    assert faults(at(left + 7, bottom + 7), parts=(inside,), sheets=(discs,), rules=MARGIN) == ()
    assert faults(at(left + 8, bottom + 8), parts=(inside,), sheets=(discs,), rules=MARGIN)


def test_between_labels_lies_no_label():
    small = NestPart("bar", 1, box(0, 0, 4, 4), Turns.NONE)
    told = faults(at(83, 240), parts=(small,), sheets=(LABELS,), rules=MARGIN)
    assert told == ("'bar' copy 1 lies on no label",)
    after_the_last = at(26, 297 - 30 - 3 * 50 - 20)
    told = faults(after_the_last, parts=(small,), sheets=(LABELS,), rules=MARGIN)
    assert told == ("'bar' copy 1 lies on no label",)


# ---------------------------------------------------------------- supply


@pytest.mark.parametrize(("used", "good"), [(1, True), (2, True), (3, False)])
def test_no_more_sheets_than_there_are(used, good):
    stock = replace(A4, available=2)
    parts = (replace(BAR, copies=used),)
    places = [at(100, 100, copy=k + 1, sheet=k) for k in range(used)]
    told = faults(*places, parts=parts, stock=(stock,), sheets=(stock,) * used)
    assert (told == ()) == good


@pytest.mark.parametrize("how", [{"gone": (Box(0, 0, 20, 20),)}, {"gone_labels": (1,)}])
def test_of_sheets_with_a_part_used_one_only_the_rest_are_whole(how):
    stock = replace(A4, available=2, grid=GRID if "gone_labels" in how else None, **how)
    whole = replace(stock, gone=(), gone_labels=())
    part = NestPart("bar", 2, box(0, 0, 30, 10), Turns.NONE)
    places = [at(96, 200, copy=k + 1, sheet=k) for k in range(2)]
    assert faults(*places, parts=(part,), stock=(stock,), sheets=(stock, whole)) == ()
    told = faults(*places, parts=(part,), stock=(stock,), sheets=(whole, whole))
    assert told == ("the part-used 'A4' was taken for a whole one",)
    free = replace(stock, available=None)
    assert faults(*places, parts=(part,), stock=(free,), sheets=(whole, whole)) == ()


def test_a_sheet_may_not_change_its_size():
    told = faults(at(100, 100), stock=(A4,), sheets=(replace(A4, height_mm=296.0),))
    assert told == ("'A4' changed its size",)


def test_locked_places_stay():
    rules = replace(RULES, locked=(at(100, 100),))
    assert faults(at(100, 100), rules=rules) == ()
    assert "was locked and has moved" in faults(at(100, 100.001), rules=rules)[0]
