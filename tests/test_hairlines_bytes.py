"""Hairline stripping leaves every other byte alone, counts truly, and refuses bad settings."""

import io

import pikepdf
import pytest
from hairline_cases import BOX, HAIR, artwork_of, page_bytes
from hypothesis import given, settings
from hypothesis import strategies as st

from decalprep.cleaning import HairlineSettings, LoneHairlines, strip_hairlines, stroke_table
from decalprep.errors import InputProblem, UsageProblem
from decalprep.pdfstream import operations

NOISE = [
    b"q 0.5 0 0 0.5 3 4 cm", b"Q", b"0.1  w", b"3 w", b"0 w", b"1 1 9 9 re f",
    b"1 1 9 9 re\tB", b"1 1 9 9 re S", b"5 5 m 9 9 l 9 5 l b*", b"5 5 m 9 9 l s", b"2 Tr", b"0 Tr",
    b"BT /F 9 Tf (a(b) S)Tj ET", b"0 1 0 rg", b"1 g", b"% B S\n", b"/Nope gs", b"[3 1] 0 d",
    b"BI /W 1/H 1/BPC 8/CS/G ID B EI", b"2 2 5 5 re W n", b"foo",
]  # fmt: skip


def content_of(pdf: bytes) -> bytes:
    with pikepdf.open(io.BytesIO(pdf)) as document:
        return bytes(document.pages[0].Contents.read_bytes())


def without_paint(data: bytes) -> list[bytes]:
    """The content's words without painting operators, close, and text modes."""
    words = []
    for name, start, at, end in operations(data):
        if name in (b"Tr", b"S", b"s", b"f", b"f*", b"B", b"B*", b"b", b"b*", b"n"):
            words.append(b"" if name == b"Tr" else data[start:at].strip())
        else:
            words.append(data[start:end].strip().removesuffix(b"h").strip())
    return [word for word in words if word not in (b"", b"h")]


@settings(max_examples=40, deadline=None)
@given(st.lists(st.sampled_from(NOISE), max_size=25), st.sampled_from(list(LoneHairlines)))
def test_only_painting_operators_ever_change(words: list[bytes], lone: LoneHairlines) -> None:
    """Keeping or dropping changes painting operators only; twice is the same as once."""
    content = b"\n".join(words)
    artwork = artwork_of(page_bytes(content))
    cleaned = strip_hairlines(artwork, HairlineSettings(lone=lone))
    after = content_of(cleaned.artwork.page_pdf)
    if lone is not LoneHairlines.THICKEN:
        assert without_paint(after) == without_paint(content)
    again = strip_hairlines(cleaned.artwork, HairlineSettings(lone=lone))
    assert again.artwork.page_pdf == cleaned.artwork.page_pdf
    hairlines = [r for r in stroke_table(cleaned.artwork) if r.width_mm <= 0.1 and r.what != "text"]
    if lone is LoneHairlines.DROP:
        assert hairlines == []


def test_untouched_bytes_stay() -> None:
    head = b"  0.30  0 0 rg%odd  spacing\n1 1 9 9 re\r\nf " + HAIR + BOX
    tail = b"\n\n3 w 0 0 m 9 9 l S"
    before = head + b"B" + tail
    after = content_of(strip_hairlines(artwork_of(page_bytes(before))).artwork.page_pdf)
    assert after == head + b" f " + tail


def test_nothing_to_do_gives_the_same_artwork() -> None:
    artwork = artwork_of(page_bytes(b"1 w " + BOX + b"B"))
    cleaned = strip_hairlines(artwork)
    assert cleaned.artwork is artwork
    assert cleaned.changes == ()


def test_same_input_same_bytes() -> None:
    artwork = artwork_of(page_bytes(HAIR + BOX + b"B"))
    pages = {strip_hairlines(artwork).artwork.page_pdf for _ in range(2)}
    assert len(pages) == 1


def test_counts_by_width() -> None:
    content = b"0.2 w " + 3 * (BOX + b"B ") + b"[1] 0 d 1 w " + 2 * (BOX + b"S ")
    artwork = artwork_of(page_bytes(content))
    rows = stroke_table(artwork)
    assert [(r.width_mm, r.what, r.dashed, r.before, r.after) for r in rows] == [
        (0.071, "edge of a fill", False, 3, 3),
        (0.353, "line", True, 2, 2),
    ]
    cleaned = strip_hairlines(artwork)
    assert [(r.before, r.after, r.stripped) for r in cleaned.strokes] == [(3, 0, 3), (2, 2, 0)]
    (change,) = cleaned.changes
    assert (change.what, change.count, change.width_mm) == ("hairline stripped", 3, 0.071)


def test_lone_hairlines_are_told_with_their_place() -> None:
    cleaned = strip_hairlines(artwork_of(page_bytes(HAIR + b"72 36 m 144 36 l S")))
    (notice,) = cleaned.notices
    assert notice.code == "lone-hairline"
    assert notice.box_mm is not None
    assert notice.box_mm.x0 == pytest.approx(25.4)
    assert notice.box_mm.x1 == pytest.approx(50.8)
    assert dict(notice.numbers)["count"] == 1


@pytest.mark.parametrize("width", [0.0, -0.1, float("nan"), float("inf")])
def test_widths_that_are_none_are_refused(width: float) -> None:
    with pytest.raises(UsageProblem, match="not a width"):
        HairlineSettings(width_mm=width)


def test_thickening_to_a_hairline_is_refused() -> None:
    with pytest.raises(UsageProblem, match="would leave a hairline"):
        HairlineSettings(lone=LoneHairlines.THICKEN, thicken_to_mm=0.1)


def test_a_page_that_cannot_be_read_is_one_line() -> None:
    with pytest.raises(InputProblem, match="cannot be read"):
        strip_hairlines(artwork_of(b"%PDF-1.7 nothing"))
