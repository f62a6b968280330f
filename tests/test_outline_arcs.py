"""Arcs found again, offsets and roundings against shapely and hand formulas."""

import math

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from outline_pages import artwork, contents_of, filled, rect

from decalprep.geometry import (
    Affine,
    Arc,
    Box,
    Circle,
    Cubic,
    Line,
    Path,
    circle_path,
    polygon_path,
    rectangle_path,
)
from decalprep.model import Hole, PartFace
from decalprep.outline import (
    OutlineSettings,
    align_boxes,
    align_holes,
    align_outlines,
    arcs_from_points,
    arcs_restored,
    find_outline,
    offset_path,
    paths_of,
    round_corners,
)


def kinds(path):
    return [type(s).__name__ for s in path.segments]


@settings(max_examples=25, deadline=None)
@given(
    x=st.floats(-200, 200), y=st.floats(-200, 200), d=st.floats(1, 300), quarters=st.booleans(),
    turn=st.floats(0, 360),
)  # fmt: skip
def test_circle_of_cubics_becomes_a_circle_again(x, y, d, quarters, turn):
    size = 90 if quarters else 30
    k = 4 / 3 * math.tan(math.radians(size) / 4) * d / 2
    pieces = []
    for n in range(360 // size):
        a = Arc((x, y), d / 2, turn + n * size, size)
        t0, t1 = math.radians(a.start_deg), math.radians(a.start_deg + size)
        (sx, sy), (ex, ey) = a.start, a.end
        pieces.append(
            Cubic(a.start, (sx - k * math.sin(t0), sy + k * math.cos(t0)),
                  (ex + k * math.sin(t1), ey - k * math.cos(t1)), a.end)
        )  # fmt: skip
    path = arcs_restored(Path(tuple(pieces)))
    assert kinds(path) == ["Arc", "Arc"]
    assert path.segments[0].radius == pytest.approx(d / 2, rel=3e-4)
    assert math.dist(path.segments[0].centre, (x, y)) < 1e-6 * d + 1e-9


def test_rounded_rectangle_of_cubics_keeps_four_arcs():
    exact = rectangle_path(Box(0, 0, 100, 60), 5)
    rough = Path(
        tuple(p for s in exact.segments for p in (s.cubics() if isinstance(s, Arc) else [s]))
    )
    path = arcs_restored(rough)
    assert kinds(path).count("Arc") == 4
    assert kinds(path).count("Line") == 4
    assert path.polygon(1e-5).area == pytest.approx(exact.polygon(1e-5).area, abs=1e-3)


def test_free_curve_stays_a_curve():
    s_curve = Path((Cubic((0, 0), (30, 40), (-10, 40), (20, 0)), Line((20, 0), (0, 0))))
    assert kinds(arcs_restored(s_curve)) == ["Cubic", "Line"]


@settings(max_examples=20, deadline=None)
@given(r=st.floats(0.5, 25), w=st.floats(51, 200), h=st.floats(51, 120))
def test_points_of_a_rounded_rectangle_become_four_sides_and_four_arcs(r, w, h):
    exact = rectangle_path(Box(0, 0, w, h), r)
    path = arcs_from_points(exact.points(0.0005))
    assert kinds(path).count("Arc") == 4
    assert len(path.segments) <= 8
    assert path.polygon().hausdorff_distance(exact.polygon()) < 0.005


def test_polygons_stay_polygons():
    for n in (3, 4, 6, 8, 12):
        ring = [
            (40 * math.cos(k * math.tau / n), 40 * math.sin(k * math.tau / n)) for k in range(n)
        ]
        assert kinds(arcs_from_points(ring)) == ["Line"] * n


def test_facets_become_arcs_only_when_told():
    ring = [(10 * math.cos(k * math.tau / 96), 10 * math.sin(k * math.tau / 96)) for k in range(96)]
    assert kinds(arcs_from_points(ring)) == ["Line"] * 96
    assert kinds(arcs_from_points(ring, facet=0.01)) == ["Arc", "Arc"]


@settings(max_examples=20, deadline=None)
@given(by=st.floats(-8, 12))
def test_offset_area_by_steiners_formula(by):
    """For a convex shape with sharp corners kept: area + perimeter d + d^2 sum tan(turn / 2)."""
    ring = [(0, 0), (100, 0), (120, 60), (30, 70)]
    path = offset_path(polygon_path(ring), by)
    perimeter = sum(math.dist(p, ring[k - 1]) for k, p in enumerate(ring))
    area = polygon_path(ring).polygon().area
    corners = 0.0
    for k in range(4):
        a, b, c = ring[k - 2], ring[k - 1], ring[k]
        turn = math.atan2(c[1] - b[1], c[0] - b[0]) - math.atan2(b[1] - a[1], b[0] - a[0])
        corners += math.tan((turn % math.tau) / 2)
    assert path.polygon().area == pytest.approx(area + perimeter * by + corners * by * by, rel=1e-6)


def test_offset_keeps_arcs_with_the_new_radius():
    path = offset_path(rectangle_path(Box(0, 0, 100, 60), 5), 2)
    radii = [s.radius for s in path.segments if isinstance(s, Arc)]
    assert radii == [pytest.approx(7, abs=0.002)] * 4
    circle = offset_path(circle_path(3, 4, 20), -2)
    assert kinds(circle) == ["Arc", "Arc"]
    assert circle.segments[0].radius == pytest.approx(8, abs=0.001)


def test_rounding_goes_both_ways_at_inner_and_outer_corners():
    notch = polygon_path([(0, 0), (60, 0), (60, 20), (40, 20), (40, 50), (0, 50)])
    path, missed = round_corners(notch, 3)
    assert missed == 0
    sweeps = sorted(round(s.sweep_deg) for s in path.segments if isinstance(s, Arc))
    assert sweeps == [-90, 90, 90, 90, 90, 90]
    # five outer corners lose (1 - pi/4) r^2 each, one inner corner gains it
    assert path.polygon(1e-6).area == pytest.approx(2400 - 4 * (1 - math.pi / 4) * 9, abs=1e-4)


def test_paths_of_a_ring_are_two_circles():
    from shapely.geometry import Point

    ring = Point(0, 0).buffer(20, quad_segs=128).difference(Point(0, 0).buffer(10, quad_segs=128))
    assert [kinds(p) for p in paths_of(ring)] == [["Arc", "Arc"], ["Arc", "Arc"]]


# ---------------------------------------------------------------- alignment


def hole(x, y, d=3.4):
    return Hole(circle_path(x, y, d), Circle(x, y, d))


@pytest.mark.parametrize("turn", [0, 90, 180, 270])
def test_holes_give_turn_and_shift(turn):
    part = [hole(-40, -20), hole(40, -20), hole(-40, 20), hole(5, 3, 12.2)]
    m = (Affine.translation(70, 50) @ Affine.rotation(turn)).inverse()
    moved = [
        Hole(h.contour.mapped(m), Circle(*m.apply(h.circle.x, h.circle.y), h.circle.diameter))
        for h in part
    ]
    found = align_holes(part, moved)
    assert found.decal_from_artwork.as_tuple() == pytest.approx(m.inverse().as_tuple(), abs=1e-9)


def test_symmetric_holes_stay_upright():
    part = [hole(x, y) for x in (-40, 40) for y in (-20, 20)]
    assert align_holes(part, part).decal_from_artwork.as_tuple() == pytest.approx(
        (1, 0, 0, 1, 0, 0)
    )


def test_noise_does_not_turn_symmetric_parts():
    part = [hole(x, y) for x in (-40, 40) for y in (-20, 20)]
    noisy = [hole(-40.2, -20), hole(-40, 20.1), hole(40, -20), hole(39.9, 20.2)]
    assert align_holes(part, noisy).decal_from_artwork.a == 1
    plate, other = ((0, 0), (100, 0), (100, 60), (0, 60)), ((0, 0), (100, 0.4), (100, 60), (0, 60))
    assert align_outlines(polygon_path(plate), polygon_path(other)).decal_from_artwork.a == 1


def test_many_holes_are_aligned_in_little_time():
    part = [hole(7 * k, 5 * j, 3.4) for k in range(12) for j in range(10)] + [hole(90, 3, 9)]
    m = Affine.translation(-300, 40)
    moved = [hole(*m.apply(h.circle.x, h.circle.y), h.circle.diameter) for h in part]
    found = align_holes(part, moved)
    assert (found.decal_from_artwork.e, found.decal_from_artwork.f) == pytest.approx((300, -40))
    assert found.by == "121 holes"


def test_one_hole_in_common_is_no_alignment():
    assert align_holes([hole(0, 0), hole(50, 0)], [hole(0, 0), hole(0, 77, 20)]) is None


def test_outline_alignment_states_what_is_left():
    plate = rectangle_path(Box(0, 0, 100, 60), 3)
    found = align_outlines(plate, rectangle_path(Box(500, 500, 601, 560), 3))
    assert found.left_mm == pytest.approx(0.5, abs=0.01)
    assert found.decal_from_artwork.apply(550.5, 530) == pytest.approx((50, 30), abs=1e-6)


def test_box_alignment_is_by_centres():
    found = align_boxes(Box(0, 0, 10, 10), Box(100, 100, 104, 120))
    assert found.decal_from_artwork.apply(102, 110) == pytest.approx((5, 5))
    assert found.left_mm == 5


def test_mesh_outline_gets_its_arcs_back():
    ring = rectangle_path(Box(0, 0, 100, 60), 3).points(0.01)
    face = PartFace(polygon_path(ring), facet_error_mm=0.01, described="mesh")
    art = artwork(100, 60, filled(rect(0, 0, 100, 60)))
    outline = find_outline(art, contents_of(art), face, OutlineSettings()).outline
    assert kinds(outline).count("Arc") == 4
