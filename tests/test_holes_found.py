"""Holes from part, layer and closed paths; what is no hole; matching; classing."""

import math
import re
from dataclasses import replace

import numpy as np
import pytest
from outline_pages import (
    artwork,
    circle,
    codes,
    contents_of,
    filled,
    on,
    picture,
    polygon,
    rect,
    stroked,
    text,
)

from decalprep.errors import UsageProblem
from decalprep.geometry import Box, Circle, Path, circle_path, polygon_path, rectangle_path
from decalprep.model import Hole, HoleKind, PartFace
from decalprep.outline import (
    HoleOverride,
    HoleSource,
    OutlineSettings,
    class_holes,
    find_holes,
    find_outline,
    fitted,
    labelled,
    match_holes,
    wide_screws,
)

GROUND = filled(rect(0, 0, 100, 60))


def holes_of(art, settings=None, face=None):
    settings = settings or OutlineSettings()
    contents = contents_of(art)
    outline = find_outline(art, contents, face, settings)
    return find_holes(art, contents, face, outline, settings)


def sizes(found):
    return [round(h.circle.diameter, 3) if h.circle else None for h in found.holes]


def test_unfilled_and_white_circles_are_holes_in_reading_order():
    art = artwork(
        100, 60,
        GROUND + stroked(circle(20, 40, 12.2)) + filled(circle(50, 40, 6.5), "1 1 1")
        + stroked(circle(5, 5, 3.4)) + text(40, 20, "PUMP"),
    )  # fmt: skip
    found = holes_of(art)
    # one cubic a quarter is off by up to 2.7e-4 of the radius
    assert sizes(found) == [
        pytest.approx(12.2, abs=0.004),
        pytest.approx(6.5, abs=0.004),
        pytest.approx(3.4, abs=0.004),
    ]
    assert [h.label for h in found.holes] == ["H1", "H2", "H3"]
    assert "holes-by-shape" in codes(found.notices)
    assert (found.holes[0].circle.x, found.holes[0].circle.y) == pytest.approx((20, 40), abs=1e-4)


def test_letters_and_legend_shapes_are_no_holes():
    letter_o = filled(circle(30, 30, 8) + circle(30, 30, 5), "1 1 1", even_odd=True)
    dot = filled(circle(50, 30, 4), "0.9 0.1 0.1")
    dial = stroked(circle(75, 30, 30)) + text(70, 28, "RPM")
    small = stroked(circle(10, 50, 1.2))
    found = holes_of(artwork(100, 60, GROUND + letter_o + dot + dial + small))
    assert found.holes == ()


def test_cross_in_a_hole_does_not_make_it_legend_and_drawn_twice_is_one():
    cross = stroked("18 40 m 22 40 l") + stroked("20 38 m 20 42 l")
    twice = filled(circle(20, 40, 8), "1 1 1") + stroked(circle(20, 40, 8))
    ring = stroked(circle(20, 40, 12))
    found = holes_of(artwork(100, 60, GROUND + twice + cross + ring))
    assert sizes(found) == [pytest.approx(8, abs=0.003)]


def test_slot_is_kept_as_it_is_and_a_white_box_is_only_told():
    slot = (
        "30 27 m 50 27 l 51.65685 27 53 28.34315 53 30 c 53 31.65685 51.65685 33 50 33 c "
        "30 33 l 28.34315 33 27 31.65685 27 30 c 27 28.34315 28.34315 27 30 27 c h "
    )
    found = holes_of(
        artwork(100, 60, GROUND + stroked(slot) + filled(rect(60, 20, 20, 8), "1 1 1"))
    )
    assert len(found.holes) == 1
    assert found.holes[0].circle is None
    assert found.holes[0].contour.polygon().area == pytest.approx(20 * 6 + math.pi * 9, rel=1e-3)
    assert "maybe-hole" in codes(found.notices)


def test_inner_edge_of_a_bezel_is_a_hole_of_any_shape():
    bezel = filled(rect(0, 0, 100, 60) + rect(20, 15, 60, 30), even_odd=True)
    found = holes_of(artwork(100, 60, bezel + text(3, 3, "RADAR")))
    assert len(found.holes) == 1
    assert found.holes[0].contour.polygon().area == pytest.approx(1800)


def test_holes_layer_takes_free_shapes_and_tells_what_lies_outside():
    on_layer = (
        stroked(polygon((10, 10), (20, 10), (20, 20))) + stroked(circle(50, 30, 9.8))
        + stroked(circle(99, 30, 9.8))
    )  # fmt: skip
    art = artwork(100, 60, GROUND + on("Holes", on_layer), layers=("Holes",))
    found = holes_of(art)
    assert sizes(found) == [pytest.approx(9.8, abs=0.004), None]
    assert found.layer == "Holes"
    assert "hole-outside" in codes(found.notices)


def test_missing_holes_layer_and_part_are_refused():
    art = artwork(100, 60, GROUND)
    with pytest.raises(UsageProblem, match="no layer or spot"):
        holes_of(art, OutlineSettings(hole_layer="x"))
    with pytest.raises(UsageProblem, match="no part"):
        holes_of(art, OutlineSettings(hole_source=HoleSource.PART))
    with pytest.raises(UsageProblem, match="none is named"):
        holes_of(art, OutlineSettings(hole_source=HoleSource.LAYER))
    assert holes_of(art, OutlineSettings(hole_source=HoleSource.NONE)).holes == ()


@pytest.mark.parametrize("places", [1, 2, 3])
def test_circle_fit_follows_the_files_own_grid(places):
    # PDF written on a coarse grid: 0.1 pt with one place
    rough = re.sub(
        r"-?\d+\.\d{5,}", lambda m: f"{float(m[0]) * 72 / 25.4:.{places}f}", circle(50, 30, 12)
    )
    k = 25.4 / 72
    art = artwork(100, 60, GROUND + f"q 0.1 w {k:.9f} 0 0 {k:.9f} 0 0 cm {rough} S Q\n")
    found = holes_of(art)
    assert sizes(found) == [pytest.approx(12, abs=2 * k * 10**-places)]


def test_hexagon_and_square_are_not_fitted_as_circles():
    for n in (4, 6, 8):
        ring = [(5 * math.cos(k * math.tau / n), 5 * math.sin(k * math.tau / n)) for k in range(n)]
        assert fitted(Hole(polygon_path(ring))).circle is None


def test_faceted_circle_is_fitted_with_the_facets_stated():
    n, r = 20, 6.1
    ring = [(r * math.cos(k * math.tau / n), r * math.sin(k * math.tau / n)) for k in range(n)]
    sagitta = r * (1 - math.cos(math.pi / n))
    assert fitted(Hole(polygon_path(ring))).circle is None
    hole = fitted(Hole(polygon_path(ring)), sagitta)
    assert hole.circle is not None
    assert hole.circle.diameter == pytest.approx(2 * r, abs=1e-9)


def test_large_stated_facets_do_not_make_circles_of_octagons():
    ring = [(5 * math.cos(k * math.tau / 8), 5 * math.sin(k * math.tau / 8)) for k in range(8)]
    assert fitted(Hole(polygon_path(ring)), 0.8).circle is None
    assert fitted(Hole(rectangle_path(Box(0, 0, 10, 10), 2)), 0.8).circle is None


def test_see_through_openings_of_a_picture_are_holes_and_white_dots_are_not():
    x, y = np.meshgrid((np.arange(1000) + 0.5) * 0.1, (np.arange(600) + 0.5) * 0.1)
    pixels = np.zeros((600, 1000, 4), np.uint8)
    pixels[...] = (30, 40, 50, 255)
    pixels[np.hypot(x - 30, y - 20) <= 6.1] = 0
    pixels[np.hypot(x - 70, y - 20) <= 4] = (255, 255, 255, 255)
    pixels[300:400, 600:750] = 0
    pixels[:, :50] = 0
    found = holes_of(picture(pixels, 100, 60, alpha=True))
    assert sizes(found) == [pytest.approx(12.2, abs=0.02), None]
    assert (found.holes[0].circle.x, found.holes[0].circle.y) == pytest.approx((30, 40), abs=0.02)
    assert found.holes[1].contour.polygon().area == pytest.approx(150, rel=0.01)
    assert "traced" in found.source


# ---------------------------------------------------------------- part and artwork


def round_hole(x, y, d, label=""):
    return Hole(circle_path(x, y, d), Circle(x, y, d), label=label)


def test_misfit_is_told_with_its_vector_and_lone_holes_too():
    part = [
        round_hole(10, 10, 3.4, "A"),
        round_hole(50, 30, 12.2, "B"),
        round_hole(90, 10, 3.4, "C"),
    ]
    drawn = [round_hole(50.4, 29.8, 12.2), round_hole(10.1, 10, 3.4), round_hole(20, 50, 6)]
    matches = match_holes(part, drawn)
    told = {n.code: n for n in matches.notices}
    assert set(told) == {"hole-misfit", "hole-only-in-part", "hole-only-in-artwork"}
    assert dict(told["hole-misfit"].numbers) == pytest.approx({"dx_mm": 0.4, "dy_mm": -0.2})
    assert "hole B" in told["hole-misfit"].text
    assert (matches.only_part, matches.only_artwork) == ((2,), (2,))


def test_exactly_the_limit_is_no_misfit_and_a_wrong_size_is_told():
    part = [round_hole(0, 0, 10)]
    assert match_holes(part, [round_hole(0.29, 0, 10)]).notices == ()
    assert codes(match_holes(part, [round_hole(0, 0, 10.5)]).notices) == {"hole-size-differs"}


FACE = PartFace(
    rectangle_path(Box(-50, -30, 50, 30), 3),
    (round_hole(-45, -25, 3.4), round_hole(45, -25, 3.4), round_hole(0, 5, 12.2)),
    described="plate",
)


def test_artwork_is_laid_on_the_part_by_holes():
    drawing = filled(rect(0, 0, 110, 70)) + "".join(
        stroked(circle(x + 56, y + 33, d))
        for x, y, d in ((-45, -25, 3.4), (45, -25, 3.4), (0, 5, 12.2))
    )
    art = artwork(110, 70, drawing)
    outline = find_outline(art, contents_of(art), FACE, OutlineSettings())
    assert outline.aligned_by == "3 holes"
    assert outline.decal_from_artwork.apply(56, 33) == pytest.approx((0, 0), abs=1e-6)
    assert outline.outline == FACE.outline
    assert outline.source == "part: plate"
    found = holes_of(art, face=FACE)
    assert found.source == "part: plate"
    assert found.notices == ()


def test_artwork_drawn_on_its_side_is_turned_a_quarter():
    drawing = filled(rect(0, 0, 70, 110)) + "".join(
        stroked(circle(35 - y, 55 + x, d))
        for x, y, d in ((-45, -25, 3.4), (45, -25, 3.4), (0, 5, 12.2))
    )
    art = artwork(70, 110, drawing)
    outline = find_outline(art, contents_of(art), FACE, OutlineSettings())
    assert outline.decal_from_artwork.apply(35, 55) == pytest.approx((0, 0), abs=1e-6)
    assert outline.decal_from_artwork.apply(35, 65) == pytest.approx((10, 0), abs=1e-6)
    assert [n.code for n in outline.notices] == ["artwork-turned"]


def test_artwork_is_laid_on_the_part_by_its_outline_layer_and_misfits_are_told():
    art = artwork(120, 80, on("cut", stroked(rect(10, 10, 101, 60))), layers=("cut",))
    outline = find_outline(art, contents_of(art), FACE, OutlineSettings())
    assert outline.decal_from_artwork.apply(60.5, 40) == pytest.approx((0, 0), abs=1e-6)
    assert "outline-misfit" in codes(outline.notices)
    assert outline.source == "part: plate"
    assert (outline.layer, outline.aligned_by) == ("cut", "outline")
    # on the user's word the layer goes before the part
    outline = find_outline(art, contents_of(art), FACE, OutlineSettings(layer="cut"))
    assert outline.source == "layer 'cut'"
    assert outline.outline.polygon().area == pytest.approx(6060)


def test_nothing_in_common_is_laid_by_box_centres_and_said_loudly():
    art = artwork(60, 40, filled(rect(0, 0, 60, 40)))
    outline = find_outline(art, contents_of(art), FACE, OutlineSettings())
    assert outline.decal_from_artwork.apply(30, 20) == pytest.approx((0, 0), abs=1e-6)
    assert [n.severity.value for n in outline.notices] == ["danger"]
    art = artwork(100, 60, filled(rect(0, 0, 100, 60)))  # corners differ, size does not
    outline = find_outline(art, contents_of(art), FACE, OutlineSettings())
    assert [n.severity.value for n in outline.notices] == ["warning"]


def test_picture_is_laid_on_the_part_by_its_traced_edge():
    pixels = np.zeros((700, 1200, 4), np.uint8)
    pixels[20:620, 150:1150] = (30, 40, 50, 255)
    face = PartFace(rectangle_path(Box(-50, -30, 50, 30)), described="plate")
    art = picture(pixels, 120, 70, alpha=True)
    outline = find_outline(art, contents_of(art), face, OutlineSettings())
    assert "traced" in outline.aligned_by
    assert outline.source == "part: plate"
    # the picture's middle: 65 mm across, 70 - 32 mm up
    assert outline.decal_from_artwork.apply(65, 38) == pytest.approx((0, 0), abs=0.05)


def test_hole_missing_in_the_artwork_is_told_on_the_way():
    drawing = filled(rect(0, 0, 110, 70)) + "".join(
        stroked(circle(x + 55, y + 35, 3.4)) for x, y in ((-45, -25), (45, -25))
    )
    found = holes_of(artwork(110, 70, drawing), face=FACE)
    assert codes(found.notices) == {"hole-only-in-part"}


# ---------------------------------------------------------------- classed


def test_overrides_by_label_index_and_nearest_point():
    holes = labelled([round_hole(0, 0, 3.4), round_hole(20, 0, 12.2), round_hole(40, 0, 30)])
    free, screw = HoleKind.FREE, HoleKind.SCREW
    classed = class_holes(
        holes,
        [
            HoleOverride(free, label="H1"),
            HoleOverride(screw, index=1),
            HoleOverride(screw, near_mm=(41, 0)),
        ],
    )
    assert [h.kind for h in classed] == [free, screw, screw]
    assert {h.classed_by for h in classed} == {"the user's word"}


@pytest.mark.parametrize(
    "override",
    [
        HoleOverride(HoleKind.FREE, label="X"),
        HoleOverride(HoleKind.FREE, index=3),
        HoleOverride(HoleKind.FREE, near_mm=(9, 9)),
        HoleOverride(HoleKind.FREE),
    ],
)
def test_override_that_names_no_hole_is_refused(override):
    with pytest.raises(UsageProblem):
        class_holes([round_hole(0, 0, 3.4)], [override])


def test_wide_holes_that_only_their_size_makes_screws_are_told():
    sizes = (3.4, 6.0, 8.0, 12.2)  # M3, #10 loose, M7 coarse, a bushing
    holes = [replace(round_hole(20 * k, 0, d), label=f"H{k}") for k, d in enumerate(sizes)]
    (told,) = wide_screws(class_holes(holes), "nav")
    assert "H1, H2 (6, 8 mm)" in told.text
    meant = [HoleOverride(HoleKind.SCREW, label="H1"), HoleOverride(HoleKind.SWITCH, label="H2")]
    assert wide_screws(class_holes(holes, meant), "nav") == ()


def test_shapes_that_are_not_round_are_free():
    square = Hole(rectangle_path(Box(0, 0, 3.4, 3.4)))
    assert class_holes([square])[0].kind is HoleKind.FREE
    assert isinstance(square.contour, Path)
