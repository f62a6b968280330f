"""Lines and crosses found to a few micrometres, whatever their width, place and colour."""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from decalprep.geometry import Box, circle_path, fit_circle, rectangle_path
from decalprep.proof.lines import MeasuredLine, measure_cross, measure_edges, measure_lines
from decalprep.proof.render import open_pdf
from decalprep.proof.specimen import polyline, sheet_file
from decalprep.proof.stations import stations_on


def found(drawn, expected, *, width_mm=0.1, closed=True, colour="") -> MeasuredLine:
    pdf = sheet_file((60, 60), {"x": [colour + polyline(drawn, close=closed, width_mm=width_mm)]})
    with open_pdf(pdf) as view:
        return measure_lines(view, 0, [stations_on(expected, closed=closed)])[0]


@settings(max_examples=12, deadline=None)
@given(
    x=st.floats(10, 20),
    y=st.floats(10, 20),
    diameter=st.floats(2, 30),
    width=st.sampled_from([0.05, 0.1, 0.25]),
)
def test_circles_anywhere_are_measured_to_three_micrometres(x, y, diameter, width):
    ring = circle_path(x + diameter / 2, y + diameter / 2, diameter).points(0.0005)
    line = found(ring, ring, width_mm=width)
    assert line.found.all()
    assert line.worst_mm < 0.003
    circle, _ = fit_circle([tuple(p) for p in line.points])
    assert circle.diameter == pytest.approx(diameter, abs=0.002)
    assert line.width_mm == pytest.approx(width, abs=0.01)


def test_a_shift_is_measured_with_its_sign():
    square = rectangle_path(Box(10, 10, 40, 40)).points()
    moved = [(x + 0.03, y) for x, y in square]
    line = found(moved, square)
    right = line.stations.points[:, 0] > 39.9
    # counter-clockwise: the normal points outward, so a move to the right is positive there
    assert line.offsets_mm[right].mean() == pytest.approx(0.03, abs=0.001)
    assert line.worst_mm == pytest.approx(0.03, abs=0.003)


@pytest.mark.parametrize("colour", ["1 0 0 RG ", "1 1 0 RG ", "0.6 G ", "0 0.7 0.3 RG "])
def test_coloured_lines_are_found_as_well(colour):
    square = rectangle_path(Box(10, 10, 40, 40), 4).points()
    assert found(square, square, colour=colour).worst_mm < 0.003


def test_a_gap_is_measured_and_a_line_too_far_off_is_not_taken():
    square = [(10.0, 10.0), (40.0, 10.0), (40.0, 40.0), (10.0, 40.0)]
    open_ring = [(30.0, 10.0), (40.0, 10.0), (40.0, 40.0), (10.0, 40.0), (10.0, 10.0), (20.0, 10.0)]
    pdf = sheet_file((60, 60), {"x": [polyline(open_ring, close=False, width_mm=0.1)]})
    with open_pdf(pdf) as view:
        line = measure_lines(view, 0, [stations_on(square, closed=True)])[0]
    assert 10.0 <= line.gap_mm < 12.0
    far = [(x + 2.0, y + 2.0) for x, y in square]
    assert not found(far, square).found[2:-2].all()


def test_nothing_drawn_is_nothing_found():
    square = [(10.0, 10.0), (40.0, 10.0), (40.0, 40.0), (10.0, 40.0)]
    pdf = sheet_file((60, 60), {"x": []})
    with open_pdf(pdf) as view:
        line = measure_lines(view, 0, [stations_on(square, closed=True)])[0]
        assert measure_cross(view, 0, (20, 20), reach_mm=1.0) is None
    assert not line.found.any()
    assert math.isinf(line.worst_mm)


@pytest.mark.parametrize("reach", [0.8, 1.8])
@pytest.mark.parametrize("turn", [0.0, 30.0])
def test_the_centre_of_a_cross_is_found_to_two_micrometres(reach, turn):
    x, y = 20.113, 31.707
    arms = []
    for angle in (turn, turn + 90):
        dx, dy = 1.5 * math.cos(math.radians(angle)), 1.5 * math.sin(math.radians(angle))
        ends = [(x - dx, y - dy), (x + dx, y + dy)]
        arms.append(polyline(ends, close=False, width_mm=0.1))
    with open_pdf(sheet_file((60, 60), {"x": arms})) as view:
        centre = measure_cross(view, 0, (x + 0.2, y - 0.1), reach_mm=reach)
    assert centre is not None
    assert math.dist(centre, (x, y)) < 0.002


def test_stations_keep_away_from_corners_and_lie_on_curves():
    square = stations_on([(0, 0), (10, 0), (10, 10), (0, 10)], closed=True)
    corners = [(0, 0), (10, 0), (10, 10), (0, 10)]
    assert min(math.dist(p, c) for p in square.points for c in corners) >= 0.39
    ring = stations_on(circle_path(0, 0, 20).points(), closed=True)
    assert max(abs(math.hypot(*p) - 10) for p in ring.points) < 1e-9
    rounded = stations_on(rectangle_path(Box(0, 0, 50, 20), 3).points(), closed=True)
    assert sum(1 for p in rounded.points if p[1] < 1e-9) > 10


@pytest.mark.parametrize("grey", [0.0, 0.88])
def test_the_edges_of_a_filled_shape_are_measured_with_their_sign(grey):
    outer = [(10.0, 10.0), (40.0, 10.0), (40.0, 40.0), (10.0, 40.0)]
    hole = circle_path(25, 25, 12).points(0.0005)[::-1]
    drawn = [(x + 0.02, y) for x, y in outer]
    ink = " ".join(polyline(r, close=True, width_mm=0.1)[:-1] + "h" for r in (drawn, hole))
    with open_pdf(sheet_file((60, 60), {"x": [f"{grey} g {ink} f*"]})) as view:
        rings = [stations_on(ring, closed=True) for ring in (outer, hole)]
        edge, round_edge = measure_edges(view, 0, rings)
    right = edge.stations.points[:, 0] > 39.9
    assert edge.offsets_mm[right].mean() == pytest.approx(0.02, abs=0.001)
    assert round_edge.worst_mm < 0.003


def test_a_straight_side_in_many_pieces_still_has_stations():
    def side(start, end):
        return [tuple(start + (end - start) * k / 300) for k in range(300)]

    corners = [np.array(c) for c in ((10.0, 10.0), (40.0, 10.0), (40.0, 40.0), (10.0, 40.0))]
    ring = [p for k in range(4) for p in side(corners[k], corners[(k + 1) % 4])]
    stations = stations_on(ring, closed=True)
    assert stations.length_mm == pytest.approx(120.0)
    for x in (10.0, 40.0):
        assert (np.abs(stations.points[:, 0] - x) < 1e-9).sum() > 20
    assert found(ring, ring).worst_mm < 0.002


def test_a_line_across_is_no_gap():
    square = [(10.0, 10.0), (40.0, 10.0), (40.0, 40.0), (10.0, 40.0)]
    across = polyline([(25.0, 5.0), (25.0, 45.0)], close=False, width_mm=0.4)
    pdf = sheet_file((60, 60), {"x": [polyline(square, close=True, width_mm=0.1), across]})
    with open_pdf(pdf) as view:
        line = measure_lines(view, 0, [stations_on(square, closed=True)])[0]
    assert not line.found.all()
    assert line.gap_mm == 0.0
    assert line.worst_mm < 0.003


@pytest.mark.parametrize("height", [2.0, 8.0, 20.0])
def test_acute_corners_do_not_pass_for_errors(height):
    """Near a sharp corner both sides share ink; they are measured where they are apart."""
    corners = [(5.0, 20.0), (55.0, 20.0), (5.0, 20.0 + height)]
    line = found(corners, corners)
    assert len(line.stations.points) > 20
    assert line.found.all()
    assert line.worst_mm < 0.004
