"""The improver: one sheet fewer, by moving and swapping pieces through a pool.

One sheet is given up and its pieces go to the pool. A pass takes one or two of the other sheets,
lifts all their pieces or a few that lie together, and lays these and the pool anew. It is kept
where less is left over, or as much but the sheets more unevenly filled: room that is spread over
all sheets is of no use, room on one takes a piece (the sum of squared fillings, after Falkenauer,
A hybrid grouping genetic algorithm for bin packing, J. Heuristics 2, 1996).
"""

from __future__ import annotations

import random

from decalprep.nesting.objective import last_sheet
from decalprep.nesting.placing import Habit
from decalprep.nesting.regions import Kind
from decalprep.nesting.search import Search
from decalprep.nesting.state import Nest, OpenSheet, Piece, fill, left_of

HEAT = 0.04
"""At first a pool is taken that is larger than the least so far by this share of a sheet."""
UNEVEN = 0.3
"""What the sum of the sheets' squared fillings counts against the area left over, in sheets."""
FEW_LIFTED = 0.2
"""Share of the passes that lift only pieces that lie together."""
FAR = 0.35
"""Pieces left over, in sheets, after a quarter of the passes, that the others find no room for."""
TIDY_PASSES = 40
"""Passes spent on a larger rest when fewer sheets are out of the question."""


def improve(search: Search, rng: random.Random) -> None:
    """Try one sheet fewer until that is proved impossible or the budget is used."""
    while not search.proved and search.passes < search.settings.budget:
        if not _one_fewer(search, rng, search.settings.budget):
            break
    _one_fewer(search, rng, min(search.settings.budget, TIDY_PASSES))
    _smaller_sheets(search)


def _one_fewer(search: Search, rng: random.Random, most: int) -> bool:
    """Give up the emptiest sheet and find room for its pieces; True when it worked.

    Where it does not work, the pieces left are laid on the last sheet again: a larger rest there.
    Pieces that no sheet was left for are tried first; then no sheet is given up.
    """
    start = search.best.copy() if search.best is not None else Nest()
    victim = None if start.pool else last_sheet(start)
    sheets = [s for s in start.sheets if s is not victim and (s.where or s.locked)]
    if not any(not s.closed for s in sheets):
        return False
    pool = [*start.pool, *(victim.where if victim else ())]
    if search.closest is None or len(sheets) < len(search.closest.sheets):
        search.closest = Nest(list(sheets), list(pool))
    return empty_pool(search, Nest(sheets, pool), victim, rng, most)


def empty_pool(
    search: Search, nest: Nest, victim: OpenSheet | None, rng: random.Random, most: int
) -> bool:
    """Find room for the pool of a nest, which is changed; True when all of it was laid.

    Where ``victim`` was given up for it and a quarter of the passes leave far too much, no more
    are spent: what they found is kept.
    """
    sheets = nest.sheets
    now = least = sum(p.area for p in nest.pool)
    whole = max(s.kind.free_cells for s in sheets)
    kept = min(most, search.settings.budget - search.passes)
    for turn in range(kept):
        search.poll()
        trial, left = _repack(sheets, nest.pool, rng)
        area = sum(p.area for p in left)
        more = sum(_uneven(new, whole) - _uneven(old, whole) for old, new in trial)
        cost = area - UNEVEN * whole * more
        heat = HEAT * whole * (1 - turn / kept) * rng.random()
        if cost <= now or cost <= least + heat:
            for old, new in trial:
                sheets[sheets.index(old)] = new
            nest.pool, now = left, area
        if now < least:
            least = now
            _nearer(search, nest)
            _offer(search, sheets, nest.pool, victim)
        search.tick()
        if not nest.pool:
            return True
        if victim is not None and turn + 1 == kept // 4 and least > FAR * whole:
            return False
    return False


def _nearer(search: Search, nest: Nest) -> None:
    """Remember a nest that comes nearer to one sheet fewer than any before."""

    def left(one: Nest) -> tuple[int, int]:
        return len(one.sheets), sum(p.area for p in one.pool)

    if search.closest is None or left(nest) < left(search.closest):
        search.closest = Nest(list(nest.sheets), list(nest.pool))


def _offer(
    search: Search, sheets: list[OpenSheet], pool: list[Piece], victim: OpenSheet | None
) -> None:
    """Offer the sheets as they are, or with what is left on the last sheet: a larger rest."""
    if victim is None or not pool:
        search.offer(Nest(list(sheets), list(pool)))
        return
    last = _all_on(victim.kind, pool)
    if last is not None:
        search.offer(Nest([*sheets, last]))


def _uneven(sheet: OpenSheet, whole: int) -> float:
    return (sheet.taken / whole) ** 2


def _together(sheet: OpenSheet, rng: random.Random) -> list[Piece]:
    """Up to seven in ten of the pieces of a sheet, those nearest to one of them."""

    def middle(piece: Piece) -> tuple[int, float, float]:
        board, spot = sheet.where[piece]
        return board, spot.x + spot.turned.width / 2, spot.y + spot.turned.height / 2

    pieces = list(sheet.where)
    if not pieces:
        return []
    count = rng.randint(1, max(1, int(0.7 * len(pieces))))
    board, x, y = middle(rng.choice(pieces))

    def apart(piece: Piece) -> tuple[bool, float]:
        other, a, b = middle(piece)
        return other != board, (a - x) ** 2 + (b - y) ** 2

    return sorted(pieces, key=apart)[:count]


def _smaller_sheets(search: Search) -> None:
    """Lay the pieces of each sheet on a cheaper or smaller one where they all fit it."""
    best = search.best
    if best is None or len(search.kinds) < 2:
        return
    sheets = list(best.sheets)
    for number, sheet in enumerate(sheets):
        if sheet.locked or not sheet.where:
            continue
        left = left_of(search.kinds, [s for s in sheets if s.where])
        cheaper = [k for k in search.kinds if k.cost < sheet.kind.cost and left[k] != 0]
        for kind in sorted(cheaper, key=lambda k: k.cost):
            search.poll()
            twin = _all_on(kind, list(sheet.where))
            if twin is not None:
                sheets[number] = twin
                break
    search.offer(Nest(sheets, list(best.pool)))


def _all_on(kind: Kind, pieces: list[Piece]) -> OpenSheet | None:
    """A sheet of this kind with all the pieces on it, or None."""
    if sum(p.area for p in pieces) > kind.free_cells:
        return None
    order = sorted(pieces, key=lambda p: (-p.area, p.key, p.copy))
    for habit in Habit:
        sheet = OpenSheet(kind)
        if all(sheet.add(piece, habit) for piece in order):
            return sheet
    return None


def _repack(
    sheets: list[OpenSheet], pool: list[Piece], rng: random.Random
) -> tuple[list[tuple[OpenSheet, OpenSheet]], list[Piece]]:
    """Empty one or two sheets, or a part of them, and fill them from their pieces and the pool."""
    open_sheets = [s for s in sheets if not s.closed]
    chosen = rng.sample(open_sheets, min(len(open_sheets), 1 + (rng.random() < 0.35)))
    few = rng.random() < FEW_LIFTED
    lifted = [_together(s, rng) if few else list(s.where) for s in chosen]
    pieces = [*pool, *(p for group in lifted for p in group)]
    spread = rng.choice((0.15, 0.4, 0.8))
    ordered = sorted(pieces, key=lambda p: -p.area * rng.uniform(1 - spread, 1 + spread))
    trial = Nest([s.without(group) for s, group in zip(chosen, lifted, strict=True)])
    habit = Habit.TOUCH if rng.random() < 0.85 else rng.choice((Habit.LOW, Habit.LEFT))
    fill(trial, ordered, (), habit, rng=rng)
    return list(zip(chosen, trial.sheets, strict=True)), trial.pool
