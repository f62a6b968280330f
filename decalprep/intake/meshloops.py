"""The edge of a flat face as closed loops, the material always on the left.

An edge that only one facet of the face has is on the rim. Loops run counter-clockwise round the
outside and clockwise round holes.
"""

from __future__ import annotations

import math
from collections import defaultdict
from typing import Any

import numpy as np
import shapely
from shapely.geometry import Polygon

Array = np.ndarray[Any, np.dtype[Any]]
Point = tuple[float, float]

SNAP_MM = 1e-4
"""Grid on which a face whose rim does not close is put together again."""
STRAIGHT_MM = 2e-5
"""Corners nearer than this to a straight rim are left out: rounding of 32-bit mesh files."""


def rim_loops(points: Array, facets: Array) -> list[list[Point]] | None:
    """Loops of (x, y) round counter-clockwise facets; None where the rim does not close.

    ``points`` is n x 2, ``facets`` m x 3 of point numbers.
    """
    edges = np.concatenate([facets[:, [0, 1]], facets[:, [1, 2]], facets[:, [2, 0]]])
    low, high = edges.min(axis=1), edges.max(axis=1)
    code = low.astype(np.int64) * (int(facets.max()) + 1) + high
    _, where, counts = np.unique(code, return_inverse=True, return_counts=True)
    rim = edges[counts[where.reshape(-1)] == 1]
    leaving: dict[int, list[int]] = defaultdict(list)
    for start, end in rim.tolist():
        leaving[start].append(end)
    loops = []
    while leaving:
        first = next(iter(leaving))
        loop = _walked(first, leaving, points)
        if loop is None:
            return None
        loops.append([(float(points[k, 0]), float(points[k, 1])) for k in loop])
    return loops


def _walked(first: int, leaving: dict[int, list[int]], points: Array) -> list[int] | None:
    """One loop, its edges taken out of ``leaving``; None at a dead end."""
    loop, before, here = [first], -1, first
    while True:
        ways = leaving.get(here)
        if not ways:
            return None
        pick = 0 if len(ways) == 1 or before < 0 else _sharpest_left(before, here, ways, points)
        after = ways.pop(pick)
        if not ways:
            del leaving[here]
        if after == first:
            return loop
        loop.append(after)
        before, here = here, after


def _sharpest_left(before: int, here: int, ways: list[int], points: Array) -> int:
    """Where rims touch in a point: stay with the same material, which lies on the left."""
    back = math.atan2(points[before, 1] - points[here, 1], points[before, 0] - points[here, 0])

    def clockwise_from_back(way: int) -> float:
        angle = math.atan2(points[way, 1] - points[here, 1], points[way, 0] - points[here, 0])
        return (back - angle) % math.tau

    return min(range(len(ways)), key=lambda k: clockwise_from_back(ways[k]))


def face_polygons(points: Array, facets: Array) -> tuple[list[Polygon], bool]:
    """(polygons of the face, largest first; whether the rim had to be put together again).

    Falls back on joining the facets on a grid of ``SNAP_MM`` where loops do not close, cross
    themselves or do not enclose the facets' own area.
    """
    x, y = points[facets, 0], points[facets, 1]
    twice = (x[:, 1] - x[:, 0]) * (y[:, 2] - y[:, 0]) - (x[:, 2] - x[:, 0]) * (y[:, 1] - y[:, 0])
    area = float(np.abs(twice).sum() / 2)
    loops = rim_loops(points, facets)
    polygons = _nested(loops) if loops is not None else None
    if polygons is not None:
        enclosed = sum(p.area for p in polygons)
        if all(p.is_valid for p in polygons) and abs(enclosed - area) <= 1e-6 * area + 1e-6:
            return _largest_first(polygons), False
    pieces = shapely.polygons(points[facets[np.abs(twice) > 1e-12]])
    joined = shapely.union_all(pieces, grid_size=SNAP_MM)
    parts = [p for p in getattr(joined, "geoms", [joined]) if isinstance(p, Polygon)]
    return _largest_first(parts), True


def _largest_first(polygons: list[Polygon]) -> list[Polygon]:
    slim = [p.simplify(STRAIGHT_MM) for p in polygons if p.area > 1e-9]
    return sorted(slim, key=lambda p: -float(Polygon(p.exterior).area))


def _nested(loops: list[list[Point]]) -> list[Polygon] | None:
    """Outer loops with the holes that lie in them; None where a hole lies in none."""
    rings = [(Polygon(loop), _signed_area(loop)) for loop in loops if len(loop) >= 3]
    outer = sorted((ring for ring, area in rings if area > 1e-9), key=lambda ring: ring.area)
    holes: list[list[Any]] = [[] for _ in outer]
    for ring, area in rings:
        if area >= -1e-9:
            continue
        inside = ring.representative_point() if ring.is_valid else None
        home = next(
            (k for k, o in enumerate(outer) if inside is not None and o.contains(inside)), None
        )
        if home is None:
            return None
        holes[home].append(ring.exterior.coords)
    return [Polygon(o.exterior.coords, holes[k]) for k, o in enumerate(outer)]


def _signed_area(loop: list[Point]) -> float:
    total = 0.0
    for (x0, y0), (x1, y1) in zip(loop, [*loop[1:], loop[0]], strict=True):
        total += x0 * y1 - x1 * y0
    return total / 2


def sagitta(corners: list[Point]) -> float:
    """How far the facets of rounded runs of a ring lie inside the curve through their corners.

    Of an edge of length L between corners that turn the same way by an angle a of at most 50
    degrees: L / 2 tan(a / 4), which is r (1 - cos(a / 2)) on a circle. A straight side between
    two rounded corners is no facet: a facet has a neighbour about as long as itself.

    >>> ring = [(math.cos(k * math.tau / 24), math.sin(k * math.tau / 24)) for k in range(24)]
    >>> abs(sagitta(ring) - (1 - math.cos(math.pi / 24))) < 1e-12
    True
    """
    count = len(corners)
    headings, lengths = [], []
    for k in range(count):
        dx = corners[(k + 1) % count][0] - corners[k][0]
        dy = corners[(k + 1) % count][1] - corners[k][1]
        headings.append(math.atan2(dy, dx))
        lengths.append(math.hypot(dx, dy))
    turns = [(headings[k] - headings[k - 1] + math.pi) % math.tau - math.pi for k in range(count)]
    worst = 0.0
    for k in range(count):
        a, b = turns[k], turns[(k + 1) % count]
        alike = lengths[k] <= 1.5 * max(lengths[k - 1], lengths[(k + 1) % count])
        if alike and a * b > 0 and max(abs(a), abs(b)) <= math.radians(50):
            worst = max(worst, lengths[k] / 2 * math.tan(max(abs(a), abs(b)) / 4))
    return worst
