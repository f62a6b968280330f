"""A page as pdfium draws it: opened once for several looks, drawn finely only where that can tell.

pdfium widens lines and rectangles to a pixel at least, and other areas fade with the share of the
pixel that they cover. So where a coarse drawing is of one colour all round a place, a finer one is
of that colour there too, unless what is there covers less than a five-hundredth of a coarse pixel.
That does not hold for pictures, whose pixels are averaged, nor for lettering of less than a pixel.
"""

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from contextvars import ContextVar
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from decalprep.errors import InputProblem

Pixels = NDArray[np.uint8]
Paint = Callable[[Any, int, int, int], None]
"""(bitmap, times, left, top): the page ``times`` as large, pixel (left, top) first."""

KEPT_BYTES = 1_000_000
MOST_KEPT = 2
REACH_PX = 3
"""So far round what a coarse drawing shows, in its own pixels, a finer one may differ."""
_LEAST_ROWS = 32
_LEAST_GAP_PX = 48
_BYTES_OF_PASSES = 1_500_000
"""Each pass looks at everything on the page, which takes as long as its bytes are many."""

_kept: ContextVar[dict[bytes, tuple[Any, Any]] | None] = ContextVar("_kept", default=None)


@contextmanager
def pages_kept_open() -> Iterator[None]:
    """While it lasts, the last few pages looked at stay open for the next who looks at them."""
    if _kept.get() is not None:
        yield
        return
    pages: dict[bytes, tuple[Any, Any]] = {}
    outer = _kept.set(pages)
    try:
        yield
    finally:
        _kept.reset(outer)
        for opened in pages.values():
            _close(*opened)


@contextmanager
def open_page(pdf: bytes, *, where: str = "") -> Iterator[Any]:
    """The first page as pdfium has it; closed afterwards, or by ``pages_kept_open``.

    Raises:
        InputProblem: the page cannot be drawn.
    """
    pages = _kept.get()
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
    """True where a page that qpdf wrote can hold no image object; inline images are not seen."""
    return b"/Height" not in pdf and b"/ObjStm" not in pdf


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
    import ctypes

    import pypdfium2.raw as raw

    tall, wide = span.bottom - span.top, span.right - span.left
    pixels = np.full((tall, wide, 4), 255, np.uint8)
    place = pixels.ctypes.data_as(ctypes.c_void_p)
    bitmap = raw.FPDFBitmap_CreateEx(wide, tall, raw.FPDFBitmap_BGRx, place, wide * 4)
    if not bitmap:
        raise MemoryError(f"no room for {wide} x {tall} pixels")
    try:
        paint(bitmap, times, span.left, span.top)
    finally:
        raw.FPDFBitmap_Destroy(bitmap)
    return pixels


def uneven(picture: Pixels) -> Pixels:
    """255 where a pixel differs from a neighbour, else 0, of a picture of 3 or 4 channels (x)."""
    import cv2

    if picture.shape[2] == 3:
        picture = np.asarray(cv2.cvtColor(picture, cv2.COLOR_BGR2BGRA))
    whole = np.ascontiguousarray(picture).view(np.uint32)[:, :, 0] & np.uint32(0xFFFFFF)
    found = np.zeros(whole.shape, np.uint8)
    across, down = whole[:, 1:] != whole[:, :-1], whole[1:] != whole[:-1]
    found[:, 1:][across] = 255
    found[:, :-1][across] = 255
    found[1:][down] = 255
    found[:-1][down] = 255
    return found


def spans_of(detail: Pixels, *, page_bytes: int, most_rows: int) -> list[Span]:
    """The parts of a picture that hold all its detail and ``REACH_PX`` round it, none twice.

    ``detail`` is not 0 where there is some; ``page_bytes`` say how long a pass over the page takes.
    """
    import cv2

    side = 2 * REACH_PX + 1
    grown = np.asarray(cv2.dilate(detail, np.ones((side, side), np.uint8)), np.uint8)
    rows = len(grown)
    passes = max(1, _BYTES_OF_PASSES // max(page_bytes, 1))
    step = min(max(_LEAST_ROWS, -(-rows // passes)), most_rows)
    spans: list[Span] = []
    for top in range(0, rows, step):
        bottom = min(top + step, rows)
        spans += [Span(top, bottom, *ends) for ends in _runs(grown[top:bottom])]
    if len(spans) <= max(passes, rows // step):
        return spans
    joined: dict[int, Span] = {}
    for span in spans:
        left = min(span.left, joined[span.top].left) if span.top in joined else span.left
        joined[span.top] = Span(span.top, span.bottom, left, span.right)
    return list(joined.values())


def _runs(band: Pixels) -> list[tuple[int, int]]:
    """(first, behind the last) of the columns with detail; small gaps do not part them."""
    there = np.flatnonzero(band.max(axis=0))
    if not len(there):
        return []
    breaks = np.flatnonzero(np.diff(there) > _LEAST_GAP_PX)
    starts = there[np.append(0, breaks + 1)]
    ends = there[np.append(breaks, len(there) - 1)] + 1
    return list(zip(starts.tolist(), ends.tolist(), strict=True))
