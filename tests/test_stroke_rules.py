"""The walker of strokes: widths by the map in force, maps by number, text by its mode."""

import math

import pikepdf
import pytest
from sheet_samples import make_artwork

from decalprep.cleaning import stroke_table
from decalprep.cleaning.strokes import StrokeWalker
from decalprep.model import Artwork
from decalprep.pdfstream import open_document

MM = 25.4 / 72


class Told(StrokeWalker):
    """Writes down what it is called with."""

    def __init__(self, document, artwork_from_page):
        super().__init__(document, artwork_from_page)
        self.seen = []

    def on_path_stroke(self, frame, op, widths):
        self.seen.append(("stroke", self.ordinal, self.map_number(frame.state.ctm), widths))

    def on_path_fill(self, frame, op):
        self.seen.append(("fill", self.ordinal, self.map_number(frame.state.ctm), None))

    def on_text_stroke(self, frame, op, widths):
        self.seen.append(("text stroke", self.ordinal, frame.state.render_mode, widths))

    def on_text_fill(self, frame, op):
        self.seen.append(("text fill", self.ordinal, frame.state.render_mode, None))


def page(content: bytes) -> Artwork:
    def prepare(pdf: pikepdf.Pdf, page: pikepdf.Page) -> None:
        font = pikepdf.Dictionary(
            Type=pikepdf.Name.Font, Subtype=pikepdf.Name.Type1, BaseFont=pikepdf.Name.Helvetica
        )
        page.obj.Resources = pikepdf.Dictionary(Font=pikepdf.Dictionary(F=font))
        page.obj.Contents = pdf.make_stream(content)

    return make_artwork(60, 40, prepare=prepare)


def told(content: bytes) -> list:
    artwork = page(content)
    with open_document(artwork.page_pdf) as document:
        walker = Told(document, artwork.artwork_from_page)
        walker.walk_page(document.pages[0])
        return walker.seen


def test_widths_follow_the_map_in_force_and_come_back():
    line = b" 0 0 m 9 9 l S "
    seen = told(
        b"1 w" + line + b"q 2 0 0 2 0 0 cm" + line + b"q 3 0 0 1 0 0 cm" + line + b"Q Q" + line
        + b"-0.5 w" + line + b"0 w" + line
    )  # fmt: skip
    widths = [w for *_, w in seen]
    expected = [(1, 1), (2, 2), (6, 2), (1, 1), (0.5, 0.5), (0, 0)]
    for got, (largest, smallest) in zip(widths, expected, strict=True):
        assert got == pytest.approx((largest * MM, smallest * MM))
    assert [number for _, number, _, _ in seen] == [0, 1, 2, 3, 4, 5]


def test_a_slanted_map_has_the_widths_of_its_singular_values():
    """[[1, 1], [0, 1]]: the golden section and its inverse (Golub and Van Loan, by hand)."""
    (stroke,) = told(b"1 w 1 0 1 1 0 0 cm 0 0 m 9 9 l S")
    golden = (1 + math.sqrt(5)) / 2
    assert stroke[3] == pytest.approx((golden * MM, MM / golden))


def test_maps_are_numbered_by_what_they_are():
    line = b" 0 0 m 9 9 l S "
    seen = told(line + b"q 2 0 0 2 0 0 cm" + line + b"Q" + line + b"q 2 0 0 2 0 0 cm" + line + b"Q"
                + b"q 2 0 0 2 1 0 cm" + line + b"Q")  # fmt: skip
    assert [number for _, _, number, _ in seen] == [0, 1, 0, 1, 2]


def test_many_maps_do_not_wear_the_walker_out():
    content = b"".join(b"q %d 0 0 1 0 0 cm 0 0 m 9 9 l S Q " % k for k in range(1, 5001))
    seen = told(content + b"0 0 m 1 1 l S")
    assert len(seen) == 5001
    assert seen[4999][3] == pytest.approx((5000 * MM, MM))
    assert seen[-1][3] == pytest.approx((MM, MM))
    assert len({number for _, _, number, _ in seen}) == 5000


@pytest.mark.parametrize(
    ("mode", "expected"),
    [
        (0, ["text fill"]),
        (1, ["text stroke"]),
        (2, ["text fill", "text stroke"]),
        (3, []),
        (4, ["text fill"]),
        (5, ["text stroke"]),
        (6, ["text fill", "text stroke"]),
        (7, []),
    ],
)
def test_text_by_its_mode(mode, expected):
    """Render modes of ISO 32000-1, table 106."""
    seen = told(b"BT /F 9 Tf %d Tr 1 w (AB) Tj ET" % mode)
    assert [what for what, *_ in seen] == expected


@pytest.mark.parametrize(
    ("operator", "expected"),
    [
        (b"S", ["stroke"]), (b"s", ["stroke"]), (b"f", ["fill"]), (b"F", ["fill"]),
        (b"f*", ["fill"]), (b"B", ["fill", "stroke"]), (b"B*", ["fill", "stroke"]),
        (b"b", ["fill", "stroke"]), (b"b*", ["fill", "stroke"]), (b"n", []),
    ],
)  # fmt: skip
def test_paths_by_their_operator(operator, expected):
    """Painting operators of ISO 32000-1, table 60; an empty path paints nothing."""
    assert [what for what, *_ in told(b"0 0 m 9 0 l 9 9 l " + operator)] == expected
    assert told(operator) == []


def test_text_before_any_font_is_counted_all_the_same():
    assert [what for what, *_ in told(b"BT 1 Tr (AB) Tj ET")] == ["text stroke"]


def test_the_table_counts_by_the_micrometre_and_apart():
    def line(mm: float, more: bytes = b"") -> bytes:
        return more + b"%.6f w 0 0 m 9 9 l S " % (mm / MM)

    rows = stroke_table(
        page(
            line(0.0712) + line(0.0714) + line(0.0706) + line(0.0724)
            + b"[3] 0 d " + line(0.0712) + b"[] 0 d "
            + b"%.6f w 0 0 m 9 0 l 9 9 l b " % (0.0712 / MM)
        )
    )  # fmt: skip
    found = {(round(r.width_mm, 3), r.what, r.dashed): r.before for r in rows}
    assert found == {
        (0.071, "line", False): 3,
        (0.072, "line", False): 1,
        (0.071, "line", True): 1,
        (0.071, "edge of a fill", False): 1,
    }
    assert [r.width_mm for r in rows] == sorted(r.width_mm for r in rows)
    assert all(r.after == r.before and r.stripped == 0 for r in rows)
