"""Names beside the pieces: found places that touch no decal, mark, margin or other name.

Places are tried along the piece's own edge: first the name where it can belong to no other piece,
then smaller, then with a small pointer, then a short number whose meaning is printed where there
is room. What finds no place is told in a notice, never left out silently.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

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
STEP_MM = 2.0
"""Places along a piece's edge are tried this far apart."""
APART_MM = 1.0
"""A name is taken for another piece's if that lies within this of it: then it gets a pointer."""
POINTER_MM = 1.6

WAYS = ((0, -1), (0, 1), (1, 0), (-1, 0))

Floats = npt.NDArray[np.float64]


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
    """A box for a name; ``toward`` is the direction from it to its piece."""

    box: Box
    upright: bool
    toward: tuple[int, int]
    wanted: _Try


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
        self._solid = shapely.union_all([*[a.buffer(0.1) for a in self._areas], *blocked])
        shapely.prepare(self._solid)
        self._inside = printable
        self._taken: Floats = np.empty((0, 4))
        self._edges: dict[int, Floats] = {}
        self._full: dict[float, tuple[float, float]] = {}

    def find(self, index: int, wanted: _Try) -> _Place | None:
        """A place for the name beside the piece, unambiguous unless a pointer is asked for.

        The most readable first: below, above, right, left; then upright in the same order.
        """
        if index not in self._edges:
            self._edges[index] = _edge_points(self._areas[index])
        for upright in (False, True):
            for way in WAYS:
                boxes = _beside(self._edges[index], wanted.size, upright, way)
                hits = np.flatnonzero(self._free(boxes))
                if not wanted.pointer:
                    hits = hits[self._are_its_own(index, boxes[hits])]
                if len(hits):
                    box = Box(*(float(v) for v in boxes[hits[0]]))
                    self.take(box)
                    return _Place(box, upright, (-way[0], -way[1]), wanted)
        return None

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
            if len(xs) and (free := self._free(rows)).any():
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

    def _free(self, boxes: Floats) -> npt.NDArray[np.bool_]:
        p = self._inside
        ok: npt.NDArray[np.bool_] = (
            (boxes[:, 0] >= p.x0)
            & (boxes[:, 1] >= p.y0)
            & (boxes[:, 2] <= p.x1)
            & (boxes[:, 3] <= p.y1)
        )
        hits = np.flatnonzero(ok)
        if len(hits) and len(self._taken):
            b, t = boxes[hits][:, None, :], self._taken[None, :, :]
            clash = (b[..., 2] > t[..., 0]) & (b[..., 0] < t[..., 2])
            clash &= (b[..., 3] > t[..., 1]) & (b[..., 1] < t[..., 3])
            ok[hits[clash.any(axis=1)]] = False
            hits = np.flatnonzero(ok)
        if len(hits):
            ok[hits] = ~shapely.intersects(self._solid, shapely.box(*boxes[hits].T))
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


def _edge_points(area: BaseGeometry) -> Floats:
    """Points on the piece's outer edge grown by the clearance, from its lower left on."""
    grown = area.buffer(CLEAR_MM + 0.1, join_style="mitre")
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
    room = LabelRoom(printable, named, blocked)
    items: list[Item] = []
    notices: list[Notice] = []
    keys: list[tuple[int, Named]] = []
    for index, piece in enumerate(named):
        text, lost = printable_text(piece.text)
        if lost:
            notices.append(_letters_lost(piece, lost))
        place = _first(room, index, _name_tries(text, height_mm))
        if place is None:
            place = _first(room, index, _name_tries(str(index + 1), height_mm))
            if place is not None:
                keys.append((index + 1, piece))
        if place is None:
            told = "no room for its label beside it"
            notices.append(Notice("label-left-out", told, f"{sheet}: {piece.text}"))
        else:
            items.extend(_items(place, piece))
    key_items, key_notices = _print_keys(room, keys, sheet)
    return items + key_items, notices + key_notices


def _letters_lost(piece: Named, lost: str) -> Notice:
    text = f"its label shows ? for letters that the marks' typeface lacks: {lost}"
    return Notice("letters-missing", text, piece.text)


def _name_tries(text: str, height: float) -> list[_Try]:
    heights = dict.fromkeys((max(height, LEAST_LABEL_MM), LEAST_LABEL_MM))
    return [_Try(text, h, pointer) for pointer in (False, True) for h in heights]


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
    """A small triangle at the start of the name, its tip on the side where the piece is."""
    box, (dx, dy) = place.box, place.toward
    size = POINTER_MM - 0.4
    x, y = (box.x0 + size / 2, box.centre[1])
    if place.upright:
        x, y = (box.centre[0], box.y0 + size / 2)
    tip = (x + dx * size / 2, y + dy * size / 2)
    back = (x - dx * size / 2, y - dy * size / 2)
    wide = (-dy * size / 2, dx * size / 2)
    points = [tip, (back[0] + wide[0], back[1] + wide[1]), (back[0] - wide[0], back[1] - wide[1])]
    return FillMark(Layer.LABEL, (polygon_path(points),), decal=piece.decal, copy=piece.copy)


def _print_keys(
    room: LabelRoom, keys: Sequence[tuple[int, Named]], sheet: str
) -> tuple[list[Item], list[Notice]]:
    """What the numbers mean: one block of lines if it fits, else line by line, else notices."""
    if not keys:
        return [], []
    height, pitch = LEAST_LABEL_MM, LEAST_LABEL_MM * 1.5
    lines = [printable_text(f"{number} = {piece.text}")[0] for number, piece in keys]
    widths = [text_width_mm(line, height) for line in lines]
    block = room.find_anywhere(max(widths), pitch * len(lines))
    items: list[Item] = []
    notices: list[Notice] = []
    for k, (line, width) in enumerate(zip(lines, widths, strict=True)):
        if block is not None:
            at = (block.x0, block.y1 - pitch * (k + 1) + descent_mm(height))
        elif (box := room.find_anywhere(width, pitch)) is not None:
            at = (box.x0, box.y0 + descent_mm(height))
        else:
            text = f"no room on the sheet to print what the number means: {line}"
            notices.append(Notice("label-key-left-out", text, sheet))
            continue
        items.append(TextMark(Layer.LABEL, line, *at, height))
    return items, notices
