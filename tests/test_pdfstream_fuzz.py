"""Anything in a content stream: read and cleaned, or refused by our own errors, never a crash."""

import io

import pikepdf
import pytest
from hairline_cases import CASES, artwork_of, page_bytes
from hypothesis import given, settings
from hypothesis import strategies as st
from pikepdf import Array, Dictionary, Name

from decalprep.cleaning import (
    HairlineSettings,
    LoneHairlines,
    make_white_bare,
    strip_hairlines,
    stroke_table,
)
from decalprep.errors import DecalprepError
from decalprep.pdfstream import read_page

OPERATORS = (
    b"q Q cm w d gs g G rg RG k K cs CS sc SC scn SCN W W* S s f f* B b n Do sh BMC BDC EMC BT ET "
    b"Tf Tr Tc Tw Tz TL Ts Td TD Tm T* Tj TJ ' \" m l c v y h re BI EI d0 d1 i j J M ri"
).split()
NUMBERS = st.sampled_from(
    [b"0", b"1", b"-1", b"0.2", b".5", b"-", b".", b"+3", b"--2", b"1-2", b"9" * 40, b"9" * 400,
     b"-" + b"9" * 320, b"0.0000000001", b"2147483648", b"1.2.3", b"1e5", b"nan", b"inf"]
)  # fmt: skip
OTHERS = st.sampled_from(
    [b"/F", b"/X", b"/T", b"/", b"(a)", b"(", b")", b"<4", b"<<", b">>", b"[", b"]", b"true",
     b"null", b"[1 2]", b"[(a) -9 (b)]", b"/OC /P", b"/Pattern", b"\x00", b"%x", b"/DeviceRGB",
     b"\xff"]
)  # fmt: skip
WORDS = st.lists(st.one_of(NUMBERS, OTHERS, st.sampled_from(OPERATORS)), max_size=60)
THICKEN = HairlineSettings(lone=LoneHairlines.THICKEN)


def dressed(document: pikepdf.Pdf, page: pikepdf.Object, which: int) -> None:
    """Good and ill-formed resources under names that the words use."""
    form = document.make_stream(b"0.1 w 0 0 5 5 re B /X Do")
    form.Subtype, form.Type, form.Matrix = Name.Form, Name.XObject, Array([1, 0, 0])
    page.Resources = Dictionary(
        Font=Dictionary(
            F=Dictionary(Type=Name.Font, Subtype=Name.Type1, Widths=7),
            T=Dictionary(Type=Name.Font, Subtype=Name.Type3, FontMatrix=Array([0, 0])),
        ),
        XObject=Dictionary(X=document.make_indirect(form), F=1),
        ExtGState=Dictionary(X=Dictionary(LW=Name.Odd), F=Dictionary(D=3, Font=Array([]))),
        ColorSpace=Dictionary(X=Array([Name.Separation]), F=Array([Name.ICCBased, 3]), T=Array([])),
        Properties=3,
        Pattern=Dictionary(X=Dictionary()),
    )


@settings(max_examples=120, deadline=None)
@given(WORDS)
def test_any_words(words: list[bytes]) -> None:
    page = page_bytes(b" ".join(words), dressed)
    try:
        read_page(page)
        artwork = artwork_of(page)
        stroke_table(artwork)
        cleaned = strip_hairlines(artwork, THICKEN)
        again = make_white_bare(cleaned.artwork)
    except DecalprepError:
        return
    with pikepdf.open(io.BytesIO(again.artwork.page_pdf)) as document:
        assert len(document.pages) == 1


@settings(max_examples=60, deadline=None)
@given(st.sampled_from(CASES), st.integers(0, 10_000), st.integers(0, 255), st.booleans())
def test_damaged_drawings(case, place: int, value: int, cut: bool) -> None:
    content = case.before
    at = place % max(len(content), 1)
    damaged = content[:at] + (b"" if cut else bytes([value])) + content[at + 1 :]
    try:
        artwork = artwork_of(page_bytes(damaged, case.dress))
        read_page(artwork.page_pdf)
        strip_hairlines(artwork, THICKEN)
        make_white_bare(artwork)
    except DecalprepError:
        pass


@settings(max_examples=40, deadline=None)
@given(st.integers(0, 100_000), st.integers(0, 255))
def test_damaged_files(place: int, value: int) -> None:
    whole = bytearray(page_bytes(CASES[0].before))
    whole[place % len(whole)] = value
    try:
        read_page(bytes(whole))
        strip_hairlines(artwork_of(bytes(whole)))
    except DecalprepError:
        pass


@pytest.mark.parametrize("keys", [{}, {"Resources": 3}, {"Contents": 3}, {"Contents": Array([1])}])
def test_pages_with_parts_missing(keys: dict[str, object]) -> None:
    def dress(document: pikepdf.Pdf, page: pikepdf.Object, which: int) -> None:
        del page.Resources
        del page.Contents
        for key, value in keys.items():
            page["/" + key] = value

    page = page_bytes(b"", dress)
    assert read_page(page).shapes == ()
    assert strip_hairlines(artwork_of(page)).changes == ()
