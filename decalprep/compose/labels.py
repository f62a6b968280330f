"""Names beside the pieces: found places that touch no decal, mark, margin or other name.

Places are tried along the piece's own edge: first the name where it can belong to no other piece,
then smaller, then with a small pointer to its piece, then a short number whose meaning is printed
in a block of its own. A name that has another name beside it gets a pointer too. What finds no
place is told in a notice, never left out silently; the sheet's plan (``export.sheet_plans``) names
every piece by the same numbers.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import numpy.typing as npt
import shapely
from shapely.geometry.base import BaseGeometry

from decalprep.compose.settings import LEAST_LABEL_MM
from decalprep.geometry import Box, polygon_path
from decalprep.marks import descent_mm, printable_text, text_width_mm
from decalprep.model import FillMark, Item, Layer, Notice, TextMark

CLEAR_MM = 0.3
"""Gap between a name and its own piece, and between names."""
TIGHT_MM = 0.15
"""The same for a number: it then fits in a gap of 2 mm."""
STEP_MM = 2.0
"""Places along a piece's edge are tried this far apart."""
APART_MM = 3.0
"""A name is taken for another piece's if that, or another name, lies within this of it: then it
gets a pointer."""
ALOOF_MM = 1.5
"""What the numbers mean is printed at least this far from everything else."""
MOST_COLUMNS = 4
PASSES = 3
MOST_TOLD = 12
POINTER_MM = 1.6

INSETS = (0.0, 0.01, 0.02, 0.04, 0.08, 0.15, 0.25)
"""Shares of a piece's width and height left out on every side."""

WAYS = ((0, -1), (0, 1), (1, 0), (-1, 0))

Floats = npt.NDArray[np.float64]
Bools = npt.NDArray[np.bool_]
Point = tuple[float, float]


@dataclass(frozen=True)
class Named:
    """A piece that wants a name: its area in sheet mm (holes kept), and whose it is."""

    text: str
    decal: str
    copy: int
    area: BaseGeometry


@dataclass(frozen=True)
class _Try:
    """One way to print a name."""

    text: str
    height: float
    pointer: bool

    @property
    def low(self) -> float:
        """Room under the baseline; digits have no descenders."""
        return 0.1 if self.text.isdigit() else descent_mm(self.height)

    @property
    def size(self) -> tuple[float, float]:
        """Width and height of the box, the pointer's room included."""
        extra = POINTER_MM if self.pointer else 0.0
        return text_width_mm(self.text, self.height) + extra, self.height + self.low


@dataclass(frozen=True)
class _Place:
    """A box for a name; ``numbered`` where a number stands for it."""

    box: Box
    upright: bool
    wanted: _Try
    numbered: bool = False


class LabelRoom:
    """What of a sheet is free for names, while names are placed one after the other."""

    def __init__(
        self, printable: Box, named: Sequence[Named], blocked: Sequence[BaseGeometry]
    ) -> None:
        self._named = named
        self._areas = [piece.area.simplify(0.02) for piece in named]
        self._tree = shapely.STRtree(self._areas)
        self._shapes = np.array(self._areas, dtype=object)
        shapely.prepare(self._shapes)
        solid = [area.buffer(0.1) for area in self._areas]
        self._solid = shapely.union_all([*solid, *blocked])
        shapely.prepare(self._solid)
        self._inside = printable
        boxes = [box for area in (*solid, *blocked) for box in _inner_boxes(area)]
        self._inner: Floats = np.array(boxes).reshape(-1, 4)
        self.clear()
        self._edges: dict[tuple[int, float], Floats] = {}
        self._bare: dict[tuple[Any, ...], tuple[Floats, Bools]] = {}

    def clear(self) -> None:
        """Give back all places that were taken."""
        self._taken: Floats = np.empty((0, 4))
        self._full: dict[float, tuple[float, float]] = {}

    def find(self, index: int, wanted: _Try) -> _Place | None:
        """A place for the name beside the piece, unambiguous unless a pointer is asked for.

        The most readable first: below, above, right, left; then upright in the same order.
        """
        clear = TIGHT_MM if wanted.text.isdigit() else CLEAR_MM
        for upright in (False, True):
            for way in WAYS:
                boxes, own = self._bare_beside(index, wanted.size, clear, upright, way)
                free = ~self._clash(boxes)
                hits = np.flatnonzero(free if wanted.pointer else free & own)
                if len(hits):
                    box = Box(*(float(v) for v in boxes[hits[0]]))
                    self.take(box)
                    return _Place(box, upright, wanted)
        return None

    def _bare_beside(
        self, index: int, size: Point, clear: float, upright: bool, way: tuple[int, int]
    ) -> tuple[Floats, Bools]:
        """Boxes on one side of a piece that lie on bare sheet, whatever names are there already;
        and which of them can be taken for no other piece's."""
        key = index, size, clear, upright, way
        if key not in self._bare:
            edge = index, clear
            if edge not in self._edges:
                self._edges[edge] = _edge_points(self._areas[index], clear)
            boxes = _beside(self._edges[edge], size, upright, way)
            boxes = boxes[self._is_bare(boxes)]
            self._bare[key] = boxes, self._are_its_own(index, boxes)
        return self._bare[key]

    def find_anywhere(self, width: float, height: float) -> Box | None:
        """The lowest, then leftmost, free box of this size on a 1 mm grid; taken if found."""
        p = self._inside
        full_width, full_to = self._full.get(height, (math.inf, p.y0))
        xs = np.arange(p.x0, p.x1 - width + 1e-9, 1.0)
        ys = np.arange(p.y0, p.y1 - height + 1e-9, 1.0)
        for y in ys[ys >= full_to - 1e-9] if width >= full_width else ys:
            self._full[height] = (width, float(y))
            rows = np.column_stack([xs, np.full_like(xs, y), xs + width, np.full_like(xs, y)])
            rows[:, 3] += height
            if len(xs) and (free := self._is_bare(rows) & ~self._clash(rows)).any():
                box = Box(*(float(v) for v in rows[int(np.argmax(free))]))
                self.take(box)
                return box
        self._full[height] = (width, p.y1)
        return None

    def take(self, box: Box) -> None:
        """Keep others off this box."""
        grown = box.grown(CLEAR_MM)
        row = [[grown.x0, grown.y0, grown.x1, grown.y1]]
        self._taken = np.vstack([self._taken, row])

    def _clash(self, boxes: Floats) -> Bools:
        """Which boxes overlap one that is taken."""
        return _overlapping(boxes, self._taken)

    def _is_bare(self, boxes: Floats) -> Bools:
        """Which boxes lie on the sheet's printable area, off all pieces and marks."""
        p = self._inside
        ok: Bools = (
            (boxes[:, 0] >= p.x0)
            & (boxes[:, 1] >= p.y0)
            & (boxes[:, 2] <= p.x1)
            & (boxes[:, 3] <= p.y1)
        )
        ok[ok] = ~_overlapping(boxes[ok], self._inner)
        if ok.any():
            ok[ok] = ~shapely.intersects(self._solid, shapely.box(*boxes[ok].T))
        return ok

    def _are_its_own(self, index: int, boxes: Floats) -> npt.NDArray[np.bool_]:
        """Which boxes have no other piece near enough to be taken for its name."""
        reach = APART_MM + CLEAR_MM
        grown = boxes + np.array([-reach, -reach, reach, reach])
        shapes = shapely.box(*grown.T)
        which, other = self._tree.query(shapes)
        which, other = which[other != index], other[other != index]
        hit = shapely.intersects(self._shapes[other], shapes[which])
        own = np.ones(len(boxes), dtype=bool)
        own[which[hit]] = False
        return own


def _overlapping(boxes: Floats, others: Floats) -> Bools:
    """Which boxes overlap one of the others."""
    b, t = boxes[:, None, :], others[None, :, :]
    clash = (b[..., 2] > t[..., 0]) & (b[..., 0] < t[..., 2])
    clash &= (b[..., 3] > t[..., 1]) & (b[..., 1] < t[..., 3])
    found: Bools = np.any(clash, axis=1)
    return found


def _inner_boxes(area: BaseGeometry) -> Iterator[tuple[float, ...]]:
    """Boxes within an area, as large as a few tries find: what overlaps one of them need not be
    looked at more closely. One leaves out as much on all sides, the others low and high, or left
    and right, as an area with rounded corners lets them."""
    if area.is_empty:
        return
    x0, y0, x1, y1 = area.bounds
    shapely.prepare(area)
    for across, up in ((1, 1), (0, 1), (1, 0)):
        for inset in INSETS:
            dx, dy = across * inset * (x1 - x0), up * inset * (y1 - y0)
            box = (x0 + dx, y0 + dy, x1 - dx, y1 - dy)
            if shapely.covers(area, shapely.box(*box)):
                yield box
                break


def _beside(edge: Floats, size: tuple[float, float], upright: bool, way: tuple[int, int]) -> Floats:
    """Boxes on one side of the edge points, whose facing side starts, ends or is centred there."""
    w, h = reversed(size) if upright else size
    found = []
    for align in (0.0, 0.5, 1.0):
        x0 = edge[:, 0] + (-align * w if way[0] == 0 else min(way[0], 0) * w)
        y0 = edge[:, 1] + (-align * h if way[1] == 0 else min(way[1], 0) * h)
        found.append(np.column_stack([x0, y0, x0 + w, y0 + h]))
    return np.vstack(found)


def label_box(mark: TextMark) -> Box:
    """The area of a label's letters in sheet mm; labels are level or turned by 90 degrees."""
    width, low = text_width_mm(mark.text, mark.height_mm), descent_mm(mark.height_mm)
    x, y, high = mark.x_mm, mark.y_mm, mark.height_mm
    if mark.turn_deg == 90.0:
        return Box(x - high, y, x + low, y + width)
    return Box(x, y - low, x + width, y + high)


def _edge_points(area: BaseGeometry, clear_mm: float) -> Floats:
    """Points on the piece's outer edge grown by the clearance, from its lower left on."""
    grown = area.buffer(clear_mm + 0.1, join_style="mitre")
    parts = [p for p in shapely.get_parts(grown) if p.geom_type == "Polygon"]
    ring = max(parts, key=lambda p: float(p.area)).exterior
    steps = np.linspace(0.0, 1.0, max(8, math.ceil(ring.length / STEP_MM)), endpoint=False)
    even = shapely.get_coordinates(shapely.line_interpolate_point(ring, steps, normalized=True))
    points = np.vstack([even, shapely.get_coordinates(ring.simplify(0.5))])
    order = np.lexsort((points[:, 0].round(3), points[:, 1].round(3)))
    return np.asarray(points[order], dtype=np.float64)


def place_labels(
    printable: Box,
    named: Sequence[Named],
    *,
    blocked: Sequence[BaseGeometry],
    height_mm: float,
    sheet: str = "",
) -> tuple[list[Item], list[Notice]]:
    """Labels for the pieces as items, and notices on those that had to be numbered or left out."""
    texts = [printable_text(piece.text) for piece in named]
    notices = [_letters_lost(p, lost) for p, (_, lost) in zip(named, texts, strict=True) if lost]
    pointed: set[int] = set()
    room = LabelRoom(printable, named, blocked)
    for turn in range(PASSES):
        room.clear()
        places = [
            _place_of(room, index, text, height_mm, pointed=index in pointed)
            for index, (text, _) in enumerate(texts)
        ]
        more = _crowded(places)
        if not more:
            break
        pointed |= more if turn < PASSES - 2 else set(range(len(named)))
    items = [i for p, piece in zip(places, named, strict=True) if p for i in _items(p, piece)]
    keys = [
        (index + 1, piece)
        for index, (piece, place) in enumerate(zip(named, places, strict=True))
        if place is not None and place.numbered
    ]
    left = [piece for piece, place in zip(named, places, strict=True) if place is None]
    key_items, key_notices = _print_keys(room, keys, sheet)
    return items + key_items, [*notices, *_left_out(left, sheet), *key_notices]


def _place_of(
    room: LabelRoom, index: int, text: str, height_mm: float, *, pointed: bool
) -> _Place | None:
    """A place for the name, or else for the piece's number on the sheet."""
    place = _first(room, index, _tries(text, height_mm, pointed))
    if place is not None:
        return place
    place = _first(room, index, _tries(str(index + 1), height_mm, pointed))
    return None if place is None else replace(place, numbered=True)


def _crowded(places: Sequence[_Place | None]) -> set[int]:
    """Names without a pointer that have another name near enough to be taken for it."""
    there = [(k, place) for k, place in enumerate(places) if place is not None]
    found = set()
    for k, place in there:
        near = shapely.box(*_corners(place.box.grown(APART_MM)))
        if not place.wanted.pointer and any(
            near.intersects(shapely.box(*_corners(other.box))) for n, other in there if n != k
        ):
            found.add(k)
    return found


def _corners(box: Box) -> tuple[float, float, float, float]:
    return box.x0, box.y0, box.x1, box.y1


def _left_out(left: Sequence[Named], sheet: str) -> list[Notice]:
    if not left:
        return []
    names = ", ".join(piece.text for piece in left[:MOST_TOLD])
    more = f" and {len(left) - MOST_TOLD} more" if len(left) > MOST_TOLD else ""
    text = (
        f"no room beside {len(left)} of the pieces for a label ({names}{more}): the sheet's plan "
        "in build-sheets.pdf names them"
    )
    return [Notice("label-left-out", text, sheet, numbers=(("left_out", len(left)),))]


def _letters_lost(piece: Named, lost: str) -> Notice:
    text = f"its label shows ? for letters that the marks' typeface lacks: {lost}"
    return Notice("letters-missing", text, piece.text)


def _tries(text: str, height: float, pointed: bool) -> list[_Try]:
    """Ways to print a text, the best first; with a pointer only where it must have one."""
    heights = dict.fromkeys((max(height, LEAST_LABEL_MM), LEAST_LABEL_MM))
    return [_Try(text, h, pointer) for pointer in (False, True)[pointed:] for h in heights]


def _first(room: LabelRoom, index: int, tries: Sequence[_Try]) -> _Place | None:
    return next((place for one in tries if (place := room.find(index, one))), None)


def _items(place: _Place, piece: Named) -> list[Item]:
    wanted, box = place.wanted, place.box
    skip = POINTER_MM if wanted.pointer else 0.0
    x, y, turn = box.x0 + skip, box.y0 + wanted.low, 0.0
    if place.upright:
        x, y, turn = box.x1 - wanted.low, box.y0 + skip, 90.0
    mark = TextMark(
        Layer.LABEL,
        wanted.text,
        x,
        y,
        wanted.height,
        turn,
        decal=piece.decal,
        copy=piece.copy,
    )
    return [mark, *([_pointer(place, piece)] if wanted.pointer else [])]


def _pointer(place: _Place, piece: Named) -> FillMark:
    """A small triangle at the start of the name, its tip toward the nearest place of the piece."""
    box = place.box
    size = POINTER_MM - 0.4
    x, y = (box.x0 + size / 2, box.centre[1])
    if place.upright:
        x, y = (box.centre[0], box.y0 + size / 2)
    (_, near) = shapely.shortest_line(shapely.Point(x, y), piece.area).coords
    dx, dy = near[0] - x, near[1] - y
    away = math.hypot(dx, dy)
    dx, dy = dx / away, dy / away
    tip = (x + dx * size / 2, y + dy * size / 2)
    back = (x - dx * size / 2, y - dy * size / 2)
    wide = (-dy * size * 0.36, dx * size * 0.36)  # slender, so that the tip is plain
    points = [tip, (back[0] + wide[0], back[1] + wide[1]), (back[0] - wide[0], back[1] - wide[1])]
    return FillMark(Layer.LABEL, (polygon_path(points),), decal=piece.decal, copy=piece.copy)


def _print_keys(
    room: LabelRoom, keys: Sequence[tuple[int, Named]], sheet: str
) -> tuple[list[Item], list[Notice]]:
    """What the numbers mean, in one block of a few columns; a notice where there is no room."""
    if not keys:
        return [], []
    height, pitch = LEAST_LABEL_MM, LEAST_LABEL_MM * 1.5
    lines = [printable_text(f"{number} = {piece.text}")[0] for number, piece in keys]
    wide = max(text_width_mm(line, height) for line in lines) + 2 * ALOOF_MM
    for columns in range(1, MOST_COLUMNS + 1):
        rows = math.ceil(len(lines) / columns)
        block = room.find_anywhere(wide * columns, pitch * rows + 2 * ALOOF_MM)
        if block is None:
            continue
        return [
            TextMark(
                Layer.LABEL,
                line,
                block.x0 + ALOOF_MM + wide * (k // rows),
                block.y1 - ALOOF_MM - pitch * (k % rows + 1) + descent_mm(height),
                height,
            )
            for k, line in enumerate(lines)
        ], []
    text = (
        f"no room on the sheet to print what the numbers of {len(lines)} pieces mean: the sheet's "
        "plan in build-sheets.pdf tells"
    )
    return [], [Notice("label-key-left-out", text, sheet, numbers=(("left_out", len(lines)),))]
