"""Tiles: they cover the decal, fit the sheet, meet on hidden seams, and carry match ticks."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from shapely import union_all
from shapely.geometry import LineString, Point, Polygon, box

from decalprep.errors import DoesNotFit
from decalprep.nesting import Ground, TileSettings, tile_decal

A4_ROOM = (200.0, 287.0)


def holds(tiling, decal, room):
    """The facts that every tiling must keep."""
    assert union_all([t.shown for t in tiling.tiles]).symmetric_difference(decal).area < 1e-3
    for tile in tiling.tiles:
        x0, y0, x1, y1 = tile.polygon.bounds
        w, h = x1 - x0, y1 - y0
        upright = w <= room[0] + 1e-6 and h <= room[1] + 1e-6
        assert upright or (h <= room[0] + 1e-6 and w <= room[1] + 1e-6)
        assert tile.shown.difference(tile.cut).area < 1e-6
        assert tile.cut.difference(tile.polygon).area < 1e-6
    for a in tiling.tiles:
        for b in tiling.tiles:
            if a.number < b.number:
                assert a.shown.intersection(b.shown).area < 1e-6


@settings(max_examples=20, deadline=None)
@given(st.floats(30, 700), st.floats(30, 600), st.floats(5, 15), st.booleans())
def test_tiles_cover_any_rectangle_and_fit(width, height, overlap, notched):
    decal = box(0, 0, width, height)
    if notched:
        decal = decal.difference(box(width * 0.6, height * 0.7, width, height))
    tiling = tile_decal(decal, A4_ROOM, TileSettings(overlap_mm=overlap))
    holds(tiling, decal, A4_ROOM)


def test_a_decal_that_fits_stays_whole():
    tiling = tile_decal(box(0, 0, 150, 100), A4_ROOM)
    assert len(tiling.tiles) == 1
    assert tiling.seams == ()


def test_the_seam_goes_between_two_legends_not_through_them():
    decal = box(0, 0, 400, 90)
    legend = [box(5, 20, 190, 60), box(207, 20, 395, 60)]
    tiling = tile_decal(decal, A4_ROOM, ground=Ground(legend=legend))
    holds(tiling, decal, A4_ROOM)
    (seam,) = tiling.seams
    assert 191.5 <= seam.line.points()[0][0] <= 205.5
    assert seam.crossing_mm == 0
    assert tiling.notices == ()


def test_one_tile_more_where_that_spares_the_legend():
    decal = box(0, 0, 330, 60)
    legend = [box(60, 10, 240, 50)]
    free = tile_decal(decal, (200, 90))
    spared = tile_decal(decal, (200, 90), ground=Ground(legend=legend), may_turn=False)
    assert len(free.tiles) == 2
    assert len(spared.tiles) == 3
    assert spared.notices == ()


def test_a_seam_through_legend_is_told_with_its_length():
    decal = box(0, 0, 330, 60)
    legend = [box(2, 10, 328, 50)]
    tiling = tile_decal(decal, (200, 90), ground=Ground(legend=legend))
    (notice,) = tiling.notices
    assert notice.code == "seam-through-legend"
    assert dict(notice.numbers)["crossing_mm"] == pytest.approx(43, abs=2)


def test_holes_weigh_more_than_legend():
    decal = box(0, 0, 300, 60)
    holes = [box(2, 0, 145, 60), box(156, 0, 298, 60)]
    tiling = tile_decal(
        decal,
        (200, 90),
        TileSettings(clear_mm=0.2),
        Ground(legend=[box(145, 0, 156, 60)], holes=holes),
    )
    assert 145 <= tiling.seams[0].line.points()[0][0] <= 156


def test_a_seam_follows_a_panel_edge_where_allowed():
    decal = box(0, 0, 300, 120)
    edge = LineString([(150, 0), (150, 60), (158, 68), (158, 120)])
    rules = TileSettings(follow_mm=12)
    tiling = tile_decal(decal, A4_ROOM, rules, Ground(edges=[edge]))
    holds(tiling, decal, A4_ROOM)
    line = LineString(tiling.seams[0].line.points())
    assert line.hausdorff_distance(edge) < 2.5


def test_a_cost_array_moves_the_seam():
    decal = box(0, 0, 300, 60)
    cost = np.full((6, 30), 50.0)
    cost[:, 17:19] = 0.0
    tiling = tile_decal(decal, (250, 90), ground=Ground(cost=cost))
    assert 170 <= tiling.seams[0].line.points()[0][0] <= 190


def test_ticks_lie_outside_the_decal_and_those_of_the_lower_tile_beyond_the_upper():
    decal = box(0, 0, 300, 100)
    lower, upper = tile_decal(decal, A4_ROOM).tiles
    assert (len(lower.ticks), len(upper.ticks)) == (8, 6)
    for tile in (lower, upper):
        for tick in tile.ticks:
            line = LineString(tick.points())
            assert line.intersection(decal).length == 0
            assert tile.cut.buffer(0.002).covers(line)
    for tick in lower.ticks:
        assert LineString(tick.points()).difference(upper.cut).length > 3


def test_ticks_start_beyond_the_bleed():
    decal, rules = box(0, 0, 300, 100), TileSettings(bleed_mm=3)
    for tile in tile_decal(decal, A4_ROOM, rules).tiles:
        assert all(LineString(t.points()).distance(decal) >= 3.49 for t in tile.ticks)


def test_where_the_edge_slopes_or_steps_no_tick_lies_on_the_decal():
    corner = Polygon([(0, 0), (420, 0), (420, 60), (160, 90), (140, 100), (0, 100)])
    step = box(0, 0, 400, 60).union(box(0, 0, 198, 110))
    for decal in (corner, step):
        tiles = tile_decal(decal, A4_ROOM).tiles
        ticks = [LineString(t.points()) for tile in tiles for t in tile.ticks]
        assert len(ticks) >= 12
        assert all(tick.distance(decal) > 0.2 for tick in ticks)


def test_no_tile_is_a_sliver_where_that_can_be():
    decal = box(0, 0, 390, 60)
    cost = np.full((60, 390), 50.0)
    cost[:, [180, 195, 210]] = 0.0
    tiles = tile_decal(decal, (200, 90), ground=Ground(cost=cost), may_turn=False).tiles
    widths = [t.shown.bounds[2] - t.shown.bounds[0] for t in tiles]
    assert len(widths) == 3
    assert min(widths) >= 25


def test_overlap_strip_is_printed_on_both():
    decal = box(0, 0, 300, 100)
    first, second = tile_decal(decal, A4_ROOM, TileSettings(overlap_mm=12)).tiles
    shared = first.polygon.intersection(second.polygon).intersection(decal).bounds
    assert shared[2] - shared[0] == pytest.approx(13, abs=0.01)
    assert first.cut.intersection(second.shown).area == pytest.approx(12 * 100, rel=1e-6)


def test_round_and_ring_decals_tile_too():
    ring = Point(0, 0).buffer(250).difference(Point(0, 0).buffer(200))
    tiling = tile_decal(ring, A4_ROOM)
    holds(tiling, ring, A4_ROOM)
    assert len(tiling.tiles) >= 4


def test_no_room_is_refused_by_name():
    with pytest.raises(DoesNotFit, match="engine order panel"):
        tile_decal(box(0, 0, 300, 300), (20, 20), name="engine order panel")


def test_the_polygon_is_valid_for_nesting():
    tiling = tile_decal(Polygon([(0, 0), (420, 0), (380, 250), (30, 300)]), A4_ROOM)
    assert all(t.polygon.is_valid for t in tiling.tiles)
