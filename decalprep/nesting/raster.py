"""Polygons to cells of a grid: every cell touched (safe cover), or every cell wholly inside.

A cell (i, j) spans x from j to j + 1 and y from i to i + 1 in grid steps from the given origin.
Whether an edge touches a cell is found by cutting every edge at every grid line, so the cover is
exact, not sampled: two polygons whose covers share no cell cannot overlap.
"""

from __future__ import annotations

import math

import numpy as np
import numpy.typing as npt
import shapely
from shapely.geometry import Polygon
from shapely.geometry.base import BaseGeometry

Mask = npt.NDArray[np.bool_]
Floats = npt.NDArray[np.float64]
TOUCH_MM = 1e-5
"""Reach into a cell that counts as none: sums of floats may give 102.0000001 for 102."""


def grown(shape: BaseGeometry, by_mm: float) -> BaseGeometry:
    """The shape grown by ``by_mm`` all round, less ``TOUCH_MM``; arcs within 0.2 micrometres."""
    reach = by_mm - TOUCH_MM
    if by_mm <= 0:
        return shape.buffer(-TOUCH_MM, join_style="mitre")
    steps = math.ceil(math.pi / 4 / math.acos(max(1 - 2e-4 / by_mm, -1.0)))
    return shape.buffer(reach, quad_segs=min(max(steps, 8), 128))


def polygons_of(shape: BaseGeometry) -> list[Polygon]:
    """The polygons in any geometry; lines and points are left out."""
    if isinstance(shape, Polygon):
        return [] if shape.is_empty else [shape]
    return [p for part in getattr(shape, "geoms", ()) for p in polygons_of(part)]


def _edges(shape: BaseGeometry, origin: tuple[float, float], step: float) -> Floats:
    rings = [r for p in polygons_of(shape) for r in (p.exterior, *p.interiors)]
    parts = []
    for ring in rings:
        points = (shapely.get_coordinates(ring) - origin) / step
        parts.append(np.hstack([points[:-1], points[1:]]))
    return np.vstack(parts) if parts else np.zeros((0, 4))


def _crossings(edges: Floats, axis: int) -> tuple[npt.NDArray[np.intp], Floats]:
    """(edge number, fraction along it) of every crossing with grid lines across ``axis``."""
    a, b = edges[:, axis], edges[:, axis + 2]
    first = np.ceil(np.minimum(a, b)).astype(np.int64)
    last = np.floor(np.maximum(a, b)).astype(np.int64)
    counts = np.where(a == b, 0, np.maximum(last - first + 1, 0))
    which = np.repeat(np.arange(len(edges)), counts)
    nth = np.arange(len(which)) - np.repeat(np.cumsum(counts) - counts, counts)
    lines = first[which] + nth
    return which, (lines - a[which]) / (b - a)[which]


def _edge_cells(edges: Floats, rows: int, columns: int) -> Mask:
    mask = np.zeros((rows, columns), dtype=bool)
    if not len(edges):
        return mask
    every = np.arange(len(edges))
    x_edge, x_at = _crossings(edges, 0)
    y_edge, y_at = _crossings(edges, 1)
    which = np.concatenate([every, every, x_edge, y_edge])
    at = np.concatenate([np.zeros(len(edges)), np.ones(len(edges)), x_at, y_at])
    order = np.lexsort((at, which))
    which, at = which[order], np.clip(at[order], 0.0, 1.0)
    same = which[:-1] == which[1:]
    edge, middle = which[:-1][same], ((at[:-1] + at[1:]) / 2)[same]
    x = edges[edge, 0] + middle * (edges[edge, 2] - edges[edge, 0])
    y = edges[edge, 1] + middle * (edges[edge, 3] - edges[edge, 1])
    i, j = np.floor(y).astype(np.int64), np.floor(x).astype(np.int64)
    inside = (i >= 0) & (i < rows) & (j >= 0) & (j < columns)
    mask[i[inside], j[inside]] = True
    return mask


def _centre_cells(edges: Floats, rows: int, columns: int) -> Mask:
    """Cells whose centre lies inside, by even-odd crossings of the row's middle line."""
    flips = np.zeros((rows, columns + 1), dtype=np.int32)
    if len(edges):
        lifted = edges - np.array([0.0, 0.5, 0.0, 0.5])
        low, high = np.minimum(lifted[:, 1], lifted[:, 3]), np.maximum(lifted[:, 1], lifted[:, 3])
        first, last = np.ceil(low).astype(np.int64), np.ceil(high).astype(np.int64) - 1
        counts = np.maximum(last - first + 1, 0)
        which = np.repeat(np.arange(len(edges)), counts)
        row = first[which] + np.arange(len(which)) - np.repeat(np.cumsum(counts) - counts, counts)
        x0, y0, x1, y1 = lifted[which].T
        x = x0 + (row - y0) / (y1 - y0) * (x1 - x0)
        column = np.clip(np.ceil(x - 0.5), 0, columns).astype(np.int64)
        inside = (row >= 0) & (row < rows)
        np.add.at(flips, (row[inside], column[inside]), 1)
    return (np.cumsum(flips, axis=1)[:, :columns] % 2).astype(bool)


def touched_cells(
    shape: BaseGeometry, origin: tuple[float, float], step: float, rows: int, columns: int
) -> Mask:
    """Every cell that the inside of ``shape`` reaches into.

    >>> touched_cells(shapely.box(0.5, 0, 2, 0.9), (0, 0), 1.0, 2, 3).astype(int).tolist()
    [[1, 1, 1], [0, 0, 0]]
    """
    edges = _edges(shape, origin, step)
    return _edge_cells(edges, rows, columns) | _centre_cells(edges, rows, columns)


def inner_cells(
    shape: BaseGeometry, origin: tuple[float, float], step: float, rows: int, columns: int
) -> Mask:
    """Every cell wholly inside ``shape``; a cell that an edge only touches may be left out."""
    edges = _edges(shape, origin, step)
    return _centre_cells(edges, rows, columns) & ~_edge_cells(edges, rows, columns)


def _run_starts(lines: Mask) -> list[int]:
    """Where a line differs from the one before it, with 0 and the number of lines."""
    if not len(lines):
        return [0]
    differ = np.any(lines[1:] != lines[:-1], axis=1)
    return [0, *(np.flatnonzero(differ) + 1).tolist(), len(lines)]


def largest_rectangle(free: Mask) -> tuple[int, int, int, int]:
    """(column, row, columns, rows) of the largest all-true rectangle; zeros if there is none.

    Rows and columns that repeat are taken together: no largest rectangle ends between them.

    >>> largest_rectangle(np.array([[1, 1, 0], [1, 1, 1]], dtype=bool))
    (0, 0, 2, 2)
    """
    best, found = 0, (0, 0, 0, 0)
    ys, xs = _run_starts(free), _run_starts(free.T)
    heights = [0] * (len(xs) - 1)
    for i, line in enumerate(free[ys[:-1]][:, xs[:-1]].tolist()):
        tall = ys[i + 1] - ys[i]
        heights = [h + tall if cell else 0 for h, cell in zip(heights, line, strict=True)]
        stack: list[tuple[int, int]] = []
        for j, h in enumerate([*heights, 0]):
            start = j
            while stack and stack[-1][1] >= h:
                start, high = stack.pop()
                area = high * (xs[j] - xs[start])
                if area > best:
                    best, found = area, (xs[start], ys[i + 1] - high, xs[j] - xs[start], high)
            stack.append((start, h))
    return found
