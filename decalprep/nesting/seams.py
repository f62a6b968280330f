"""Where a seam shows least: a cost over the artwork, and the cheapest line across it.

All here is for seams that run up the decal (constant or nearly constant x); for seams across, the
caller swaps x and y. The grid has its cell (0, 0) at the lower left of ``box``.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from shapely.geometry.base import BaseGeometry

from decalprep.geometry import Box
from decalprep.nesting.raster import touched_cells

Costs = npt.NDArray[np.float64]
GROUND, EDGE, LEGEND, HOLE = 1.0, 0.1, 1000.0, 3000.0
"""Cost of a mm of seam: on plain ground, along a panel edge, through legend, through a hole."""
SIDEWAYS = 3.0
"""Cost of a step sideways, so that a seam that follows an edge does not wander."""


@dataclass(frozen=True)
class CostMap:
    """Cost of a mm of seam for every cell of ``step_mm``; ``avoided`` marks legend and holes."""

    box: Box
    step_mm: float
    costs: Costs
    avoided: npt.NDArray[np.bool_]

    def turned(self) -> CostMap:
        """The same with x and y swapped."""
        b = self.box
        swapped = Box(b.y0, b.x0, b.y1, b.x1)
        return CostMap(swapped, self.step_mm, self.costs.T.copy(), self.avoided.T.copy())


def cost_map(
    decal: BaseGeometry,
    step_mm: float,
    *,
    legend: Sequence[BaseGeometry] = (),
    holes: Sequence[BaseGeometry] = (),
    edges: Sequence[BaseGeometry] = (),
    clear_mm: float = 1.5,
    extra: Costs | None = None,
) -> CostMap:
    """The cost of a seam everywhere on a decal.

    ``legend`` and ``holes`` are kept clear by ``clear_mm``; ``edges`` are lines that hide a seam.
    ``extra`` is added: any array over the decal's box, first row at the bottom, sampled.
    """
    x0, y0, x1, y1 = decal.bounds
    columns = max(1, int(np.ceil((x1 - x0) / step_mm - 1e-6)))
    rows = max(1, int(np.ceil((y1 - y0) / step_mm - 1e-6)))

    def cells(shape: BaseGeometry, by_mm: float) -> npt.NDArray[np.bool_]:
        return touched_cells(shape.buffer(by_mm), (x0, y0), step_mm, rows, columns)

    costs = np.where(cells(decal, 0.0), GROUND, 0.0)
    for line in edges:
        costs[cells(line, step_mm / 4)] = EDGE
    if extra is not None and extra.size:
        i = np.minimum(np.arange(rows) * extra.shape[0] // rows, extra.shape[0] - 1)
        j = np.minimum(np.arange(columns) * extra.shape[1] // columns, extra.shape[1] - 1)
        costs = costs + extra[np.ix_(i, j)]
    avoided = np.zeros((rows, columns), dtype=bool)
    for shapes, cost in ((legend, LEGEND), (holes, HOLE)):
        for shape in shapes:
            taken = cells(shape, clear_mm)
            avoided |= taken
            costs = np.where(taken, np.maximum(costs, cost), costs)
    return CostMap(Box(x0, y0, x1, y1), step_mm, costs, avoided)


def column_costs(field: CostMap) -> Costs:
    """Cost of a straight seam on each line between two columns (the dearer of both sides)."""
    costs = np.maximum(field.costs[:, :-1], field.costs[:, 1:])
    return np.asarray(costs.sum(axis=0) * field.step_mm)


def best_lines(
    costs: Costs, step_mm: float, first: float, later: float, last: float, *, least: float = 0.0
) -> list[int]:
    """Line numbers of the cheapest seams (at least one) with the fewest tiles; empty if none fit.

    Line k is ``(k + 1) * step_mm`` from the left. The first tile may be ``first`` wide up to its
    seam, tiles between ``later``, the last one ``last``; none is narrower than ``least``.

    >>> best_lines(np.array([9.0, 9, 9, 1, 9, 9, 9]), 1.0, 6.0, 6.0, 6.0)
    [3]
    """
    lines = len(costs)
    at = (np.arange(lines) + 1) * step_mm
    total = (lines + 1) * step_mm
    reach = np.where((at <= first + 1e-9) & (at >= least - 1e-9), costs, np.inf)
    before: list[npt.NDArray[np.int64]] = [np.full(lines, -1)]
    while True:
        over = total - at
        ends = np.where((over <= last + 1e-9) & (over >= least - 1e-9), reach, np.inf)
        if np.isfinite(ends).any():
            chosen = [int(np.argmin(ends))]
            for back in reversed(before[1:]):
                chosen.append(int(back[chosen[-1]]))
            return chosen[::-1]
        further = np.full(lines, np.inf)
        back = np.full(lines, -1)
        for k in range(lines):
            low = int(np.searchsorted(at, at[k] - later - 1e-9))
            high = min(k, int(np.searchsorted(at, at[k] - least + 1e-9, side="right")))
            if low < high and np.isfinite(reach[low:high]).any():
                back[k] = low + int(np.argmin(reach[low:high]))
                further[k] = reach[back[k]] + costs[k]
        if not np.isfinite(further).any():
            return []
        reach = further
        before.append(back)


def swayed(between: Costs, away: int) -> Costs:
    """Cost of the cheapest seam within ``away`` cells of each line; ``between`` is (rows, lines).

    Moves as ``following`` does, but sums cells, not mm.

    >>> swayed(np.array([[0.0, 9, 9], [0, 9, 9], [9, 0, 9], [9, 0, 9]]), 1)
    array([ 3.,  3., 18.])
    """
    padded = np.pad(between, ((0, 0), (away, away)), constant_values=np.inf)
    windows = np.lib.stride_tricks.sliding_window_view(padded, 2 * away + 1, axis=1)
    total = windows[0]
    for row in windows[1:]:
        side = np.pad(total, ((0, 0), (1, 1)), constant_values=np.inf) + SIDEWAYS
        total = np.minimum(np.minimum(side[:, :-2], side[:, 2:]), total) + row
    return np.asarray(total.min(axis=1))


def following(field: CostMap, line: int, most_mm: float) -> list[int]:
    """Line number for each row of the cheapest seam within ``most_mm`` of a straight one.

    Moves at most one cell sideways a row, and pays for each move.
    """
    between = np.maximum(field.costs[:, :-1], field.costs[:, 1:])
    away = int(most_mm / field.step_mm)
    low, high = max(0, line - away), min(between.shape[1], line + away + 1)
    corridor = between[:, low:high]
    total = corridor[0].copy()
    steps = []
    for row in corridor[1:]:
        padded = np.pad(total, 1, constant_values=np.inf)
        moves = np.stack([padded[:-2] + SIDEWAYS, total, padded[2:] + SIDEWAYS])
        chosen = np.argmin(moves, axis=0) - 1
        steps.append(chosen)
        total = moves.min(axis=0) + row
    at = int(np.argmin(total))
    found = [at]
    for chosen in reversed(steps):
        at += int(chosen[at])
        found.append(at)
    return [low + k for k in found[::-1]]
