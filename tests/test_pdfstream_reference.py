"""Our reading of a page against other libraries: reportlab writes it, pdfium reads it too."""

import io

import pypdfium2
import pypdfium2.raw as raw
import pytest
from reportlab.pdfgen.canvas import Canvas

from decalprep.geometry import Box, fit_circle
from decalprep.pdfstream import read_page


@pytest.fixture(scope="module")
def drawing() -> bytes:
    out = io.BytesIO()
    canvas = Canvas(out, pagesize=(400, 300), invariant=1)
    canvas.setLineWidth(1.5)
    canvas.circle(100, 200, 42.5, stroke=1, fill=0)
    canvas.saveState()
    canvas.translate(200, 50)
    canvas.rotate(30)
    canvas.scale(1.5, 0.5)
    canvas.setFillColorRGB(0.2, 0.4, 0.6)
    canvas.rect(0, 0, 60, 40, stroke=1, fill=1)
    canvas.restoreState()
    canvas.beginForm("plate")
    canvas.setFillColorCMYK(0, 1, 1, 0)
    canvas.roundRect(0, 0, 50, 30, 6, stroke=0, fill=1)
    canvas.endForm()
    canvas.saveState()
    canvas.translate(300, 200)
    canvas.doForm("plate")
    canvas.restoreState()
    canvas.setFont("Helvetica", 18)
    canvas.drawString(20, 20, "WHEELHOUSE 27")
    canvas.save()
    return out.getvalue()


def pdfium_boxes(pdf: bytes, kind: int) -> list[Box]:
    """Bounds of pdfium's objects of one kind, forms opened."""
    document = pypdfium2.PdfDocument(pdf)
    try:
        page = document[0]
        return [
            Box(*(float(v) for v in found.get_bounds()))
            for found in page.get_objects(max_depth=4)
            if found.type == kind and found.level == 0
        ]
    finally:
        document.close()


def test_path_boxes_as_pdfium_has_them(drawing: bytes) -> None:
    """pdfium's bounds of a stroked path reach out by about the line width."""
    shapes = read_page(drawing).shapes
    ours = [shape.paths[0].box for shape in shapes if shape.stroke]
    theirs = pdfium_boxes(drawing, raw.FPDF_PAGEOBJ_PATH)
    for own, other in zip(ours, theirs, strict=False):
        assert other.contains(own, 0.01)
        assert own.contains(other, 4.0)


def test_circle_as_it_was_drawn(drawing: bytes) -> None:
    """The curve approximation's own error is 2.7e-4 of the radius at most (from memory)."""
    circle, error = fit_circle(read_page(drawing).shapes[0].paths[0].points(0.001))
    assert (circle.x, circle.y) == pytest.approx((100, 200), abs=1e-3)
    assert circle.diameter == pytest.approx(85, abs=85 * 2.8e-4)
    assert error < 42.5 * 2.8e-4


def test_form_lies_where_it_was_drawn(drawing: bytes) -> None:
    plate = read_page(drawing).shapes[2]
    assert plate.fill_colour.rgb == (1, 0, 0)
    box = plate.paths[0].box
    assert (box.x0, box.y0, box.x1, box.y1) == pytest.approx((300, 200, 350, 230), abs=0.01)


def test_stretched_stroke_widths(drawing: bytes) -> None:
    """1.5 pt under a scale of 1.5 by 0.5, turned: 2.25 and 0.75 pt."""
    assert read_page(drawing).shapes[1].stroke_width_pt == pytest.approx((2.25, 0.75), abs=1e-4)


def test_text_as_pdfium_reads_it(drawing: bytes) -> None:
    (shown,) = read_page(drawing).texts
    document = pypdfium2.PdfDocument(drawing)
    try:
        textpage = document[0].get_textpage()
        assert textpage.get_text_range().strip() == shown.text == "WHEELHOUSE 27"
        box = Box(*(float(v) for v in textpage.get_charbox(0)))
        textpage.close()
    finally:
        document.close()
    assert shown.size_pt == pytest.approx(18)
    assert shown.font == "Helvetica"
    assert shown.box_pt.contains(box, 1.0)
    assert not shown.exact_widths
