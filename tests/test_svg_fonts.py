"""Every text gets a font that is there, or it is refused; nothing is dropped in silence."""

import base64
import io
import re
import shutil
from pathlib import Path

import pytest
from fontTools.ttLib import TTFont
from svg_cases import FONT, codes, read

from decalprep.errors import Unfaithful
from decalprep.intake.options import IntakeOptions, Limits
from decalprep.intake.svg_embedded import embedded_faces
from decalprep.intake.svg_fonts import (
    Face,
    FontShelf,
    Wish,
    best_face,
    characters_of,
    expand_font,
    parse_families,
    parse_weight,
    shipped_folder,
)
from decalprep.model import Severity
from decalprep.pdfstream import read_page

TEXT = '<text x="2" y="15" font-size="5" {}>BILGE</text>'


def _fonts(page: bytes) -> set[str]:
    return {text.font.split("+")[-1] for text in read_page(page).texts}


def test_text_in_a_shipped_font_needs_no_notice(tmp_path: Path) -> None:
    artwork = read(tmp_path, TEXT.format(FONT))
    assert set(codes(artwork)) == {"svg-route"}
    assert _fonts(artwork.page_pdf) == {"BitstreamVeraSans-Roman"}


def test_weight_and_slant_choose_the_face(tmp_path: Path) -> None:
    body = TEXT.format(f'{FONT} font-weight="700" style="font-style:oblique"')
    assert _fonts(read(tmp_path, body).page_pdf) == {"BitstreamVeraSans-BoldOblique"}
    body = TEXT.format("style=\"font: bold 5px 'Bitstream Vera Sans'\"")
    assert _fonts(read(tmp_path, body).page_pdf) == {"BitstreamVeraSans-Bold"}


def test_missing_font_is_refused_or_told_as_danger(tmp_path: Path) -> None:
    body = TEXT.format('font-family="No Such Face"')
    with pytest.raises(Unfaithful, match="font No Such Face is not installed"):
        read(tmp_path, body)
    artwork = read(tmp_path, body, IntakeOptions(allow_missing_fonts=True))
    told = next(n for n in artwork.notices if n.code == "font-missing")
    assert told.severity is Severity.DANGER
    assert "No Such Face" in told.text
    assert "Bitstream Vera Sans stands in" in told.text
    assert read_page(artwork.page_pdf).texts


def test_a_family_set_by_a_style_sheet_or_a_parent_counts(tmp_path: Path) -> None:
    for body in (
        "<style>text { font-family: 'No Such Face' }</style>" + TEXT.format(""),
        '<g font-family="No Such Face">' + TEXT.format("") + "</g>",
        f'<text {FONT} y="9">A<tspan font-family="No Such Face">B</tspan></text>',
    ):
        with pytest.raises(Unfaithful, match="No Such Face"):
            read(tmp_path, body)


def test_the_next_family_of_the_list_is_told(tmp_path: Path) -> None:
    body = TEXT.format("font-family=\"'No Such Face', 'Bitstream Vera Sans'\"")
    artwork = read(tmp_path, body, IntakeOptions(allow_missing_fonts=True))
    assert "No Such Face" in codes(artwork)["font-missing"]


def test_generic_family_names_what_was_taken(tmp_path: Path) -> None:
    artwork = read(tmp_path, TEXT.format('font-family="sans-serif"'))
    assert "Bitstream Vera Sans" in codes(artwork)["font-generic"]


def test_a_font_beside_the_artwork_is_used(tmp_path: Path) -> None:
    own = FontShelf().family("Bitstream Vera Sans")[0]
    from fontTools.ttLib import TTFont

    with TTFont(own.path) as font:
        for record in font["name"].names:
            if record.nameID == 1:
                record.string = "Tug Console"
        font.save(tmp_path / "tug.ttf")
    artwork = read(tmp_path, TEXT.format('font-family="Tug Console"'))
    assert set(codes(artwork)) == {"svg-route"}


def test_a_character_no_font_has_is_refused(tmp_path: Path) -> None:
    with pytest.raises(Unfaithful, match="U\\+10FFF0"):
        read(tmp_path, TEXT.format(FONT).replace("BILGE", "A&#x10FFF0;"))


def test_a_lacking_character_comes_from_a_named_face(tmp_path: Path) -> None:
    # Two faces of one folder: letters only, and digits only.
    from fontTools import subset

    for name, letters in (("Letters", "AB"), ("Digits", "12")):
        options = subset.Options(name_IDs=["*"], notdef_outline=True)
        with subset.load_font(str(shipped_folder() / "Vera.ttf"), options) as font:
            maker = subset.Subsetter(options)
            maker.populate(text=letters)
            maker.subset(font)
            for record in font["name"].names:
                if record.nameID in (1, 4):
                    record.string = name
            font.save(tmp_path / f"{name}.ttf")
    artwork = read(tmp_path, TEXT.format('font-family="Letters"').replace("BILGE", "A1B2"))
    assert "lacks '12'; taken from Digits" in codes(artwork)["font-character"]
    assert "svg-route" in codes(artwork)
    shown = "".join(t.text for t in read_page(artwork.page_pdf).texts)
    assert shown.replace(" ", "") == "A1B2"


def test_capitals_by_style_are_carried_out(tmp_path: Path) -> None:
    body = TEXT.format(f'{FONT} style="text-transform:uppercase"').replace("BILGE", "bilge")
    shown = "".join(t.text for t in read_page(read(tmp_path, body).page_pdf).texts)
    assert shown == "BILGE"


def test_text_that_is_used_takes_the_font_of_its_use(tmp_path: Path) -> None:
    symbol = '<symbol id="s"><text y="9" font-size="5">A</text></symbol>'
    page = read(tmp_path, f'{symbol}<g {FONT} font-weight="bold"><use href="#s"/></g>').page_pdf
    assert _fonts(page) == {"BitstreamVeraSans-Bold"}
    two = f'{symbol}<use href="#s" {FONT}/><use href="#s" x="9" {FONT} font-weight="bold"/>'
    with pytest.raises(Unfaithful, match="'s' in places that ask for different fonts"):
        read(tmp_path, two)


def test_a_damaged_font_is_no_font(tmp_path: Path) -> None:
    (tmp_path / "broken.ttf").write_bytes(b"\0\1\0\0" + b"\xff" * 200)
    shutil.copy(shipped_folder() / "Vera.ttf", tmp_path / "fine.ttf")
    assert FontShelf(tmp_path, use_system=False).near()[0].path.name == "fine.ttf"


def _face(weight: int, *, slanted: bool = False, stretch: int = 5) -> Face:
    return Face(Path(f"{weight}{slanted}{stretch}.ttf"), 0, ("F",), weight, slanted, stretch)


@pytest.mark.parametrize(
    ("want", "have", "taken"),
    [
        # CSS Fonts 4, 5.2, style matching: the directions in which a weight is looked for.
        (400, (300, 500), 500),
        (400, (300, 700), 300),
        (500, (400, 700), 400),
        (450, (400, 500), 500),
        (300, (200, 400), 200),
        (300, (400, 500), 400),
        (600, (500, 700), 700),
        (700, (400, 500), 500),
    ],
)
def test_weight_is_chosen_as_css_says(want: int, have: tuple[int, ...], taken: int) -> None:
    assert best_face([_face(w) for w in have], Wish(weight=want)).weight == taken


def test_stretch_goes_before_slant_and_slant_before_weight() -> None:
    faces = [_face(400, stretch=3), _face(900, slanted=True), _face(400)]
    assert best_face(faces, Wish(slanted=True)).weight == 900
    assert best_face(faces, Wish(stretch=3, slanted=True)).stretch == 3


def test_font_values_are_read() -> None:
    assert parse_families('"A, B", C D ,serif') == ("A, B", "C D", "serif")
    assert parse_weight("bolder", 400) == 700
    assert expand_font("caption") == {}
    assert expand_font("300 12px F")["font-weight"] == "300"
    assert characters_of(_face(400)) == frozenset()


def _sheet(source: str) -> str:
    face = f"@font-face {{ font-family: 'Quay Sans'; src: {source} }}"
    return f"<style>{face}</style>" + TEXT.format("font-family=\"'Quay Sans', serif\"")


def _laid_in(data: bytes) -> str:
    return f"url(data:font/ttf;base64,{base64.b64encode(data).decode()}) format('truetype')"


@pytest.mark.parametrize("kind", ["plain", "woff", "nameless"])
def test_a_font_laid_into_the_file_is_used(kind: str, tmp_path: Path) -> None:
    data = (shipped_folder() / "VeraBd.ttf").read_bytes()
    if kind != "plain":
        font, out = TTFont(io.BytesIO(data)), io.BytesIO()
        font.flavor = "woff" if kind == "woff" else None
        if kind == "nameless":
            del font["name"]
        font.save(out)
        data = out.getvalue()
    artwork = read(tmp_path, _sheet(f'local("Quay Sans"), {_laid_in(data)}'))
    assert set(codes(artwork)) == {"svg-route"}
    assert "BitstreamVeraSans-Bold" in _fonts(artwork.page_pdf) or kind == "nameless"
    heavy = read(tmp_path, TEXT.format(f'{FONT} font-weight="700"'))
    boxes = [[t.box_pt for t in read_page(a.page_pdf).texts] for a in (artwork, heavy)]
    assert boxes[0] == boxes[1]


@pytest.mark.parametrize(
    ("source", "words"),
    [
        ("url(https://example.org/quay.woff)", "lies outside the artwork"),
        ("url(../quay.ttf)", "lies outside the artwork"),
        (_laid_in(b"\0\1\0\0 damaged"), "cannot be read"),
        (_laid_in(b"wOFF\0\1\0\0damaged" + b"\xff" * 60), "unpacks to more|is damaged"),
        ("local('Quay Sans')", "holds no font"),
        ("url(data:;base64,AAEAAA); unicode-range: U+20-7F", "unicode-range"),
    ],
)
def test_a_font_that_cannot_be_used_is_named(source: str, words: str, tmp_path: Path) -> None:
    with pytest.raises(Unfaithful, match="font Quay Sans is not installed"):
        read(tmp_path, _sheet(source))
    rules = [{"font-family": "'Quay Sans'", "src": source, **dict(_more(source))}]
    faces, told = embedded_faces(rules, tmp_path, name="panel.svg", limits=Limits())
    assert faces == ()
    assert re.search(words, told[0].text)
    assert told[0].severity is Severity.DANGER


def _more(source: str) -> list[tuple[str, str]]:
    return [("unicode-range", "U+20-7F")] if "unicode-range" in source else []


def test_a_font_beside_the_artwork_is_used_by_its_declared_name(tmp_path: Path) -> None:
    shutil.copy(shipped_folder() / "VeraBd.ttf", tmp_path / "quay.ttf")
    artwork = read(tmp_path, _sheet('url("quay.ttf")'))
    assert _fonts(artwork.page_pdf) == {"BitstreamVeraSans-Bold"}
