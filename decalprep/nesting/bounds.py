"""How few sheets could ever do: lower bounds that no layout can beat.

Three bounds, the largest counts:

* area: every piece with its share of the gap, a cut-out counted as used where no other piece could
  lie in it, against the area that pieces can cover;
* dual feasible functions on rectangles that lie wholly inside the pieces (Fekete and Schepers, New
  classes of fast lower bounds for bin packing problems, Math. Programming 91, 2001; Carlier,
  Clautiaux and Moukrim 2007; formulas from memory, tested against brute force);
* big pieces of which no two can share a sheet (a clique of the conflict graph).

Two disjoint upright rectangles can always be parted by an upright line, so two pieces conflict when
their inner rectangles are together both too wide and too high in every turn they may take.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from itertools import product

import numpy as np
import shapely
from shapely.geometry import Polygon

from decalprep.model import Turns
from decalprep.nesting.layout import NestPart, NestSettings
from decalprep.nesting.raster import inner_cells, largest_rectangle
from decalprep.nesting.regions import Kind

Size = tuple[float, float]
TINY = 1e-7
"""Relative slack, always to the side of the weaker bound."""


def capacities(kinds: Sequence[Kind], values: Sequence[float], most: int) -> list[float]:
    """The value of each sheet that could be had, largest first, at most ``most`` of a kind."""
    every: list[float] = []
    for kind, value in zip(kinds, values, strict=True):
        every += [value] * (most if kind.available is None else min(kind.available, most))
    return sorted(every, reverse=True)


def sheets_for(total: float, each: Sequence[float]) -> int:
    """How many of the largest sheets add up to ``total``; one more than all if they do not."""
    held = 0.0
    for count, value in enumerate(each):
        if held >= total * (1 - TINY):
            return count
        held += value
    return len(each) + (held < total * (1 - TINY))


def _least_width(polygon: Polygon) -> float:
    ring = shapely.get_coordinates(shapely.minimum_rotated_rectangle(polygon))
    if len(ring) < 4:
        return 0.0
    sides = np.hypot(*(np.diff(ring, axis=0)[:2]).T)
    return float(sides.min())


def used_area_mm2(part: NestPart, others: Sequence[NestPart], gap_mm: float) -> float:
    """Area in mm2 that one copy takes from every other: gap share, and cut-outs of no use.

    A cut-out is of use when some piece is no larger than it in area, least width and bounding
    circle: what fits inside is smaller in all three, however it is turned.
    """
    half = gap_mm / 2
    grown = part.polygon.buffer(half, quad_segs=4)
    area = float(grown.area)
    for ring in getattr(grown, "interiors", ()):
        hole = Polygon(ring).buffer(-half, join_style="mitre")
        width, radius = _least_width(hole), shapely.minimum_bounding_radius(hole)
        if not any(
            other.copies
            and other.polygon.area <= hole.area
            and _least_width(other.polygon) <= width
            and shapely.minimum_bounding_radius(other.polygon) <= radius
            for other in others
        ):
            area += Polygon(ring).area
    return area


def area_bound(parts: Sequence[NestPart], kinds: Sequence[Kind], settings: NestSettings) -> int:
    """Sheets needed by area alone."""
    total = sum(p.copies * used_area_mm2(p, parts, settings.gap_mm) for p in parts if p.copies)
    areas = [sum(region.usable_mm2 for region in kind.regions) for kind in kinds]
    return sheets_for(total, capacities(kinds, areas, sum(part.copies for part in parts)))


def inner_rectangle(polygon: Polygon, step_mm: float = 1.0) -> Size:
    """(width, height) in mm of a large upright rectangle inside the polygon.

    >>> inner_rectangle(Polygon([(0, 0), (30.5, 0), (30.5, 20), (0, 20)]))
    (30.5, 20.0)
    """
    x0, y0, x1, y1 = polygon.bounds
    step = max(step_mm, (x1 - x0) / 400, (y1 - y0) / 400)
    columns, rows = math.ceil((x1 - x0) / step), math.ceil((y1 - y0) / step)
    cells = inner_cells(polygon.buffer(2e-6, join_style="mitre"), (x0, y0), step, rows, columns)
    j, i, across, up = largest_rectangle(cells)
    if not across:
        return 0.0, 0.0
    sides = [x0 + j * step, y0 + i * step, x0 + (j + across) * step, y0 + (i + up) * step]
    return _pushed_out(polygon, sides, step)


def _pushed_out(polygon: Polygon, sides: list[float], step: float) -> Size:
    """Move each side outward, by halving, as far as the rectangle stays inside."""
    outer = polygon.buffer(1e-6, join_style="mitre")
    shapely.prepare(outer)
    for side, sign in ((0, -1), (1, -1), (2, 1), (3, 1)):
        low, high = 0.0, step
        for attempt in range(12):
            middle = high if attempt == 0 else (low + high) / 2
            trial = list(sides)
            trial[side] += sign * middle
            if shapely.covers(outer, shapely.box(*trial)):
                low = middle
                if attempt == 0:
                    break
            else:
                high = middle
        sides[side] += sign * low
    bounds = polygon.bounds
    sides = [max(sides[0], bounds[0]), max(sides[1], bounds[1]), *sides[2:]]
    return min(sides[2], bounds[2]) - sides[0], min(sides[3], bounds[3]) - sides[1]


def _turned_sizes(part: NestPart, gap_mm: float) -> tuple[Size, ...]:
    """Inner rectangle, gap included, in every turn the part may take."""
    if part.turns is Turns.FREE:
        inner = shapely.maximum_inscribed_circle(part.polygon, tolerance=0.1)
        side = max(inner.length - 0.1, 0.0) * math.sqrt(2) + gap_mm
        return ((side, side),)
    w, h = inner_rectangle(part.polygon)
    w, h = w + gap_mm, h + gap_mm
    return ((w, h), (h, w)) if part.turns is Turns.QUARTER else ((w, h),)


def _items(parts: Sequence[NestPart], room: Size, gap_mm: float) -> list[tuple[Size, ...]]:
    """Of every copy, its inner rectangle as shares of the room, in each turn that fits."""
    items = []
    for part in parts:
        x0, y0, x1, y1 = part.polygon.bounds
        whole = (x1 - x0 + gap_mm, y1 - y0 + gap_mm)
        sizes = _turned_sizes(part, gap_mm)
        fits = [
            (w / room[0] * (1 - TINY), h / room[1] * (1 - TINY))
            for k, (w, h) in enumerate(sizes)
            if part.turns is Turns.FREE
            or all(a <= b * (1 + TINY) for a, b in zip(whole[:: 1 - 2 * k], room, strict=True))
        ]
        items += [tuple(fits)] * part.copies if fits else []
    return items


def _cut_small(eps: float) -> Callable[[float], float]:
    return lambda x: 1.0 if x > 1 - eps else 0.0 if x < eps else x


def _steps(k: int) -> Callable[[float], float]:
    def share(x: float) -> float:
        exact = (k + 1) * x
        return x if abs(exact - round(exact)) < 1e-12 else math.floor(exact) / k

    return share


def _halves(eps: float) -> Callable[[float], float]:
    whole = math.floor(1 / eps + 1e-12)

    def share(x: float) -> float:
        if x > 0.5:
            return 1 - math.floor((1 - x) / eps + 1e-12) / whole
        return 0.5 if x == 0.5 else math.floor(x / eps) / whole

    return share


def _functions(values: Sequence[float]) -> list[Callable[[float], float]]:
    """Dual feasible functions worth a try for these sizes."""
    cuts = sorted({min(v, 1 - v) for v in values if 0.02 < v < 0.98})
    picked = cuts[:: max(1, len(cuts) // 12)]
    made: list[Callable[[float], float]] = [lambda x: x, _cut_small(0.5)]
    made += [_cut_small(min(eps + 1e-9, 0.5)) for eps in picked]
    made += [_halves(min(eps + 1e-9, 0.5)) for eps in picked]
    return made + [_steps(k) for k in (1, 2, 3, 4, 5)]


def rectangle_bound(items: Sequence[tuple[Size, ...]]) -> int:
    """Regions needed by dual feasible functions; every item in the turn that asks least."""
    if not items:
        return 0
    widths = sorted({s[0] for item in items for s in item})
    heights = sorted({s[1] for item in items for s in item})
    most = max(len(item) for item in items)
    w = np.array([[item[min(k, len(item) - 1)][0] for k in range(most)] for item in items])
    h = np.array([[item[min(k, len(item) - 1)][1] for k in range(most)] for item in items])
    across = [np.vectorize(f, otypes=[float])(w) for f in _functions(widths)]
    up = [np.vectorize(f, otypes=[float])(h) for f in _functions(heights)]
    total = max(float((a * b).min(axis=1).sum()) for a, b in product(across, up))
    return math.ceil(total - 1e-6)


def clique_bound(items: Sequence[tuple[Size, ...]]) -> int:
    """Regions needed by pieces of which no two can share one."""

    def conflict(a: tuple[Size, ...], b: tuple[Size, ...]) -> bool:
        return all(p[0] + q[0] > 1 and p[1] + q[1] > 1 for p in a for q in b)

    big = [i for i in items if all(s[0] > 0.5 or s[1] > 0.5 for s in i)]
    big.sort(key=lambda i: -min(s[0] * s[1] for s in i))
    best = 0
    for first in range(min(len(big), 20)):
        chosen = [big[first]]
        for other in big[:first] + big[first + 1 :]:
            if all(conflict(other, c) for c in chosen):
                chosen.append(other)
        best = max(best, len(chosen))
    return best


def lower_bound(parts: Sequence[NestPart], kinds: Sequence[Kind], settings: NestSettings) -> int:
    """Number of sheets that no layout can beat."""
    wanted = [part for part in parts if part.copies]
    regions = [region for kind in kinds for region in kind.regions]
    if not wanted or not regions:
        return 0
    gap = settings.gap_mm
    room = (
        max(region.box.width for region in regions) + gap,
        max(region.box.height for region in regions) + gap,
    )
    items = _items(wanted, room, gap)
    needed = max(rectangle_bound(items), clique_bound(items))
    each = [float(len(kind.regions)) for kind in kinds]
    by_size = sheets_for(needed, capacities(kinds, each, len(items) + 1))
    return max(1, area_bound(wanted, kinds, settings), by_size)
