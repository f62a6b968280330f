"""Build sheets: one page a panel, nothing clipped or overlapping, the words that must be there."""

import io

import numpy as np
import pypdf
import pypdfium2
import pytest
from PIL import Image

from decalprep.errors import InputProblem, UsageProblem
from decalprep.export.buildsheet import BuildSheetPanel, build_sheets_pdf, panel_page
from decalprep.export.buildsheet_costs import ink_coverage, stock_costs
from decalprep.export.buildsheet_words import (
    BuildChoices,
    checks_for,
    order_of_work,
    rule_for,
)
from decalprep.geometry import Affine, Box, Circle, circle_path, rectangle_path
from decalprep.model import (
    Artwork,
    Decal,
    Hole,
    HoleKind,
    Notice,
    Placement,
    Sheet,
    StockKind,
)


def png(width=700, height=420, shade=60):
    out = io.BytesIO()
    Image.fromarray(np.full((height, width, 3), shade, np.uint8)).save(out, "PNG")
    return out.getvalue()


def hole(x, y, d, kind, label):
    return Hole(circle_path(x, y, d), Circle(x, y, d), kind=kind, label=label)


DECAL = Decal(
    "searchlight", "Searchlight", Artwork("a", "a.svg", "svg", b"", 72, 72, 25.4, 25.4),
    rectangle_path(Box(0, 0, 140, 90), 4), "part: searchlight-face.stl",
    holes=(
        hole(4.5, 4.5, 3.4, HoleKind.SCREW, "H3"),
        hole(135.5, 85.5, 3.4, HoleKind.SCREW, "H1"),
        hole(70, 45, 12.2, HoleKind.SWITCH, "H2"),
    ),
    bleed_mm=2, fitted_from_decal=Affine.scaling(0.998, 1.001),
)  # fmt: skip
BACKLIT = BuildChoices(StockKind.PLAIN, "inkjet", backlit=True, underlay_layers=3)
NOTICE = Notice(
    "hole-misfit",
    "hole H2 of the artwork lies 0.45 mm from the part's (+0.40 mm across, -0.20 mm up)",
)


def page(**changes):
    return panel_page(DECAL, png(), choices=changes.get("choices", BACKLIT), notices=[NOTICE])


def words(pdf, number=0):
    return " ".join(pypdf.PdfReader(io.BytesIO(pdf)).pages[number].extract_text().split())


def test_one_page_a_panel_of_exact_size_and_the_same_bytes_each_time():
    panels = [page(), page(choices=BuildChoices(StockKind.LABEL, "laser", painted=False))]
    pdf = build_sheets_pdf(panels, "Bridge console")
    reader = pypdf.PdfReader(io.BytesIO(pdf))
    assert len(reader.pages) == 2
    assert [float(v) for v in reader.pages[0].mediabox[2:]] == pytest.approx(
        [595.2756, 841.8898], abs=1e-3
    )
    assert pdf == build_sheets_pdf(panels, "Bridge console")


def test_order_of_work_is_outline_stick_holes_pierce_edge():
    text = words(build_sheets_pdf([page()], "Bridge console"))
    order = [
        "Cut the outline first",
        "Stick the decal",
        "marked hole",
        "Pierce the 2 screw crosses",
        "Touch up",
    ]
    places = [text.index(w) for w in order]
    assert places == sorted(places)
    assert "day before it is rubbed down (common practice" in text


def test_cautions_defer_and_say_display_only():
    text = words(build_sheets_pdf([page()], "Bridge console"))
    for word in (
        "Knife",
        "Spray paint",
        "LED wiring",
        "data sheet",
        "local codes",
        "licensed",
        "simulators only",
    ):
        assert word in text
    label = words(build_sheets_pdf([page(choices=BuildChoices(StockKind.LABEL, "laser"))], "x"))
    assert "Hot printers" in label
    assert "LED wiring" not in label


def test_warnings_are_on_the_page_and_notes_are_not():
    assert "0.45 mm from the part" in words(build_sheets_pdf([page()], "x"))


def test_checks_name_true_fitted_lengths_and_a_rule_that_spans_them():
    checks = " ".join(checks_for(DECAL))
    assert "139.7 mm wide and 90.1 mm high, with a rule of 150 mm" in checks
    # sqrt((131 * .998)^2 + (81 * 1.001)^2) = 153.83
    assert "H3 to hole H1, centre to centre: 153.8 mm" in checks
    assert [rule_for(x) for x in (150, 150.5, 301, 5000)] == [150, 300, 500, 1000]


def test_extra_coat_only_when_backlit():
    assert any("extra coat" in s for s in order_of_work(DECAL, BACKLIT))
    assert not any("extra coat" in s for s in order_of_work(DECAL, BuildChoices()))


def test_nothing_is_outside_the_margins_and_the_columns_do_not_touch():
    pdf = build_sheets_pdf([page()], "Bridge console of a harbour tug trainer")
    image = pypdfium2.PdfDocument(pdf)[0].render(scale=2, grayscale=True).to_numpy()
    image = image.reshape(image.shape[:2])
    rows, columns = np.nonzero(image < 200)
    k = 2 * 72 / 25.4
    assert columns.min() / k >= 14.8
    assert columns.max() / k <= 195.3
    assert rows.max() / k <= 282.5
    # the gap between the columns, below the heading and above the foot line
    left_edge = 15 + (180 - 6) * 0.42
    gap = image[int(30 * k) : int(275 * k), int((left_edge + 1) * k) : int((left_edge + 5) * k)]
    assert gap.min() > 200


def test_text_lines_do_not_overlap():
    pdf = build_sheets_pdf([page()], "x")
    textpage = pypdfium2.PdfDocument(pdf)[0].get_textpage()
    boxes = [textpage.get_rect(k) for k in range(textpage.count_rects())]
    for i, a in enumerate(boxes):
        for b in boxes[i + 1 :]:
            across = min(a[2], b[2]) - max(a[0], b[0])
            up = min(a[3], b[3]) - max(a[1], b[1])
            assert not (across > 1 and up > 1.5), (a, b)


def test_long_names_shrink_and_foreign_letters_are_said():
    panel = BuildSheetPanel("Ж " + "a very long panel name " * 4, png(), steps=("Cut.",))
    text = words(build_sheets_pdf([panel], "Bridge console " * 6))
    assert "letters that this typeface lacks" in text


def test_too_many_words_are_refused_not_clipped():
    panel = BuildSheetPanel("bow", png(), steps=("Cut the outline and think twice. " * 12,) * 40)
    with pytest.raises(UsageProblem, match="more words"):
        build_sheets_pdf([panel], "x")


def test_bad_picture_and_no_panels_are_refused():
    with pytest.raises(InputProblem, match="cannot be read"):
        build_sheets_pdf([BuildSheetPanel("bow", b"not a picture")], "x")
    with pytest.raises(UsageProblem):
        build_sheets_pdf([], "x")


# ---------------------------------------------------------------- ink and cost


def test_ink_by_colour():
    pixels = np.full((100, 200, 3), 255, np.uint8)
    pixels[:50, :100] = (0, 0, 0)
    pixels[50:, :50] = (255, 0, 0)
    pixels[50:, 50:60] = 250  # lighter than 247 counts as paper
    found = ink_coverage(pixels, width_mm=200, height_mm=100)
    # pure red is full magenta and full yellow
    assert dict(found.inks) == pytest.approx(
        {
            "cyan": 0,
            "magenta": 0.125,
            "yellow": 0.125,
            "black": 0.25 + 0.025 * 5 / 255,
        },
        abs=1e-9,
    )
    assert found.colours == (((0, 0, 0), pytest.approx(5000)), ((255, 0, 0), pytest.approx(2500)))
    assert found.printed_share == pytest.approx(0.375)


def test_costs_share_each_sheet_by_area_and_add_up():
    sheet = Sheet("A4", 210, 297, price=0.80)
    placements = [
        Placement("a", 1, 0, 0, 0),
        Placement("b", 1, 0, 0, 0),
        Placement("b", 2, 1, 0, 0),
    ]
    costs = stock_costs(
        placements, [sheet, sheet], panel_of={"a": "A", "b": "B"}, area_mm2={"a": 3000, "b": 1000}
    )
    assert [(c.panel, c.sheets, c.cost) for c in costs] == [
        ("A", pytest.approx(0.75), pytest.approx(0.60)),
        ("B", pytest.approx(1.25), pytest.approx(1.00)),
    ]
    unknown = stock_costs(
        placements, [sheet, Sheet("A4", 210, 297)], panel_of={"a": "A", "b": "B"},
        area_mm2={"a": 3000, "b": 1000},
    )  # fmt: skip
    assert [c.cost for c in unknown] == [pytest.approx(0.60), None]
