"""The calibration page as a file, drawn by two renderers that share no code, and read as a scan.

Discs are vector arcs, so that no renderer snaps them to pixels: their centroids must lie where the
layout says, corrected page and all.
"""

import shutil
import subprocess
from pathlib import Path

import numpy as np
import pypdfium2 as pdfium
import pytest

from decalprep.calibration import correction_for
from decalprep.export import write_pdf
from decalprep.geometry import Affine
from decalprep.marks.calibration_page import calibration_page
from decalprep.marks.calibration_page_codes import page_code, page_digits
from decalprep.model import PrinterRecord, Sheet
from decalprep.scan import FoundPage, ScanImage, find_page, read_scan
from decalprep.units import PAGE_SIZES_MM

DPI = 150
NAME = "Desk inkjet, label stock"


def sheet(name: str) -> Sheet:
    width, height = PAGE_SIZES_MM[name]
    return Sheet(name, width, height)


def drawn_by_pdfium(pdf: bytes) -> ScanImage:
    page = pdfium.PdfDocument(pdf)[0]
    width_pt, height_pt = page.get_size()
    # Whole pixels at an exact scale: the matrix form does not stretch to the bitmap.
    wide, high = round(width_pt * DPI / 72) + 2, round(height_pt * DPI / 72) + 2
    bitmap = pdfium.PdfBitmap.new_native(wide, high, pdfium.raw.FPDFBitmap_Gray)
    bitmap.fill_rect((255, 255, 255, 255), 0, 0, wide, high)
    s = DPI / 72
    matrix = pdfium.raw.FS_MATRIX(s, 0, 0, s, 0, 0)
    clip = pdfium.raw.FS_RECTF(0, 0, wide, high)
    pdfium.raw.FPDF_RenderPageBitmapWithMatrix(bitmap, page, matrix, clip, 0)
    return ScanImage("pdfium", bitmap.to_numpy().reshape(high, wide).copy(), (DPI, DPI))


def places_mm(found: FoundPage) -> tuple[np.ndarray, np.ndarray]:
    """(meant, drawn) disc places from the sheet's centre, mm; the drawn up to a common shift."""
    drawn = np.array(found.points.image_px) * 25.4 / DPI
    meant = np.array(found.points.page_mm)
    return meant, drawn - drawn.mean(axis=0) + meant.mean(axis=0)


@pytest.mark.parametrize("name", ["A4", "Letter", "A3", "Legal", "Tabloid"])
def test_every_size_is_read_back_with_its_identity(name: str) -> None:
    pdf = write_pdf([calibration_page(sheet(name), record_name=NAME)])
    found = find_page(drawn_by_pdfium(pdf))
    assert found.points.page == name
    assert found.points.code == page_code(page_digits(NAME, Affine()))
    assert len(found.points.page_mm) == len(found.layout.discs)
    meant, drawn = places_mm(found)
    assert np.abs(drawn - meant).max() < 0.004
    slope = np.polyfit(meant[:, 1], drawn[:, 1] - meant[:, 1], 1)[0]
    assert abs(slope) < 4e-6


def test_the_correction_in_force_is_in_the_drawn_discs() -> None:
    record = PrinterRecord("p", "s", scale_x=0.005, scale_y=-0.004, skew=0.003)
    correction = correction_for(record, sheet("A4"))
    page = calibration_page(sheet("A4"), record_name=NAME, correction=correction)
    meant, drawn = places_mm(find_page(drawn_by_pdfium(write_pdf([page]))))
    # What the printer does to it, by hand, gives back what was meant.
    u = drawn[:, 0] * 1.005 + 0.003 * drawn[:, 1]
    v = drawn[:, 1] * 0.996
    out = np.column_stack([u, v])
    assert np.abs(out - out.mean(axis=0) - meant + meant.mean(axis=0)).max() < 0.004


@pytest.mark.skipif(shutil.which("pdftoppm") is None, reason="needs poppler's pdftoppm")
def test_a_second_renderer_agrees(tmp_path: Path) -> None:
    pdf = tmp_path / "page.pdf"
    pdf.write_bytes(write_pdf([calibration_page(sheet("A4"), record_name=NAME)]))
    subprocess.run(
        ["pdftoppm", "-r", str(DPI), "-gray", "-png", str(pdf), str(tmp_path / "page")],
        check=True,
        timeout=60,
    )
    (picture,) = tmp_path.glob("page*.png")
    meant, drawn = places_mm(find_page(read_scan(picture)[0]))
    assert len(meant) == 88
    assert np.abs(drawn - meant).max() < 0.006
