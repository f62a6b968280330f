"""Which hairlines are the only ink of their shape ("lone").

A stroke is lone unless a fill shows the same shape:

- stroke only (S, s): every subpath must be a subpath of some fill of the page, within
  ``MATCH_MM`` (largest distance between both outlines), or the whole path repeats the very bytes
  of a fill under the same map. The fill may come before or after. An outline built of other
  curve pieces than the fill can be missed; it is then kept and told, never dropped unasked.
- fill and stroke in one (B, b, B*, b*; text modes 2 and 6): its own fill counts.
- text stroked only: the same string in the same font must be filled at the same place.

A fill counts only where it shows: not if it has no area (a filled straight line), not if fully
transparent, not if on a hidden layer while the
stroke is not, and near-white fill counts only under a stroke of its own colour or over an earlier
inked fill or image whose box holds it (a white plate with a dark hairline round it on bare paper
has no other ink than that hairline). Fills by pattern or unknown colour count as ink.
"""

import pikepdf

from decalprep.cleaning.outlines import MATCH_MM, BoxColumns, Outlines, may_be_flat
from decalprep.cleaning.strokes import FILL_OF, StrokeWalker, Widths
from decalprep.geometry import Affine, Box
from decalprep.pdfstream import Colour, Frame, Operation, shown_parts

NEAR_WHITE = 0xF8 / 255
ROUNDING_MM = 0.0005
"""Files round widths: 0.1 mm is written 0.2835 or 0.284 pt; compared to the nearest micrometre."""


def looks_white(colour: Colour) -> bool:
    """Whether a colour is known to look (nearly) white."""
    return colour.rgb is not None and min(colour.rgb) >= NEAR_WHITE


def same_look(one: Colour, other: Colour) -> bool:
    """Whether two colours are known to look alike within 1 %."""
    if one == other:
        return True
    if one.rgb is None or other.rgb is None:
        return False
    return all(abs(a - b) <= 0.01 for a, b in zip(one.rgb, other.rgb, strict=True))


class Hairlines:
    """Says of each stroke what it is, from its width and state alone."""

    def __init__(self, width_mm: float, *, keep_fake_bold: bool) -> None:
        self.limit_mm = width_mm + ROUNDING_MM
        self.keep_fake_bold = keep_fake_bold

    def is_hairline(self, widths: Widths) -> bool:
        """At or under the width in every direction; width 0 always."""
        return widths[0] <= self.limit_mm

    def is_uneven(self, widths: Widths) -> bool:
        """Under the width in one direction and over it in another."""
        return widths[1] < self.limit_mm < widths[0]

    def is_fake_bold(self, frame: Frame) -> bool:
        """Filled and stroked text in one colour, the stroke 1/40 of the size or more."""
        state = frame.state
        if not self.keep_fake_bold or state.render_mode not in (2, 6):
            return False
        size = abs(state.font_size) * frame.text.stretch[0]
        return same_look(state.fill, state.stroke) and abs(state.line_width) * 40 >= size


class FirstLook(StrokeWalker):
    """Cheap first walk: is there any hairline whose fill must be searched for?

    Most duplicates repeat the very bytes of their fill under the same map.
    """

    def __init__(self, document: pikepdf.Pdf, artwork_from_page: Affine, rule: Hairlines) -> None:
        super().__init__(document, artwork_from_page)
        self.rule = rule
        self.filled: set[int] = set()
        self.wanted: set[int] = set()
        self.any_hairline = False
        self.unsure = False

    def _key(self, frame: Frame) -> int:
        first, last = frame.path[0][0], frame.path[-1][1]
        return hash((frame.data[first:last].strip(), self.map_number(frame.state.ctm)))

    def on_path_fill(self, frame: Frame, op: Operation) -> None:
        del op
        if not self.visible or frame.state.fill_alpha <= 0 or looks_white(frame.state.fill):
            return
        if not may_be_flat(frame.data, frame.path):
            self.filled.add(self._key(frame))

    def on_path_stroke(self, frame: Frame, op: Operation, widths: Widths) -> None:
        if not self.rule.is_hairline(widths):
            return
        self.any_hairline = True
        if op[0] not in FILL_OF:
            self.wanted.add(self._key(frame))
        elif not fill_shows_itself(frame) or may_be_flat(frame.data, frame.path):
            self.unsure = True

    def on_text_stroke(self, frame: Frame, op: Operation, widths: Widths) -> None:
        del op
        if self.rule.is_hairline(widths):
            self.any_hairline = True
            both = frame.state.render_mode in (2, 6)
            if not both or not fill_shows_itself(frame):
                self.unsure = True

    @property
    def must_search(self) -> bool:
        """Whether a geometric search is needed."""
        return self.unsure or not self.wanted <= self.filled


def fill_shows_itself(frame: Frame) -> bool:
    """Whether the fill of a fill-and-stroke shows whatever lies under it."""
    state = frame.state
    if state.fill_alpha <= 0:
        return False
    return not looks_white(state.fill) or same_look(state.fill, state.stroke)


class FillSearch(StrokeWalker):
    """Second walk: outlines of fills and of stroke-only hairlines; ``lone()`` gives ordinals."""

    def __init__(self, document: pikepdf.Pdf, artwork_from_page: Affine, rule: Hairlines) -> None:
        super().__init__(document, artwork_from_page)
        self.rule = rule
        self.outlines = Outlines(artwork_from_page)
        self.grounds = BoxColumns()
        self.order = 0
        self._colours: dict[Colour, int] = {}
        self._looks: dict[tuple[int, int], bool] = {}
        self._texts: dict[tuple[object, ...], list[tuple[int, bool, Box, int]]] = {}
        self._wanted_texts: list[tuple[int, tuple[object, ...], int, bool]] = []
        self._doubtful: list[tuple[int, Box, int]] = []
        self._lone: set[int] = set()

    def _colour_number(self, colour: Colour) -> int:
        return self._colours.setdefault(colour, len(self._colours))

    # -- gathering ---------------------------------------------------------------------------

    def on_path_fill(self, frame: Frame, _op: Operation) -> None:
        """Note a fill that shows."""
        state = frame.state
        if state.fill_alpha <= 0:
            return
        self.order += 1
        white = looks_white(state.fill)
        colour = self._colour_number(state.fill)
        box = self.outlines.add_fill(frame, colour, self.visible, self.order)
        if box is not None and not white and self.visible:
            self.grounds.add(box, self.order)

    def on_path_stroke(self, frame: Frame, op: Operation, widths: Widths) -> None:
        """Note a hairline whose fill must be found."""
        if not self.rule.is_hairline(widths):
            return
        state = frame.state
        if op[0] not in FILL_OF:
            colour = self._colour_number(state.stroke)
            self.outlines.add_wanted(frame, self.ordinal, colour, self.visible, op[0] == b"s")
        elif not fill_shows_itself(frame) or may_be_flat(frame.data, frame.path):
            box = self.outlines.box_of(frame)
            if box is None or state.fill_alpha <= 0:
                self._lone.add(self.ordinal)
            elif not fill_shows_itself(frame):
                self._doubtful.append((self.ordinal, Box(*box), self.order))

    def on_text_fill(self, frame: Frame, op: Operation) -> None:
        """Note filled text."""
        if frame.state.fill_alpha > 0:
            self.order += 1
            number = self._colour_number(frame.state.fill)
            entry = (number, self.visible, self.text_box_mm(frame, op), self.order)
            self._texts.setdefault(self._text_key(frame, op), []).append(entry)

    def on_text_stroke(self, frame: Frame, op: Operation, widths: Widths) -> None:
        """Note hairline text whose fill must be found."""
        if not self.rule.is_hairline(widths):
            return
        state = frame.state
        if state.render_mode in (1, 5):
            number = self._colour_number(state.stroke)
            key = self._text_key(frame, op)
            self._wanted_texts.append((self.ordinal, key, number, self.visible))
        elif not fill_shows_itself(frame):
            if state.fill_alpha <= 0:
                self._lone.add(self.ordinal)
            else:
                self._doubtful.append((self.ordinal, self.text_box_mm(frame, op), self.order))

    def on_image(self, frame: Frame, image: object, _op: Operation) -> None:
        """An image is a ground."""
        del image
        self._add_ground(frame.state.ctm.apply_all(((0, 0), (1, 0), (1, 1), (0, 1))))

    def on_inline_image(self, frame: Frame, op: Operation) -> None:
        """So is an inline image."""
        self.on_image(frame, None, op)

    def on_shading(self, frame: Frame, _op: Operation) -> None:
        """So is a shading in its clip."""
        if frame.state.clip is not None:
            self._add_ground(list(frame.state.clip.corners))

    def _add_ground(self, page_corners: list[tuple[float, float]]) -> None:
        self.order += 1
        if self.visible:
            box = Box.around(self.artwork_from_page.apply_all(page_corners))
            self.grounds.add((box.x0, box.y0, box.x1, box.y1), self.order)

    def _text_key(self, frame: Frame, op: Operation) -> tuple[object, ...]:
        state = frame.state
        place = (self.artwork_from_page @ state.ctm @ frame.text).as_tuple()
        strings = tuple(p for p in shown_parts(frame, op) if isinstance(p, bytes))
        name = state.font.name if state.font else ""
        return strings, name, round(state.font_size, 3), tuple(round(v, 2) for v in place)

    # -- answering ---------------------------------------------------------------------------

    def lone(self) -> set[int]:
        """Ordinals of the hairlines that are the only ink of their shape."""
        self.grounds.keep_largest()
        lone = set(self._lone)
        lone |= self.outlines.unmatched(self._counts)
        for ordinal, box, order in self._doubtful:
            if not self.grounds.holds(box, before=order):
                lone.add(ordinal)
        for ordinal, key, colour, visible in self._wanted_texts:
            found = self._texts.get(key, ())
            if not any(self._counts(f, colour, visible, v, b, o) for f, v, b, o in found):
                lone.add(ordinal)
        return lone

    def _counts(
        self, fill: int, stroke: int, stroke_visible: bool, fill_visible: bool, box: Box, order: int
    ) -> bool:
        """Whether a fill shows the shape of a stroke on it."""
        if stroke_visible and not fill_visible:
            return False
        pair = (fill, stroke)
        if pair not in self._looks:
            colours = list(self._colours)
            one, other = colours[fill], colours[stroke]
            self._looks[pair] = not looks_white(one) or same_look(one, other)
        return self._looks[pair] or self.grounds.holds(box, before=order)


__all__ = ["MATCH_MM", "FillSearch", "FirstLook", "Hairlines", "looks_white", "same_look"]
