"""Cells and whole-number boards against plain geometry and plain loops."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from shapely.geometry import Point, Polygon, box

from decalprep.model import Margins, Sheet
from decalprep.nesting import NestPart, NestSettings
from decalprep.nesting.board import Board, Field, Spot
from decalprep.nesting.objective import straight_cuts
from decalprep.nesting.placing import Habit, find_spot
from decalprep.nesting.raster import grown, inner_cells, largest_rectangle, touched_cells
from decalprep.nesting.regions import Kind, regions_of
from decalprep.nesting.rows import in_rows
from decalprep.nesting.shapes import bits_of, mask_of, shape_of, turned_part
from decalprep.nesting.state import Nest, OpenSheet, Piece

points = st.lists(
    st.tuples(st.floats(0.3, 11.7), st.floats(0.3, 7.7)), min_size=3, max_size=7, unique=True
)


def polygon_of(raw):
    shape = Polygon(raw).convex_hull
    return shape if isinstance(shape, Polygon) and shape.area > 0.1 else box(1, 1, 3, 2)


@settings(max_examples=40, deadline=None)
@given(points, st.booleans())
def test_touched_and_inner_cells_against_geometry(raw, hollow):
    shape = polygon_of(raw)
    if hollow:
        shape = shape.difference(shape.centroid.buffer(0.4))
    touched = touched_cells(shape, (0, 0), 1.0, 8, 12)
    inner = inner_cells(shape, (0, 0), 1.0, 8, 12)
    for i in range(8):
        for j in range(12):
            area = shape.intersection(box(j, i, j + 1, i + 1)).area
            if area > 1e-9:
                assert touched[i, j]
            if inner[i, j]:
                assert area == pytest.approx(1.0, abs=1e-9)


def test_whole_sizes_take_no_cell_too_many():
    mask = turned_part(box(0, 0, 100, 50), 0.0, 2.0, 1.0).mask
    assert mask.shape == (52, 102)
    quarter = turned_part(box(-3.3, 7.1, 96.7, 57.1), 90.0, 2.0, 1.0)
    assert quarter.mask.shape == (102, 52)


@pytest.mark.parametrize("gap", [0.0, 1.0, 2.0, 20.0])
def test_growing_never_falls_short(gap):
    """The arc of a grown corner is a polygon; it may miss the true arc by 0.2 micrometres."""
    shape = box(0, 0, 10, 10)
    true_area = 100 + 40 * gap + np.pi * gap**2
    assert grown(shape, gap).area == pytest.approx(true_area, rel=2e-5, abs=1e-3)


def naive_free(taken, mask):
    rows, columns = taken.shape
    h, w = mask.shape
    return {
        (x, y)
        for y in range(rows - h + 1)
        for x in range(columns - w + 1)
        if not (taken[y : y + h, x : x + w] & mask).any()
    }


@settings(max_examples=40, deadline=None)
@given(points, st.integers(0, 2**30), st.floats(0.0, 0.15))
def test_free_positions_against_a_plain_loop(raw, seed, share):
    rng = np.random.default_rng(seed)
    taken = rng.random((23, 31)) < share
    turned = turned_part(polygon_of(raw), 0.0, 0.5, 1.0)
    board = Board(Field(31.0, 23.0, taken))
    bits = board.positions(board.free_spots(turned))
    spots = {(s.x, s.y) for s in (board.spot_at(turned, int(b)) for b in bits)}
    assert spots == naive_free(taken, turned.mask)


def test_bits_and_masks_are_the_same_thing():
    mask = np.random.default_rng(3).random((9, 14)) < 0.4
    assert (mask_of(bits_of(mask, 20), 20, 9)[:, :14] == mask).all()


def test_largest_rectangle_against_a_plain_loop():
    rng = np.random.default_rng(5)
    for _ in range(30):
        free = rng.random((7, 9)) < 0.7
        best = max(
            (
                (h * w)
                for y in range(7)
                for x in range(9)
                for h in range(1, 8 - y)
                for w in range(1, 10 - x)
                if free[y : y + h, x : x + w].all()
            ),
            default=0,
        )
        _, _, w, h = largest_rectangle(free)
        assert w * h == best


def test_each_habit_finds_a_place_that_is_free():
    part = NestPart("p", 1, Point(0, 0).buffer(20))
    shape = shape_of(part, NestSettings())
    for habit in Habit:
        board = Board(Field(100.0, 100.0, np.zeros((100, 100), dtype=bool)))
        for _ in range(4):
            found = find_spot(board, shape, habit)
            assert found is not None
            before = board.taken
            board.put(found.spot)
            cells = int(shape.turned[0].mask.sum())
            assert (board.taken ^ before).bit_count() == cells


def nest_of(boxes):
    """A nest with upright boxes (x, y, width, height) laid at whole millimetres."""
    rules = NestSettings(gap_mm=0.0)
    sheet = Sheet("A4", 210, 297, Margins(0, 0, 0, 0))
    opened = OpenSheet(Kind(sheet, regions_of(sheet, rules), None))
    for k, (x, y, w, h) in enumerate(boxes):
        shape = shape_of(NestPart(f"p{k}", 1, box(0, 0, w, h)), rules)
        opened.put(Piece(f"p{k}", 1, "", shape), 0, Spot(shape.turned[0], x, y))
    return Nest([opened])


def test_straight_cuts_free_a_grid_but_not_a_pinwheel():
    grid = [(0, 0, 50, 50), (50, 0, 50, 50), (0, 50, 50, 50), (50, 50, 50, 50)]
    pinwheel = [(0, 0, 60, 40), (60, 0, 40, 60), (40, 60, 60, 40), (0, 40, 40, 60)]
    assert straight_cuts(nest_of(grid)) == 3
    assert straight_cuts(nest_of(pinwheel)) == 0


def test_rows_by_straight_cuts_alone():
    rules = NestSettings(gap_mm=0.0)
    sizes = [(50, 20), (40, 30), (60, 10), (30, 30), (45, 15)]
    pieces = [
        Piece(f"p{k}", 1, "", shape_of(NestPart(f"p{k}", 1, box(0, 0, *size)), rules))
        for k, size in enumerate(sizes)
    ]
    laid = in_rows(pieces, 100, 70)
    assert laid is not None
    assert in_rows(pieces, 100, 50) is None
    boxes = [(s.x, s.y, int(s.turned.width), int(s.turned.height)) for _, s in laid]
    assert straight_cuts(nest_of(boxes)) == len(sizes) - 1
