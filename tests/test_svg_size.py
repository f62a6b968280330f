"""A 10 mm square lies where it should in every way an SVG can state its size."""

from pathlib import Path

import pytest

from decalprep.errors import DecalprepError, InputProblem, NoSize, TooMuch, Unfaithful
from decalprep.geometry import Box
from decalprep.intake.options import IntakeOptions
from decalprep.intake.svg import read_svg
from decalprep.intake.svg_size import read_root_size
from decalprep.model import Artwork, EvidenceRank
from decalprep.pdfstream import read_page

SQUARE = '<rect x="10" y="5" width="10" height="10"/>'
MM = 'viewBox="0 0 50 30"'
PX = 25.4 / 96
"""One CSS px in mm."""

UNITS, DENSITY, ASSUMED = (
    EvidenceRank.FILE_UNITS,
    EvidenceRank.FILE_DENSITY,
    EvidenceRank.ASSUMED,
)

# (root attributes, body, page in mm, the square's left, top, width and height in mm, rank)
CASES = {
    "mm": (f'width="50mm" height="30mm" {MM}', SQUARE, (50, 30), (10, 5, 10, 10), UNITS),
    "cm": (f'width="5cm" height="3cm" {MM}', SQUARE, (50, 30), (10, 5, 10, 10), UNITS),
    "in": (
        f'width="2in" height="1.2in" {MM}',
        SQUARE,
        (50.8, 30.48),
        (10.16, 5.08, 10.16, 10.16),
        UNITS,
    ),
    "pt": (
        f'width="144pt" height="86.4pt" {MM}',
        SQUARE,
        (50.8, 30.48),
        (10.16, 5.08, 10.16, 10.16),
        UNITS,
    ),
    "pc": (
        f'width="12pc" height="7.2pc" {MM}',
        SQUARE,
        (50.8, 30.48),
        (10.16, 5.08, 10.16, 10.16),
        UNITS,
    ),
    "Q": (f'width="200Q" height="120Q" {MM}', SQUARE, (50, 30), (10, 5, 10, 10), UNITS),
    "upper case": (f'width="50MM" height="30Mm" {MM}', SQUARE, (50, 30), (10, 5, 10, 10), UNITS),
    "exponent": (f'width=" +5e1mm" height="3E1mm " {MM}', SQUARE, (50, 30), (10, 5, 10, 10), UNITS),
    "px": (
        f'width="200px" height="120px" {MM}',
        SQUARE,
        (200 * PX, 120 * PX),
        (40 * PX, 20 * PX, 40 * PX, 40 * PX),
        DENSITY,
    ),
    "unitless": (
        f'width="200" height="120" {MM}',
        SQUARE,
        (200 * PX, 120 * PX),
        (40 * PX, 20 * PX, 40 * PX, 40 * PX),
        DENSITY,
    ),
    "viewBox only": (
        'viewBox="0 0 500 300"',
        '<rect x="100" y="50" width="100" height="100"/>',
        (500 * PX, 300 * PX),
        (100 * PX, 50 * PX, 100 * PX, 100 * PX),
        ASSUMED,
    ),
    "per cent": (
        'width="100%" height="100%" viewBox="0,0,500,300"',
        '<rect x="100" y="50" width="100" height="100"/>',
        (500 * PX, 300 * PX),
        (100 * PX, 50 * PX, 100 * PX, 100 * PX),
        ASSUMED,
    ),
    "nothing": (
        "",
        '<rect x="100" y="50" width="100" height="100"/>',
        (200 * PX, 150 * PX),
        (100 * PX, 50 * PX, 100 * PX, 100 * PX),
        ASSUMED,
    ),
    "width only": (f'width="50mm" {MM}', SQUARE, (50, 30), (10, 5, 10, 10), UNITS),
    "height only": (f'width="auto" height="30mm" {MM}', SQUARE, (50, 30), (10, 5, 10, 10), UNITS),
    "mm and per cent": (
        f'width="50mm" height="100%" {MM}',
        SQUARE,
        (50, 30),
        (10, 5, 10, 10),
        UNITS,
    ),
    "viewBox origin": (
        'width="50mm" height="30mm" viewBox="-10 -5 50 30"',
        '<rect width="10" height="10"/>',
        (50, 30),
        (10, 5, 10, 10),
        UNITS,
    ),
    "aspect none": (
        'width="50mm" height="30mm" viewBox="0 0 100 30" preserveAspectRatio="none"',
        '<rect x="20" y="5" width="20" height="10"/>',
        (50, 30),
        (10, 5, 10, 10),
        UNITS,
    ),
    "aspect meet middle": (
        'width="50mm" height="30mm" viewBox="0 0 30 30"',
        '<rect y="5" width="10" height="10"/>',
        (50, 30),
        (10, 5, 10, 10),
        UNITS,
    ),
    "aspect meet min": (
        'width="50mm" height="30mm" viewBox="0 0 30 30" preserveAspectRatio="xMinYMin"',
        '<rect x="10" y="5" width="10" height="10"/>',
        (50, 30),
        (10, 5, 10, 10),
        UNITS,
    ),
    "aspect meet max": (
        'width="50mm" height="30mm" viewBox="0 0 50 20" preserveAspectRatio="xMaxYMax meet"',
        '<rect x="10" width="10" height="10"/>',
        (50, 30),
        (10, 10, 10, 10),
        UNITS,
    ),
    "aspect slice": (
        'width="50mm" height="30mm" viewBox="0 0 50 50" preserveAspectRatio="xMidYMid slice"',
        '<rect x="10" y="15" width="10" height="10"/>',
        (50, 30),
        (10, 5, 10, 10),
        UNITS,
    ),
    "no viewBox, mm inside": (
        'width="50mm" height="30mm"',
        '<rect x="10mm" y="5mm" width="1cm" height="40Q"/>',
        (50, 30),
        (10, 5, 10, 10),
        UNITS,
    ),
    "no viewBox, pt and in inside": (
        'width="50mm" height="30mm"',
        '<rect x="72pt" y="0.25in" width="2pc" height="24pt"/>',
        (50, 30),
        (25.4, 6.35, 25.4 / 3, 25.4 / 3),
        UNITS,
    ),
    "per cent inside": (
        f'width="50mm" height="30mm" {MM}',
        '<rect x="20%" y="20%" width="20%" height="33.3333333%"/>',
        (50, 30),
        (10, 6, 10, 10),
        UNITS,
    ),
    "nested svg": (
        f'width="50mm" height="30mm" {MM}',
        '<svg x="10" y="5" width="20" height="20" viewBox="0 0 200 200">'
        '<rect width="100" height="100"/></svg>',
        (50, 30),
        (10, 5, 10, 10),
        UNITS,
    ),
    "nested svg, aspect": (
        'width="50mm" height="30mm"',
        '<svg x="5mm" y="5mm" width="20mm" height="10mm" viewBox="0 0 1 1">'
        '<rect width="1" height="1"/></svg>',
        (50, 30),
        (10, 5, 10, 10),
        UNITS,
    ),
    "transforms": (
        f'width="50mm" height="30mm" {MM}',
        '<g transform="translate(20 5)"><g transform="rotate(90)"><g transform="scale(2 .5)">'
        '<rect width="5" height="20"/></g></g></g>',
        (50, 30),
        (10, 5, 10, 10),
        UNITS,
    ),
    "transform in CSS": (
        f'width="50mm" height="30mm" {MM}',
        '<rect style="transform: translate(10px, 5px)" width="10" height="10"/>',
        (50, 30),
        (10, 5, 10, 10),
        UNITS,
    ),
    "symbol": (
        f'width="50mm" height="30mm" {MM}',
        '<symbol id="s" viewBox="0 0 4 4"><rect width="4" height="4"/></symbol>'
        '<use href="#s" x="10" y="5" width="10" height="10"/>',
        (50, 30),
        (10, 5, 10, 10),
        UNITS,
    ),
    "large units": (
        'width="50mm" height="30mm" viewBox="0 0 50000 30000"',
        '<rect x="10000" y="5000" width="10000" height="10000"/>',
        (50, 30),
        (10, 5, 10, 10),
        UNITS,
    ),
    "small units": (
        'width="50mm" height="30mm" viewBox="0 0 .05 .03"',
        '<rect x=".01" y=".005" width=".01" height=".01"/>',
        (50, 30),
        (10, 5, 10, 10),
        UNITS,
    ),
    "units of 1/90 in": (
        'width="50mm" height="30mm" viewBox="0 0 177.16535433 106.2992126"',
        '<rect x="35.433070866" y="17.716535433" width="35.433070866" height="35.433070866"/>',
        (50, 30),
        (10, 5, 10, 10),
        UNITS,
    ),
    "mm and px": (
        f'width="50mm" height="113.385826772" {MM}',
        SQUARE,
        (50, 30),
        (10, 5, 10, 10),
        DENSITY,
    ),
}


def svg_file(folder: Path, attributes: str, body: str = SQUARE) -> Path:
    """A file of that root and body."""
    path = folder / "panel.svg"
    path.write_text(f'<svg xmlns="http://www.w3.org/2000/svg" {attributes}>{body}</svg>')
    return path


def square_mm(artwork: Artwork) -> Box:
    """The box of the last shape on the page, in mm from the lower left."""
    shape = read_page(artwork.page_pdf).shapes[-1]
    points = [s.start for path in shape.paths for s in path.segments]
    return Box.around(artwork.artwork_from_page.apply_all(points))


@pytest.mark.parametrize("case", CASES)
def test_square_lies_true(case: str, tmp_path: Path) -> None:
    attributes, body, page, (left, top, width, height), rank = CASES[case]
    artwork = read_svg(svg_file(tmp_path, attributes, body), IntakeOptions())
    assert (artwork.width_mm, artwork.height_mm) == pytest.approx(page, abs=1e-6)
    assert artwork.evidence[0].rank is rank
    box = square_mm(artwork)
    assert box.x0 == pytest.approx(left, abs=0.001)
    assert artwork.height_mm - box.y1 == pytest.approx(top, abs=0.001)
    assert (box.width, box.height) == pytest.approx((width, height), abs=0.001)


def test_page_box_has_full_precision(tmp_path: Path) -> None:
    artwork = read_svg(svg_file(tmp_path, 'width="123.4567mm" height="76.5432mm"'), IntakeOptions())
    assert artwork.page_width_pt * 25.4 / 72 == pytest.approx(123.4567, abs=1e-9)
    assert b"349.956" in artwork.page_pdf  # 123.4567 mm is 349.9560 pt
    assert artwork.artwork_from_page.a == pytest.approx(25.4 / 72, rel=1e-12)


def test_no_physical_unit_is_told(tmp_path: Path) -> None:
    artwork = read_svg(svg_file(tmp_path, f'width="200" height="120" {MM}'), IntakeOptions())
    told = {n.code: n.text for n in artwork.notices}
    assert "96 px/in" in told["size-from-pixels"]
    artwork = read_svg(svg_file(tmp_path, 'viewBox="0 0 500 300"'), IntakeOptions())
    assert "96" in next(n.text for n in artwork.notices if n.code == "size-assumed")


def test_users_word_beats_the_file(tmp_path: Path) -> None:
    path = svg_file(tmp_path, f'width="200" height="120" {MM}')
    artwork = read_svg(path, IntakeOptions(width_mm=100.0))
    assert (artwork.width_mm, artwork.height_mm) == pytest.approx((100.0, 60.0))
    box = square_mm(artwork)
    assert (box.x0, box.width) == pytest.approx((20.0, 20.0), abs=0.001)
    assert not [n for n in artwork.notices if n.code == "size-from-pixels"]


def test_allowed_stretch_keeps_every_part_of_the_page(tmp_path: Path) -> None:
    path = svg_file(tmp_path, f'width="50mm" height="30mm" {MM}')
    artwork = read_svg(path, IntakeOptions(width_mm=50.0, height_mm=60.0, allow_stretch=True))
    box = square_mm(artwork)
    assert (box.x0, box.width, box.height) == pytest.approx((10.0, 10.0, 20.0), abs=0.001)


def test_uneven_viewbox_is_told(tmp_path: Path) -> None:
    def codes(attributes: str) -> set[str]:
        size = read_root_size(
            "50mm", "30mm", view_box="0 0 100 30", aspect=attributes, name="panel.svg"
        )
        assert size is not None
        return {n.code for n in size.notices}

    assert codes("none") == {"uneven-viewbox"}
    assert codes("xMidYMid") == {"viewbox-shape"}
    assert codes("xMidYMid slice") == {"viewbox-shape"}


@pytest.mark.parametrize(
    ("attributes", "kind", "words"),
    [
        ('width="50furlong" height="30mm"', InputProblem, "unknown unit"),
        ('width="abc" height="30mm"', InputProblem, "not a length"),
        ('width="0" height="30mm"', InputProblem, "not above zero"),
        ('width="-5mm" height="30mm"', InputProblem, "not above zero"),
        ('width="1e999mm" height="30mm"', InputProblem, "not above zero"),
        ('width="50mm" height="30mm" viewBox="0 0 50"', InputProblem, "four numbers"),
        ('width="50mm" height="30mm" viewBox="0 0 0 30"', InputProblem, "no area"),
        ('width="50mm"', NoSize, "no height"),
        ('height="50mm" width="100%"', NoSize, "no width"),
        ('width="90m" height="30mm"', InputProblem, "unknown unit"),
        ('width="9000mm" height="30mm"', TooMuch, "beyond"),
        ('style="width:50mm;height:30mm"', Unfaithful, "set in CSS"),
        ('width="50mm" height="30mm" transform="scale(2)"', Unfaithful, "transform"),
    ],
)
def test_wrong_size_is_refused(
    attributes: str, kind: type[DecalprepError], words: str, tmp_path: Path
) -> None:
    with pytest.raises(kind, match=words) as caught:
        read_svg(svg_file(tmp_path, attributes), IntakeOptions())
    assert str(caught.value).startswith("panel.svg: ")


def test_what_lies_beyond_the_page_is_told(tmp_path: Path) -> None:
    def told(body: str) -> list[str]:
        path = svg_file(tmp_path, f'width="50mm" height="30mm" {MM}', body)
        notices = read_svg(path, IntakeOptions()).notices
        return [n.text for n in notices if n.code == "svg-beyond-page"]

    assert told('<rect x="45" y="5" width="9" height="9"/>')[0].startswith(
        "is drawn beyond its page at the right;"
    )
    assert "left, top" in told('<rect x="-4" y="-3" width="9" height="9"/>')[0]
    assert told('<rect x="-.1" y="-.1" width="50.2" height="30.2"/>') == []
    assert told(SQUARE) == []
