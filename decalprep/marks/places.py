"""Where the marks of a sheet go: usual places first, a search where labels or gaps are in the way.

Usual places, in from the edges of the printable area: an L-shaped tick in each corner; a check bar
along the bottom with the title beside it (or over it on narrow sheets); a check bar up the left.
On die-cut stock nothing may touch a label, and on a part-used sheet nothing may lie where stock is
gone: a mark whose usual place is taken is moved to free stock, or left out with a notice.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import lru_cache

import numpy as np
import shapely
from shapely.geometry import MultiPolygon, Polygon, box
from shapely.geometry.base import BaseGeometry

from decalprep.errors import UsageProblem
from decalprep.geometry import Box
from decalprep.model import Notice, Severity, Sheet

INSET_MM = 0.5
"""Marks keep this far inside the printable area, so that half a line width is not clipped."""
CLEAR_MM = 0.5
"""Marks keep this far from decals and from each other."""
TICK_MM = 4.0
BAND_MM = 3.6
TEXT_MM = 1.5
PITCH_MM = 2.3
LOW_MM = 0.5
LONG_MM, SHORT_MM = 100.0, 50.0
LEAST_LINE_MM, MOST_LINE_MM = 70.0, 100.0
CORNER_MM = INSET_MM + TICK_MM + 1.5
LEAST_SIDE_MM = 30.0


@dataclass(frozen=True)
class BarPlace:
    """A check bar: (x, y) is the start of its scale; it runs right, or up where ``upward``."""

    x_mm: float
    y_mm: float
    length_mm: float
    upward: bool

    @property
    def box(self) -> Box:
        """The area the bar and its words take."""
        if self.upward:
            return Box(self.x_mm - BAND_MM, self.y_mm, self.x_mm, self.y_mm + self.length_mm)
        return Box(self.x_mm, self.y_mm, self.x_mm + self.length_mm, self.y_mm + BAND_MM)


@dataclass(frozen=True)
class Corner:
    """A corner tick: its point, and the directions (+1 or -1) in which its arms run."""

    x_mm: float
    y_mm: float
    right: int
    up: int

    @property
    def arms(self) -> tuple[Box, Box]:
        """The two arms as boxes without width."""
        x, y = self.x_mm, self.y_mm
        ends = (x + self.right * TICK_MM, y + self.up * TICK_MM)
        return Box.around([(x, y), (ends[0], y)]), Box.around([(x, y), (x, ends[1])])


@dataclass(frozen=True)
class MarkPlaces:
    """Where the marks of one sheet go, the area for the title lines, and what was left out."""

    corners: tuple[Corner, ...]
    bars: tuple[BarPlace, ...]
    title: Box | None
    lines: int
    notices: tuple[Notice, ...]

    @property
    def boxes(self) -> tuple[Box, ...]:
        """Every area that the marks take."""
        boxes = [arm for corner in self.corners for arm in corner.arms]
        boxes += [bar.box for bar in self.bars]
        return (*boxes, *([self.title] if self.title else []))


def label_cells(sheet: Sheet) -> tuple[Box, ...]:
    """The labels of a die-cut sheet in sheet mm, row by row from the top left; else empty."""
    grid = sheet.grid
    if grid is None:
        return ()
    cells = []
    for row in range(grid.rows):
        top = sheet.height_mm - grid.first_top_mm - row * grid.pitch_y_mm
        for column in range(grid.columns):
            left = grid.first_left_mm + column * grid.pitch_x_mm
            cells.append(Box(left, top - grid.label_height_mm, left + grid.label_width_mm, top))
    return tuple(cells)


def _shape(area: Box, grow: float = 0.0) -> Polygon:
    return box(area.x0 - grow, area.y0 - grow, area.x1 + grow, area.y1 + grow)


class _Free:
    """What stock is still free for marks while they are placed one after the other."""

    def __init__(self, sheet: Sheet) -> None:
        p = sheet.printable
        if p.width < LEAST_SIDE_MM or p.height < LEAST_SIDE_MM:
            raise UsageProblem(
                f"sheet {sheet.name!r} leaves {p.width:.1f} x {p.height:.1f} mm to print on",
                do=f"marks need {LEAST_SIDE_MM:.0f} mm both ways: take a larger sheet",
            )
        taken = [_shape(cell, CLEAR_MM) for cell in label_cells(sheet)]
        taken += [_shape(gone, CLEAR_MM) for gone in sheet.gone]
        inner = _shape(p, 1e-9 - INSET_MM)
        self.inner = p.grown(-INSET_MM)
        self.area: BaseGeometry = inner.difference(shapely.union_all(taken)) if taken else inner

    def take(self, *boxes: Box) -> bool:
        """Take the boxes together if all of them are free."""
        if not all(self.area.covers(_shape(one)) for one in boxes):
            return False
        for one in boxes:
            self.area = self.area.difference(_shape(one, CLEAR_MM))
        return True

    def find(self, width: float, height: float) -> Box | None:
        """The lowest, then leftmost, free box of this size on a 1 mm grid; taken if found."""
        xs = np.arange(self.inner.x0, self.inner.x1 - width + 1e-9, 1.0)
        ys = np.arange(self.inner.y0, self.inner.y1 - height + 1e-9, 1.0)
        if not (len(xs) and len(ys)):
            return None
        shapely.prepare(self.area)
        for y in ys:
            free = shapely.covers(self.area, shapely.box(xs, y, xs + width, y + height))
            if free.any():
                x = float(xs[int(np.argmax(free))])
                found = Box(x, float(y), x + width, float(y) + height)
                self.area = self.area.difference(_shape(found, CLEAR_MM))
                return found
        return None


def _corners(free: _Free) -> list[Corner]:
    i = free.inner
    wanted = [
        Corner(i.x0, i.y0, 1, 1),
        Corner(i.x1, i.y0, -1, 1),
        Corner(i.x1, i.y1, -1, -1),
        Corner(i.x0, i.y1, 1, -1),
    ]
    return [corner for corner in wanted if free.take(*corner.arms)]


def _bar(free: _Free, upward: bool, sheet: Sheet) -> BarPlace | None:
    p = sheet.printable
    side = p.height if upward else p.width
    for length in (LONG_MM, SHORT_MM):
        if length + 2 * CORNER_MM > side:
            continue
        if upward:
            usual = BarPlace(p.x0 + INSET_MM + BAND_MM, p.y0 + CORNER_MM, length, True)
        else:
            usual = BarPlace(p.x0 + CORNER_MM, p.y0 + INSET_MM, length, False)
        if free.take(usual.box):
            return usual
        size = (BAND_MM, length) if upward else (length, BAND_MM)
        if found := free.find(*size):
            return BarPlace(found.x1 if upward else found.x0, found.y0, length, upward)
    return None


def _title(free: _Free, level: BarPlace | None, sheet: Sheet) -> tuple[Box | None, int]:
    p = sheet.printable
    lines = 2 if level and level.length_mm == LONG_MM else 3
    height = LOW_MM + TEXT_MM + (lines - 1) * PITCH_MM
    start = (level.box.x1 if level else p.x0 + CORNER_MM) + 2.0
    end = min(p.x1 - CORNER_MM, start + MOST_LINE_MM)
    beside = Box(start, p.y0 + INSET_MM, end, p.y0 + INSET_MM + height)
    if beside.width >= LEAST_LINE_MM and lines == 2 and free.take(beside):
        return beside, lines
    low = p.y0 + INSET_MM + (BAND_MM + CLEAR_MM if level else 0.0)
    over = Box(p.x0 + CORNER_MM, low, p.x1 - CORNER_MM, low + height)
    if over.width >= 40.0 and free.take(over):
        return over, lines
    for width in (120.0, LEAST_LINE_MM, 50.0):
        if found := free.find(width, height):
            return found, lines
    return None, lines


def _left_out(sheet: Sheet, corners: int, bars: Sequence[BarPlace], title: bool) -> list[Notice]:
    found = []
    ways = {False: "level", True: "upright"}
    for upward, way in ways.items():
        mine = [bar for bar in bars if bar.upward is upward]
        if not mine:
            text = f"no room for the {way} check bar: measure a decal, or print a calibration page"
            found.append(Notice("check-bar-left-out", text, sheet.name, Severity.WARNING))
        elif mine[0].length_mm < LONG_MM:
            text = f"the {way} check bar is {mine[0].length_mm:.0f} mm long: the sheet is small"
            found.append(Notice("check-bar-short", text, sheet.name, Severity.NOTE))
    if corners < 4:
        text = f"{4 - corners} of 4 registration ticks left out: no free stock in those corners"
        found.append(Notice("ticks-left-out", text, sheet.name, Severity.NOTE))
    if not title:
        text = "no room for the title lines: note the sheet's number by hand"
        found.append(Notice("title-left-out", text, sheet.name, Severity.WARNING))
    return found


@lru_cache(maxsize=256)
def mark_places(sheet: Sheet) -> MarkPlaces:
    """Where the marks of this sheet go, in sheet mm, and what had to be left out.

    Raises:
        UsageProblem: the printable area is under 30 mm one way.

    >>> places = mark_places(Sheet("A4", 210.0, 297.0))
    >>> [bar.length_mm for bar in places.bars], len(places.corners), places.notices
    ([100.0, 100.0], 4, ())
    """
    free = _Free(sheet)
    corners = _corners(free)
    level = _bar(free, False, sheet)
    title, lines = _title(free, level, sheet)
    upright = _bar(free, True, sheet)
    bars = tuple(bar for bar in (level, upright) if bar)
    notices = _left_out(sheet, len(corners), bars, title is not None)
    return MarkPlaces(tuple(corners), bars, title, lines, tuple(notices))


def _joined(boxes: Sequence[Box]) -> tuple[Polygon, ...]:
    joined = shapely.union_all([_shape(one, CLEAR_MM) for one in boxes])
    parts = list(joined.geoms) if isinstance(joined, MultiPolygon) else [joined]
    return tuple(sorted((p for p in parts if not p.is_empty), key=lambda p: p.bounds))


def mark_zones(sheet: Sheet) -> tuple[Polygon, ...]:
    """What the marks of this very sheet take, as shapely polygons in sheet mm."""
    return _joined(mark_places(sheet).boxes)


def reserved_zones(sheet: Sheet) -> tuple[Polygon, ...]:
    """The areas that decals must leave free for the marks, as shapely polygons in sheet mm.

    A part-used sheet is followed by whole ones of its kind, whose marks lie elsewhere: its zones
    are those of both.

    >>> round(sum(zone.area for zone in reserved_zones(Sheet("A4", 210.0, 297.0)))) < 1420
    True
    """
    boxes = mark_places(sheet).boxes
    if sheet.gone:
        boxes += mark_places(replace(sheet, gone=())).boxes
    return _joined(boxes)
