"""Layers of an SVG: named, switched, and apart on the page as optional content."""

from pathlib import Path

import pytest
from svg_cases import FONT, codes, read

from decalprep.errors import UsageProblem
from decalprep.intake.compare import page_picture
from decalprep.intake.options import IntakeOptions
from decalprep.pdfstream import read_page

PANEL = (
    '<g id="ground"><rect width="50" height="30" fill="#ddd"/></g>'
    '<g id="g7" ed:label="Legend &amp; lines"><text x="5" y="15" font-size="4" '
    f"{FONT}>TOW</text></g>"
    '<rect x="3" y="3" width="4" height="4" fill="#a00"/>'
    '<g data-name="cut" style="display:none"><path d="M1 1H49V29H1z" fill="none" '
    'stroke="#f0f" stroke-width=".1"/></g>'
)


def _by_layer(page: bytes) -> dict[str | None, bool]:
    return {shape.layer: shape.visible for shape in read_page(page).shapes}


def test_layers_stay_apart_on_the_page(tmp_path: Path) -> None:
    artwork = read(tmp_path, PANEL)
    assert artwork.layers == ("ground", "Legend & lines", "cut")
    assert _by_layer(artwork.page_pdf) == {"ground": True, None: True, "cut": False}
    assert {t.layer for t in read_page(artwork.page_pdf).texts} == {"Legend & lines"}
    assert read_page(artwork.page_pdf).layers == ("ground", "Legend & lines", "cut")


def test_a_layer_is_shown_and_hidden_by_any_of_its_names(tmp_path: Path) -> None:
    options = IntakeOptions(show_layers=("cut",), hide_layers=("g7",))
    page = read(tmp_path, PANEL, options).page_pdf
    assert _by_layer(page)["cut"] is True
    assert {t.visible for t in read_page(page).texts} == {False}
    picture = page_picture(page, (500, 300))
    assert tuple(picture[140, 60]) == (0xDD, 0xDD, 0xDD)


def test_a_group_inside_a_layer_is_switched_too(tmp_path: Path) -> None:
    body = '<g id="ground"><g id="holes"><rect width="5" height="5"/></g><path d="M9 9h9v9z"/></g>'
    page = read(tmp_path, body, IntakeOptions(hide_layers=("holes",))).page_pdf
    assert len(read_page(page).shapes) == 1


def test_an_unknown_layer_is_refused_with_the_names_there_are(tmp_path: Path) -> None:
    with pytest.raises(UsageProblem, match=r"no layer 'kut'; its layers are: 'cut', 'ground'"):
        read(tmp_path, PANEL, IntakeOptions(hide_layers=("kut",)))


def test_a_wrapping_group_is_looked_through(tmp_path: Path) -> None:
    body = f'<g transform="scale(.5)">{PANEL}</g>'
    assert read_page(read(tmp_path, body).page_pdf).layers == ("ground", "Legend & lines", "cut")


def test_layers_under_an_opacity_are_not_taken_apart(tmp_path: Path) -> None:
    artwork = read(tmp_path, f'<g opacity=".5">{PANEL}</g>')
    assert read_page(artwork.page_pdf).layers == ()
    assert "svg-route" in codes(artwork)


def test_what_a_layer_uses_from_another_is_still_drawn(tmp_path: Path) -> None:
    body = (
        '<g id="one"><rect id="r" width="5" height="5"/></g><g id="two"><use href="#r" x="20"/></g>'
    )
    shapes = read_page(read(tmp_path, body).page_pdf).shapes
    assert [s.layer for s in shapes] == ["one", "two"]


def test_blending_between_layers_looks_the_same(tmp_path: Path) -> None:
    body = (
        '<g id="one"><rect width="30" height="20" fill="#f80"/></g>'
        '<g id="two" style="mix-blend-mode:multiply"><rect x="9" width="30" height="20" '
        'fill="#08f"/></g>'
    )
    artwork = read(tmp_path, body)
    assert tuple(page_picture(artwork.page_pdf, (500, 300))[100, 200]) == pytest.approx(
        (0, 72, 0), abs=3
    )
