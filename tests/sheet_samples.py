"""Small artworks, decals and measuring helpers that the sheet tests share."""

import ctypes
import io

import numpy as np
import pikepdf
import pypdfium2 as pdfium
import pypdfium2.raw as raw

from decalprep.geometry import Box, Circle, circle_path, rectangle_path
from decalprep.model import Artwork, Decal, Hole, HoleKind


def make_artwork(
    width_mm: float,
    height_mm: float,
    content: bytes = b"",
    *,
    name: str = "bow",
    prepare=None,
) -> Artwork:
    """An artwork of one page filled dark grey, with further content in page points."""
    w, h = width_mm / 25.4 * 72, height_mm / 25.4 * 72
    pdf = pikepdf.new()
    page = pdf.add_blank_page(page_size=(w, h))
    page.obj.MediaBox = pikepdf.Array([0, 0, pikepdf.Object.parse(b"%.9f" % w), h])
    ground = b"0.2 0.25 0.3 rg 0 0 %.9f %.9f re f\n" % (w, h)
    page.obj.Contents = pdf.make_stream(ground + content)
    if prepare:
        prepare(pdf, page)
    out = io.BytesIO()
    pdf.save(out, deterministic_id=True)
    return Artwork(name, f"{name}.svg", "svg", out.getvalue(), w, h, width_mm, height_mm)


def hole(x: float, y: float, diameter: float, kind: HoleKind) -> Hole:
    return Hole(circle_path(x, y, diameter), Circle(x, y, diameter), 0.0, kind)


def winch_panel(**changes: object) -> Decal:
    """A rounded rectangle 56 x 36 mm with a screw hole and a switch hole, bleed 2 mm."""
    values: dict[str, object] = {
        "name": "winch panel",
        "panel": "winch",
        "artwork": make_artwork(60, 40, b"1 1 1 rg 20 20 40 10 re f\n", name="winch"),
        "outline": rectangle_path(Box(2, 2, 58, 38), 4),
        "outline_from": "the layer cut",
        "holes": (hole(8, 8, 3.2, HoleKind.SCREW), hole(30, 25, 12, HoleKind.SWITCH)),
        "bleed_mm": 2.0,
    }
    return Decal(**(values | changes))  # type: ignore[arg-type]


def lamp(copies: int = 1, name: str = "lamp") -> Decal:
    """A disc of 12 mm without holes or bleed."""
    art = make_artwork(12, 12, name="lamp")
    return Decal(name, "lamps", art, circle_path(6, 6, 12), "the file's edge", (), copies)


def pixels(
    pdf: bytes, *, dpi: float = 300.0, page: int = 0, off: tuple[str, ...] = ()
) -> np.ndarray:
    """Grey levels 0..255 of one page at an exact scale, row 0 at the top; named layers off."""
    if off:
        with pikepdf.open(io.BytesIO(pdf)) as changed:
            properties = changed.Root.OCProperties
            hidden = [g for g in properties.OCGs if str(g.Name) in off]
            assert len(hidden) == len(off)
            properties.D.OFF = pikepdf.Array(list(properties.D.OFF) + hidden)
            properties.D.ON = pikepdf.Array([])
            out = io.BytesIO()
            changed.save(out)
        pdf = out.getvalue()
    document = pdfium.PdfDocument(pdf)
    try:
        sheet = document[page]
        width_pt, height_pt = sheet.get_size()
        scale = dpi / 72
        width, height = round(width_pt * scale + 0.5), round(height_pt * scale + 0.5)
        bitmap = pdfium.PdfBitmap.new_native(width, height, raw.FPDFBitmap_Gray)
        raw.FPDFBitmap_FillRect(bitmap, 0, 0, width, height, 0xFFFFFFFF)
        m, area = raw.FS_MATRIX(scale, 0, 0, scale, 0, 0), raw.FS_RECTF(0, 0, width, height)
        raw.FPDF_RenderPageBitmapWithMatrix(
            bitmap, sheet, ctypes.byref(m), ctypes.byref(area), raw.FPDF_PRINTING
        )
        return bitmap.to_numpy().reshape(height, width).copy()
    finally:
        document.close()


def middle_of_ink(
    grey: np.ndarray, box_mm: Box, dpi: float, height_mm: float
) -> tuple[float, float]:
    """Centroid (x, y) in page mm, y up, of the ink in a box of the page."""
    per_mm = dpi / 25.4
    x0, x1 = int(box_mm.x0 * per_mm), int(box_mm.x1 * per_mm)
    y0, y1 = int((height_mm - box_mm.y1) * per_mm), int((height_mm - box_mm.y0) * per_mm)
    ink = 255.0 - grey[y0:y1, x0:x1].astype(float)
    assert ink.sum() > 0, "no ink in the box"
    x = (ink.sum(axis=0) @ (np.arange(x0, x1) + 0.5)) / ink.sum()
    y = (ink.sum(axis=1) @ (np.arange(y0, y1) + 0.5)) / ink.sum()
    return x / per_mm, height_mm - y / per_mm
