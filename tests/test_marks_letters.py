"""The table of letter widths against the typeface file, and what becomes of other letters."""

import io

from fontTools.ttLib import TTFont
from hypothesis import given, settings
from hypothesis import strategies as st

from decalprep.export.pdf_font import MarkFont, font_file
from decalprep.marks import descent_mm, fitted_text, printable_text, text_width_mm, type_size_mm
from decalprep.marks.letters import _WIDTHS, CAPITAL_UNITS, DESCENT_UNITS, UNITS_PER_SIZE


def test_table_is_the_typefaces_own():
    font = TTFont(io.BytesIO(font_file()))
    metrics, glyphs = font["hmtx"], font["glyf"]
    assert font["head"].unitsPerEm == UNITS_PER_SIZE
    assert glyphs["H"].yMax == CAPITAL_UNITS
    mapped = font.getBestCmap()
    for letter, width in _WIDTHS.items():
        assert metrics[mapped[ord(letter)]][0] == width, letter
    lowest = min(getattr(glyphs[mapped[ord(letter)]], "yMin", 0) for letter in _WIDTHS)
    assert lowest >= -DESCENT_UNITS


def test_width_here_is_the_width_in_the_file():
    text = "Harbour tug bridge console · 12/30 °±µ"
    assert abs(MarkFont().width(text) * type_size_mm(1.8) - text_width_mm(text, 1.8)) < 1e-9


@settings(max_examples=60, deadline=None)
@given(st.text(max_size=30))
def test_every_text_becomes_printable(text):
    shown, lost = printable_text(text)
    assert all(letter in _WIDTHS for letter in shown)
    assert shown.count("?") >= len(lost)


@settings(max_examples=60, deadline=None)
@given(st.text(alphabet="abc WM.", max_size=30), st.floats(0, 60))
def test_fitted_text_fits(text, width):
    shown = fitted_text(text, 1.5, width)
    assert text_width_mm(shown, 1.5) <= width or shown == ""
    assert shown == text or shown.endswith("…") or shown == ""


def test_descent_grows_with_the_height():
    assert 0 < descent_mm(1.5) < descent_mm(3.0) == 2 * descent_mm(1.5)
