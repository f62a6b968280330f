"""Exact pictures of a page, by pdfium: every pixel's place in page mm is known to 0.0001 mm.

A picture is turned by one degree: pdfium moves upright filled rectangles and images to whole
pixels, and does not when they are turned. Anti-aliasing stays on, so that the darkness of
a pixel says how much of it is covered.
Picture frame: x right, y down, (0, 0) the outer corner of the first pixel, whose centre is
(0.5, 0.5).
"""

from __future__ import annotations

import ctypes
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass

import cv2
import numpy as np
import numpy.typing as npt
import pypdfium2  # noqa: F401  (starts the library)
import pypdfium2.raw as raw

from decalprep.errors import InputProblem
from decalprep.geometry import Affine, Box
from decalprep.units import MM_PER_IN, MM_PER_PT

TURN_DEG = 1.0
BAND_ROWS = 1024
KEPT_PAGES = 2
"""Pages of a file that are kept open at a time: decals may lie now on one, now on the other."""
NEAR_PX = 2
"""So near to a change of colour a coarse picture is not trusted to show what a fine one does."""
EDGE_PX = 1
"""So much more is drawn round a part of a picture: at its edge pdfium may leave out what only just
reaches into it."""
APART_PX = 64
"""Places farther apart than this are drawn finely one by one."""
Pixels = npt.NDArray[np.uint8]
Mask = npt.NDArray[np.bool_]


@dataclass(frozen=True)
class Picture:
    """Pixels (rows, columns, BGR) and where they lie: ``picture_from_page``, px from page mm."""

    pixels: Pixels
    picture_from_page: Affine
    dpi: float

    @property
    def mm_per_px(self) -> float:
        """Size of a pixel in mm."""
        return MM_PER_IN / self.dpi


class OpenPdf:
    """A PDF file open for drawing; use ``open_pdf``. ``pages`` is the number of its pages."""

    def __init__(self, pdf: bytes, where: str) -> None:
        self._bytes = pdf  # pdfium reads from this buffer as long as the document is open
        self._document = raw.FPDF_LoadMemDocument64(pdf, len(pdf), None)
        if not self._document:
            raise InputProblem("the PDF cannot be opened for measuring", where=where)
        self.pages: int = raw.FPDF_GetPageCount(self._document)
        self._kept: dict[int, object] = {}

    def close(self) -> None:
        """Free the document."""
        self.rest()
        raw.FPDF_CloseDocument(self._document)

    def rest(self) -> None:
        """Free the pages that were read last; they are read again when needed."""
        for page in self._kept.values():
            raw.FPDF_ClosePage(page)
        self._kept.clear()

    def _loaded(self, index: int) -> object:
        if index not in self._kept:
            page = raw.FPDF_LoadPage(self._document, index)
            if not page:
                raise InputProblem(f"page {index + 1} cannot be read")
            if len(self._kept) == KEPT_PAGES:
                raw.FPDF_ClosePage(self._kept.pop(next(iter(self._kept))))
            self._kept[index] = page
        return self._kept[index]

    def size_mm(self, index: int) -> tuple[float, float]:
        """(width, height) of a page in mm, as pdfium sees it (32-bit floats)."""
        page = self._loaded(index)
        return (
            raw.FPDF_GetPageWidthF(page) * MM_PER_PT,
            raw.FPDF_GetPageHeightF(page) * MM_PER_PT,
        )

    def kinds(self, index: int) -> frozenset[str]:
        """What the page and the forms on it are made of: "pixels" and "drawn", one or both."""
        page = self._loaded(index)
        found: set[str] = set()
        waiting = [raw.FPDFPage_GetObject(page, k) for k in range(raw.FPDFPage_CountObjects(page))]
        while waiting and len(found) < 2:
            item = waiting.pop()
            kind = raw.FPDFPageObj_GetType(item)
            if kind == raw.FPDF_PAGEOBJ_FORM:
                count = raw.FPDFFormObj_CountObjects(item)
                waiting.extend(raw.FPDFFormObj_GetObject(item, k) for k in range(count))
            else:
                pixels = kind in (raw.FPDF_PAGEOBJ_IMAGE, raw.FPDF_PAGEOBJ_SHADING)
                found.add("pixels" if pixels else "drawn")
        return frozenset(found)

    def draw(
        self,
        index: int,
        picture_from_page: Affine,
        size_px: tuple[int, int],
        *,
        room: Pixels | None = None,
    ) -> Pixels:
        """Pixels (height, width, 3: BGR) of a page under an affine map (px from page mm).

        ``room``, at least that many bytes in one piece, is drawn in where given: fresh memory
        costs as much time as the drawing.
        """
        width, height = size_px
        if room is None:
            room = np.empty(height * width * 3, np.uint8)
        out = room[: height * width * 3].reshape(height, width, 3)
        out.fill(255)
        self._draw(index, picture_from_page, out, raw.FPDFBitmap_BGR)
        return out

    def draw_covered(
        self, index: int, picture_from_page: Affine, size_px: tuple[int, int]
    ) -> Pixels:
        """Pixels (height, width, 4) as red, green, blue and how much of each is covered, 0 to 255.

        Where nothing is covered, a pixel has no colour.
        """
        out = np.zeros((size_px[1], size_px[0], 4), np.uint8)
        turned = raw.FPDF_REVERSE_BYTE_ORDER
        self._draw(index, picture_from_page, out, raw.FPDFBitmap_BGRA, flags=turned)
        return out

    def _draw(
        self, index: int, picture_from_page: Affine, out: Pixels, kind: int, *, flags: int = 0
    ) -> None:
        """Draw a page over pixels (height, width, channels) that lie in one piece."""
        page = self._loaded(index)
        height, width, channels = out.shape
        page_height_pt = raw.FPDF_GetPageHeightF(page)
        # pdfium's matrix starts from points with y down from the page's upper edge
        page_from_points = Affine(MM_PER_PT, 0, 0, -MM_PER_PT, 0, page_height_pt * MM_PER_PT)
        m = picture_from_page @ page_from_points
        start = ctypes.c_void_p(out.ctypes.data)
        bitmap = raw.FPDFBitmap_CreateEx(width, height, kind, start, width * channels)
        if not bitmap:
            raise InputProblem(f"no room for a picture of {width} x {height} pixels")
        try:
            matrix = raw.FS_MATRIX(m.a, m.b, m.c, m.d, m.e, m.f)
            clip = raw.FS_RECTF(0, 0, width, height)
            raw.FPDF_RenderPageBitmapWithMatrix(bitmap, page, matrix, clip, flags)
        finally:
            raw.FPDFBitmap_Destroy(bitmap)

    def fine_crop(
        self,
        index: int,
        frame: Affine,
        size_px: tuple[int, int],
        over: int,
        *,
        where: Mask | bool = False,
    ) -> Pixels:
        """As ``draw``, from a picture ``over`` times as fine, averaged down band by band.

        Small lettering is drawn by outline only from 50 px of font size (below that its letters
        move to whole pixels), so a fine picture averaged down is exact where a coarse one is not.
        With ``where`` (True: everywhere) only those of its pixels are drawn finely near which the
        coarse picture changes at all: between pixels of one colour a finer one has the same colour.
        """
        width, height = size_px
        if where is False:
            out = np.empty((height, width, 3), np.uint8)
            fine = np.ones((height, width), np.bool_)
        else:
            out = self.draw(index, frame, size_px)
            fine = where & changing(out)
        rows = max(1, BAND_ROWS // over)
        tops = range(0, height, rows)
        boxes = [box for top in tops for box in _boxes_of(fine[top : top + rows], top)]
        edge = 0 if where is False else EDGE_PX
        most = max(((wide + 2 * edge) * (high + 2 * edge) for *_, wide, high in boxes), default=0)
        room = np.empty(most * over * over * 3, np.uint8)
        for left, top, wide, high in boxes:
            here = Affine.scaling(over) @ Affine.translation(edge - left, edge - top) @ frame
            size = wide + 2 * edge, high + 2 * edge
            band = self.draw(index, here, (size[0] * over, size[1] * over), room=room)
            less = cv2.resize(band, size, interpolation=cv2.INTER_AREA)
            inner = less[edge : edge + high, edge : edge + wide]
            out[top : top + high, left : left + wide] = inner
        return out

    def crop(self, index: int, box_mm: Box, dpi: float, *, turn_deg: float = TURN_DEG) -> Picture:
        """A picture that shows at least ``box_mm`` of a page, turned by ``turn_deg``."""
        frame, size = frame_for(box_mm, dpi, turn_deg=turn_deg)
        return Picture(self.draw(index, frame, size), frame, dpi)

    def bands(
        self, index: int, dpi: float, *, rows: int = BAND_ROWS, turn_deg: float = 0.0
    ) -> Iterator[Picture]:
        """The whole page from top to bottom in bands of ``rows`` rows, one at a time."""
        width_mm, height_mm = self.size_mm(index)
        frame, (width, height) = frame_for(Box(0, 0, width_mm, height_mm), dpi, turn_deg=turn_deg)
        for top in range(0, height, rows):
            here = Affine.translation(0, -top) @ frame
            size = (width, min(rows, height - top))
            yield Picture(self.draw(index, here, size), here, dpi)


def frame_for(
    box_mm: Box, dpi: float, *, turn_deg: float = TURN_DEG
) -> tuple[Affine, tuple[int, int]]:
    """(picture_from_page, (width, height) in px) of a picture that shows the whole of a box."""
    scale = dpi / MM_PER_IN
    turned = Affine(scale, 0, 0, -scale) @ Affine.rotation(turn_deg)
    corners = Box.around(turned.apply_all(box_mm.corners))
    size = (max(1, -int(-corners.width // 1)), max(1, -int(-corners.height // 1)))
    return Affine.translation(-corners.x0, -corners.y0) @ turned, size


def changing(pixels: Pixels) -> Mask:
    """Pixels near which there is any change of colour, as far as lettering may have moved."""
    whole = cv2.cvtColor(pixels, cv2.COLOR_BGR2BGRA).view(np.uint32)[..., 0]
    found = np.zeros(whole.shape, np.uint8)
    found[:, 1:] = whole[:, 1:] != whole[:, :-1]
    found[1:] |= whole[1:] != whole[:-1]
    side, middle = 2 * NEAR_PX, NEAR_PX - 1  # between a pixel that is set and the one before it
    near = cv2.dilate(found, np.ones((side, side), np.uint8), anchor=(middle, middle))
    return np.asarray(near, np.uint8).view(np.bool_)


def _boxes_of(mask: Mask, top: int) -> Iterator[tuple[int, int, int, int]]:
    """(left, top, width, height) of boxes round what is set in rows from ``top`` on."""
    columns = np.flatnonzero(mask.any(axis=0))
    for run in np.split(columns, np.flatnonzero(np.diff(columns) > APART_PX) + 1):
        if len(run):
            left, wide = int(run[0]), int(run[-1] - run[0]) + 1
            rows = np.flatnonzero(mask[:, left : left + wide].any(axis=1))
            yield left, top + int(rows[0]), wide, int(rows[-1] - rows[0]) + 1


def darkest(pixels: Pixels) -> Pixels:
    """The lowest of the three channels of each pixel (rows, columns)."""
    blue, green, red = cv2.split(pixels)
    return np.asarray(cv2.min(cv2.min(blue, green), red))


def brightest(pixels: Pixels) -> Pixels:
    """The highest of the three channels of each pixel (rows, columns)."""
    blue, green, red = cv2.split(pixels)
    return np.asarray(cv2.max(cv2.max(blue, green), red))


def within(pixels: Pixels, least: int, most: int) -> Mask:
    """Pixels of which all three channels lie between two levels, both included."""
    found = cv2.inRange(pixels, (least, least, least), (most, most, most))
    return np.asarray(found, np.uint8).view(np.bool_)


@contextmanager
def open_pdf(pdf: bytes, *, where: str = "PDF") -> Iterator[OpenPdf]:
    """A PDF open for drawing, closed at the end.

    Raises:
        InputProblem: pdfium cannot open it.
    """
    opened = OpenPdf(pdf, where)
    try:
        yield opened
    finally:
        opened.close()
