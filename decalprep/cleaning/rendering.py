"""Pictures of parts of an artwork at an exact scale, for measuring."""

import math
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any

import numpy as np

from decalprep.errors import InputProblem
from decalprep.geometry import Box
from decalprep.model import Artwork
from decalprep.units import MM_PER_IN

MOST_PIXELS = 40_000_000
_BAND_ROWS = 512


def dpi_within(box_mm: Box, wanted_dpi: float, most_pixels: int = MOST_PIXELS) -> float:
    """``wanted_dpi``, or as many as keep a picture of the box within ``most_pixels``.

    >>> round(dpi_within(Box(0, 0, 254, 254), 1200, 4_000_000))
    200
    """
    square_inches = box_mm.width * box_mm.height / MM_PER_IN**2
    most_dpi = math.sqrt(most_pixels / max(square_inches, 1e-9))
    return min(wanted_dpi, most_dpi)


def picture_of(artwork: Artwork, box_mm: Box, dpi: float) -> "np.ndarray[Any, Any]":
    """RGB pixels, top row first, of a box of the artwork on white paper; ``dpi`` is true pixels an
    inch both ways. Does not round the scale to whole pixels.

    Raises:
        InputProblem: the page cannot be drawn.
    """
    import cv2
    import pypdfium2
    import pypdfium2.raw as raw

    width = max(round(box_mm.width * dpi / MM_PER_IN), 1)
    height = max(round(box_mm.height * dpi / MM_PER_IN), 1)
    true_from_page = artwork.artwork_from_page
    scale_x, scale_y = true_from_page.a * dpi / MM_PER_IN, true_from_page.d * dpi / MM_PER_IN
    top_pt = artwork.page_height_pt - box_mm.y1 / true_from_page.d
    left_pt = box_mm.x0 / true_from_page.a
    pixels = np.empty((height, width, 3), np.uint8)
    with open_drawing(artwork) as page:
        for top in range(0, height, _BAND_ROWS):
            rows = min(_BAND_ROWS, height - top)
            bitmap = pypdfium2.PdfBitmap.new_native(width, rows, raw.FPDFBitmap_BGRx)
            bitmap.fill_rect((255, 255, 255, 255), 0, 0, width, rows)
            down = -top_pt * scale_y - top
            matrix = raw.FS_MATRIX(scale_x, 0, 0, scale_y, -left_pt * scale_x, down)
            clip = raw.FS_RECTF(0, 0, width, rows)
            raw.FPDF_RenderPageBitmapWithMatrix(bitmap, page, matrix, clip, 0)
            cv2.cvtColor(bitmap.to_numpy(), cv2.COLOR_BGRA2RGB, dst=pixels[top : top + rows])
            bitmap.close()
    return pixels


@contextmanager
def open_drawing(artwork: Artwork) -> Iterator[Any]:
    """The artwork's page as pdfium has it, closed afterwards.

    Raises:
        InputProblem: the page cannot be drawn.
    """
    import pypdfium2

    try:
        document = pypdfium2.PdfDocument(artwork.page_pdf)
    except pypdfium2.PdfiumError as problem:
        raise InputProblem(
            f"the page cannot be drawn ({problem})", where=artwork.name, do="export it again"
        ) from problem
    try:
        page = document[0]
        yield page
        page.close()
    finally:
        document.close()


def whole_box(artwork: Artwork) -> Box:
    """The artwork's page in mm."""
    return Box(0.0, 0.0, artwork.width_mm, artwork.height_mm)


def box_mm_of(rows: tuple[int, int], columns: tuple[int, int], picture_box: Box, dpi: float) -> Box:
    """Box in mm of a span of rows (from the top) and columns of a picture of ``picture_box``."""
    mm = MM_PER_IN / dpi
    return Box(
        picture_box.x0 + columns[0] * mm,
        picture_box.y1 - rows[1] * mm,
        picture_box.x0 + columns[1] * mm,
        picture_box.y1 - rows[0] * mm,
    )
