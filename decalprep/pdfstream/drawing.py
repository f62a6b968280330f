"""A page as pdfium draws it: opened once for several looks, drawn finely only where that can tell.

pdfium widens lines and rectangles to a pixel at least, and other areas fade with the share of the
pixel that they cover. So where a coarse drawing is of one colour all round a place, a finer one is
of that colour there too, unless what is there covers less than a five-hundredth of a coarse pixel.
That does not hold for pictures, whose pixels are averaged, nor for lettering of less than a pixel.
"""

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from decalprep.errors import InputProblem
from decalprep.pdfstream.kept import MOST_KEPT, kept

Pixels = NDArray[np.uint8]
Paint = Callable[[Any, int, int, int], None]
"""(bitmap, times, left, top): the page ``times`` as large, pixel (left, top) first."""

KEPT_BYTES = 1_000_000
REACH_PX = 3
"""So far round what a coarse drawing shows, in its own pixels, a finer one may differ."""
EDGE_PX = 1
"""So much more is drawn round a part, in coarse pixels: at a picture's edge pdfium may leave out a
row of what only just reaches into it (seen at gradients on strokes and text)."""
_CELL_PX = 8
_FEW_CELLS = 16
"""A pass over a page takes as long as drawing so many cells of pixels, on a page of little."""
_BYTES_OF_PASSES = 1_500_000
"""Each pass looks at everything on the page, which takes as long as its bytes are many."""


@contextmanager
def open_page(pdf: bytes, *, where: str = "") -> Iterator[Any]:
    """The first page as pdfium has it; closed afterwards, or by ``pages_kept_open``.

    Raises:
        InputProblem: the page cannot be drawn.
    """
    keeping = kept()
    pages = None if keeping is None else keeping.pages
    found = None if pages is None else pages.pop(pdf, None)
    document, page = found or _opened(pdf, where)
    try:
        yield page
    finally:
        if pages is None or not _may_stay(pdf):
            _close(document, page)
        else:
            pages[pdf] = document, page
            while len(pages) > MOST_KEPT:
                _close(*pages.pop(next(iter(pages))))


def _opened(pdf: bytes, where: str) -> tuple[Any, Any]:
    import pypdfium2

    document = None
    try:
        document = pypdfium2.PdfDocument(pdf)
        return document, document[0]
    except pypdfium2.PdfiumError as problem:
        if document is not None:
            document.close()
        raise InputProblem(
            f"the page cannot be drawn ({problem})", where=where, do="export it again"
        ) from problem


def _close(document: Any, page: Any) -> None:
    page.close()
    document.close()


def _may_stay(pdf: bytes) -> bool:
    """Whether it is small; a picture, as large as it may be once unpacked, would stay with it."""
    return len(pdf) <= KEPT_BYTES and free_of_pictures(pdf)


def free_of_pictures(pdf: bytes) -> bool:
    """True where a page that qpdf wrote can hold no image object and no tiles of a pattern, which
    pdfium draws otherwise in a part of a picture; inline images are not seen."""
    return not any(word in pdf for word in (b"/Height", b"/PatternType 1", b"/ObjStm"))


@dataclass(frozen=True)
class Span:
    """Part of a picture, in its pixels."""

    top: int
    bottom: int
    left: int
    right: int

    def of(self, picture: Any) -> Any:
        """That part of an array (rows, columns, ...)."""
        return picture[self.top : self.bottom, self.left : self.right]

    def grown(self, by: int, rows: int, columns: int) -> "Span":
        """So much more on all sides, within a picture of so many rows and columns."""
        return Span(
            max(self.top - by, 0),
            min(self.bottom + by, rows),
            max(self.left - by, 0),
            min(self.right + by, columns),
        )

    def shared(self, other: "Span") -> "Span | None":
        """What is part of both; None where there is nothing."""
        top, bottom = max(self.top, other.top), min(self.bottom, other.bottom)
        left, right = max(self.left, other.left), min(self.right, other.right)
        return Span(top, bottom, left, right) if top < bottom and left < right else None

    def moved(self, down: int, across: int) -> "Span":
        """As far away, as large."""
        return Span(self.top + down, self.bottom + down, self.left + across, self.right + across)

    def larger(self, times: int, rows: int, columns: int) -> "Span":
        """The same in a picture ``times`` as fine, of so many rows and columns."""
        return Span(
            self.top * times,
            min(self.bottom * times, rows),
            self.left * times,
            min(self.right * times, columns),
        )


def painted(paint: Paint, span: Span, times: int = 1) -> Pixels:
    """Pixels (rows, columns, BGRx) of a part of the page's picture ``times`` as fine, on white."""
    pixels = np.empty((span.bottom - span.top, span.right - span.left, 4), np.uint8)
    paint_into(pixels, paint, span, times)
    return pixels


def paint_into(pixels: Pixels, paint: Paint, span: Span, times: int = 1) -> None:
    """The same into an array, or a part of one, of the span's size."""
    import ctypes

    import pypdfium2.raw as raw

    pixels[:] = 255
    tall, wide = pixels.shape[:2]
    place, stride = pixels.ctypes.data_as(ctypes.c_void_p), pixels.strides[0]
    bitmap = raw.FPDFBitmap_CreateEx(wide, tall, raw.FPDFBitmap_BGRx, place, stride)
    if not bitmap:
        raise MemoryError(f"no room for {wide} x {tall} pixels")
    try:
        paint(bitmap, times, span.left, span.top)
    finally:
        raw.FPDFBitmap_Destroy(bitmap)


def uneven(picture: Pixels) -> Pixels:
    """Not 0 where a pixel differs from a neighbour; of 4 channels the last is passed over."""
    whole = whole_pixels(picture)
    found = np.zeros(whole.shape, np.uint8)
    across = (whole[:, 1:] != whole[:, :-1]).view(np.uint8)
    down = (whole[1:] != whole[:-1]).view(np.uint8)
    found[:, 1:] |= across
    found[:, :-1] |= across
    found[1:] |= down
    found[:-1] |= down
    return found


def whole_pixels(picture: Pixels) -> NDArray[np.uint32]:
    """A number a pixel, the same for the same colour; of 4 channels the last is passed over."""
    import cv2

    if picture.shape[2] == 3:
        alike: NDArray[np.uint32] = np.asarray(cv2.cvtColor(picture, cv2.COLOR_BGR2BGRA)).view(
            np.uint32
        )[:, :, 0]
        return alike
    return np.ascontiguousarray(picture).view(np.uint32)[:, :, 0] & np.uint32(0xFFFFFF)


def spans_of(detail: Pixels, *, page_bytes: int, most_rows: int) -> list[Span]:
    """The parts of a picture that hold all its detail and ``REACH_PX`` round it, none twice.

    ``detail`` is not 0 where there is some; ``page_bytes`` say how long a pass over the page takes.
    """
    import cv2

    rows, columns = detail.shape
    side, cell = 2 * REACH_PX + 1, _CELL_PX
    grown = cv2.dilate(detail, np.ones((side, side), np.uint8))
    grown = cv2.copyMakeBorder(grown, 0, -rows % cell, 0, -columns % cell, cv2.BORDER_CONSTANT)
    size = grown.shape[1] // cell, grown.shape[0] // cell
    whole = np.asarray(cv2.threshold(grown, 0, 255, cv2.THRESH_BINARY)[1])  # 1 of 64 must count
    there = np.asarray(cv2.resize(whole, size, interpolation=cv2.INTER_AREA)) > 0
    most = -(-most_rows // cell)
    cells = _parts(there, Span(0, size[1], 0, size[0]), most)
    passes = _BYTES_OF_PASSES // max(page_bytes, 1)
    if len(cells) > passes:
        step = min(-(-size[1] // max(passes, 1)), most)
        bands = (Span(top, min(top + step, size[1]), 0, size[0]) for top in range(0, size[1], step))
        cells = [part for band in bands if (part := _trimmed(there, band)) is not None]
    return [part.larger(cell, rows, columns) for part in cells]


def _trimmed(there: NDArray[np.bool_], part: Span) -> Span | None:
    """The least part that holds all that is there in it; None where nothing is."""
    down = np.flatnonzero(part.of(there).any(axis=1))
    if not len(down):
        return None
    across = np.flatnonzero(part.of(there).any(axis=0))
    first, last, left, right = (int(k) for k in (down[0], down[-1], across[0], across[-1]))
    return Span(first, last + 1, left, right + 1).moved(part.top, part.left)


def _parts(there: NDArray[np.bool_], whole: Span, most_rows: int) -> list[Span]:
    """Parts that hold all that is there, halved as long as that leaves out enough."""
    part = _trimmed(there, whole)
    if part is None:
        return []
    tall, wide = part.bottom - part.top, part.right - part.left
    empty = tall * wide - int(np.count_nonzero(part.of(there)))
    if tall <= most_rows and (empty <= _FEW_CELLS or tall * wide <= 2):
        return [part]
    if tall > most_rows or tall >= wide:
        middle = part.top + -(-tall // 2)
        one, other = (part.top, middle), (middle, part.bottom)
        halves = [Span(*rows, part.left, part.right) for rows in (one, other)]
    else:
        middle = part.left + -(-wide // 2)
        one, other = (part.left, middle), (middle, part.right)
        halves = [Span(part.top, part.bottom, *columns) for columns in (one, other)]
    return [found for half in halves for found in _parts(there, half, most_rows)]
