"""Bleed by true artwork or clean ground colour, and legend too near an edge."""

import numpy as np
import pytest
from outline_pages import artwork, circle, codes, contents_of, filled, rect, stroked, text

from decalprep.errors import UsageProblem
from decalprep.geometry import Affine, Box, Circle, circle_path, rectangle_path
from decalprep.model import Hole, Severity
from decalprep.outline.bleed import BleedSettings, make_bleed
from decalprep.outline.picture import draw
from decalprep.outline.safe import SafeMargins, check_safe_margin, fill_area
from decalprep.pdfstream import read_page

OUTLINE = rectangle_path(Box(10, 10, 90, 50), 3)
BLUE, GREY = (26, 51, 128), (90, 90, 90)


def rgb(colour):
    return " ".join(f"{c / 255:.6f}" for c in colour)


def bleed_of(art, holes=(), outline=OUTLINE, **settings):
    return make_bleed(
        art, outline, holes, decal_from_artwork=Affine(), settings=BleedSettings(**settings)
    )


def sheet(bleed, dpi=300):
    """What the sheet shows: bleed below, artwork above, in the decal frame."""
    box = Box(5, 5, 95, 55)
    below = draw(bleed.bleed_artwork, bleed.decal_from_bleed, box, dpi=dpi)
    above = draw(bleed.artwork, Affine(), box, dpi=dpi)
    alpha = above.rgba[..., 3:] / 255
    mixed = above.rgba[..., :3] * alpha + below.paper * (1 - alpha)
    return below, mixed


def at(picture, pixels, x, y):
    column = int((x - picture.box.x0) / picture.mm_per_px)
    row = int((picture.box.y1 - y) / picture.mm_per_px)
    return pixels[row, column]


def ground(colour=BLUE):
    return (
        f"q {rgb(colour)} rg 13 10 m 87 10 l 88.65685 10 90 11.34315 90 13 c 90 47 l "
        "90 48.65685 88.65685 50 87 50 c 13 50 l 11.34315 50 10 48.65685 10 47 c 10 13 l "
        "10 11.34315 11.34315 10 13 10 c h f Q\n"
    )


def test_true_artwork_past_the_outline_is_left_alone():
    art = artwork(100, 60, filled(rect(5, 5, 90, 50), rgb(BLUE)))
    bleed = bleed_of(art)
    assert bleed.bleed_artwork is None
    assert bleed.artwork is art
    assert bleed.true_share > 0.99


def test_ground_is_carried_out_by_the_stated_width_and_no_farther():
    bleed = bleed_of(artwork(100, 60, ground()), bleed_mm=2)
    below, mixed = sheet(bleed)
    for x, y in ((8.2, 30), (91.8, 30), (50, 51.8), (50, 8.2), (9.5, 9.5)):
        assert at(below, mixed, x, y) == pytest.approx(BLUE, abs=1)
    for x, y in ((7.8, 30), (50, 7.8), (92.3, 30)):
        assert at(below, below.rgba, x, y)[3] == 0
    assert bleed.extended_share > 0.99
    assert codes(bleed.notices) == {"bleed-extended"}


def test_corners_rounder_than_the_outline_are_told():
    square = rectangle_path(Box(10, 10, 90, 50))
    found = bleed_of(artwork(100, 60, ground()), outline=square).notices
    told = [n for n in found if n.code == "corner-bare"]
    assert [n.severity for n in told] == [Severity.WARNING]
    assert told[0].numbers == (("corners", 4.0),)
    assert told[0].box_mm is not None
    corners = [(10, 10), (90, 10), (90, 50), (10, 50)]
    assert any(told[0].box_mm.centre == pytest.approx(corner, abs=0.05) for corner in corners)


@pytest.mark.parametrize("drawn", ["to the corners", "as round as the outline", "white"])
def test_corners_that_are_as_they_should_be_are_not_told(drawn):
    square = rectangle_path(Box(10, 10, 90, 50))
    page, more = {
        "to the corners": (filled(rect(10, 10, 80, 40), rgb(BLUE)), {"outline": square}),
        "as round as the outline": (ground(), {}),
        "white": (ground((255, 255, 255)), {"outline": square}),
    }[drawn]
    assert "corner-bare" not in codes(bleed_of(artwork(100, 60, page), **more).notices)


def test_no_gap_shows_at_the_outline():
    bleed = bleed_of(artwork(100, 60, ground()))
    below, mixed = sheet(bleed, dpi=600)
    row = int((below.box.y1 - 30) / below.mm_per_px)
    columns = slice(*(int((x - below.box.x0) / below.mm_per_px) for x in (8.3, 12)))
    assert np.abs(mixed[row, columns] - BLUE).max() <= 2


def test_legend_at_the_edge_is_not_smeared():
    legend = filled(rect(40, 10, 3, 4), "1 0.9 0") + filled(rect(60, 48, 2, 2), "1 1 1")
    bleed = bleed_of(artwork(100, 60, ground() + legend))
    below, _ = sheet(bleed)
    ring = below.rgba[below.rgba[..., 3] > 0][:, :3].astype(int)
    assert np.abs(ring - BLUE).max() <= 3


def test_two_grounds_keep_their_border():
    bleed = bleed_of(artwork(100, 60, ground() + filled(rect(10, 13, 30, 34), rgb(GREY))))
    below, mixed = sheet(bleed)
    assert at(below, mixed, 8.5, 30) == pytest.approx(GREY, abs=1)
    assert at(below, mixed, 91.5, 30) == pytest.approx(BLUE, abs=1)


def test_bare_edge_needs_no_bleed():
    bleed = bleed_of(artwork(100, 60, text(30, 30, "BOW", rgb="0 0 0")))
    assert bleed.bleed_artwork is None
    assert bleed.notices == ()


def test_the_colours_under_the_cut_line_are_told():
    bare = artwork(100, 60, filled(rect(20, 20, 5, 5), rgb(GREY)))
    assert bleed_of(bare).edge_colours == ((1.0, 1.0, 1.0),)
    (blue,) = bleed_of(artwork(100, 60, ground())).edge_colours
    assert [255 * c for c in blue] == pytest.approx(BLUE, abs=1)
    halves = artwork(100, 60, ground() + filled(rect(50, 5, 45, 50), rgb(GREY)))
    found = sorted(round(255 * c[0]) for c in bleed_of(halves).edge_colours)
    assert found == pytest.approx([BLUE[0], GREY[0]], abs=1)


def test_white_page_under_a_coloured_panel_does_not_cover_the_bleed():
    art = artwork(100, 60, filled(rect(0, 0, 100, 60), "1 1 1") + ground())
    bleed = bleed_of(art)
    assert "bleed-clipped" in codes(bleed.notices)
    below, mixed = sheet(bleed)
    assert at(below, mixed, 8.5, 30) == pytest.approx(BLUE, abs=1)
    assert at(below, mixed, 50, 30) == pytest.approx(BLUE, abs=1)
    # unclipped, the white page would cover it
    unclipped = draw(art, Affine(), below.box, dpi=300)
    assert tuple(at(unclipped, unclipped.rgba, 8.5, 30)) == (255, 255, 255, 255)


def test_into_holes_only_when_asked():
    hole = Hole(circle_path(50, 30, 12), Circle(50, 30, 12))
    art = artwork(100, 60, ground() + filled(circle(50, 30, 12), "1 1 1"))
    below, mixed = sheet(bleed_of(art, [hole]))
    assert tuple(at(below, mixed, 50, 35.5)) == (255, 255, 255)
    below, mixed = sheet(bleed_of(art, [hole], into_holes=True, hole_bleed_mm=1))
    assert at(below, mixed, 50, 35.5) == pytest.approx(BLUE, abs=1)
    assert tuple(at(below, mixed, 50, 30)) == (255, 255, 255)


def test_bleed_page_is_the_same_each_time_and_has_its_true_size():
    first, second = (bleed_of(artwork(100, 60, ground())) for _ in range(2))
    assert first.bleed_artwork.page_pdf == second.bleed_artwork.page_pdf
    assert first.bleed_artwork.width_mm == pytest.approx(80 + 5, abs=0.1)


def test_bleed_of_one_colour_is_drawn_and_others_are_a_picture():
    plain = bleed_of(artwork(100, 60, ground()), bleed_mm=2)
    contents = read_page(plain.bleed_artwork.page_pdf)
    (shape,) = contents.shapes
    assert not contents.images
    assert shape.fill_colour.rgb == pytest.approx([c / 255 for c in BLUE], abs=0.003)
    mm = Affine.scaling(25.4 / 72)
    rings = [path.mapped(plain.decal_from_bleed @ mm).polygon(0.001) for path in shape.paths]
    outer, inner = sorted(rings, key=lambda ring: -ring.area)
    wanted = OUTLINE.polygon(0.001)
    assert outer.symmetric_difference(wanted.buffer(2, quad_segs=64)).area < 0.5
    assert inner.symmetric_difference(wanted.buffer(-0.3, quad_segs=64)).area < 0.5
    halves = bleed_of(artwork(100, 60, ground() + filled(rect(50, 10, 40, 40), rgb(GREY))))
    contents = read_page(halves.bleed_artwork.page_pdf)
    assert (len(contents.shapes), len(contents.images)) == (0, 1)


def test_bleed_of_unlikely_width_is_refused():
    with pytest.raises(UsageProblem):
        bleed_of(artwork(100, 60, ground()), bleed_mm=30)


# ---------------------------------------------------------------- safe margin


def near(drawing, holes=()):
    art = artwork(100, 60, ground() + drawing)
    return check_safe_margin(
        art, contents_of(art), OUTLINE, holes,
        decal_from_artwork=Affine(), margins=SafeMargins(1.5, 0.8),
    )  # fmt: skip


def test_legend_near_the_edge_is_told_with_place_and_distance():
    (notice,) = near(filled(rect(40, 10.9, 5, 2), "1 1 1"))
    assert notice.code == "legend-near-edge"
    assert dict(notice.numbers)["distance_mm"] == pytest.approx(0.9, abs=0.001)
    assert notice.box_mm.centre == pytest.approx((42.5, 11.9), abs=0.001)


def test_text_cut_by_the_outline_is_dangerous():
    (notice,) = near(text(84, 30, "HEAVE", 4))
    assert (notice.code, notice.severity.value) == ("legend-cut", "danger")


def test_letters_shown_one_by_one_are_told_as_one_word():
    letters = "".join(text(80 + 2.8 * k, 30, c, 4) for k, c in enumerate("HEAVE"))
    assert [n.text.split(" at ")[0] for n in near(letters)] == ["the text 'HEAVE'"]


def test_legend_well_inside_stripes_past_the_edge_and_outline_strokes_are_fine():
    ring = ground().split("rg ")[1].removesuffix(" f Q\n")
    fine = text(40, 30, "TOW", 4) + filled(rect(5, 20, 90, 5), "0.8 0 0") + stroked(ring, 0.2)
    assert near(fine) == ()


def test_legend_near_a_hole_is_told_but_not_the_drawn_hole_itself():
    hole = Hole(circle_path(50, 30, 12), Circle(50, 30, 12), label="H1")
    drawn = filled(circle(50, 30, 12), "1 1 1") + stroked(circle(50, 30, 12), 0.1)
    assert near(drawn, [hole]) == ()
    (notice,) = near(filled(rect(56.5, 28, 4, 4), "1 1 1"), [hole])
    assert notice.code == "legend-near-hole"
    assert "H1" in notice.text


def test_fill_rules_against_hand_areas():
    outer, inner = rectangle_path(Box(0, 0, 10, 10)), rectangle_path(Box(2, 2, 8, 8))
    assert fill_area([outer, inner], even_odd=True).area == pytest.approx(64)
    assert fill_area([outer, inner], even_odd=False).area == pytest.approx(100)
    assert fill_area([outer, inner.reversed()], even_odd=False).area == pytest.approx(64)
