"""Places along a line at which it is measured, away from corners, where two lines share ink."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from shapely.geometry import LineString

Floats = npt.NDArray[np.float64]
Point = tuple[float, float]

CORNER_MM = 0.4
CORNER_DEG = 20.0
CLEAR_MM, FAR_MM = 0.3, 10.0
"""Two sides of an acute corner are apart by this before one is measured without the other."""
SAME_MM = 0.0002
"""A point this near to the line between its neighbours is left out."""


@dataclass(frozen=True)
class Stations:
    """Places to measure: points on the expected line (page mm), unit normals, and run length.

    ``along_mm`` is the distance of each station from the line's start, ``length_mm`` the whole.
    """

    points: Floats
    normals: Floats
    along_mm: Floats
    length_mm: float
    closed: bool


def stations_on(points_mm: Sequence[Point], *, closed: bool) -> Stations:
    """Stations on a polygon or an open polyline, about 0.3 to 2 mm apart, away from corners.

    On curves the stations are the given points themselves, which lie on the true curve; on
    straight pieces they are spread between the corners.
    """
    ring = _plain(np.asarray(points_mm, float), closed=closed)
    following = np.roll(ring, -1, axis=0) if closed else ring[1:]
    vectors = following - ring[: len(following)]
    lengths = np.hypot(vectors[:, 0], vectors[:, 1])
    keep = lengths > 1e-9
    if not keep.all():
        kept = ring[: len(following)][keep]
        ring = kept if closed else np.vstack([kept, ring[-1:]])
        vectors, lengths = vectors[keep], lengths[keep]
    if len(lengths) == 0:
        return Stations(np.empty((0, 2)), np.empty((0, 2)), np.empty(0), 0.0, closed)
    units = vectors / lengths[:, None]
    turns = _turns(units, closed=closed)
    starts = np.concatenate([[0.0], np.cumsum(lengths)])
    step = min(max(float(starts[-1]) / 240, 0.3), 2.0)
    rows = _straight_rows(ring, units, lengths, turns, step, starts)
    rows += _curve_rows(ring, units, turns, step, starts)
    if not rows:  # a very small shape: the middle of each side
        rows = [
            (*(ring[i] + vectors[i] / 2), *units[i], starts[i] + lengths[i] / 2)
            for i in range(len(units))
        ]
    table = np.array(sorted(rows, key=lambda row: row[4]), float)
    normals = np.column_stack([table[:, 3], -table[:, 2]])
    return Stations(table[:, :2], normals, table[:, 4], float(starts[-1]), closed)


def _plain(ring: Floats, *, closed: bool) -> Floats:
    """The same line without points that add nothing: a straight side may come in many pieces."""
    if len(ring) < 4:
        return ring
    line = LineString(np.vstack([ring, ring[:1]]) if closed else ring)
    kept = np.asarray(line.simplify(SAME_MM, preserve_topology=False).coords, float)
    if closed:
        kept = kept[:-1]
    return kept if len(kept) > 2 or not closed else ring


def _turns(units: Floats, *, closed: bool) -> Floats:
    """Angle in degrees at the start of each piece and end (180 at open ends)."""
    before = np.roll(units, 1, axis=0)
    cross = before[:, 0] * units[:, 1] - before[:, 1] * units[:, 0]
    turns = np.degrees(np.arctan2(np.abs(cross), (before * units).sum(axis=1)))
    if not closed:
        turns[0] = 180.0
        return np.append(turns, 180.0)
    return np.append(turns, turns[0])


def _clearance_mm(turn_deg: float) -> float:
    """How far from a corner its other side no longer shares ink; 180 degrees is an open end."""
    if turn_deg <= 90 or turn_deg >= 180:
        return CORNER_MM
    return min(max(CORNER_MM, CLEAR_MM / math.sin(math.radians(turn_deg))), FAR_MM)


def _straight_rows(
    ring: Floats, units: Floats, lengths: Floats, turns: Floats, step: float, starts: Floats
) -> list[tuple[float, ...]]:
    """Stations inside straight pieces: (x, y, ux, uy, along)."""
    rows: list[tuple[float, ...]] = []
    for i, length in enumerate(lengths):
        first, last = turns[i], turns[i + 1]
        # the chord of a flattened curve bends by length * turn / 8 between its ends
        if length * math.radians(min(first, last)) / 8 <= 0.003 and 0.02 < min(first, last) < 20:
            continue
        low = _clearance_mm(first) if first > CORNER_DEG else 0.1
        high = length - (_clearance_mm(last) if last > CORNER_DEG else 0.1)
        if high <= low:
            if length < 0.5:
                continue
            low = high = length / 2
        count = max(1, round((high - low) / step) + 1)
        for at in np.linspace(low, high, count) if count > 1 else [(low + high) / 2]:
            x, y = ring[i] + units[i] * at
            rows.append((x, y, units[i][0], units[i][1], starts[i] + at))
    return rows


def _curve_rows(
    ring: Floats, units: Floats, turns: Floats, step: float, starts: Floats
) -> list[tuple[float, ...]]:
    """Stations on the given points of curves, at least ``step`` apart, away from corners."""
    rows: list[tuple[float, ...]] = []
    sharp = np.nonzero(turns > CORNER_DEG)[0]
    corners = starts[sharp]
    clear = np.array([_clearance_mm(float(turns[k])) for k in sharp])
    last_at = -math.inf
    for i in range(len(units)):
        if not 0.02 < turns[i] <= CORNER_DEG or starts[i] - last_at < step:
            continue
        if len(corners) and (np.abs(corners - starts[i]) < clear).any():
            continue
        tangent = units[i - 1] + units[i]
        tangent = tangent / np.hypot(*tangent)
        rows.append((ring[i][0], ring[i][1], tangent[0], tangent[1], starts[i]))
        last_at = starts[i]
    return rows
