"""Light-block underlay: what is left open, and where light leaks when the print is a little off."""

import math

import cv2
import numpy as np
import pytest
from outline_pages import artwork, circle, codes, contents_of, filled, on, rect, text
from shapely.geometry import Polygon, box

from decalprep.errors import InputProblem, UsageProblem
from decalprep.geometry import Affine, Box, Circle, circle_path, rectangle_path
from decalprep.model import Hole, Layer, StockKind
from decalprep.outline.legend import LegendChoice, LegendShapes, legend_shapes
from decalprep.outline.lightblock import (
    UnderlaySettings,
    layers_for,
    legend_shaded_mm2,
    light_leak_mm2,
    stock_advice,
    underlay,
    underlay_items,
)

OUTLINE = rectangle_path(Box(0, 0, 80, 40))
GROUND = filled(rect(0, 0, 80, 40), "0.05 0.05 0.08")
BARS = filled(rect(10, 10, 2, 20) + rect(20, 10, 20, 3), "1 1 1") + filled(
    circle(60, 20, 12), "1 1 1"
)


def legend_of(drawing, choice=None, holes=(), layers=()):
    art = artwork(80, 40, drawing, layers=layers)
    return legend_shapes(
        art, contents_of(art), OUTLINE, decal_from_artwork=Affine(), choice=choice, holes=holes
    )


def leak(trap_mm: float, shift: tuple[float, float]) -> float:
    """Light beside the legend, on a grid of 0.04 mm with no polygon code of ours at work."""
    legend = legend_of(GROUND + BARS)
    under = underlay(OUTLINE, legend, name="bow", settings=UnderlaySettings(trap_mm=trap_mm))
    x, y = np.meshgrid(np.arange(0, 80, 0.04) + 0.02, np.arange(0, 40, 0.04) + 0.02)
    top_open = (
        ((x > 10) & (x < 12) & (y > 10) & (y < 30))
        | ((x > 20) & (x < 40) & (y > 10) & (y < 13))
        | (np.hypot(x - 60, y - 20) < 6)
    )
    field = np.ones(x.shape, np.uint8)
    rings = [
        np.rint((np.array(p.points(0.001)) + shift) / 0.04 * 16 - 8).astype(np.int32)
        for p in under.paths[1:]
    ]
    cv2.fillPoly(field, rings, 0, shift=4)
    return float(((field == 0) & ~top_open).sum()) * 0.04**2


@pytest.mark.parametrize("angle", range(0, 360, 45))
def test_misprint_of_three_tenths_leaks_nothing_under_a_trap_of_four_tenths(angle):
    shift = (0.3 * math.cos(math.radians(angle)), 0.3 * math.sin(math.radians(angle)))
    assert leak(0.4, shift) < 0.02  # a few grid cells at most


@pytest.mark.parametrize("angle", [0, 90, 225])
def test_the_same_misprint_leaks_under_a_trap_of_two_tenths(angle):
    shift = (0.3 * math.cos(math.radians(angle)), 0.3 * math.sin(math.radians(angle)))
    assert leak(0.2, shift) > 1.0


def test_light_leak_area_by_hand():
    # a 10 x 10 opening, no trap, 0.3 mm off to the right: a strip of 10 x 0.3
    legend = LegendShapes(box(20, 10, 30, 20), "by hand", 0.0)
    under = underlay(OUTLINE, legend, name="x", settings=UnderlaySettings(trap_mm=0))
    assert light_leak_mm2(under, legend, shift_mm=(0.3, 0)) == pytest.approx(3.0, abs=0.005)
    assert light_leak_mm2(under, legend, shift_mm=(0, 0)) == 0


def test_spread_openings_keep_the_legend_wholly_lit_under_a_misprint():
    legend = LegendShapes(box(20, 10, 30, 20), "by hand", 0.0)
    spread = underlay(OUTLINE, legend, name="x", settings=UnderlaySettings(0.4, spread=True))
    choked = underlay(OUTLINE, legend, name="x", settings=UnderlaySettings(0.4))
    assert legend_shaded_mm2(spread, legend, shift_mm=(0.3, 0)) == 0
    assert light_leak_mm2(spread, legend, shift_mm=(0, 0)) == pytest.approx(
        4 * 10 * 0.4 + math.pi * 0.16, rel=1e-3
    )
    assert legend_shaded_mm2(choked, legend, shift_mm=(0, 0)) == pytest.approx(
        100 - 9.2**2, abs=0.005
    )
    assert "underlay-spread" in codes(spread.notices)


def test_openings_are_the_legend_less_the_trap():
    legend = legend_of(GROUND + BARS)
    assert legend.error_mm == 0
    assert legend.area.area == pytest.approx(40 + 60 + math.pi * 36, rel=1e-3)
    under = underlay(OUTLINE, legend, name="bow", settings=UnderlaySettings(trap_mm=0.4))
    expected = 1.2 * 19.2 + 19.2 * 2.2 + math.pi * 5.6**2
    assert under.openings.area == pytest.approx(expected, rel=1e-3)
    assert under.field.area == pytest.approx(3200 - expected, rel=1e-4)


def test_strokes_that_the_trap_closes_are_told():
    legend = legend_of(GROUND + BARS + filled(rect(70, 5, 0.5, 20), "1 1 1"))
    under = underlay(OUTLINE, legend, name="bow", settings=UnderlaySettings(trap_mm=0.4))
    dark = [n for n in under.notices if n.code == "legend-goes-dark"]
    assert len(dark) == 1
    assert dark[0].box_mm.centre == pytest.approx((70.25, 15), abs=0.01)


def test_letters_of_which_the_trap_closes_a_stroke_are_told():
    tee = box(69, 10, 71, 30).union(box(64, 30, 76, 30.7))
    wedge = Polygon([(10, 10), (30, 10), (10, 20)])  # its sharpest corner 27 degrees: only rounded
    for area, told in ((tee, 1), (wedge, 0)):
        under = underlay(OUTLINE, LegendShapes(area, "by hand", 0.0), name="bow")
        part = [n for n in under.notices if n.code == "legend-part-dark"]
        assert len(part) == told
    under = underlay(OUTLINE, LegendShapes(tee.union(wedge), "by hand", 0.0), name="bow")
    place = next(n.box_mm for n in under.notices if n.code == "legend-part-dark")
    assert 30 < place.centre[1] < 30.7  # on the bar, not on the stem


def test_text_is_traced_with_a_stated_error():
    legend = legend_of(GROUND + text(10, 10, "I I", 20))
    assert legend.error_mm == pytest.approx(25.4 / 600 / 2, rel=1e-6)
    parts = sorted(legend.area.geoms, key=lambda p: p.bounds[0])
    assert len(parts) == 2
    # both letters are the same shape, one advance of "I" and one of the space apart (Helvetica:
    # both 0.278 em, Adobe core font metrics, from memory)
    assert parts[1].bounds[0] - parts[0].bounds[0] == pytest.approx(20 * 0.556, abs=0.05)
    assert parts[0].area == pytest.approx(parts[1].area, rel=0.01)


def test_traced_legend_agrees_with_the_exact_one():
    exact = legend_of(GROUND + BARS)
    traced = legend_of(GROUND + BARS + text(70, 3, ".", 3))
    both = box(0, 8, 80, 40)
    difference = exact.area.intersection(both).symmetric_difference(traced.area.intersection(both))
    assert difference.buffer(-traced.error_mm).is_empty
    assert traced.area.intersection(both).area == pytest.approx(exact.area.area, rel=2e-3)


def test_later_paint_covers_legend_and_holes_are_no_legend():
    covered = legend_of(GROUND + BARS + filled(rect(0, 0, 50, 40), "0 0 0"))
    assert covered.area.area == pytest.approx(math.pi * 36, rel=1e-3)
    hole = Hole(circle_path(60, 20, 12), Circle(60, 20, 12))
    assert legend_of(GROUND + BARS, holes=[hole]).area.area == pytest.approx(100, rel=1e-6)


def test_legend_by_layer_and_by_colour():
    drawing = GROUND + on("lit", filled(rect(2, 2, 7, 7), "1 0.6 0")) + BARS
    by_layer = legend_of(drawing, LegendChoice(layers=("lit",)), layers=("lit",))
    assert by_layer.area.area == pytest.approx(49)
    amber = legend_of(drawing, LegendChoice(colours=((1, 0.6, 0),)), layers=("lit",))
    assert amber.area.area == pytest.approx(49)
    with pytest.raises(UsageProblem, match="layers here: 'lit'"):
        legend_of(drawing, LegendChoice(layers=("unlit",)), layers=("lit",))


def test_no_legend_is_refused():
    with pytest.raises(InputProblem, match="no legend"):
        legend_of(GROUND)


# D = -log10 T (ISO 5-2 defines transmission density so)
@pytest.mark.parametrize(
    ("t", "target", "layers"), [(0.1, 3, 3), (0.01, 3, 2), (0.5, 0.3, 1), (0.5, 2, 7)]
)
def test_layers_by_density(t, target, layers):
    count, notice = layers_for(target, t)
    assert count == layers
    assert t**count <= 10**-target * 1.005
    assert "approximately" in notice.text


@pytest.mark.parametrize("t", [0, 1, -0.1, 2])
def test_impossible_transmittance_is_refused(t):
    with pytest.raises(UsageProblem):
        layers_for(2, t)


def test_stock_advice_never_calls_transmittance_opacity():
    for stock in StockKind:
        for backlit in (True, False):
            for block in (True, False):
                notice = stock_advice(stock, backlit=backlit, block_out=block, transmittance=0.15)
                assert "opacity" not in notice.text
    assert stock_advice(StockKind.LABEL, backlit=True, block_out=True).severity.value == "danger"
    assert "passes light" in stock_advice(StockKind.PLAIN, backlit=True).text


def test_items_pair_by_ticks_outside_the_corners():
    legend = legend_of(GROUND + BARS)
    under = underlay(OUTLINE, legend, name="bow")
    items = underlay_items(under, sheet_from_decal=Affine.translation(20, 30))
    assert [i.layer for i in items].count(Layer.REGISTRATION) == 8
    assert all(not Box(20, 30, 100, 70).grown(1).contains(i.path.box) for i in items[1:])
    assert codes(under.notices) >= {"underlay-layers", "legend-open-share"}
