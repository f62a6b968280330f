"""Strokes of an artwork by their true width."""

from collections import Counter
from collections.abc import Iterable

import pikepdf

from decalprep.cleaning.report import StrokeRow
from decalprep.geometry import Affine, Box
from decalprep.model import Artwork
from decalprep.pdfstream import (
    TEXT_STROKING,
    Frame,
    GraphicsState,
    Operation,
    Walker,
    open_document,
    shown_parts,
)

FILLING = frozenset((b"f", b"F", b"f*", b"B", b"B*", b"b", b"b*"))
STROKING = frozenset((b"S", b"s", b"B", b"B*", b"b", b"b*"))
FILL_OF = {b"B": b"f", b"b": b"h f", b"B*": b"f*", b"b*": b"h f*"}
"""The operator that paints the fill alone (ISO 32000-1, table 60); b and b* close first."""

Widths = tuple[float, float]
RowKey = tuple[float, float, str, bool]


class StrokeWalker(Walker):
    """Calls ``on_path_stroke`` and ``on_text_stroke`` with widths in true mm, in page order.

    Walks Type 3 glyphs as well, once for each different glyph of a shown string. Every stroke has
    an ordinal, the same in every walk of the same page.
    """

    def __init__(self, document: pikepdf.Pdf, artwork_from_page: Affine) -> None:
        super().__init__(document)
        self.artwork_from_page = artwork_from_page
        self.ordinal = -1
        self._widths_of: dict[tuple[Affine, float], Widths] = {}
        self._maps: dict[Affine, int] = {}
        self._last_map: tuple[Affine, int] = (Affine(0, 0, 0, 0), -1)
        self._last: tuple[Affine, float, Widths] = (Affine(0, 0, 0, 0), 0.0, (0.0, 0.0))

    def on_path_stroke(self, frame: Frame, op: Operation, widths: Widths) -> None:
        """A path is stroked, perhaps filled too."""

    def on_path_fill(self, frame: Frame, op: Operation) -> None:
        """A path is filled, perhaps stroked too; comes before ``on_path_stroke``."""

    def on_text_stroke(self, frame: Frame, op: Operation, widths: Widths) -> None:
        """Text is stroked, perhaps filled too."""

    def on_text_fill(self, frame: Frame, op: Operation) -> None:
        """Text is filled, perhaps stroked too; comes before ``on_text_stroke``."""

    def text_box_mm(self, frame: Frame, op: Operation) -> Box:
        """About the middle of the letters: enough to tell what they stand on."""
        letters = sum(len(p) for p in shown_parts(frame, op) if isinstance(p, bytes))
        size = frame.state.font_size
        to_mm = self.artwork_from_page @ frame.state.ctm @ frame.text
        reach = 0.3 * size * max(letters, 1)
        corners = ((0, 0), (reach, 0), (reach, 0.5 * size), (0, 0.5 * size))
        return Box.around(to_mm.apply_all(corners))

    def map_number(self, ctm: Affine) -> int:
        """A number that stands for this map, the same for equal maps."""
        if self._last_map[0] is not ctm:
            self._last_map = (ctm, self._maps.setdefault(ctm, len(self._maps)))
        return self._last_map[1]

    def widths_mm(self, state: GraphicsState) -> Widths:
        """(largest, smallest) true width in mm of a stroke made now.

        |w| times the singular values of the map from user space to the artwork in mm.
        """
        ctm, width, widths = self._last
        if state.ctm is ctm and state.line_width == width:
            return widths
        key = (state.ctm, state.line_width)
        if key not in self._widths_of:
            largest, smallest = (self.artwork_from_page @ state.ctm).stretch
            size = abs(state.line_width)
            if len(self._widths_of) > 4096:
                self._widths_of.clear()
            self._widths_of[key] = (size * largest, size * smallest)
        self._last = (state.ctm, state.line_width, self._widths_of[key])
        return self._last[2]

    def on_paint(self, frame: Frame, op: Operation) -> None:
        """Sort painting into filling and stroking."""
        if not frame.path:
            return
        if op[0] in FILLING:
            self.on_path_fill(frame, op)
        if op[0] in STROKING:
            self.ordinal += 1
            self.on_path_stroke(frame, op, self.widths_mm(frame.state))

    def on_show(self, frame: Frame, op: Operation) -> None:
        """Sort text likewise; Type 3 glyphs are walked, their render mode means nothing."""
        font, mode = frame.state.font, frame.state.render_mode
        if font is not None and font.type3:
            self.walk_glyphs(frame, op)
            return
        if mode in (0, 2, 4, 6):
            self.on_text_fill(frame, op)
        if mode in TEXT_STROKING:
            self.ordinal += 1
            self.on_text_stroke(frame, op, self.widths_mm(frame.state))

    def walk_glyphs(self, frame: Frame, op: Operation) -> None:
        """Walk the Type 3 glyphs shown now."""
        for _, stream in self.glyphs_shown(frame, op):
            self.enter_stream(stream, self.glyph_frame(frame, stream))


class Tally:
    """Counts strokes by width, and what became of them."""

    def __init__(self) -> None:
        self.counts: dict[RowKey, Counter[str]] = {}

    def count(self, state: GraphicsState, widths: Widths, what: str, fate: str = "kept") -> None:
        """One stroke; ``fate`` is kept, stripped, thickened or kept_lone."""
        key = (round(widths[0], 3), round(widths[1], 3), what, state.dashed)
        if key not in self.counts:
            self.counts[key] = Counter()
        self.counts[key][fate] += 1

    def rows(self) -> tuple[StrokeRow, ...]:
        """Rows by width, thinnest first."""
        return tuple(
            StrokeRow(
                *key,
                before=fates.total(),
                after=fates.total() - fates["stripped"],
                stripped=fates["stripped"],
                thickened=fates["thickened"],
                kept_lone=fates["kept_lone"],
            )
            for key, fates in sorted(self.counts.items())
        )

    def total(self, fates: Iterable[str]) -> int:
        """How many strokes met one of these fates."""
        wanted = tuple(fates)
        return sum(counter[fate] for counter in self.counts.values() for fate in wanted)


class _Table(StrokeWalker):
    def __init__(self, document: pikepdf.Pdf, artwork_from_page: Affine) -> None:
        super().__init__(document, artwork_from_page)
        self.tally = Tally()

    def on_path_stroke(self, frame: Frame, op: Operation, widths: Widths) -> None:
        self.tally.count(frame.state, widths, "edge of a fill" if op[0] in FILL_OF else "line")

    def on_text_stroke(self, frame: Frame, op: Operation, widths: Widths) -> None:
        del op
        self.tally.count(frame.state, widths, "text")


def stroke_table(artwork: Artwork) -> tuple[StrokeRow, ...]:
    """Strokes of the artwork by true width in mm, thinnest first, hidden layers included.

    Does not look inside tiling patterns and soft masks. A Type 3 glyph counts once a string.

    Raises:
        InputProblem: the page cannot be read.
    """
    with open_document(artwork.page_pdf) as document:
        walker = _Table(document, artwork.artwork_from_page)
        walker.walk_page(document.pages[0])
        return walker.tally.rows()
