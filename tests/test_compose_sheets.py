"""The drawing list of a sheet: readable golden text, the three maps, clips, guides and crosses."""

import math
from dataclasses import replace

import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st
from sheet_samples import lamp, make_artwork, winch_panel

from decalprep.cleaning import contrast_ratio
from decalprep.compose import ComposeSettings, compose_sheets
from decalprep.errors import UsageProblem
from decalprep.geometry import (
    Affine,
    Box,
    Circle,
    Line,
    Path,
    circle_path,
    polygon_path,
    rectangle_path,
)
from decalprep.model import (
    FillMark,
    Hole,
    HoleKind,
    Layer,
    PlacedArtwork,
    Placement,
    PrinterRecord,
    Sheet,
    StrokeMark,
    TextMark,
)

A4 = Sheet("A4", 210.0, 297.0)


def told(item):
    """One item as one line of text."""
    if isinstance(item, PlacedArtwork):
        m = " ".join(f"{v:g}" for v in item.sheet_from_artwork.as_tuple())
        return f"{item.layer}: {item.artwork.name} of {item.decal} {item.copy} at [{m}]"
    if isinstance(item, StrokeMark):
        b = item.path.box
        return f"{item.layer}: {b.x0:.2f} {b.y0:.2f} to {b.x1:.2f} {b.y1:.2f}, {item.width_mm} wide"
    if isinstance(item, TextMark):
        return f"{item.layer}: {item.text!r} at {item.x_mm:.2f} {item.y_mm:.2f}"
    return f"{item.layer}: filled"


def one_sheet(decals, placements, **kwargs):
    return compose_sheets(decals, placements, [A4], ComposeSettings(**kwargs))[0]


def test_golden_list_of_one_panel_on_one_sheet():
    drawing = one_sheet(
        [winch_panel()], [Placement("winch panel", 1, 0, 100, 50, 90)], title="Harbour tug"
    )
    assert [told(item) for item in drawing.items] == [
        "artwork: winch of winch panel 1 at [0 1 -1 0 100 50]",
        "cut outline: 62.00 52.00 to 98.00 108.00, 0.1 wide",
        "screw cross: 92.00 56.40 to 92.00 59.60, 0.1 wide",
        "screw cross: 90.40 58.00 to 93.60 58.00, 0.1 wide",
        "hole guide: 69.00 74.00 to 81.00 86.00, 0.1 wide",
        "registration ticks: 6.85 6.85 to 10.85 10.85, 0.2 wide",
        "registration ticks: 199.15 6.85 to 203.15 10.85, 0.2 wide",
        "registration ticks: 199.15 286.15 to 203.15 290.15, 0.2 wide",
        "registration ticks: 6.85 286.15 to 10.85 290.15, 0.2 wide",
        "check bar: 12.35 6.95 to 112.35 6.95, 0.12 wide",
        "check bar: 12.35 6.85 to 12.35 10.45, 0.2 wide",
        "check bar: 112.35 6.85 to 112.35 10.45, 0.2 wide",
        *(f"check bar: {x}.35 6.95 to {x}.35 7.75, 0.12 wide" for x in range(22, 112, 10)),
        "check bar: '100 mm, left edge to left edge of the end lines · "
        "print at actual size (100 %)' at 62.35 8.55",
        "check bar: 10.35 12.35 to 10.35 112.35, 0.12 wide",
        "check bar: 6.85 12.35 to 10.45 12.35, 0.2 wide",
        "check bar: 6.85 112.35 to 10.45 112.35, 0.2 wide",
        *(f"check bar: 9.55 {y}.35 to 10.35 {y}.35, 0.12 wide" for y in range(22, 112, 10)),
        "check bar: '100 mm, lower edge to lower edge of the end lines' at 8.75 62.35",
        "labels: 'Harbour tug · sheet 1 of 1' at 114.35 9.65",
        "labels: 'no printer correction' at 114.35 7.35",
        "labels: 'winch panel' at 65.97 47.80",
    ]
    assert drawing.notices == ()
    assert drawing.page_from_sheet == Affine()


@settings(max_examples=30, deadline=None)
@given(
    st.sampled_from([0.0, 90.0, 180.0, 270.0, 33.3]),
    st.floats(-0.01, 0.01),
    st.floats(-0.01, 0.01),
    st.floats(-0.005, 0.005),
)
def test_three_maps_join_in_order(turn, sx, sy, lean):
    fit = Affine(a=1 + sx, c=lean, d=1 + sy)
    lay = Affine.translation(3, -2)
    decal = winch_panel(fitted_from_decal=fit, decal_from_artwork=lay)
    placement = Placement("winch panel", 1, 0, 80, 90, turn)
    drawing = one_sheet([decal], [placement], labels=False)
    art = next(i for i in drawing.items if isinstance(i, PlacedArtwork))
    x, y = 11.0, 7.0
    x1, y1 = x + 3, y - 2
    x2, y2 = (1 + sx) * x1 + lean * y1, (1 + sy) * y1
    c, s = math.cos(math.radians(turn)), math.sin(math.radians(turn))
    expected = (c * x2 - s * y2 + 80, s * x2 + c * y2 + 90)
    assert art.sheet_from_artwork.apply(x, y) == pytest.approx(expected, abs=1e-9)


def test_clip_is_the_outline_grown_by_the_bleed_less_the_holes():
    def area(decal):
        drawing = one_sheet([decal], [Placement("winch panel", 1, 0, 50, 50)], labels=False)
        art = next(i for i in drawing.items if isinstance(i, PlacedArtwork))
        outer, *holes = (path.polygon().area for path in art.clip)
        return outer - sum(holes)

    sharp = 60 * 40 - (4 - math.pi) * 6.0**2
    holes = math.pi * (6**2 + 1.6**2)
    assert area(winch_panel()) == pytest.approx(sharp - holes, rel=2e-4)
    inward = math.pi * (6 - 2.0) ** 2
    assert area(winch_panel(bleed_into_holes=True)) == pytest.approx(sharp - inward, rel=2e-4)
    plain = 56 * 36 - (4 - math.pi) * 4.0**2
    assert area(winch_panel(bleed_mm=0.0)) == pytest.approx(plain - holes, rel=2e-4)


def test_bleed_artwork_lies_under_the_artwork():
    under = make_artwork(60, 40, name="extended")
    decal = winch_panel(bleed_artwork=under)
    drawing = one_sheet([decal], [Placement("winch panel", 1, 0, 50, 50)])
    placed = [i for i in drawing.items if isinstance(i, PlacedArtwork)]
    assert [(p.layer, p.artwork.name) for p in placed] == [
        (Layer.BLEED, "extended"),
        (Layer.ARTWORK, "winch"),
    ]
    assert list(Layer).index(Layer.BLEED) < list(Layer).index(Layer.ARTWORK)


def test_correction_stays_beside_the_true_sheet():
    record = PrinterRecord("desk laser", "plain", scale_x=-0.004, scale_y=0.002, skew=0.001)
    args = ([winch_panel()], [Placement("winch panel", 1, 0, 50, 50)], [A4])
    plain = compose_sheets(*args)[0]
    corrected = compose_sheets(*args, None, record)[0]
    assert [i for i in plain.items if isinstance(i, StrokeMark)] == [
        i for i in corrected.items if isinstance(i, StrokeMark)
    ]
    page = corrected.page_from_sheet
    printed = record.printed_from_page.about(105, 148.5)
    assert (printed @ page).apply(30, 40) == pytest.approx((30, 40), abs=1e-12)
    texts = [i.text for i in corrected.items if isinstance(i, TextMark)]
    assert any(
        "corrected x +0.402 %, y −0.200 %, lean −0.100 % for desk laser, plain" in t for t in texts
    )


def test_correction_that_passes_the_margin_is_told():
    record = PrinterRecord("desk laser", "plain", scale_x=-0.011)
    drawing = compose_sheets([lamp()], [Placement("lamp", 1, 0, 150, 150)], [A4], None, record)[0]
    found = [n for n in drawing.notices if n.code == "past-margin"]
    assert len(found) == 1
    reach = (105 - 6.35 - 0.5) / (1 - 0.011) - (105 - 6.35)
    assert dict(found[0].numbers)["past_mm"] == pytest.approx(reach, abs=0.01)


def test_shift_is_undone_only_when_asked_for():
    record = PrinterRecord("desk laser", "labels", offset_x_mm=0.4, offset_y_mm=-0.2)
    placements = [Placement("lamp", 1, 0, 50, 50)]
    plain = compose_sheets([lamp()], placements, [A4], ComposeSettings(), record)[0]
    asked = compose_sheets([lamp()], placements, [A4], ComposeSettings(undo_offset=True), record)[0]
    assert plain.page_from_sheet.apply(50, 50) == pytest.approx((50, 50))
    assert asked.page_from_sheet.apply(50, 50) == pytest.approx((49.6, 50.2))
    words = [i.text for i in asked.items if isinstance(i, TextMark)]
    assert any("shift −0.40 +0.20 mm" in text for text in words)


def test_given_correction_replaces_the_records():
    given_map = Affine.scaling(1.001, 0.999)
    drawing = one_sheet([lamp()], [Placement("lamp", 1, 0, 50, 50)], page_from_sheet=given_map)
    assert drawing.page_from_sheet == given_map
    assert any(
        isinstance(i, TextMark) and "x +0.100 %, y −0.100 %" in i.text for i in drawing.items
    )


def test_match_ticks_move_with_their_decal():
    tick = StrokeMark(Layer.TILE_MARK, Path((Line((0, 18), (4, 18)),), closed=False), 0.1)
    drawing = one_sheet(
        [winch_panel()],
        [Placement("winch panel", 1, 0, 100, 50, 90)],
        decal_marks=(("winch panel", (tick,)),),
    )
    mark = next(i for i in drawing.items if i.layer is Layer.TILE_MARK)
    assert mark.path.points() == [pytest.approx((82, 50)), pytest.approx((82, 54))]
    assert (mark.decal, mark.copy) == ("winch panel", 1)


def test_every_placed_copy_is_on_its_own_sheet():
    decal = lamp(copies=4)
    placements = [Placement("lamp", k + 1, k % 2, 30 + 20 * k, 60) for k in range(4)]
    drawings = compose_sheets([decal], placements, [A4, A4], ComposeSettings("Harbour tug"))
    copies = [[i.copy for i in d.items if isinstance(i, PlacedArtwork)] for d in drawings]
    assert copies == [[1, 3], [2, 4]]
    assert [d.title for d in drawings] == [
        "Harbour tug · sheet 1 of 2",
        "Harbour tug · sheet 2 of 2",
    ]


@pytest.mark.parametrize(("name", "index"), [("anchor", 0), ("lamp", 1)])
def test_placement_of_nothing_is_refused(name, index):
    with pytest.raises(UsageProblem, match="placement names"):
        compose_sheets([lamp()], [Placement(name, 1, index, 0, 0)], [A4])


def test_two_decals_of_one_name_are_refused():
    with pytest.raises(UsageProblem, match="two decals are named 'lamp'"):
        compose_sheets([lamp(), lamp()], [], [A4])


def test_each_sheet_may_have_its_own_printer():
    laser = PrinterRecord("desk laser", "plain", scale_x=0.001)
    drawings = compose_sheets([lamp()], [], [A4, A4], None, [None, laser])
    assert [d.page_from_sheet.a for d in drawings] == pytest.approx([1, 1 / 1.001])


def test_long_title_is_shortened_but_keeps_the_sheets_number():
    drawing = one_sheet([lamp()], [Placement("lamp", 1, 0, 50, 50)], title="bridge " * 30)
    assert drawing.title.endswith("… · sheet 1 of 1")
    assert [n.code for n in drawing.notices] == ["title-shortened"]


def test_screw_crosses_reach_the_rim_and_are_never_tiny():
    decal = winch_panel()
    drawing = one_sheet([decal], [Placement("winch panel", 1, 0, 50, 50)])
    arms = [i.path for i in drawing.items if i.layer is Layer.SCREW_CROSS]
    lengths = [shapely.LineString(a.points()).length for a in arms]
    assert lengths == pytest.approx([3.2, 3.2])


def test_further_marks_of_every_kind_move_with_their_decal():
    swatch = make_artwork(4, 4, name="swatch")
    square = rectangle_path(Box(0, 0, 4, 4))
    marks = (
        FillMark(Layer.TILE_MARK, (square,)),
        TextMark(Layer.TILE_MARK, "A1", 2.0, 3.0),
        PlacedArtwork(swatch, Affine.translation(1, 1), (square,), layer=Layer.UNDERLAY),
    )
    drawing = one_sheet(
        [winch_panel()],
        [Placement("winch panel", 1, 0, 100, 50, 90)],
        decal_marks=(("winch panel", marks),),
    )
    fill, text = (i for i in drawing.items if i.layer is Layer.TILE_MARK)
    placed = next(i for i in drawing.items if i.layer is Layer.UNDERLAY)
    assert fill.paths[0].box == Box(96, 50, 100, 54)
    assert (text.x_mm, text.y_mm, text.turn_deg) == pytest.approx((97, 52, 90))
    assert placed.sheet_from_artwork.apply(0, 0) == pytest.approx((99, 51))
    assert {(i.decal, i.copy) for i in (fill, text, placed)} == {("winch panel", 1)}


def test_slots_and_odd_screw_holes():
    slot = rectangle_path(Box(10, 10, 22, 14), 2)
    tiny = rectangle_path(Box(40, 10, 41, 11))
    holes = (Hole(slot), Hole(tiny, kind=HoleKind.SCREW), Hole(slot.mapped(Affine(f=12))))
    for bleed_into_holes in (False, True):
        decal = winch_panel(holes=holes, bleed_into_holes=bleed_into_holes)
        drawing = one_sheet([decal], [Placement("winch panel", 1, 0, 50, 50)])
        guides = [i.path for i in drawing.items if i.layer is Layer.HOLE_GUIDE]
        assert [round(g.box.width, 6) for g in guides] == [12, 12]
        arms = [i.path.box for i in drawing.items if i.layer is Layer.SCREW_CROSS]
        assert [max(a.width, a.height) for a in arms] == pytest.approx([3, 3])
        art = next(i for i in drawing.items if isinstance(i, PlacedArtwork))
        assert len(art.clip) == (1 if bleed_into_holes else 4)


def test_guide_and_clip_follow_a_contour_that_is_not_round():
    corner = [
        (30 + 6 * math.cos(k * math.pi / 3), 25 + 6 * math.sin(k * math.pi / 3)) for k in range(6)
    ]
    six = Hole(polygon_path(corner), Circle(30, 25, 11.6), 0.4, HoleKind.SWITCH)
    near = Hole(circle_path(30, 25, 12), Circle(30, 25, 12.01), 0.005, HoleKind.SWITCH)
    for hole, sides in ((six, 6), (near, 2)):
        drawing = one_sheet([winch_panel(holes=(hole,))], [Placement("winch panel", 1, 0, 50, 50)])
        guide = next(i.path for i in drawing.items if i.layer is Layer.HOLE_GUIDE)
        art = next(i for i in drawing.items if isinstance(i, PlacedArtwork))
        assert len(guide.segments) == len(art.clip[1].segments) == sides


def test_piece_over_marks_is_told():
    placements = [Placement("lamp", 1, 0, 40, 5), Placement("lamp", 2, 0, 40, 100)]
    drawing = one_sheet([lamp(copies=2)], placements)
    assert [n.subject for n in drawing.notices if n.code == "piece-over-marks"] == ["lamp 1/2"]


# ---------------------------------------------------------------- the colour of cut lines

NAVY, PAPER, OXBLOOD = (0.13, 0.15, 0.17), (1.0, 1.0, 1.0), (0.55, 0.11, 0.1)


@pytest.mark.parametrize(
    ("ground", "light"),
    [
        ((NAVY,), True),
        ((NAVY, OXBLOOD), True),
        ((PAPER,), False),
        ((NAVY, PAPER), False),
        ((), False),
    ],
)
def test_an_outline_all_on_dark_ink_is_drawn_light(ground, light):
    """Its guides and crosses, half on bare paper, keep the darker blue."""
    settings = ComposeSettings()
    decal = replace(winch_panel(), edge_colours=ground)
    drawing = one_sheet([decal], [Placement(decal.name, 1, 0, 20, 50)])
    colours = {i.layer: i.colour for i in drawing.items if isinstance(i, StrokeMark) and i.decal}
    assert colours.pop(Layer.CUT_OUTLINE) == (
        settings.light_cut_colour if light else settings.cut_colour
    )
    assert set(colours.values()) == {settings.cut_colour}


def test_the_line_stands_out_from_any_ground():
    """Contrast by WCAG 2.x, where 3 to 1 is asked of graphics (criterion 1.4.11)."""
    settings = ComposeSettings()
    dark = settings.outline_colour((NAVY,))
    assert contrast_ratio(dark, NAVY) > 8
    for ground in (NAVY, PAPER):
        assert contrast_ratio(settings.outline_colour((NAVY, PAPER)), ground) > 3
