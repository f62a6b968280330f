"""The byte-span tokenizer: every operator found once, every byte accounted for."""

import io

import pikepdf
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from decalprep.pdfstream import operands, operations, path_steps

QUICK = settings(max_examples=150, deadline=None)


def names(data: bytes) -> list[bytes]:
    return [op[0] for op in operations(data)]


@pytest.mark.parametrize(
    ("data", "expected"),
    [
        (b"0 0 m 10 10 l S", [b"path", b"S"]),
        (b"0 0 m\x00 10 10 l\x00S", [b"path", b"S"]),
        (b"(a(b)c\\)) Tj(d)'", [b"Tj", b"'"]),
        (b"/F1 12 Tf[(a)-3<62>]TJ", [b"Tf", b"TJ"]),
        (b"% q Q comment\nq%S\rQ", [b"q", b"Q"]),
        (b"/OC /x BDC /P<</A[1 2]/B(>>)>>BDC EMC EMC", [b"BDC", b"BDC", b"EMC", b"EMC"]),
        (b"true false null 1 foo S", [b"foo", b"S"]),
        (b"q ) > } Q", [b"q", b"Q"]),
        (b"1 0 0 1 0 0 cm 0 0 5 5 re W n f*", [b"cm", b"path", b"W", b"n", b"f*"]),
        (b"0 0 m h\nq", [b"path", b"q"]),
        (b"(unclosed Tj", []),
        (b"", []),
        (b"/A#20B gs", [b"gs"]),
        (b"\\ q", [b"\\", b"q"]),
    ],
)
def test_operators_are_found(data: bytes, expected: list[bytes]) -> None:
    assert names(data) == expected


@pytest.mark.parametrize(
    "body",
    [
        b"/W 2/H 1/BPC 8/CS/G ID  EI",
        b"/W 4/H 1/BPC 8/CS/G ID \nEI  EI",
        b"/W 1 /H 1 /CS /RGB /F /AHx /L 7 ID 00EI00>\nEI",
        b"/IM true /W 8 /H 1 ID \x80 EI",
        b"/W 1/H 2/F/Fl ID x EI \x80\x81 y\nEI",
    ],
)
def test_inline_images_are_one_operation(body: bytes) -> None:
    data = b"q BI " + body + b" Q"
    assert names(data) == [b"q", b"BI", b"Q"]


def test_operands_are_typed() -> None:
    data = b"/N#41 -1.5 .5 --3 (a\\051\\n\\\nb) <414> true [1 [2]] <</K /V>> null"
    assert operands(data, 0, len(data)) == [
        "NA",
        -1.5,
        0.5,
        -3.0,
        b"a)\nb",
        b"A@",
        True,
        [1.0, [2.0]],
        {"K": "V"},
        None,
    ]


def test_paths_whose_words_run_together() -> None:
    data = b"0 0m10-5l.5.5 l"
    assert path_steps(data, 0, len(data)) == [
        (b"m", [0.0, 0.0]),
        (b"l", [10.0, -5.0]),
        (b"l", [0.5, 0.5]),
    ]


@QUICK
@given(st.binary(max_size=300))
def test_any_bytes_give_ordered_spans(data: bytes) -> None:
    last = 0
    for _, start, at, end in operations(data):
        assert last <= start <= at <= end <= len(data)
        assert end > last
        operands(data, start, at)
        last = end


WORDS = [
    b"q", b"Q", b"1 0 0 1 2 3 cm", b"0.5 w", b"0 0 m", b"5 5 l", b"S", b"B*", b"(a(b)\\))Tj",
    b"<61>Tj", b"/F1 9 Tf", b"[1 2]0 d", b"BT", b"ET", b"/P<</M 1>>BDC", b"EMC", b"% c\n",
    b"1 2 3 4 re", b"h", b"f", b"1 0 0 rg", b"/X Do",
]  # fmt: skip


@QUICK
@given(st.lists(st.sampled_from(WORDS), max_size=30), st.sampled_from([b" ", b"\n", b"\x00\r"]))
def test_same_operators_as_another_reader(words: list[bytes], gap: bytes) -> None:
    """pikepdf's own content parser is the reference (NUL as white space included)."""
    data = gap.join(words)
    with pikepdf.new() as document:
        page = document.add_blank_page()
        page.Contents = document.make_stream(data)
        theirs = [str(i.operator).encode() for i in pikepdf.parse_content_stream(page)]
    ours: list[bytes] = []
    for name, start, _, end in operations(data):
        if name == b"path":
            ours += [step for step, _ in path_steps(data, start, end)]
        else:
            ours.append(name)
    assert ours == theirs


def test_spans_cover_all_bytes_of_a_real_stream() -> None:
    """A drawing written by another library: joined spans give the stream back."""
    from reportlab.pdfgen.canvas import Canvas

    out = io.BytesIO()
    canvas = Canvas(out, invariant=1, pageCompression=0)
    canvas.circle(100, 100, 30, fill=1)
    canvas.drawString(10, 10, "TUG (bow)")
    canvas.save()
    with pikepdf.open(io.BytesIO(out.getvalue())) as document:
        data = document.pages[0].Contents.read_bytes()
    spans = list(operations(data))
    assert b"".join(data[start:end] for _, start, _, end in spans) == data.rstrip()
