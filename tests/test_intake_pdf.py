"""PDF pages to Artwork: boxes, turns, units, encryption, damage, and what does not come along.

Pages are measured with pdfium, which shares nothing with the reader: a black 10 x 20 mm bar must
lie where the page's own frame says.
"""

from dataclasses import replace
from io import BytesIO

import numpy as np
import pikepdf
import pypdfium2
import pytest
from pikepdf import Array, Dictionary, Name

from decalprep.errors import InputProblem, TooMuch, Unfaithful, UsageProblem
from decalprep.intake import IntakeOptions, Limits
from decalprep.intake.pdf import read_pdf
from decalprep.model import EvidenceRank

MM = 72 / 25.4
BAR = f"0 g {10 * MM:.6f} {5 * MM:.6f} {10 * MM:.6f} {20 * MM:.6f} re f".encode()


def document(content=BAR, box=(0, 0, 100 * MM, 50 * MM), **keys):
    pdf = pikepdf.new()
    page = Dictionary(Type=Name.Page, MediaBox=Array([float(v) for v in box]))
    for key, value in keys.items():
        page[f"/{key}"] = value
    page.Contents = pdf.make_stream(content)
    pdf.pages.append(pikepdf.Page(page))
    return pdf


def written(pdf, path, **how):
    pdf.save(path, **how)
    return path


def read(pdf, tmp_path, **said):
    return read_pdf(written(pdf, tmp_path / "bow panel.pdf"), IntakeOptions(**said))


def codes(artwork):
    return {notice.code for notice in artwork.notices}


def ink_box_mm(artwork, dpi=508):
    """(left, bottom, right, top) of the ink in true mm, by pdfium's drawing."""
    page = pypdfium2.PdfDocument(artwork.page_pdf)[0]
    grey = np.asarray(page.render(scale=dpi / 72, grayscale=True).to_pil())
    rows, columns = np.where(grey < 128)
    per_x, per_y = artwork.width_mm / grey.shape[1], artwork.height_mm / grey.shape[0]
    height = grey.shape[0]
    return (
        columns.min() * per_x,
        (height - 1 - rows.max()) * per_y,
        (columns.max() + 1) * per_x,
        (height - rows.min()) * per_y,
    )


def opened(artwork):
    return pikepdf.open(BytesIO(artwork.page_pdf))


def test_a_plain_page_keeps_its_bytes(tmp_path):
    artwork = read(document(), tmp_path)
    assert (artwork.width_mm, artwork.height_mm) == pytest.approx((100, 50), abs=1e-6)
    result = opened(artwork)
    assert result.pages[0].Contents.read_bytes() == BAR
    assert artwork.evidence[0].rank is EvidenceRank.FILE_UNITS
    assert (artwork.name, artwork.kind, artwork.notices) == ("bow panel", "pdf", ())
    assert ink_box_mm(artwork) == pytest.approx((10, 5, 20, 25), abs=0.06)


@pytest.mark.parametrize(
    ("turn", "size", "ink"),
    [
        (0, (100, 50), (10, 5, 20, 25)),
        (90, (50, 100), (5, 80, 25, 90)),
        (180, (100, 50), (80, 25, 90, 45)),
        (270, (50, 100), (25, 10, 45, 20)),
        (-90, (50, 100), (25, 10, 45, 20)),
    ],
)
@pytest.mark.parametrize("unit", [1, 2.5])
def test_turn_and_unit_are_taken_out(turn, size, ink, unit, tmp_path):
    pdf = document(Rotate=turn, UserUnit=unit)
    artwork = read(pdf, tmp_path)
    result = opened(artwork)
    page = result.pages[0].obj
    assert "/Rotate" not in page
    assert "/UserUnit" not in page
    assert (artwork.width_mm, artwork.height_mm) == pytest.approx(
        (size[0] * unit, size[1] * unit), abs=1e-6
    )
    assert [float(v) for v in page.MediaBox[:2]] == [0, 0]
    assert float(page.MediaBox[2]) == pytest.approx(artwork.page_width_pt, abs=1e-9)
    assert ink_box_mm(artwork, 200) == pytest.approx([v * unit for v in ink], abs=0.3)
    assert ("user-unit" in codes(artwork)) == (unit != 1)


def test_a_turned_page_looks_as_pdfium_shows_the_original(tmp_path):
    pdf = document(Rotate=90, box=(-20, 30, 200, 160), CropBox=Array([0, 40, 150, 140]))
    path = written(pdf, tmp_path / "turned.pdf")
    artwork = read_pdf(path, IntakeOptions())
    before = pypdfium2.PdfDocument(path)[0].render(scale=2).to_numpy()
    after = pypdfium2.PdfDocument(artwork.page_pdf)[0].render(scale=2).to_numpy()
    assert np.array_equal(before, after)


def test_the_visible_box_rules_and_its_origin_is_taken_out(tmp_path):
    pdf = document(box=(-100, -50, 500, 400), CropBox=Array([5 * MM, 0, 55 * MM, 30 * MM]))
    artwork = read(pdf, tmp_path)
    assert (artwork.width_mm, artwork.height_mm) == pytest.approx((50, 30), abs=1e-5)
    assert ink_box_mm(artwork) == pytest.approx((5, 5, 15, 25), abs=0.06)
    assert "pdf-cropped" in codes(artwork)


def test_boxes_with_exchanged_corners_are_understood(tmp_path):
    pdf = document(box=(100 * MM, 50 * MM, 0, 0))
    assert read(pdf, tmp_path).width_mm == pytest.approx(100, abs=1e-5)


def test_inherited_attributes(tmp_path):
    pdf = document()
    page = pdf.pages[0].obj
    parent = pdf.Root.Pages
    parent.MediaBox, parent.Rotate = page.MediaBox, 90
    parent.Resources = Dictionary()
    del page["/MediaBox"]
    artwork = read(pdf, tmp_path)
    assert (artwork.width_mm, artwork.height_mm) == pytest.approx((50, 100), abs=1e-5)


def test_unbalanced_states_cannot_move_the_picture(tmp_path):
    """Too many Q would pop a wrapped matrix; a form XObject holds it."""
    artwork = read(document(b"Q Q Q " + BAR, Rotate=180), tmp_path)
    assert ink_box_mm(artwork) == pytest.approx((80, 25, 90, 45), abs=0.06)


def test_content_in_pieces_is_joined(tmp_path):
    pdf = document()
    pdf.pages[0].obj.Contents = Array([pdf.make_stream(BAR[:-4]), pdf.make_stream(b"re f")])
    assert ink_box_mm(read(pdf, tmp_path)) == pytest.approx((10, 5, 20, 25), abs=0.06)


def test_page_choice(tmp_path):
    pdf = document()
    pdf.pages.extend(document(box=(0, 0, 144, 72)).pages)
    path = written(pdf, tmp_path / "two.pdf")
    assert read_pdf(path, IntakeOptions(page=2)).width_mm == pytest.approx(50.8)
    assert "page-chosen" in codes(read_pdf(path, IntakeOptions()))
    with pytest.raises(UsageProblem, match="no page 3; it has pages 1 to 2"):
        read_pdf(path, IntakeOptions(page=3))


def test_an_empty_password_is_tried_and_the_result_is_plain(tmp_path):
    path = tmp_path / "locked.pdf"
    document().save(path, encryption=pikepdf.Encryption(owner="keel", user=""))
    artwork = read_pdf(path, IntakeOptions())
    assert "pdf-encrypted" in codes(artwork)
    assert not opened(artwork).is_encrypted


def test_a_password_is_asked_for_in_one_line(tmp_path):
    path = tmp_path / "locked.pdf"
    document().save(path, encryption=pikepdf.Encryption(owner="keel", user="helm"))
    with pytest.raises(InputProblem, match=r"locked\.pdf: the PDF needs a password; save a copy"):
        read_pdf(path, IntakeOptions())


def test_a_damaged_file_is_repaired_and_told(tmp_path):
    path = written(document(), tmp_path / "bow.pdf")
    data = path.read_bytes()
    path.write_bytes(data[: data.rindex(b"xref")] + b"xref\n0 1\ngarbage")
    artwork = read_pdf(path, IntakeOptions())
    assert "pdf-repaired" in codes(artwork)
    assert ink_box_mm(artwork) == pytest.approx((10, 5, 20, 25), abs=0.06)


@pytest.mark.parametrize("data", [b"%PDF-1.7\n", b"%PDF-1.4\n%%EOF", b"%PDF-1.7\n1 0 obj<</A"])
def test_a_hopeless_file_is_one_line(data, tmp_path):
    path = tmp_path / "bow.pdf"
    path.write_bytes(data)
    with pytest.raises(InputProblem) as caught:
        read_pdf(path, IntakeOptions())
    assert "\n" not in str(caught.value)
    assert "bow.pdf" in str(caught.value)


def test_an_empty_page_is_refused(tmp_path):
    with pytest.raises(InputProblem, match="page 1 has nothing drawn"):
        read(document(b" \n"), tmp_path)


def test_a_page_of_annotations_alone_is_refused_with_what_to_do(tmp_path):
    stamp = Dictionary(Type=Name.Annot, Subtype=Name.Stamp, Rect=Array([0, 0, 9, 9]))
    with pytest.raises(InputProblem, match=r"nothing but annotations.*print it to a new PDF"):
        read(document(b"", Annots=Array([stamp])), tmp_path)


def test_a_page_without_a_size_is_refused(tmp_path):
    with pytest.raises(InputProblem, match="no size"):
        read(document(box=(0, 0, 0, 0)), tmp_path)


def test_a_bomb_is_seen_before_it_fills_the_memory(tmp_path):
    pdf = document(b"0 g " + b" " * 3_000_000)
    path = tmp_path / "bomb.pdf"
    pdf.save(path, compress_streams=True)
    with pytest.raises(TooMuch, match="unpacks to more than"):
        read_pdf(path, IntakeOptions(limits=Limits(max_bytes=100_000)))


def test_what_does_not_come_along_is_told_and_gone(tmp_path):
    pdf = document()
    script = Dictionary(S=Name.JavaScript, JS="app.alert(1)")
    pdf.Root.OpenAction = script
    pdf.Root.Names = Dictionary(JavaScript=Dictionary(Names=Array(["a", script])))
    pdf.attachments["secret.txt"] = b"cargo list"
    page = pdf.pages[0].obj
    page.AA = Dictionary(O=script)
    page.Thumb = pdf.make_stream(b"\0", Width=1, Height=1)
    page.PieceInfo = Dictionary(Private=Dictionary())
    link = Dictionary(
        Type=Name.Annot, Subtype=Name.Link, A=Dictionary(S=Name.URI, URI="http://tug.example")
    )
    stamp = Dictionary(Type=Name.Annot, Subtype=Name.Stamp, Rect=Array([0, 0, 9, 9]))
    page.Annots = Array([link, stamp])
    artwork = read(pdf, tmp_path)
    assert {"pdf-left-out", "annotations-not-taken"} <= codes(artwork)
    told = " ".join(n.text for n in artwork.notices)
    assert all(w in told for w in ("scripts", "attached files", "actions", "1 Link, 1 Stamp"))
    out = opened(artwork)
    names = b" ".join(obj.unparse() for obj in out.objects)
    for word in (b"JavaScript", b"/AA", b"Annots", b"URI", b"Thumb", b"PieceInfo", b"cargo"):
        assert word not in names


def test_content_in_another_file_is_refused(tmp_path):
    pdf = document(b"/Im Do")
    image = pdf.make_stream(
        b"", Type=Name.XObject, Subtype=Name.Image, Width=1, Height=1, F="/etc/hostname"
    )
    pdf.pages[0].obj.Resources = Dictionary(XObject=Dictionary(Im=image))
    with pytest.raises(Unfaithful, match="never followed"):
        read(pdf, tmp_path)


@pytest.mark.parametrize("inline", [False, True])
def test_fonts_that_are_not_embedded_are_named(tmp_path, inline):
    pdf = document(b"BT /F 12 Tf (HELM) Tj ET")
    font = Dictionary(Type=Name.Font, Subtype=Name.Type1, BaseFont=Name("/Helvetica-Bold"))
    placed = font if inline else pdf.make_indirect(font)
    pdf.pages[0].obj.Resources = Dictionary(Font=Dictionary(F=placed))
    artwork = read(pdf, tmp_path)
    (notice,) = [n for n in artwork.notices if n.code == "fonts-not-embedded"]
    assert "Helvetica-Bold" in notice.text
    assert notice.severity == "warning"


def test_forms_and_scales_are_told(tmp_path):
    pdf = document()
    pdf.Root.AcroForm = Dictionary(Fields=Array(), XFA=pdf.make_stream(b"<xdp/>"))
    pdf.pages[0].obj.VP = Array([Dictionary(Measure=Dictionary(R="1 in = 2 in"))])
    artwork = read(pdf, tmp_path)
    assert {"pdf-xfa", "drawn-to-scale"} <= codes(artwork)


def test_the_users_width_scales_the_size_but_not_the_page(tmp_path):
    artwork = read(document(), tmp_path, width_mm=80.0)
    assert (artwork.width_mm, artwork.height_mm) == pytest.approx((80, 40))
    assert artwork.page_width_pt == pytest.approx(100 * MM)


def test_same_file_same_bytes(tmp_path):
    path = written(document(Rotate=90), tmp_path / "bow.pdf")
    assert read_pdf(path, IntakeOptions()) == read_pdf(path, replace(IntakeOptions()))


def test_glyphs_that_use_the_pages_fonts_keep_them(tmp_path):
    pdf = document(b"BT /T3 40 Tf 20 20 Td (a) Tj ET")
    courier = Dictionary(Type=Name.Font, Subtype=Name.Type1, BaseFont=Name.Courier)
    glyphs = Dictionary(
        Type=Name.Font,
        Subtype=Name.Type3,
        FontBBox=Array([0, 0, 1, 1]),
        FontMatrix=Array([1, 0, 0, 1, 0, 0]),
        CharProcs=Dictionary(a=pdf.make_stream(b"1 0 d0 BT /F2 1 Tf (M) Tj ET")),
        Encoding=Dictionary(Differences=Array([97, Name.a])),
        FirstChar=97,
        LastChar=97,
        Widths=Array([1]),
    )
    pdf.pages[0].obj.Resources = Dictionary(Font=Dictionary(T3=glyphs, F2=courier))
    path = written(pdf, tmp_path / "bow panel.pdf")
    before = pypdfium2.PdfDocument(path)[0].render().to_numpy()
    artwork = read_pdf(path, IntakeOptions())
    after = pypdfium2.PdfDocument(artwork.page_pdf)[0].render().to_numpy()
    assert (before == after).all()
    with pikepdf.open(BytesIO(artwork.page_pdf)) as taken:
        kept = taken.pages[0].Resources.Font.T3.Resources.Font
        assert kept.F2.BaseFont == Name.Courier
