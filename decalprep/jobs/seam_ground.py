"""Where on a decal a seam would show, and where it hides: read from the decal as it is drawn.

The picture is taken in cells of 1 mm. A cell is uneven by the grey levels between the darkest and
the lightest of it and its neighbours. Where two even grounds meet along a straight upright or level
edge, a seam hides best: such an edge is not legend. A line with the same ground on both sides is.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
import numpy.typing as npt
import shapely
from shapely.geometry import LineString

from decalprep.model import Decal

if TYPE_CHECKING:
    from decalprep.nesting import Ground

Array = npt.NDArray[np.float64]
Mask = npt.NDArray[np.bool_]

PICTURE_DPI = 127.0
CELL_PX = 5
"""Pixels a cell: at 127 px an inch a cell is 1 mm."""
TELLING = 60.0
"""Grey levels within a cell and its neighbours from which it counts as legend."""
FAINT = 0.3
"""Cost of a mm of seam for each grey level of unevenness, beside 1 on plain ground."""
EDGE_MM = 1.0
"""So near the outline the picture's own edge is not legend."""
FLAT, APART = 10.0, 24.0
"""Grey levels within an even ground, and between two that an edge parts."""
LEAST_EDGE_MM, LEAST_SHARE = 15, 0.4
"""An edge is so long at least, and so much of the decal: else it is that of a thing on it."""


@dataclass(frozen=True)
class _Cells:
    """Lowest and highest level of each cell and channel, row 0 low."""

    low: Array
    high: Array

    def turned(self) -> _Cells:
        """x and y exchanged."""
        return _Cells(self.low.transpose(1, 0, 2), self.high.transpose(1, 0, 2))

    def unevenness(self) -> Array:
        """Levels between darkest and lightest of each cell and its right and upper neighbours."""
        pad = ((0, 1), (0, 1), (0, 0))
        low, high = np.pad(self.low, pad, mode="edge"), np.pad(self.high, pad, mode="edge")
        least = np.minimum(np.minimum(low[:-1, :-1], low[1:, :-1]), low[:-1, 1:])
        most = np.maximum(np.maximum(high[:-1, :-1], high[1:, :-1]), high[:-1, 1:])
        return np.asarray((most - least).max(axis=2))


def seam_ground(decal: Decal) -> tuple[Ground, Ground]:
    """What seams avoid and seek on a decal, in decal mm: upright seams, and those across.

    Legend and holes, hiding edges along the seam's own way, and unevenness as a cost.
    """
    cells = _cells(decal)
    upright, level = _upright_edges(cells), _upright_edges(cells.turned())
    turned = _Edges(tuple((a[::-1], b[::-1]) for a, b in level.lines), level.hides.T)
    return _ground(decal, cells, upright), _ground(decal, cells, turned)


def _ground(decal: Decal, cells: _Cells, edges: _Edges) -> Ground:
    from decalprep.nesting import Ground

    x0, y0, x1, _ = _window(decal)
    rows, columns = cells.low.shape[:2]
    step = (x1 - x0) / columns
    left, low = np.meshgrid(x0 + step * np.arange(columns), y0 + step * np.arange(rows))
    inside = decal.outline.polygon(0.05).buffer(-EDGE_MM)
    shapely.prepare(inside)
    deep = shapely.contains_xy(inside, left + step / 2, low + step / 2) & ~edges.hides
    uneven = cells.unevenness()
    telling = (uneven >= TELLING) & deep
    squares = shapely.box(left[telling], low[telling], left[telling] + step, low[telling] + step)
    lines = [[(x0 + i * step, y0 + j * step) for i, j in line] for line in edges.lines]
    return Ground(
        legend=[shapely.union_all(squares)] if len(squares) else [],
        holes=[hole.contour.polygon(0.05) for hole in decal.holes],
        edges=[LineString(line) for line in lines],
        cost=np.where(deep, np.minimum(uneven, TELLING) * FAINT, 0.0),
    )


@dataclass(frozen=True)
class _Edges:
    """Upright edges: lines as (column, row) of cell corners, and the cells that are edge only."""

    lines: tuple[tuple[tuple[int, int], tuple[int, int]], ...]
    hides: Mask


def _upright_edges(cells: _Cells) -> _Edges:
    """Where an even ground ends and another begins, along a run of rows.

    Cell j holds the edge where j-1 and j+1 are even and differ, and j has nothing beside the two.
    """
    low, high = cells.low, cells.high
    even = (high - low).max(axis=2) < FLAT
    mean = (low + high) / 2
    here = np.zeros(even.shape, bool)
    a, b = mean[:, :-2], mean[:, 2:]
    between = (low[:, 1:-1] > np.minimum(a, b) - FLAT) & (high[:, 1:-1] < np.maximum(a, b) + FLAT)
    here[:, 1:-1] = even[:, :-2] & even[:, 2:] & between.all(axis=2)
    here[:, 1:-1] &= np.abs(a - b).max(axis=2) >= APART
    lines, hides = [], np.zeros(even.shape, bool)
    for j in map(int, np.nonzero(here.any(axis=0))[0]):
        for first, last in _runs(here[:, j]):
            if last - first < max(LEAST_EDGE_MM, LEAST_SHARE * len(here)):
                continue
            # unevenness of a cell is that of its right and upper neighbours too
            hides[first : last - 1, j - 1 : j + 1] = True
            lines.append(((j + _side(mean[first:last], j), first), (0, last)))
    return _Edges(tuple((p, (p[0], q[1])) for p, q in lines), hides)


def _side(mean: Array, j: int) -> int:
    """Whether the edge in column j lies nearer its left side (0) or its right side (1)."""
    left, own, right = (np.median(mean[:, k], axis=0) for k in (j - 1, j, j + 1))
    channel = int(np.argmax(np.abs(right - left)))
    return int(abs(own[channel] - left[channel]) < abs(own[channel] - right[channel]))


def _runs(column: Mask) -> list[tuple[int, int]]:
    """(first, one past the last) of each run of set cells."""
    steps = np.diff(np.concatenate([[0], column.astype(np.int8), [0]]))
    starts, ends = np.nonzero(steps == 1)[0], np.nonzero(steps == -1)[0]
    return [(int(a), int(b)) for a, b in zip(starts, ends, strict=True)]


def _window(decal: Decal) -> tuple[float, float, float, float]:
    """The decal's box, widened to whole cells at its right and upper side."""
    b = decal.outline.box
    across, up = (max(1, int(np.ceil(side - 1e-6))) for side in (b.width, b.height))
    return b.x0, b.y0, b.x0 + across, b.y0 + up


def _cells(decal: Decal) -> _Cells:
    from decalprep.geometry import Box
    from decalprep.outline.picture import draw

    picture = draw(decal.artwork, decal.decal_from_artwork, Box(*_window(decal)), dpi=PICTURE_DPI)
    paper = picture.paper.astype(np.float64)
    rows, columns = paper.shape[0] // CELL_PX, paper.shape[1] // CELL_PX
    blocks = paper[: rows * CELL_PX, : columns * CELL_PX].reshape(
        rows, CELL_PX, columns, CELL_PX, 3
    )
    return _Cells(blocks.min(axis=(1, 3))[::-1], blocks.max(axis=(1, 3))[::-1])
