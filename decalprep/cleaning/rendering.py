"""Pictures of parts of an artwork at an exact scale, for measuring."""

import math
from contextlib import AbstractContextManager
from dataclasses import dataclass
from typing import Any

import numpy as np

from decalprep.geometry import Box
from decalprep.model import Artwork
from decalprep.pdfstream.drawing import (
    EDGE_PX,
    REACH_PX,
    Paint,
    Span,
    free_of_pictures,
    open_page,
    painted,
    spans_of,
    uneven,
)
from decalprep.units import MM_PER_IN

MOST_PIXELS = 40_000_000
BAND_ROWS = 512
TIMES = 4
"""A picture of one colour is not drawn finely; this much coarser is looked at to find where."""
MOST_PROBES = 6
BYTES_OF_PROBES = 1_000_000
"""Each looks at everything on the page, which takes as long as its bytes are many; one is made."""
UNLIKE = 8
"""Levels by which a fine drawing may differ from one colour in a coarse one."""


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
    height, width = pixels_in(box_mm, dpi)
    pixels = np.empty((height, width, 3), np.uint8)
    with open_drawing(artwork) as page:
        paint = painter(page, artwork, box_mm, dpi)
        for top in range(0, height, BAND_ROWS):
            band = Span(top, min(top + BAND_ROWS, height), 0, width)
            _paint_part(pixels, paint, band)
    return pixels


def _paint_part(pixels: "np.ndarray[Any, Any]", paint: Paint, part: Span) -> None:
    """Fill a part of an RGB picture."""
    import cv2

    near = part.grown(EDGE_PX * TIMES, *pixels.shape[:2])
    bgrx = part.moved(-near.top, -near.left).of(painted(paint, near))
    cv2.cvtColor(bgrx, cv2.COLOR_BGRA2RGB, dst=part.of(pixels))


def pixels_in(box_mm: Box, dpi: float) -> tuple[int, int]:
    """Rows and columns of a picture of the box."""
    height = max(round(box_mm.height * dpi / MM_PER_IN), 1)
    return height, max(round(box_mm.width * dpi / MM_PER_IN), 1)


def painter(page: Any, artwork: Artwork, box_mm: Box, dpi: float) -> Paint:
    """Paints the artwork's open page with the box's upper left corner at pixel (0, 0)."""
    import pypdfium2.raw as raw

    true_from_page = artwork.artwork_from_page
    scale_x, scale_y = true_from_page.a * dpi / MM_PER_IN, true_from_page.d * dpi / MM_PER_IN
    top_pt = artwork.page_height_pt - box_mm.y1 / true_from_page.d
    left_pt = box_mm.x0 / true_from_page.a

    def paint(bitmap: Any, times: int, left: int, top: int) -> None:
        across, down = scale_x * times, scale_y * times
        shift = -left_pt * across - left, -top_pt * down - top
        width, height = raw.FPDFBitmap_GetWidth(bitmap), raw.FPDFBitmap_GetHeight(bitmap)
        matrix, clip = raw.FS_MATRIX(across, 0, 0, down, *shift), raw.FS_RECTF(0, 0, width, height)
        raw.FPDF_RenderPageBitmapWithMatrix(bitmap, page, matrix, clip, 0)

    return paint


@dataclass(frozen=True)
class FinePicture:
    """A picture of a box that was drawn finely only where there is detail.

    ``pixels`` (RGB) hold good inside ``spans`` only; elsewhere each pixel of ``coarse`` stands for
    ``TIMES`` by ``TIMES``.
    """

    box: Box
    dpi: float
    pixels: "np.ndarray[Any, Any]"
    spans: tuple[Span, ...]
    coarse: "np.ndarray[Any, Any]"

    def part(self, where: Span) -> "np.ndarray[Any, Any]":
        """The pixels of a part, as if all were drawn finely."""
        found: np.ndarray[Any, Any] = enlarged(self.coarse_at(where), where).copy()
        for span in self.spans:
            both = where.shared(span)
            if both is not None:
                both.moved(-where.top, -where.left).of(found)[:] = both.of(self.pixels)
        return found

    def coarse_at(self, where: Span) -> "np.ndarray[Any, Any]":
        """The coarse pixels of which a part shows something."""
        top, left = where.top // TIMES, where.left // TIMES
        return self.coarse[top : -(-where.bottom // TIMES), left : -(-where.right // TIMES)]


def enlarged(coarse: "np.ndarray[Any, Any]", where: Span) -> "np.ndarray[Any, Any]":
    """What the coarse pixels at a part of a fine picture show of it: each is a square there."""
    import cv2

    size = coarse.shape[1] * TIMES, coarse.shape[0] * TIMES
    many = np.asarray(cv2.resize(coarse, size, interpolation=cv2.INTER_NEAREST))
    top, left = where.top % TIMES, where.left % TIMES
    return many[top : top + where.bottom - where.top, left : left + where.right - where.left]


def fine_picture(artwork: Artwork, box_mm: Box, dpi: float, *, pictures: bool) -> FinePicture:
    """What ``picture_of`` gives, but drawn only where a coarse drawing shows more than one colour.

    All of it is drawn if there are ``pictures`` on the page, or hatching that the coarse drawing
    shows as one colour.

    Raises:
        InputProblem: the page cannot be drawn.
    """
    import cv2

    height, width = pixels_in(box_mm, dpi)
    rows, columns = -(-height // TIMES), -(-width // TIMES)
    pixels = np.empty((height, width, 3), np.uint8)
    with open_drawing(artwork) as page:
        coarse = painted(painter(page, artwork, box_mm, dpi / TIMES), Span(0, rows, 0, columns))
        all_of_it = pictures or not free_of_pictures(artwork.page_pdf)
        detail = np.full((rows, columns), 255, np.uint8) if all_of_it else uneven(coarse)
        paint = painter(page, artwork, box_mm, dpi)
        if not all_of_it and _hides_detail(paint, coarse, detail, len(artwork.page_pdf)):
            detail[:] = 255
        spans = tuple(
            span.larger(TIMES, height, width)
            for span in spans_of(
                detail, page_bytes=len(artwork.page_pdf), most_rows=BAND_ROWS // TIMES
            )
        )
        for span in spans:
            _paint_part(pixels, paint, span)
    rgb = np.asarray(cv2.cvtColor(coarse, cv2.COLOR_BGRA2RGB))
    return FinePicture(box_mm, dpi, pixels, spans, rgb)


def _hides_detail(
    paint: Paint, coarse: "np.ndarray[Any, Any]", detail: "np.ndarray[Any, Any]", page_bytes: int
) -> bool:
    """Whether a row of a fine drawing, here and there, has other colours where a coarse one has
    one: pdfium widens lines and rectangles to a pixel, and so hatching closer than that closes."""
    import cv2

    rows, columns = detail.shape
    probes = min(max(BYTES_OF_PROBES // max(page_bytes, 1), 1), MOST_PROBES)
    side = 2 * REACH_PX + 1
    for top in range(rows // (2 * probes), rows, -(-rows // probes)):
        first = max(top - REACH_PX, 0)
        near = cv2.dilate(detail[first : top + REACH_PX + 1], np.ones((side, side), np.uint8))
        even = np.asarray(near)[top - first] == 0
        even[:REACH_PX] = even[columns - REACH_PX :] = False  # the page ends within a pixel
        row = Span(top, top + 1, 0, columns)
        fine = painted(paint, row.larger(TIMES, rows * TIMES, columns * TIMES))
        apart = cv2.absdiff(fine, enlarged(row.of(coarse), Span(0, TIMES, 0, columns * TIMES)))
        most = apart[:, :, :3].max(axis=(0, 2)).reshape(columns, TIMES).max(axis=1)
        if (most[even] > UNLIKE).any():
            return True
    return False


def open_drawing(artwork: Artwork) -> AbstractContextManager[Any]:
    """The artwork's page as pdfium has it, closed afterwards.

    Raises:
        InputProblem: the page cannot be drawn.
    """
    return open_page(artwork.page_pdf, where=artwork.name)


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
