"""Pieces of one sheet laid in rows, so that straight cuts from edge to edge part them."""

from __future__ import annotations

import math
from collections.abc import Sequence

from decalprep.nesting.board import Spot
from decalprep.nesting.raster import largest_rectangle
from decalprep.nesting.regions import Kind
from decalprep.nesting.search import Search
from decalprep.nesting.shapes import Turned
from decalprep.nesting.state import Nest, OpenSheet, Piece

Laid = list[tuple[Piece, Spot]]


def _cells(turned: Turned) -> tuple[int, int]:
    return math.ceil(turned.width - 1e-6), math.ceil(turned.height - 1e-6)


def _flat(piece: Piece) -> Turned:
    """The piece lying on its long side, where it may be turned so."""
    upright = [t for t in piece.shape.turned if t.turn_deg % 90 == 0]
    return min(upright, key=lambda t: (_cells(t)[1], t.turn_deg))


def in_rows(pieces: Sequence[Piece], across: int, up: int) -> Laid | None:
    """Positions in cells of pieces in rows within ``across`` by ``up`` cells, or None.

    The tallest piece of a row opens it; the others go into the first row with room.
    """
    rows: list[tuple[int, int, int]] = []
    laid: Laid = []
    top = 0
    for piece in sorted(pieces, key=lambda p: (-_cells(_flat(p))[1], -p.area, p.key, p.copy)):
        turned = _flat(piece)
        width, height = _cells(turned)
        for number, (x, y, tall) in enumerate(rows):
            if x + width <= across and height <= tall:
                rows[number] = (x + width, y, tall)
                laid.append((piece, Spot(turned, x, y)))
                break
        else:
            if width > across or top + height > up:
                return None
            rows.append((width, top, height))
            laid.append((piece, Spot(turned, 0, top)))
            top += height
    return laid


def _sheet_in_rows(kind: Kind, pieces: Sequence[Piece]) -> OpenSheet | None:
    if len(kind.regions) != 1:
        return None
    sheet = OpenSheet(kind)
    x, y, across, up = largest_rectangle(sheet.boards[0].free_mask())
    region = kind.regions[0]
    across = min(across, math.floor(region.field.width + 1e-6) - x)
    up = min(up, math.floor(region.field.height + 1e-6) - y)
    laid = in_rows(pieces, across, up)
    if laid is None:
        return None
    for piece, spot in laid:
        sheet.put(piece, 0, Spot(spot.turned, spot.x + x, spot.y + y))
    return sheet


def offer_rows(search: Search) -> None:
    """Offer the best nest with every sheet in rows whose pieces have room in rows."""
    best = search.best
    if best is None:
        return
    sheets = list(best.sheets)
    for number, sheet in enumerate(sheets):
        search.poll()
        if sheet.locked or len(sheet.where) < 2:
            continue
        twin = _sheet_in_rows(sheet.kind, list(sheet.where))
        if twin is not None:
            trial = list(sheets)
            trial[number] = twin
            search.offer(Nest(trial, list(best.pool)))
            if search.best is not None:
                sheets = list(search.best.sheets)
