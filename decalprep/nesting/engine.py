"""The search: first answers in several orders, then the improver, then the check of the answer."""

from __future__ import annotations

import random
from collections.abc import Sequence

from decalprep.errors import DecalprepError
from decalprep.model import Notice, Placement, Severity, Sheet, StockKind
from decalprep.nesting.board import Spot
from decalprep.nesting.bounds import lower_bound
from decalprep.nesting.checker import check_layout
from decalprep.nesting.grids import check_grid
from decalprep.nesting.improve import improve
from decalprep.nesting.layout import Layout, NestPart, NestSettings
from decalprep.nesting.objective import rest_rectangle_mm, straight_cuts
from decalprep.nesting.placing import Habit
from decalprep.nesting.prepare import check_fit, check_parts, locked_sheets, pieces_of
from decalprep.nesting.rectangles import RectangleStart
from decalprep.nesting.regions import Region, kinds_of, untouched
from decalprep.nesting.rows import offer_rows
from decalprep.nesting.search import Cancel, Progress, Search
from decalprep.nesting.state import Nest, OpenSheet, Piece, Stopped, fill
from decalprep.nesting.strip import StripPacker
from decalprep.nesting.strip_pass import StripTries

STRIP_TRIES = 12
NEAR = 0.1
"""Pieces left over, in sheets, at which one sheet fewer is told as a near miss."""


def _orders(pieces: Sequence[Piece], rng: random.Random) -> list[tuple[list[Piece], Habit]]:
    """Orders and habits of the first answers, the best bet first."""

    def long_side(piece: Piece) -> float:
        return float(max(piece.shape.turned[0].mask.shape))

    by_area = sorted(pieces, key=lambda p: (-p.area, p.key, p.copy))
    by_side = sorted(pieces, key=lambda p: (-long_side(p), -p.area, p.key, p.copy))
    panel_area: dict[str, int] = {}
    for piece in pieces:
        panel_area[piece.panel] = panel_area.get(piece.panel, 0) + piece.area
    by_panel = sorted(by_area, key=lambda p: (-panel_area[p.panel], p.panel))
    shaken = [sorted(by_area, key=lambda p: -p.area * rng.uniform(0.7, 1.4)) for _ in range(3)]
    return [
        (by_area, Habit.TOUCH),
        (by_side, Habit.TOUCH),
        (by_area, Habit.LOW),
        (by_side, Habit.LEFT),
        (by_panel, Habit.TOUCH),
        *((order, Habit.TOUCH) for order in shaken),
    ]


def first_answers(
    search: Search, locked: Sequence[OpenSheet], rng: random.Random, boxes: RectangleStart
) -> None:
    """Lay all pieces in several orders; the best is kept, also when it is stopped half way."""
    for order, habit in _orders(search.pieces, rng):
        found = Nest([sheet.copy() for sheet in locked])
        try:
            fill(found, order, search.kinds, habit, poll=search.poll)
        finally:
            search.offer(found)
        search.tick()
        if search.passes == 1 and not search.proved:
            boxes.run(locked)
        if search.passes >= search.settings.budget:
            return


def _run(
    search: Search, locked: Sequence[OpenSheet], boxes: RectangleStart, strip: StripTries | None
) -> str:
    rng = random.Random(search.settings.seed)
    try:
        first_answers(search, locked, rng, boxes)
        improve(search, rng)
        if strip is not None and not search.proved:
            strip.run(STRIP_TRIES)
        if search.settings.rows:
            offer_rows(search)
    except Stopped:
        return "stopped by the user"
    return "proved fewest" if search.proved else "budget used"


def _placement(piece: Piece, region: Region, spot: Spot, index: int, step_mm: float) -> Placement:
    turned = spot.turned
    return Placement(
        piece.key,
        piece.copy,
        index,
        region.box.x0 + spot.x * step_mm - turned.left_mm,
        region.box.y0 + spot.y * step_mm - turned.bottom_mm,
        turned.turn_deg,
    )


def _layout(search: Search, stopped: str, stock: Sequence[Sheet]) -> Layout:
    nest, settings = search.best or Nest(), search.settings
    locked = [sheet for sheet in nest.sheets if sheet.locked]
    others = [sheet for sheet in nest.sheets if not sheet.locked and sheet.where]
    sheets = locked + sorted(others, key=lambda sheet: -sheet.taken)
    placements = list(settings.locked)
    told = [notice for sheet in stock for notice in check_grid(sheet)]
    for index, sheet in enumerate(sheets):
        for piece, (board, spot) in sheet.where.items():
            region = sheet.kind.regions[board]
            placements.append(_placement(piece, region, spot, index, settings.grid_mm))
    placements.sort(key=lambda p: (p.sheet_index, p.decal, p.copy))
    return Layout(
        tuple(placements),
        tuple(sorted((piece.key, piece.copy) for piece in nest.pool)),
        tuple(sheet.kind.sheet for sheet in sheets),
        search.bound,
        stopped,
        (*told, *_notices(nest, [sheet.kind.sheet for sheet in sheets]), *_near_miss(search)),
        _rest_mm(sheets[-1], settings) if sheets else (0.0, 0.0),
        straight_cuts(nest),
    )


def _rest_mm(sheet: OpenSheet, settings: NestSettings) -> tuple[float, float]:
    """What a further piece may measure: the free rectangle less the gap round such a piece."""
    wide, high = rest_rectangle_mm(sheet, settings.grid_mm)
    return max(0.0, wide - settings.gap_mm), max(0.0, high - settings.gap_mm)


def _notices(nest: Nest, sheets: Sequence[Sheet]) -> tuple[Notice, ...]:
    found = []
    if nest.pool:
        names = sorted({piece.key for piece in nest.pool})
        text = f"no sheet left for {len(nest.pool)} pieces ({', '.join(names)}); give more sheets"
        found.append(Notice("pieces-left-over", text, names[0]))
    for sheet in sheets:
        if (sheet.gone or sheet.gone_labels) and sheet.stock is not StockKind.PLAIN:
            text = (
                "this sheet is part-used: bare liner and loose edges can release adhesive in a hot "
                "laser printer; follow the stock maker's data sheet, or use an inkjet printer"
            )
            found.append(Notice("part-used-stock", text, sheet.name))
    return tuple(found)


def _near_miss(search: Search) -> tuple[Notice, ...]:
    """Says how little room one sheet fewer lacked, where a longer search may find it."""
    best, near = search.best, search.closest
    if best is None or near is None or search.proved or best.pool or not near.pool:
        return ()
    if len(near.sheets) != len(best.used) - 1:
        return ()
    share = sum(p.area for p in near.pool) / max(s.kind.free_cells for s in near.sheets)
    if share > NEAR:
        return ()
    names = ", ".join(sorted({piece.key for piece in near.pool}))
    text = (
        f"one sheet fewer lacked room for {max(share, 0.01):.0%} of a sheet ({names}); more than "
        f"{search.settings.budget} passes may find it"
    )
    return (Notice("near-miss", text, "nesting", Severity.NOTE, numbers=(("share", share),)),)


def nest(
    parts: Sequence[NestPart],
    sheets: Sequence[Sheet],
    settings: NestSettings | None = None,
    on_progress: Progress | None = None,
    cancel: Cancel | None = None,
    strip: StripPacker | None = None,
) -> Layout:
    """Lay all copies on as few sheets as can be found; positions in true mm on the sheet.

    Where sheets run out, the rest is in ``unplaced`` and a notice says so.
    ``on_progress(sheets, bound, pass)`` is told after every pass; ``cancel()`` is asked often and
    ends the search with the best so far. Same input, same layout, whatever the machine's speed.
    ``strip`` (``strip.child_packer``) asks the strip packer as well for one sheet fewer; it works
    under a clock, so the answer may then differ from run to run.
    A time limit is a ``cancel`` that looks at a clock; it makes answers differ in the same way.
    Every answer passes ``check_layout`` before it is returned.
    Does not mirror, and does not cut a piece that is too large (see ``tiles``).

    Raises:
        DoesNotFit: a part fits no empty sheet.
        DecalprepError: parts or locks contradict each other, or the check failed.

    >>> from shapely.geometry import box
    >>> nest([NestPart("bilge pumps", 12, box(0, 0, 40, 40))], [Sheet("A4", 210, 297)]).bound_text
    '1 sheet, proved fewest'
    """
    settings = settings or NestSettings()
    check_parts(parts, sheets, settings)
    kinds = kinds_of(tuple(sheets), settings)
    locked = locked_sheets(parts, settings)
    pieces = pieces_of(parts, settings)
    check_fit(parts, untouched(sheets, settings), pieces)
    bound = lower_bound(parts, [*kinds, *(sheet.kind for sheet in locked)], settings)
    search = Search(pieces, kinds, settings, bound, on_progress, cancel)
    by_key = {part.key: part for part in parts}
    tries = StripTries(search, strip, by_key) if strip is not None else None
    stopped = _run(search, locked, RectangleStart(search, by_key), tries)
    layout = _layout(search, stopped, sheets)
    faults = check_layout(parts, sheets, settings, layout)
    if faults:
        raise DecalprepError(
            f"the layout breaks its own rules: {faults[0]}"
            + (f" (and {len(faults) - 1} more)" if len(faults) > 1 else ""),
            where="nesting",
            do="please report this job; nothing was written",
        )
    return layout
