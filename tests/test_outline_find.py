"""Where the cut outline comes from, and that it is never a mere bounding box."""

import math

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

from decalprep.errors import InputProblem, UsageProblem
from decalprep.geometry import Arc, Box, rectangle_path
from decalprep.outline import OutlineSettings, OutlineSource, find_outline

NOTCHED = ((5, 5), (77, 5), (77, 21), (115, 21), (115, 75), (5, 75))


def found(art, settings=None, face=None):
    return find_outline(art, contents_of(art), face, settings or OutlineSettings())


def test_named_layer_wins_over_a_larger_path():
    art = artwork(
        120, 80, filled(rect(0, 0, 120, 80)) + on("knife", stroked(polygon(*NOTCHED))),
        layers=("knife",),
    )  # fmt: skip
    result = found(art, OutlineSettings(layer="Knife"))
    assert result.outline.polygon().area == pytest.approx(72 * 70 + 38 * 54, abs=1e-4)
    assert result.source == "layer 'Knife'"
    assert result.layer == "knife"


def test_layer_named_like_an_outline_is_taken_and_said():
    art = artwork(
        120,
        80,
        filled(rect(0, 0, 120, 80)) + on("Cut", stroked(polygon(*NOTCHED))),
        layers=("Cut",),
    )
    assert "by its name" in found(art).source


def test_hidden_layer_can_be_named_but_is_not_the_largest_visible_path():
    drawing = on("guide", stroked(rect(0, 0, 120, 80))) + filled(polygon(*NOTCHED))
    art = artwork(120, 80, drawing, layers=("guide",), hidden=("guide",))
    assert found(art).outline.polygon().area == pytest.approx(7092, abs=1e-3)
    assert found(art, OutlineSettings(layer="guide")).outline.polygon().area == pytest.approx(9600)


def test_spot_colour():
    drawing = filled(rect(0, 0, 100, 60)) + f"q /S0 CS 1 SCN 0.1 w {circle(50, 30, 50)} S Q\n"
    art = artwork(100, 60, drawing, spots=("Knife line",))
    result = found(art, OutlineSettings(spot="knife LINE"))
    assert [type(s) for s in result.outline.segments] == [Arc, Arc]
    assert result.outline.segments[0].radius == pytest.approx(25, abs=0.01)
    assert (result.layer, result.spot) == ("", "Knife line")


def test_printed_layer_under_the_largest_path_is_not_called_a_guide():
    art = artwork(
        120, 80, on("ground", filled(polygon(*NOTCHED))) + text(20, 40, "TOW"), layers=("ground",)
    )
    assert found(art).layer == ""


def test_missing_layer_or_spot_is_refused_with_the_names_there_are():
    art = artwork(50, 50, on("a", stroked(rect(1, 1, 48, 48))), layers=("a",))
    with pytest.raises(UsageProblem, match="layers here: 'a'"):
        found(art, OutlineSettings(layer="b"))
    with pytest.raises(UsageProblem, match="spot colours here: none"):
        found(art, OutlineSettings(spot="b"))


def test_outline_of_loose_pieces_is_joined():
    drawing = "".join(
        stroked(f"{x} {y} m {u} {v} l")
        for x, y, u, v in (
            (5, 5, 95, 5), (95, 5.01, 95, 55), (5, 55, 95, 55), (5, 5, 5, 55)
        )
    )  # fmt: skip
    art = artwork(100, 60, on("cut", drawing), layers=("cut",))
    assert found(art).outline.polygon().area == pytest.approx(90 * 50, rel=1e-3)


def test_layer_without_a_closed_path_is_refused():
    art = artwork(100, 60, on("knife", stroked("5 5 m 95 5 l 95 55 l")), layers=("knife",))
    with pytest.raises(InputProblem, match="no closed path"):
        found(art, OutlineSettings(layer="knife"))


def test_largest_closed_path_keeps_its_arcs():
    r = 6
    k = r * 0.5522847498
    shape = (
        f"{10 + r} 10 m {110 - r} 10 l {110 - r + k} 10 110 {10 + r - k} 110 {10 + r} c "
        f"110 {70 - r} l 110 {70 - r + k} {110 - r + k} 70 {110 - r} 70 c {10 + r} 70 l "
        f"{10 + r - k} 70 10 {70 - r + k} 10 {70 - r} c 10 {10 + r} l "
        f"10 {10 + r - k} {10 + r - k} 10 {10 + r} 10 c h "
    )
    art = artwork(120, 80, filled(shape) + text(40, 40, "BOW"))
    outline = found(art).outline
    arcs = [s for s in outline.segments if isinstance(s, Arc)]
    assert [round(a.radius, 2) for a in arcs] == [6.0] * 4
    assert outline.polygon().area == pytest.approx(100 * 60 - (4 - math.pi) * 36, rel=1e-5)


def test_white_page_background_is_not_the_outline():
    drawing = filled(rect(0, 0, 120, 80), "1 1 1") + filled(polygon(*NOTCHED)) + text(20, 40, "TOW")
    result = found(artwork(120, 80, drawing))
    assert result.outline.polygon().area == pytest.approx(7092, abs=1e-3)
    assert "outline-background" in codes(result.notices)


def test_dark_page_rectangle_with_a_frame_inside_stays_the_outline_and_says_so():
    drawing = (
        filled(rect(0, 0, 120, 80))
        + stroked(rect(4, 4, 112, 72), 0.5, "1 1 1")
        + text(20, 40, "TOW")
    )
    result = found(artwork(120, 80, drawing))
    assert result.outline.polygon().area == pytest.approx(9600)
    assert "outline-is-page-rectangle" in codes(result.notices)


def test_dark_bleed_rectangle_with_a_cut_line_inside_gives_the_cut_line():
    drawing = filled(rect(0, 0, 120, 80)) + stroked(rect(3, 3, 114, 74), 0.05) + text(20, 40, "TOW")
    result = found(artwork(120, 80, drawing))
    assert result.outline.polygon().area == pytest.approx(114 * 74)


def test_thin_line_close_inside_the_largest_path_is_told():
    drawing = filled(rect(2, 2, 116, 76)) + stroked(rect(4, 4, 112, 72), 0.05) + text(20, 40, "TOW")
    assert "outline-inner-line" in codes(found(artwork(120, 80, drawing)).notices)


def test_legend_only_artwork_is_refused_rather_than_cut_round_a_letter():
    drawing = filled(rect(10, 10, 8, 5)) + filled(rect(90, 60, 8, 5)) + filled(rect(50, 30, 9, 5))
    with pytest.raises(InputProblem, match="not the outline"):
        found(artwork(120, 80, drawing))


def test_page_edge_only_when_asked():
    art = artwork(120, 80, text(20, 40, "TOW", rgb="0 0 0"))
    with pytest.raises(InputProblem):
        found(art)
    result = found(art, OutlineSettings(source=OutlineSource.PAGE))
    assert result.outline.box == Box(0, 0, 120, 80)
    assert "as asked" in result.source


def test_path_clipped_by_another_shape_is_not_the_outline():
    clipped = f"q {circle(60, 40, 20)} W n {filled(rect(0, 0, 120, 80))} Q\n"
    art = artwork(120, 80, clipped + filled(polygon(*NOTCHED)))
    assert found(art).outline.polygon().area == pytest.approx(7092, abs=1e-3)


# ---------------------------------------------------------------- traced


def disc(size: int, radius: float, cx: float, cy: float) -> np.ndarray:
    """Anti-aliased dark disc on white, by 8 x 8 samples a pixel."""
    at = (np.arange(size * 8) + 0.5) / 8
    inside = (at[None, :] - cx) ** 2 + (at[:, None] - cy) ** 2 <= radius**2
    cover = inside.reshape(size, 8, size, 8).mean(axis=(1, 3))
    return np.repeat((255 - 215 * cover).round().astype(np.uint8)[..., None], 3, axis=2)


def test_round_picture_is_traced_within_its_stated_error():
    art = picture(disc(400, 180.3, 200.4, 199.2), 80, 80)  # 0.2 mm pixels
    result = found(art)
    arc = result.outline.segments[0]
    assert isinstance(arc, Arc)
    assert arc.radius == pytest.approx(180.3 * 0.2, abs=result.error_mm)
    assert math.dist(arc.centre, (200.4 * 0.2, 80 - 199.2 * 0.2)) < result.error_mm
    assert result.error_mm == pytest.approx(0.1)
    assert "outline-traced" in codes(result.notices)


def test_notched_transparent_picture_is_traced_with_sharp_corners():
    pixels = np.zeros((600, 800, 4), np.uint8)
    pixels[60:540, 50:700] = (30, 40, 50, 255)
    pixels[60:200, 500:700] = 0
    result = found(picture(pixels, 80, 60, alpha=True))
    outline = result.outline.polygon()
    assert len(result.outline.segments) == 6
    assert outline.area == pytest.approx(65 * 48 - 20 * 14, rel=1e-3)
    assert outline.bounds == pytest.approx((5, 6, 70, 54), abs=result.error_mm)


def test_jagged_rounded_strip_becomes_four_sides_and_four_arcs():
    x, y = np.meshgrid(np.arange(1200) + 0.5, np.arange(240) + 0.5)
    dx = np.maximum(np.abs(x - 600) - 530, 0)
    dy = np.maximum(np.abs(y - 120) - 50, 0)
    pixels = np.zeros((240, 1200, 4), np.uint8)
    pixels[np.hypot(dx, dy) <= 70] = (140, 30, 24, 255)  # no anti-aliasing at all
    result = found(picture(pixels, 120, 24, alpha=True))
    assert [type(s).__name__ for s in result.outline.segments].count("Arc") == 4
    assert len(result.outline.segments) <= 10
    true = rectangle_path(Box(0, 0, 120, 24), 7).polygon()
    assert result.outline.polygon().hausdorff_distance(true) <= result.error_mm + 0.05
    assert result.error_mm <= 0.1  # one pixel
    assert result.outline.polygon().area == pytest.approx(true.area, rel=1e-3)


def test_thin_picture_is_not_taken_for_part_of_a_huge_circle():
    pixels = np.zeros((300, 300, 4), np.uint8)
    pixels[20:280, 100:104] = (0, 0, 0, 255)
    assert found(picture(pixels, 30, 30, alpha=True)).outline.box.width == pytest.approx(
        0.4, abs=0.1
    )


@pytest.mark.parametrize(("shade", "words"), [(40, "fills its page"), (255, "blank")])
def test_picture_without_an_edge_is_refused(shade, words):
    with pytest.raises(InputProblem, match=words) as caught:
        found(picture(np.full((200, 300, 3), shade, np.uint8), 60, 40))
    # A picture has no layers: what is advised it can do.
    assert "layer" not in str(caught.value)


def test_picture_of_separate_pieces_is_refused():
    pixels = np.full((200, 300, 3), 255, np.uint8)
    pixels[50:100, 30:90] = 0
    pixels[50:100, 130:200] = 0
    with pytest.raises(InputProblem, match="separate pieces.* a ground of one colour") as caught:
        found(picture(pixels, 60, 40))
    assert "layer" not in str(caught.value)
    with pytest.raises(InputProblem, match="no closed path; .*white or transparent"):
        found(picture(pixels, 60, 40), OutlineSettings(source=OutlineSource.PATH))


# ---------------------------------------------------------------- shaped


def test_offset_and_rounding_are_told_in_the_source():
    art = artwork(120, 80, filled(rect(10, 10, 100, 60)))
    result = found(art, OutlineSettings(offset_mm=-1, corner_radius_mm=3))
    assert result.outline.polygon(1e-6).area == pytest.approx(98 * 58 - (4 - math.pi) * 9, rel=1e-6)
    assert "-1 mm" in result.source
    assert "3 mm" in result.source


def test_offset_that_leaves_nothing_is_refused():
    art = artwork(120, 80, filled(rect(10, 10, 100, 60)))
    with pytest.raises(InputProblem, match="nothing"):
        found(art, OutlineSettings(offset_mm=-31))


def test_corner_too_tight_to_round_is_told():
    art = artwork(
        120, 80, filled(polygon((10, 10), (110, 10), (110, 70), (60, 70), (60, 72), (10, 72)))
    )
    result = found(art, OutlineSettings(corner_radius_mm=4))
    assert "corner-too-tight" in codes(result.notices)


def test_outline_that_crosses_itself_is_refused():
    art = artwork(
        100, 60, on("cut", stroked(polygon((5, 5), (95, 55), (95, 5), (5, 55)))), layers=("cut",)
    )
    with pytest.raises(InputProblem, match="crosses itself"):
        found(art)


def test_rectangle_path_is_unchanged_by_no_wish():
    path = rectangle_path(Box(0, 0, 10, 10), 2)
    from decalprep.outline import offset_path, round_corners

    assert offset_path(path, 0) is path
    assert round_corners(path, 0) == (path, 0)
