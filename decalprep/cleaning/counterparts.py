"""Which hairlines are the only ink of their shape ("lone").

A stroke is lone unless a fill shows the same shape:

- stroke only (S, s): every subpath must be a subpath of some fill of the page, within
  ``MATCH_MM`` (largest distance between both outlines), or the whole path repeats the very bytes
  of a fill under the same map. The fill may come before or after.
- fill and stroke in one (B, b, B*, b*; text modes 2 and 6): its own fill counts.
- text stroked only: the same string in the same font must be filled at the same place.

A fill counts only where it shows: not if fully transparent, not if on a hidden layer while the
stroke is not, and near-white fill counts only under a stroke of its own colour or over an earlier
inked fill or image whose box holds it (a white plate with a dark hairline round it on bare paper
has no other ink than that hairline). Fills by pattern or unknown colour count as ink.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np
import pikepdf
from shapely.geometry import LineString

from decalprep.cleaning.strokes import FILL_OF, StrokeWalker, Widths
from decalprep.geometry import Affine, Box, Path
from decalprep.pdfstream import Colour, Frame, Operation, paths_in, shown_parts

MATCH_MM = 0.03
NEAR_WHITE = 0xF8 / 255
_CELL_MM = 0.25
_MOST_GROUNDS = 64


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
        self.limit_mm = width_mm * (1 + 1e-9)
        self.keep_fake_bold = keep_fake_bold

    def is_hairline(self, widths: Widths) -> bool:
        """At or under the width in every direction; width 0 always."""
        return widths[0] <= self.limit_mm

    def is_uneven(self, widths: Widths) -> bool:
        """Under the width in one direction and over it in another."""
        return widths[1] < self.limit_mm < widths[0]

    def is_fake_bold(self, frame: Frame) -> bool:
        """Filled and stroked text in one colour, the stroke 1/60 of the size or more."""
        state = frame.state
        if not self.keep_fake_bold or state.render_mode not in (2, 6):
            return False
        size = abs(state.font_size) * frame.text.stretch[0]
        return same_look(state.fill, state.stroke) and abs(state.line_width) * 60 >= size


class FirstLook(StrokeWalker):
    """Cheap first walk: is there any hairline whose fill must be searched for?

    Most duplicates repeat the very bytes of their fill under the same map.
    """

    def __init__(self, document: pikepdf.Pdf, artwork_from_page: Affine, rule: Hairlines) -> None:
        super().__init__(document, artwork_from_page)
        self.rule = rule
        self.filled: set[tuple[object, ...]] = set()
        self.wanted: set[tuple[object, ...]] = set()
        self.any_hairline = False
        self.unsure = False

    def _key(self, frame: Frame) -> tuple[object, ...]:
        first, last = frame.path[0][0], frame.path[-1][1]
        return hash(frame.data[first:last].strip()), frame.state.ctm

    def on_path_fill(self, frame: Frame, op: Operation) -> None:
        del op
        if self.visible and frame.state.fill_alpha > 0 and not looks_white(frame.state.fill):
            self.filled.add(self._key(frame))

    def on_path_stroke(self, frame: Frame, op: Operation, widths: Widths) -> None:
        if not self.rule.is_hairline(widths):
            return
        self.any_hairline = True
        if op[0] not in FILL_OF:
            self.wanted.add(self._key(frame))
        elif not fill_shows_itself(frame):
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


@dataclass(frozen=True)
class _Fill:
    box: Box
    path: Path
    colour: Colour
    visible: bool
    grounded: bool


@dataclass(frozen=True)
class _Wanted:
    ordinal: int
    paths: tuple[Path, ...]
    colour: Colour
    visible: bool


class FillSearch(StrokeWalker):
    """Second walk: geometry of fills and of stroke-only hairlines; ``lone()`` gives ordinals."""

    def __init__(self, document: pikepdf.Pdf, artwork_from_page: Affine, rule: Hairlines) -> None:
        super().__init__(document, artwork_from_page)
        self.rule = rule
        self._fills: dict[tuple[int, int], list[_Fill]] = {}
        self._texts: dict[tuple[object, ...], list[tuple[Colour, bool, bool]]] = {}
        self._wanted: list[_Wanted] = []
        self._wanted_texts: list[tuple[int, tuple[object, ...], Colour, bool]] = []
        self._grounds: list[Box] = []
        self._lone: set[int] = set()

    # -- gathering ---------------------------------------------------------------------------

    def _mm_paths(self, frame: Frame, *, closing: bool) -> tuple[Path, ...]:
        to_mm = self.artwork_from_page @ frame.state.ctm
        return paths_in(frame.data, frame.path, to_mm, closing=closing)

    def on_path_fill(self, frame: Frame, _op: Operation) -> None:
        state = frame.state
        if state.fill_alpha <= 0:
            return
        paths = self._mm_paths(frame, closing=True)
        white = looks_white(state.fill)
        whole = None
        for path in paths:
            box = _points_box(path)
            whole = box if whole is None else whole.union(box)
            fill = _Fill(box, path, state.fill, self.visible, white and self._on_ground(box))
            self._fills.setdefault(_cell(box), []).append(fill)
        if whole is not None and not white and self.visible:
            self._add_ground(whole)

    def on_path_stroke(self, frame: Frame, op: Operation, widths: Widths) -> None:
        if not self.rule.is_hairline(widths):
            return
        if op[0] not in FILL_OF:
            paths = self._mm_paths(frame, closing=op[0] == b"s")
            self._wanted.append(_Wanted(self.ordinal, paths, frame.state.stroke, self.visible))
        elif not fill_shows_itself(frame):
            boxes = [_points_box(p) for p in self._mm_paths(frame, closing=True)]
            shown = frame.state.fill_alpha > 0 and all(self._on_ground(box) for box in boxes)
            if not shown:
                self._lone.add(self.ordinal)

    def on_text_fill(self, frame: Frame, op: Operation) -> None:
        if frame.state.fill_alpha > 0:
            entry = (frame.state.fill, self.visible, self._on_ground(self._text_box(frame, op)))
            self._texts.setdefault(self._text_key(frame, op), []).append(entry)

    def on_text_stroke(self, frame: Frame, op: Operation, widths: Widths) -> None:
        if not self.rule.is_hairline(widths):
            return
        if frame.state.render_mode in (1, 5):
            key = self._text_key(frame, op)
            self._wanted_texts.append((self.ordinal, key, frame.state.stroke, self.visible))
        elif not fill_shows_itself(frame):
            shown = frame.state.fill_alpha > 0 and self._on_ground(self._text_box(frame, op))
            if not shown:
                self._lone.add(self.ordinal)

    def on_image(self, frame: Frame, image: object, _op: Operation) -> None:
        del image
        corners = frame.state.ctm.apply_all(((0, 0), (1, 0), (1, 1), (0, 1)))
        if self.visible:
            self._add_ground(Box.around(self.artwork_from_page.apply_all(corners)))

    def on_shading(self, frame: Frame, op: Operation) -> None:
        del op
        if self.visible and frame.state.clip is not None:
            corners = self.artwork_from_page.apply_all(frame.state.clip.corners)
            self._add_ground(Box.around(corners))

    def _text_key(self, frame: Frame, op: Operation) -> tuple[object, ...]:
        state = frame.state
        place = (self.artwork_from_page @ state.ctm @ frame.text).as_tuple()
        strings = tuple(p for p in shown_parts(frame, op) if isinstance(p, bytes))
        name = state.font.name if state.font else ""
        return strings, name, round(state.font_size, 3), tuple(round(v, 2) for v in place)

    def _text_box(self, frame: Frame, op: Operation) -> Box:
        letters = sum(len(p) for p in shown_parts(frame, op) if isinstance(p, bytes))
        size = frame.state.font_size
        to_mm = self.artwork_from_page @ frame.state.ctm @ frame.text
        reach = 0.3 * size * max(letters, 1)
        return Box.around(
            to_mm.apply_all(((0, 0), (reach, 0), (reach, 0.5 * size), (0, 0.5 * size)))
        )

    def _on_ground(self, box: Box) -> bool:
        return any(ground.contains(box, MATCH_MM) for ground in self._grounds)

    def _add_ground(self, box: Box) -> None:
        """Keep the largest boxes of ink; small ones carry nothing."""
        if self._on_ground(box):
            return
        self._grounds = [g for g in self._grounds if not box.contains(g)]
        self._grounds.append(box)
        if len(self._grounds) > 2 * _MOST_GROUNDS:
            self._grounds.sort(key=lambda g: -g.area)
            del self._grounds[_MOST_GROUNDS:]

    # -- answering ---------------------------------------------------------------------------

    def lone(self) -> set[int]:
        """Ordinals of the hairlines that are the only ink of their shape."""
        lone = set(self._lone)
        for wanted in self._wanted:
            if not wanted.paths or not all(self._is_filled(p, wanted) for p in wanted.paths):
                lone.add(wanted.ordinal)
        for ordinal, key, colour, visible in self._wanted_texts:
            found = self._texts.get(key, ())
            if not any(_counts(f, colour, visible, v, g) for f, v, g in found):
                lone.add(ordinal)
        return lone

    def _is_filled(self, path: Path, wanted: _Wanted) -> bool:
        box = _points_box(path)
        for cell in _cells_near(box):
            for fill in self._fills.get(cell, ()):
                if (
                    _counts(fill.colour, wanted.colour, wanted.visible, fill.visible, fill.grounded)
                    and _boxes_match(fill.box, box)
                    and _outlines_match(fill.path, path)
                ):
                    return True
        return False


def _counts(
    fill: Colour, stroke: Colour, stroke_visible: bool, fill_visible: bool, grounded: bool
) -> bool:
    if stroke_visible and not fill_visible:
        return False
    return grounded or not looks_white(fill) or same_look(fill, stroke)


def _points_box(path: Path) -> Box:
    """Box of end points and of curves' control points: the same for the same outline."""
    xs: list[float] = []
    ys: list[float] = []
    for segment in path.segments:
        for name in ("start", "control1", "control2", "end"):
            point = getattr(segment, name, None)
            if point is not None:
                xs.append(point[0])
                ys.append(point[1])
    return Box(min(xs), min(ys), max(xs), max(ys))


def _cell(box: Box) -> tuple[int, int]:
    x, y = box.centre
    return round(x / _CELL_MM), round(y / _CELL_MM)


def _cells_near(box: Box) -> Iterable[tuple[int, int]]:
    x, y = _cell(box)
    return ((x + i, y + j) for i in (0, -1, 1) for j in (0, -1, 1))


def _boxes_match(one: Box, other: Box) -> bool:
    slack = 4 * MATCH_MM
    pairs = ((one.x0, other.x0), (one.y0, other.y0), (one.x1, other.x1), (one.y1, other.y1))
    return all(abs(a - b) <= slack for a, b in pairs)


def _outlines_match(one: Path, other: Path) -> bool:
    """Whether no point of either outline is further than MATCH_MM from the other."""
    lines = [_ring(path) for path in (one, other)]
    if lines[0] is None or lines[1] is None:
        return False
    return bool(lines[0].hausdorff_distance(lines[1]) <= MATCH_MM)


def _ring(path: Path) -> LineString | None:
    points: Sequence[tuple[float, float]] = path.points(MATCH_MM / 10)
    if path.closed and points:
        points = [*points, points[0]]
    if len(points) < 2 or not np.isfinite(points).all():
        return None
    return LineString(points)
