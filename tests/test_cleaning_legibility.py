"""Legibility at true size: heights, lines, gaps and contrast, with places."""

import pikepdf
import pytest
from hairline_cases import artwork_of, hidden_layer, page_bytes
from pikepdf import Name

from decalprep.cleaning import (
    LegibilitySettings,
    check_legibility,
    close_up,
    stem_width_mm,
    stem_widths,
    strip_hairlines,
    stroke_effect,
)
from decalprep.errors import UsageProblem
from decalprep.geometry import Box
from decalprep.model import Notice
from decalprep.units import MM_PER_PT

MM = 1 / MM_PER_PT


def mm_page(content: str, size_pt: tuple[float, float] = (200.0, 100.0)):
    """An artwork drawn in mm."""
    return artwork_of(page_bytes(f"{MM:.9f} 0 0 {MM:.9f} 0 0 cm {content}".encode()), size_pt)


def found(notices: tuple[Notice, ...], code: str) -> list[Notice]:
    return [notice for notice in notices if notice.code == code]


def text(words: str, size_mm: float, x: float = 5, y: float = 10, dress: str = "") -> str:
    return f"{dress} BT /F {size_mm} Tf {x} {y} Td ({words}) Tj ET "


def test_capital_height_against_distance() -> None:
    """Helvetica capitals are about 0.72 of the size (its metrics file says 718 units)."""
    notices = check_legibility(mm_page(text("HELM", 3)))
    (small,) = found(notices, "capitals-too-small")
    numbers = dict(small.numbers)
    assert numbers["height_mm"] == pytest.approx(3 * 0.718, rel=0.03)
    assert numbers["least_mm"] == pytest.approx(3.258, abs=0.001)
    assert "HELM" in small.text
    assert "2 D tan" in small.text
    assert small.box_mm is not None
    assert small.box_mm.x0 == pytest.approx(5, abs=0.4)
    near = check_legibility(mm_page(text("HELM", 3)), LegibilitySettings(viewing_distance_mm=300))
    assert not found(near, "capitals-too-small")


def test_large_capitals_are_not_told_and_true_size_counts() -> None:
    assert not found(check_legibility(mm_page(text("HELM", 8))), "capitals-too-small")
    half = check_legibility(mm_page(text("HELM", 8), size_pt=(100.0, 50.0)))
    (small,) = found(half, "capitals-too-small")
    assert dict(small.numbers)["height_mm"] == pytest.approx(4 * 0.718, rel=0.03)


def test_turned_capitals_are_measured_along_their_own_height() -> None:
    notices = check_legibility(mm_page("q 0 1 -1 0 20 5 cm " + text("TUG", 3, 0, 0) + "Q"))
    (small,) = found(notices, "capitals-too-small")
    assert dict(small.numbers)["height_mm"] == pytest.approx(3 * 0.718, rel=0.04)
    aslant = check_legibility(mm_page("q .8 .6 -.6 .8 20 5 cm " + text("TUG", 3, 0, 0) + "Q"))
    assert found(aslant, "letters-aslant")


def test_outlined_letters_are_measured() -> None:
    bars = "".join(f"{5 + 2 * i} 10 1.2 2 re " for i in range(4)) + "f"
    (small,) = found(check_legibility(mm_page(bars)), "capitals-too-small")
    assert dict(small.numbers)["height_mm"] == pytest.approx(2.0, abs=0.001)
    assert "letter-like" in small.text


def test_lines_in_mm_and_dots() -> None:
    content = "0.05 w 5 5 m 40 5 l S 0.03 w 5 8 m 40 8 l S 0.3 w 5 11 m 40 11 l S"
    notices = check_legibility(mm_page(content))
    (fine,) = found(notices, "line-finer-than-a-dot")
    (thin,) = found(notices, "line-thin")
    assert dict(fine.numbers)["dots"] == pytest.approx(0.03 / 25.4 * 600, abs=0.01)
    assert dict(thin.numbers)["width_mm"] == pytest.approx(0.05, abs=1e-4)
    assert thin.box_mm is not None
    assert thin.box_mm.y0 == pytest.approx(5, abs=1e-6)


def test_narrow_ink_and_gaps_by_the_picture() -> None:
    content = (
        "5 5 20 10 re 25.1 5 20 10 re f "  # a gap of 0.1 mm at x = 25
        "5 20 30 0.06 re f "  # a filled sliver of 0.06 mm
        "5 25 30 0.3 re f 5 25.6 30 0.3 re f"  # both line and gap of 0.3 mm: wide enough
    )
    notices = check_legibility(mm_page(content))
    (gap,) = found(notices, "gap-narrow")
    (ink,) = found(notices, "ink-narrow")
    assert dict(gap.numbers)["width_mm"] == pytest.approx(0.1, abs=0.03)
    assert gap.box_mm is not None
    assert gap.box_mm.x0 == pytest.approx(25, abs=0.05)
    assert dict(ink.numbers)["width_mm"] == pytest.approx(0.06, abs=0.03)


def test_knocked_out_line_in_a_dark_plate() -> None:
    content = "0 g 2 2 60 30 re f 1 G 0.12 w 10 10 m 40 10 l S 0.4 w 10 20 m 40 20 l S"
    (gap,) = found(check_legibility(mm_page(content)), "gap-narrow")
    assert gap.box_mm is not None
    assert gap.box_mm.centre[1] == pytest.approx(10, abs=0.1)


def test_small_counters_and_dots_count_though_they_are_short() -> None:
    plate = "5 5 m 25 5 l 25 25 l 5 25 l h 10 10 m 10 10.15 l 10.15 10.15 l 10.15 10 l h f* "
    notices = check_legibility(mm_page(plate + "40 10 0.05 0.05 re f"))
    assert found(notices, "gap-narrow")
    assert found(notices, "ink-narrow")


def test_corners_and_plain_letters_are_not_narrow() -> None:
    content = "5 5 20 10 re f 40 5 m 60 5 l 50 20 l f " + text("BOW 27", 6, 5, 25)
    notices = check_legibility(mm_page(content))
    assert not found(notices, "ink-narrow")
    assert not found(notices, "gap-narrow")


def test_contrast_of_words() -> None:
    content = (
        "0.2 g 2 2 60 30 re f 1 g " + text("GOOD", 6, 5, 20) + text("DIM", 6, 5, 8, dress="0.4 g")
    )
    (low,) = found(check_legibility(mm_page(content)), "contrast-low")
    assert "DIM" in low.text
    # by the definition: #666 on #333
    assert dict(low.numbers)["contrast"] == pytest.approx(2.2, abs=0.05)


def test_stems_before_and_after_stripping() -> None:
    """A stroke on a fill widens each stem by the stroke's width (half on either side)."""
    bars = "".join(f"{5 + 2 * i} 10 0.5 3 re " for i in range(4))
    before = mm_page(f"0.09 w {bars} B")
    cleaned = strip_hairlines(before)
    (stem,) = stem_widths(before, cleaned.artwork)
    assert stem.after_mm == pytest.approx(0.5, abs=0.012)
    assert stem.before_mm - stem.after_mm == pytest.approx(0.09, abs=0.012)
    assert stem_width_mm(before, Box(50, 20, 55, 25)) is None


def test_close_up_is_where_most_was_stripped() -> None:
    content = "0.09 w 5 5 1 1 re B " + "".join(f"{50 + 0.4 * i} 20 0.2 3 re B " for i in range(9))
    before = mm_page(content)
    view = close_up(before, strip_hairlines(before).artwork)
    assert view is not None
    assert view.box_mm.contains(Box(51, 21, 53, 22))
    assert view.before.shape == view.after.shape == (756, 756, 3)
    assert close_up(before, before) is None


def test_every_warning_has_its_place_on_the_page() -> None:
    """Whatever is wrong at true size can be shown in a picture."""
    content = (
        "0.9 g 2 2 60 30 re f 0 g "
        + text("TINY", 1, 5, 25)
        + text("SMALL", 5, 20, 25)
        + text("FAINT", 6, 5, 14, dress="0.8 g")
        + "0 G 0.02 w 5 8 m 30 8 l S 0.08 w 5 6 m 30 6 l S "
        + "0 g 35 5 20 4 re f 0.9 g 36 7 18 0.1 re f 0 g 36 12 18 0.06 re f"
    )
    notices = check_legibility(mm_page(content))
    codes = {n.code for n in notices}
    assert codes >= {
        "capitals-too-small",
        "capitals-small",
        "line-finer-than-a-dot",
        "line-thin",
        "ink-narrow",
        "gap-narrow",
        "contrast-low",
    }
    for notice in notices:
        assert notice.box_mm is not None, notice
        assert Box(0, 0, 70, 40).contains(notice.box_mm), notice


def test_coarse_pictures_inside_a_drawing_are_told_with_their_places() -> None:
    """8-bit pictures under 300 px/in and 1-bit ones under 600, at their size on the page."""

    def dress(document, page, which) -> None:
        def image(bits: int) -> pikepdf.Object:
            made = document.make_stream(bytes(64 * 64))
            made.Type, made.Subtype, made.ColorSpace = Name.XObject, Name.Image, Name.DeviceGray
            made.Width, made.Height, made.BitsPerComponent = 64, 64, bits
            return made

        page.Resources.XObject = pikepdf.Dictionary(T=image(8), L=image(1))

    side = 64 / 300 * 25.4
    content = (
        f"{MM:.9f} 0 0 {MM:.9f} 0 0 cm q {side} 0 0 {side} 2 2 cm /T Do Q "
        f"q 0 {side + 0.1} {-side - 0.1} 0 30 2 cm /T Do Q "
        f"q {side / 2} 0 0 {side / 2} 40 2 cm /L Do Q q {side} 0 0 {side / 2} 50 2 cm /L Do Q"
    )
    notices = check_legibility(artwork_of(page_bytes(content.encode(), dress)))
    told = found(notices, "image-coarse")
    ppi = [dict(n.numbers)["ppi"] for n in told]
    assert ppi == pytest.approx([64 / (side + 0.1) * 25.4, 300])
    boxes = [n.box_mm for n in told]
    assert boxes[0].corners[0] == pytest.approx((30 - side - 0.1, 2), abs=1e-4)
    assert boxes[1].corners[0] == pytest.approx((50, 2), abs=1e-4)


def test_most_harm_is_done_to_the_thinnest_letters() -> None:
    """A wide stroke on large letters changes more of the picture, yet less of their stems."""

    def bars(x: float, y: float, width: float, height: float) -> str:
        return "".join(f"{x + 2 * width * i} {y} {width} {height} re " for i in range(4)) + "B "

    before = mm_page("0.09 w " + bars(5, 5, 2, 12) + bars(40, 20, 0.3, 2))
    effect = stroke_effect(before, strip_hairlines(before).artwork)
    assert effect.close is not None
    assert effect.close.box_mm.centre == pytest.approx((41.05, 21), abs=0.01)
    assert effect.close.before.shape == (454, 454, 3)
    assert [round(s.before_mm - s.after_mm, 2) for s in effect.stems] == pytest.approx(
        [0.09, 0.09], abs=0.02
    )
    lone = mm_page("0.09 w 5 5 1 1 re B")
    view = stroke_effect(lone, strip_hairlines(lone).artwork)
    assert view.stems == ()
    assert view.close is not None
    assert view.close.box_mm.contains(Box(5, 5, 6, 6))
    assert stroke_effect(lone, lone).close is None


@pytest.mark.parametrize("value", [0.0, -1.0, float("nan")])
def test_settings_that_mean_nothing_are_refused(value: float) -> None:
    with pytest.raises(UsageProblem, match="viewing distance mm"):
        LegibilitySettings(viewing_distance_mm=value)


def test_text_on_hidden_layers_is_not_judged() -> None:
    content = f"{MM:.9f} 0 0 {MM:.9f} 0 0 cm /OC /L BDC {text('HIDE', 1)} EMC " + text("SHOW", 8)
    notices = check_legibility(artwork_of(page_bytes(content.encode(), hidden_layer)))
    assert not found(notices, "capitals-too-small")
    assert not found(notices, "contrast-low")
