"""What a page would cost to draw, told before anything draws it.

A few bytes can ask for millions of pattern tiles, for a picture of a thousand million pixels, or
for a pattern that holds itself; a drawing library then runs for hours and cannot be stopped.
"""

from __future__ import annotations

import io
from collections.abc import Iterator
from typing import Any

import pikepdf

from decalprep.errors import InputProblem, TooMuch, Unfaithful
from decalprep.intake.options import Limits
from decalprep.pdfstream import Frame, Operation, Walker, WalkLimits

MOST_TILES = 1_000_000
"""Tiles of one pattern over one page: 0.25 mm apart on A4."""
MOST_DEEP = 3
_STARTS = (b"m", b"re")
"""Operators that begin a path; nothing else in a run of path construction holds these letters."""


def refuse_heavy(page_pdf: bytes, limits: Limits, where: str) -> None:
    """Passes a page that can be drawn in seconds; does not draw it.

    Raises:
        TooMuch: too many paths, pixels or pattern tiles. Unfaithful: a pattern or form in itself.
    """
    try:
        with pikepdf.open(io.BytesIO(page_pdf)) as document:
            refuse_heavy_page(document, limits, where)
    except pikepdf.PdfError as problem:
        raise InputProblem(
            f"the page cannot be read ({problem})", where=where, do="export it again"
        ) from problem


def refuse_heavy_page(document: pikepdf.Pdf, limits: Limits, where: str) -> None:
    """As ``refuse_heavy``, of the first page of an open document."""
    page = document.pages[0]
    width_pt, height_pt = (float(page.mediabox[k + 2]) - float(page.mediabox[k]) for k in (0, 1))
    for item in _streams(document):
        if item.get("/PatternType") == 1:
            _pattern(item, abs(width_pt * height_pt), where, ())
        elif item.get("/Subtype") == "/Image":
            _picture(item, limits, where)
    try:
        _Counter(document, limits.max_paths, where).walk_page(page)
    except InputProblem as problem:
        if problem.where:
            raise
        raise type(problem)(problem.found, where=where, do=problem.do) from None


def _streams(document: pikepdf.Pdf) -> Iterator[Any]:
    for item in document.objects:
        if isinstance(item, pikepdf.Stream):
            yield item


def _picture(image: Any, limits: Limits, where: str) -> None:
    try:
        width, height = int(image.get("/Width", 0)), int(image.get("/Height", 0))
    except (TypeError, ValueError):
        return
    if width * height > limits.max_pixels:
        raise TooMuch(
            f"holds a picture of {width} x {height} pixels, more than {limits.max_pixels:,}",
            where=where,
            do="make it smaller",
        )


def _pattern(pattern: Any, area_pt2: float, where: str, above: tuple[Any, ...]) -> None:
    """One tiling pattern and those that its tile is painted with."""
    key = pattern.objgen if pattern.objgen != (0, 0) else id(pattern)
    if key in above:
        raise Unfaithful(
            "a pattern in the drawing contains itself", where=where, do="export the artwork again"
        )
    if len(above) >= MOST_DEEP:
        raise TooMuch(
            f"patterns are nested deeper than {MOST_DEEP}", where=where, do="flatten the artwork"
        )
    tiles = area_pt2 / max(_tile_pt2(pattern), 1e-12)
    if tiles > MOST_TILES:
        raise TooMuch(
            f"a pattern would be repeated {tiles:.2g} times, more than {MOST_TILES:,}",
            where=where,
            do="use a larger tile, or a plain colour",
        )
    inner = (pattern.get("/Resources") or {}).get("/Pattern") or {}
    for _, below in inner.items():
        if isinstance(below, pikepdf.Stream) and below.get("/PatternType") == 1:
            _pattern(below, area_pt2, where, (*above, key))


def _tile_pt2(pattern: Any) -> float:
    """Area of a tile on the page; that of a form's own scale is left out of account."""
    try:
        a, b, c, d = (float(v) for v in list(pattern.get("/Matrix") or [1, 0, 0, 1, 0, 0])[:4])
        step = float(pattern["/XStep"]) * float(pattern["/YStep"])
    except (KeyError, TypeError, ValueError):
        return 1e12  # malformed: readers leave it out
    return abs(step * (a * d - b * c))


class _Counter(Walker):
    """Counts the paths of a page, and follows its forms."""

    def __init__(self, document: pikepdf.Pdf, most: int, where: str) -> None:
        super().__init__(document, limits=WalkLimits())
        self._most, self._where, self._paths = most, where, 0

    def on_paint(self, frame: Frame, _op: Operation) -> None:
        """One painting operator, with all the paths before it."""
        for start, end in frame.path:
            self._paths += sum(frame.data.count(word, start, end) for word in _STARTS)
        if self._paths > self._most:
            raise TooMuch(
                f"the drawing has more than {self._most:,} paths",
                where=self._where,
                do="simplify it, or raise the limit (max_paths)",
            )
