"""What lies beyond the page: told by the page where that is sure, else by drawing round it."""

from pathlib import Path

import pytest
from svg_cases import FONT, codes, read

from decalprep.intake import svg_convert
from decalprep.intake.svg_judge import stays_inside
from decalprep.intake.svg_page import PageSize
from decalprep.pdfstream import read_page

GROUND = '<rect width="50" height="30" fill="#234"/>'
GRADIENT = '<linearGradient id="g"><stop stop-color="red"/></linearGradient>'
CASES = {
    "nothing": ("", ""),
    "a line on the edge": (
        '<path d="M0 0H50V30H0z" fill="none" stroke="red" stroke-width=".5"/>',
        "",
    ),
    "a square": ('<rect x="-4" y="5" width="9" height="9" fill="red"/>', "left"),
    "a stroke": ('<path d="M10 -1H30" stroke="red" stroke-width="4"/>', "top"),
    "a mitre": (
        '<path d="M30 10L48 10.5L30 11" fill="none" stroke="red" stroke-miterlimit="99"/>',
        "right",
    ),
    "a use": ('<defs><rect id="r" width="9" height="9"/></defs><use href="#r" y="25"/>', "bottom"),
    "a gradient": (f'{GRADIENT}<rect x="45" width="9" height="9" fill="url(#g)"/>', "right"),
    "a filter": (
        '<filter id="f"><feOffset dx="0"/></filter>'
        '<rect x="-4" width="9" height="9" fill="red" filter="url(#f)"/>',
        "left",
    ),
    "text": (f'<text x="40" y="20" {FONT} font-size="9" fill="#fff">WWW</text>', "right"),
    "what a clip cuts off": (
        '<clipPath id="c"><rect width="50" height="30"/></clipPath>'
        '<rect x="-9" width="20" height="9" fill="red" clip-path="url(#c)"/>',
        "",
    ),
}


@pytest.mark.parametrize("case", CASES)
def test_both_ways_tell_the_same(
    case: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    body, side = CASES[case]
    told = codes(read(tmp_path, GROUND + body)).get("svg-beyond-page", "")
    assert side in told if side else not told
    monkeypatch.setattr(svg_convert, "SMALL_BYTES", 0)  # now it is drawn at once
    assert codes(read(tmp_path, GROUND + body)).get("svg-beyond-page", "") == told


@pytest.mark.parametrize(("body", "inside"), [("", True), (CASES["a square"][0], False)])
def test_the_converters_page_keeps_what_lies_beyond(
    body: str, inside: bool, tmp_path: Path
) -> None:
    artwork = read(tmp_path, GROUND + body)
    page = PageSize(artwork.page_width_pt, artwork.page_height_pt)
    assert stays_inside(read_page(artwork.page_pdf), page) is inside
