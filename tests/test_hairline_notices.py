"""What is told of hairlines: counts, places, and what was left alone, each by its own page."""

import io

import numpy as np
import pikepdf
import pypdfium2
import pytest
from sheet_samples import make_artwork

from decalprep.cleaning import HairlineSettings, LoneHairlines, strip_hairlines
from decalprep.model import Severity
from decalprep.pdfstream import read_page

MM = 25.4 / 72
FINE = 0.05 / MM
"""0.05 mm in points: a hairline."""


def page(content: bytes, *, pattern: bytes | None = None, mask: bytes | None = None):
    def prepare(pdf: pikepdf.Pdf, page: pikepdf.Page) -> None:
        name = pikepdf.Name
        font = pikepdf.Dictionary(Type=name.Font, Subtype=name.Type1, BaseFont=name.Helvetica)
        page.obj.Resources = pikepdf.Dictionary(Font=pikepdf.Dictionary(F=font))
        if pattern is not None:
            tile = pdf.make_stream(pattern)
            tile.Type, tile.PatternType, tile.PaintType = name.Pattern, 1, 1
            tile.TilingType, tile.BBox = 1, pikepdf.Array([0, 0, 9, 9])
            tile.XStep, tile.YStep, tile.Resources = 9, 9, pikepdf.Dictionary()
            page.obj.Resources.Pattern = pikepdf.Dictionary(P=tile)
        if mask is not None:
            group = pdf.make_stream(mask)
            group.Type, group.Subtype = name.XObject, name.Form
            group.BBox = pikepdf.Array([0, 0, 170, 113])
            group.Group = pikepdf.Dictionary(S=name.Transparency, CS=name.DeviceGray)
            soft = pikepdf.Dictionary(Type=name.Mask, S=name.Luminosity, G=group)
            state = pikepdf.Dictionary(Type=name.ExtGState, SMask=soft)
            page.obj.Resources.ExtGState = pikepdf.Dictionary(M=state)
        page.obj.Contents = pdf.make_stream(content)

    return make_artwork(60, 40, prepare=prepare)


def codes(cleaned):
    return [n.code for n in cleaned.notices]


LINES = b"%.6f w 20 20 m 60 20 l S 20 40 m 80 70 l S " % FINE


def test_lone_lines_are_kept_and_told_with_the_first_place():
    cleaned = strip_hairlines(page(LINES))
    (told,) = cleaned.notices
    assert (told.code, told.severity) == ("lone-hairline", Severity.WARNING)
    assert dict(told.numbers) == {"count": 2.0, "limit_mm": 0.1}
    assert (told.box_mm.x0, told.box_mm.x1) == pytest.approx((20 * MM, 60 * MM), abs=1e-6)
    assert cleaned.changes == ()


def test_a_path_of_several_pieces_has_one_place_round_them_all():
    cleaned = strip_hairlines(page(b"%.6f w 20 20 m 60 20 l 90 80 m 95 85 l S" % FINE))
    box = cleaned.notices[0].box_mm
    assert (box.x0, box.y0, box.x1, box.y1) == pytest.approx(
        (20 * MM, 20 * MM, 95 * MM, 85 * MM), abs=1e-6
    )


def test_lone_lines_are_thickened_and_what_follows_is_not():
    settings = HairlineSettings(lone=LoneHairlines.THICKEN, thicken_to_mm=0.2)
    cleaned = strip_hairlines(page(LINES + b"1 w 20 90 m 60 90 l S"), settings)
    assert codes(cleaned) == ["hairline-thickened"]
    assert cleaned.notices[0].severity is Severity.NOTE
    widths = [
        s.stroke_width_pt[0] * MM for s in read_page(cleaned.artwork.page_pdf).shapes if s.stroke
    ]
    assert widths == pytest.approx([0.2, 0.2, MM])
    assert [(c.what, c.count) for c in cleaned.changes] == [("hairline thickened", 2)]


def test_lone_outlined_text_is_thickened_round_its_operator_only():
    settings = HairlineSettings(lone=LoneHairlines.THICKEN, thicken_to_mm=0.2)
    content = b"BT /F 20 Tf 1 Tr %.6f w 20 20 Td (AB) Tj 0 30 Td 1 w (CD) Tj ET" % FINE
    cleaned = strip_hairlines(page(content), settings)
    assert cleaned.notices[0].box_mm is not None
    assert cleaned.notices[0].box_mm.corners[0] == pytest.approx((20 * MM, 20 * MM))
    with pikepdf.open(io.BytesIO(cleaned.artwork.page_pdf)) as pdf:
        words = pdf.pages[0].Contents.read_bytes().split()
    first = words.index(b"(AB)")
    assert float(words[first - 2]) * MM == pytest.approx(0.2, abs=1e-6)
    assert words[first - 1] == b"w"
    assert words[first + 1] == b"Tj"
    assert float(words[first + 2]) == pytest.approx(FINE, abs=1e-5)
    assert words[first + 3] == b"w"


def test_the_place_of_outlined_text_lies_on_its_letters():
    """Against the ink that pdfium draws: half or more of it under the place, none of it blank."""
    content = b"BT /F 20 Tf 1 Tr %.6f w 20 20 Td (HHHHHHHHHH) Tj ET" % FINE
    artwork = page(content)
    box = strip_hairlines(artwork).notices[0].box_mm
    with pypdfium2.PdfDocument(artwork.page_pdf) as pdf:
        drawn = np.asarray(pdf[0].render(scale=4).to_numpy())[..., 0] < 200
    rows, columns = np.nonzero(drawn)
    mm = MM / 4
    left, right = columns.min() * mm, columns.max() * mm
    top, bottom = 40 - rows.min() * mm, 40 - rows.max() * mm
    assert left - 1 < box.x0 < left + 1
    assert 0.4 * (right - left) < box.width < right - left
    assert bottom - 1 < box.y0
    assert 0.5 * (top - bottom) < box.height < top - bottom


def test_dropped_lines_are_counted():
    cleaned = strip_hairlines(page(LINES), HairlineSettings(lone=LoneHairlines.DROP))
    (told,) = cleaned.notices
    assert (told.code, dict(told.numbers)) == ("lone-hairline-dropped", {"count": 2.0})
    assert not [s for s in read_page(cleaned.artwork.page_pdf).shapes if s.stroke]


@pytest.mark.parametrize(("keep", "expected"), [(True, ["fake-bold-kept"]), (False, [])])
def test_fake_bold_is_kept_and_counted_unless_told_otherwise(keep, expected):
    # 2 pt text with a stroke of 0.05 mm, 1/14 of its size; and a line edge beside it
    text = b"BT /F 2 Tf 2 Tr %.6f w 20 20 Td (AB) Tj 0 9 Td (CD) Tj ET " % FINE
    edge = b"20 60 40 20 re B"
    cleaned = strip_hairlines(page(text + edge), HairlineSettings(keep_fake_bold=keep))
    assert codes(cleaned) == expected
    if keep:
        assert dict(cleaned.notices[0].numbers) == {"count": 2.0}
        assert cleaned.notices[0].severity is Severity.NOTE
        assert "2 texts are made bold" in cleaned.notices[0].text
    rows = {row.what: (row.before, row.after, row.stripped) for row in cleaned.strokes}
    assert rows == {"text": (2, 2 if keep else 0, 0 if keep else 2), "edge of a fill": (1, 0, 1)}
    kinds = [(c.what, c.count, c.detail) for c in cleaned.changes]
    assert ("hairline stripped", 1, "edge of a fill") in kinds
    assert (("hairline stripped", 2, "text") in kinds) != keep


@pytest.mark.parametrize(
    ("inside", "told"),
    [(b"1 g 0 0 5 5 re f", False), (b"0 0 m 5 5 l S", True), (b"0 0 5 5 re B*", True),
     (b"/X Do", True), (b"2 Tr", True), (b"0 0 5 5 re n", False)],
)  # fmt: skip
def test_patterns_and_masks_that_may_stroke_are_told(inside, told):
    used = b"/Pattern cs /P scn 10 10 20 20 re f 40 10 20 20 re f "
    cleaned = strip_hairlines(page(used + b"0 g 70 10 9 9 re f", pattern=inside))
    assert codes(cleaned) == (["strokes-not-looked-at"] if told else [])
    if told:
        assert "tiling pattern P" in cleaned.notices[0].text
        assert cleaned.notices[0].severity is Severity.WARNING
        assert dict(cleaned.notices[0].numbers) == {"count": 1.0}
    masked = strip_hairlines(page(b"/M gs 0 g 10 10 20 20 re f", mask=inside))
    assert codes(masked) == (["strokes-not-looked-at"] if told else [])


def test_uneven_strokes_are_told_with_their_extremes():
    content = b"5 w 99 9 m 120 9 l S "  # even: not the place that is told
    content += b"1 w q 0.05 0 0 1 0 0 cm 0 0 m 90 90 l S Q q 0.1 0 0 2 0 0 cm 0 0 m 90 40 l S Q"
    cleaned = strip_hairlines(page(content))
    (told,) = cleaned.notices
    assert told.code == "uneven-stroke"
    assert told.text.startswith("2 strokes")
    numbers = dict(told.numbers)
    assert numbers["largest_mm"] == pytest.approx(2 * MM)
    assert numbers["smallest_mm"] == pytest.approx(0.05 * MM)
    assert told.box_mm is not None
    assert told.box_mm.corners[2] == pytest.approx((0.05 * 90 * MM, 90 * MM))
