"""Lower bounds: each claim on its own, and never above what a layout reaches."""

import math
import random

import pytest
from shapely.geometry import Point, box

from decalprep.model import Margins, Sheet, Turns
from decalprep.nesting import NestPart, NestSettings, nest
from decalprep.nesting.bounds import inner_rectangle, lower_bound, sheets_for, used_area_mm2
from decalprep.nesting.regions import kinds_of

A4 = Sheet("A4", 210, 297, Margins(5, 5, 5, 5))
RING = Point(0, 0).buffer(50).difference(Point(0, 0).buffer(40))


def bound(parts, sheets=(A4,), **rules):
    settings = NestSettings(**rules)
    return lower_bound(parts, kinds_of(tuple(sheets), settings), settings)


def test_a_cut_out_counts_only_where_nothing_fits_it():
    ring = NestPart("ring", 4, RING)
    small = NestPart("small", 1, box(0, 0, 20, 20))
    large = NestPart("large", 1, box(0, 0, 90, 20))
    full, hollow = math.pi * 51**2, math.pi * (51**2 - 39**2)
    assert used_area_mm2(ring, [ring], 2.0) == pytest.approx(full, rel=0.01)
    assert used_area_mm2(ring, [ring, large], 2.0) == pytest.approx(full, rel=0.01)
    assert used_area_mm2(ring, [ring, small], 2.0) == pytest.approx(hollow, rel=0.01)


def test_pieces_of_which_no_two_share_a_sheet():
    assert bound([NestPart("wide", 3, box(0, 0, 110, 150), Turns.NONE)]) == 3
    assert bound([NestPart("wide", 3, box(0, 0, 110, 142), Turns.NONE)]) < 3
    assert bound([NestPart("square", 6, box(0, 0, 145, 145))]) == 6


def test_a_notch_does_not_make_a_conflict():
    two = box(0, 0, 190, 190).difference(box(90, 90, 190, 190))
    assert bound([NestPart("ell", 2, two)]) <= 2


def test_limited_and_part_used_sheets_only_raise_the_bound():
    parts = [NestPart("p", 12, box(0, 0, 90, 90))]
    small = Sheet("A5", 148, 210, Margins(5, 5, 5, 5))
    assert bound(parts, [A4, small]) <= bound(parts, [small])


def test_labels_are_counted_as_sheets():
    from decalprep.nesting import even_grid

    sheet = even_grid("A4", 4, 2, (98.0, 67.0))
    assert bound([NestPart("p", 17, box(0, 0, 90, 60))], [sheet]) == 3


def test_sheets_for_adds_the_largest_first():
    assert sheets_for(10, [6, 5, 4]) == 2
    assert sheets_for(11.1, [6, 5, 4]) == 3
    assert sheets_for(16, [6, 5, 4]) == 4
    assert sheets_for(0, [6]) == 0


@pytest.mark.parametrize("seed", range(8))
def test_the_inner_rectangle_is_inside(seed):
    rng = random.Random(seed)
    shape = box(0, 0, rng.uniform(20, 90), rng.uniform(20, 90))
    shape = shape.difference(Point(rng.uniform(0, 90), rng.uniform(0, 90)).buffer(25))
    shape = max(getattr(shape, "geoms", [shape]), key=lambda p: p.area)
    w, h = inner_rectangle(shape)
    x0, y0, x1, y1 = shape.bounds
    assert w * h <= shape.area + 1e-6
    assert w <= x1 - x0 + 1e-9
    assert h <= y1 - y0 + 1e-9
    assert w * h > 0.2 * shape.area


@pytest.mark.parametrize("seed", range(6))
def test_never_above_a_layout(seed):
    rng = random.Random(seed)
    parts = [
        NestPart(f"p{k}", 1, box(0, 0, rng.uniform(40, 180), rng.uniform(30, 140)))
        for k in range(9)
    ]
    layout = nest(parts, [A4], NestSettings(budget=10))
    assert layout.lower_bound <= len(layout.sheets)
