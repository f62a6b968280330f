"""What makes one nest better than another, in order of weight.

Fewest pieces left over; then fewest sheets; then fewest whole ones among them, since a part-used
sheet saves a whole one; then the least paper (by price where every sheet has one, else by area);
then the largest rectangle left on the last sheet, in steps of a twentieth of the sheet so that a
millimetre does not outweigh what follows; then pieces of one panel on one sheet; then straight
cuts from edge to edge where rows are asked for.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from decalprep.nesting.layout import NestSettings
from decalprep.nesting.raster import largest_rectangle
from decalprep.nesting.state import Nest, OpenSheet

COARSE = 4
Score = tuple[int, int, int, float, int, int, int]
_Box = tuple[float, float, float, float]


def last_sheet(nest: Nest) -> OpenSheet | None:
    """The emptiest sheet in use that is not locked."""
    return min((s for s in nest.used if not s.locked), key=lambda s: s.taken, default=None)


def rest_rectangle_mm(sheet: OpenSheet, step_mm: float, coarse: int = 1) -> tuple[float, float]:
    """(width, height) in mm of the largest free rectangle on a sheet.

    ``coarse`` cells are taken together each way where speed matters more than a few mm.
    """
    best = (0, 0)
    for board in sheet.boards:
        free = board.free_mask()
        rows, columns = (side // coarse * coarse for side in free.shape)
        blocks = free[:rows, :columns].reshape(rows // coarse, coarse, columns // coarse, coarse)
        _, _, across, up = largest_rectangle(np.asarray(blocks.all(axis=(1, 3)), dtype=bool))
        best = max(best, (across, up), key=lambda size: size[0] * size[1])
    return best[0] * coarse * step_mm, best[1] * coarse * step_mm


def panel_spread(nest: Nest) -> int:
    """How many (panel, sheet) pairs there are beyond one for each panel."""
    pairs = {(piece.panel, i) for i, s in enumerate(nest.sheets) for piece in s.where}
    return len(pairs) - len({panel for panel, _ in pairs})


def straight_cuts(nest: Nest) -> int:
    """Pieces that straight cuts from edge to edge can free, over all sheets."""
    count = 0
    for sheet in nest.used:
        for number in range(len(sheet.boards)):
            boxes = [
                (s.x, s.y, s.x + s.turned.width, s.y + s.turned.height)
                for index, s in sheet.where.values()
                if index == number
            ]
            count += _freed(boxes)
    return count


def _freed(boxes: Sequence[_Box]) -> int:
    if len(boxes) <= 1:
        return 0
    for axis in (1, 0):
        ordered = sorted(boxes, key=lambda b: b[axis])
        reach = ordered[0][axis + 2]
        for k in range(1, len(ordered)):
            if ordered[k][axis] >= reach - 1e-6:
                return 1 + _freed(ordered[:k]) + _freed(ordered[k:])
            reach = max(reach, ordered[k][axis + 2])
    return 0


def score(nest: Nest, settings: NestSettings) -> Score:
    """Smaller is better."""
    last = last_sheet(nest)
    rest = 0
    if last is not None:
        width, height = rest_rectangle_mm(last, settings.grid_mm, COARSE)
        whole = sum(r.box.area for r in last.kind.regions) or 1.0
        rest = -int(20 * width * height / whole)
    cuts = -straight_cuts(nest) if settings.rows else 0
    left = sum(piece.area for piece in nest.pool)
    whole_ones = sum(not (s.kind.sheet.gone or s.kind.sheet.gone_labels) for s in nest.used)
    paper = round(sum(s.kind.cost for s in nest.used), 3)
    return (left, len(nest.used), whole_ones, paper, rest, panel_spread(nest), cuts)
