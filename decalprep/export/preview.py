"""Pictures of a finished PDF's pages, at an exact scale, with the layers as they print."""

from __future__ import annotations

import ctypes
import io
import math

import pypdfium2 as pdfium
import pypdfium2.raw as raw
from PIL import Image, PngImagePlugin

from decalprep.errors import InputProblem, TooMuch
from decalprep.units import PT_PER_IN

MOST_PIXELS = 120_000_000


def preview_png(pdf: bytes, page: int, dpi: float) -> bytes:
    """``preview`` as PNG bytes that state their pixels an inch."""
    return png_of(preview(pdf, page, dpi), dpi)


def preview(pdf: bytes, page: int, dpi: float) -> Image.Image:
    """One page of a PDF at ``dpi`` pixels an inch; page 0 is the first.

    The scale is exact: the last column and row may be part of a pixel wide, and the page is not
    stretched to fill them. Does not honour UserUnit, which is never written here.

    Raises:
        InputProblem: the file cannot be read, or has no such page.
        TooMuch: the picture would be over 120 million pixels.
    """
    try:
        document = pdfium.PdfDocument(pdf)
    except pdfium.PdfiumError as e:
        raise InputProblem(f"the PDF cannot be read ({e})") from e
    try:
        if not 0 <= page < len(document):
            raise InputProblem(f"the PDF has {len(document)} pages, no page {page + 1}")
        return _render(document[page], dpi)
    finally:
        document.close()


def _render(page: pdfium.PdfPage, dpi: float) -> Image.Image:
    width_pt, height_pt = page.get_size()
    scale = dpi / PT_PER_IN
    width, height = (max(1, math.ceil(side * scale - 1e-3)) for side in (width_pt, height_pt))
    if width * height > MOST_PIXELS:
        raise TooMuch(f"the picture would have {width} x {height} pixels", do="lower the dpi")
    bitmap = pdfium.PdfBitmap.new_native(width, height, raw.FPDFBitmap_BGRx)
    raw.FPDFBitmap_FillRect(bitmap, 0, 0, width, height, 0xFFFFFFFF)
    to_pixels = raw.FS_MATRIX(scale, 0, 0, scale, 0, 0)
    area = raw.FS_RECTF(0, 0, width, height)
    flags = raw.FPDF_PRINTING | raw.FPDF_ANNOT
    raw.FPDF_RenderPageBitmapWithMatrix(
        bitmap, page, ctypes.byref(to_pixels), ctypes.byref(area), flags
    )
    picture: Image.Image = bitmap.to_pil().convert("RGB")
    bitmap.close()
    return picture


def png_of(picture: Image.Image, dpi: float) -> bytes:
    """A picture as PNG bytes that state their pixels an inch."""
    out = io.BytesIO()
    picture.save(out, "PNG", dpi=(dpi, dpi), optimize=False, pnginfo=PngImagePlugin.PngInfo())
    return out.getvalue()
