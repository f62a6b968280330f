"""Paint masks, each from its own plate, and where two plates differ."""

import math

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from outline_pages import codes
from shapely.geometry import Point, box

from decalprep.errors import InputProblem
from decalprep.geometry import Affine, Arc, Box, Circle, circle_path, polygon_path, rectangle_path
from decalprep.model import Hole, PartFace
from decalprep.outline.masks import (
    MaskSettings,
    compare_plates,
    paint_mask,
    plate_masks,
)
from decalprep.outline.safe import fill_area

HOLES = (
    Hole(circle_path(30, 30, 12.2), Circle(30, 30, 12.2)),
    Hole(circle_path(5, 5, 3.4), Circle(5, 5, 3.4)),
    Hole(circle_path(95, 5, 3.4), Circle(95, 5, 3.4)),
)
FACE = PartFace(rectangle_path(Box(0, 0, 100, 60)), HOLES, described="face")
# the back plate lacks a corner of 20 x 15 and has a tab of 10 x 4
BACK = PartFace(
    polygon_path(
        [(0, 0), (100, 0), (100, 45), (80, 45), (80, 60)]
        + [(40, 60), (40, 64), (30, 64), (30, 60), (0, 60)]
    ),
    HOLES, described="back",
)  # fmt: skip


def area_of(mask):
    return fill_area(mask.paths, even_odd=True, tolerance=0.0005).area


def test_mask_is_choked_at_the_edge_and_stands_back_from_openings():
    mask = paint_mask(FACE, name="bow", settings=MaskSettings(0.5, 1.0))
    expected = 99 * 59 - math.pi * (7.1**2 + 2 * 2.7**2)
    assert mask.area_mm2 == pytest.approx(expected, rel=1e-5)
    assert area_of(mask) == pytest.approx(expected, rel=1e-5)
    circles = [p for p in mask.paths if all(isinstance(s, Arc) for s in p.segments)]
    assert sorted(round(p.segments[0].radius, 3) for p in circles) == [2.7, 2.7, 7.1]


@settings(max_examples=15, deadline=None)
@given(choke=st.floats(0, 3), rim=st.floats(0, 2.5))
def test_mask_area_against_shapely(choke, rim):
    mask = paint_mask(FACE, name="bow", settings=MaskSettings(choke, rim))
    oracle = box(choke, choke, 100 - choke, 60 - choke)
    for x, y, d in ((30, 30, 12.2), (5, 5, 3.4), (95, 5, 3.4)):
        oracle = oracle.difference(Point(x, y).buffer(d / 2 + rim, quad_segs=256))
    assert area_of(mask) == pytest.approx(oracle.area, rel=2e-5)


def test_mask_from_behind_is_mirrored_in_place():
    front = paint_mask(FACE, name="bow")
    back = paint_mask(FACE, name="bow", side="back")
    assert back.mirrored
    assert not front.mirrored
    assert back.area_mm2 == front.area_mm2

    def biggest_circle(mask):
        rings = [p for p in mask.paths if all(isinstance(s, Arc) for s in p.segments)]
        return max(rings, key=lambda p: p.segments[0].radius).segments[0].centre

    assert biggest_circle(front) == pytest.approx((30, 30), abs=1e-3)
    assert biggest_circle(back) == pytest.approx((70, 30), abs=1e-3)


def test_each_plate_gets_its_own_masks_and_the_difference_is_stated():
    masks, difference = plate_masks(FACE, BACK, name="searchlight", settings=MaskSettings(0, 0))
    assert [(m.name, m.side) for m in masks] == [
        ("searchlight face plate", "front"),
        ("searchlight face plate", "back"),
        ("searchlight back plate", "front"),
        ("searchlight back plate", "back"),
    ]
    holes = math.pi * (6.1**2 + 2 * 1.7**2)
    assert masks[0].area_mm2 == pytest.approx(6000 - holes, rel=1e-5)
    assert masks[2].area_mm2 == pytest.approx(6000 - 300 + 40 - holes, rel=1e-5)
    assert difference.only_face_mm2 == pytest.approx(300)
    assert difference.only_back_mm2 == pytest.approx(40)
    assert codes(difference.notices) == {"plates-differ"}
    # hatching: total length times spacing is the area, nearly
    length = sum(math.dist(p.segments[0].start, p.segments[0].end) for p in difference.hatch)
    assert length * 2.0 == pytest.approx(340, rel=0.1)


def test_same_plates_do_not_differ():
    difference = compare_plates(FACE, FACE)
    assert difference.notices == ()
    assert difference.hatch == ()


@pytest.mark.parametrize("shift", [(300, -40), (2, 2)])
def test_back_plate_in_another_frame_is_laid_on_by_its_holes(shift):
    m = Affine.translation(*shift)
    moved = PartFace(
        BACK.outline.mapped(m),
        tuple(
            Hole(h.contour.mapped(m), Circle(*m.apply(h.circle.x, h.circle.y), h.circle.diameter))
            for h in HOLES
        ),
    )
    difference = compare_plates(FACE, moved)
    assert difference.only_face_mm2 == pytest.approx(300, rel=1e-6)
    assert "plates-aligned" in codes(difference.notices)


def test_facets_are_no_difference():
    n = 64
    ring = [
        (50 + 20 * math.cos(k * math.tau / n), 30 + 20 * math.sin(k * math.tau / n))
        for k in range(n)
    ]
    difference = compare_plates(PartFace(circle_path(50, 30, 40)), PartFace(polygon_path(ring)))
    assert difference.notices == ()


def test_choke_that_leaves_nothing_is_refused():
    with pytest.raises(InputProblem, match="nothing is left"):
        paint_mask(FACE, name="bow", settings=MaskSettings(choke_mm=31))
