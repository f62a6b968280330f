"""Light-block underlays on sheets of their own, laid out exactly as their decals are."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from decalprep.compose.pieces import Piece
from decalprep.compose.settings import ComposeSettings
from decalprep.compose.sheets import clear_ticks, marked_drawing, pieces_on_sheets, records_of
from decalprep.model import (
    Decal,
    Drawing,
    HoleKind,
    Item,
    Layer,
    Placement,
    PrinterRecord,
    Sheet,
    StrokeMark,
)
from decalprep.outline.lightblock import Underlay, underlay_items


def underlay_drawings(
    underlays: Sequence[Underlay],
    decals: Sequence[Decal],
    placements: Sequence[Placement],
    sheets: Sequence[Sheet],
    settings: ComposeSettings | None = None,
    record: PrinterRecord | Sequence[PrinterRecord | None] | None = None,
) -> tuple[Drawing, ...]:
    """A drawing for each sheet that holds a decal with an underlay, in register with that sheet.

    An underlay belongs to the decal of its name. The same placements, corner ticks and correction
    as in ``compose_sheets`` make both sheets meet when held against the light. Cut lines of holes
    are white, for they lie in the field. Does not print several layers: that is the printer's
    turn, as often as the underlay says.

    Raises:
        UsageProblem: a placement names no decal or no sheet, or two decals have one name.
    """
    settings = settings or ComposeSettings()
    by_name = {under.name: under for under in underlays}
    records = records_of(record, len(sheets))
    drawings: list[Drawing] = []
    told_of: set[str] = set()
    for k, pieces in enumerate(pieces_on_sheets(decals, placements, sheets, settings)):
        mine = [piece for piece in pieces if piece.decal.name in by_name]
        if not mine:
            continue
        items: list[Item] = []
        for piece in mine:
            items += _items(piece, by_name[piece.decal.name])
        items, told = clear_ticks(items, pieces, sheets[k])
        tail = f"underlay of sheet {k + 1} of {len(sheets)}"
        made = marked_drawing(sheets[k], mine, items, settings, (records[k], tail))
        names = dict.fromkeys(p.decal.name for p in mine if p.decal.name not in told_of)
        told_of.update(names)
        notices = [n for name in names for n in by_name[name].notices]
        drawings.append(replace(made, notices=(*notices, *told, *made.notices)))
    return tuple(drawings)


def _items(piece: Piece, under: Underlay) -> list[Item]:
    m = piece.sheet_from_decal
    cut = [h.contour for h in piece.decal.holes if h.kind is not HoleKind.SCREW]
    items = underlay_items(under, sheet_from_decal=m, copy=piece.copy, guides=cut)
    s = piece.settings
    outline = piece.decal.outline.mapped(m)
    line = StrokeMark(
        Layer.CUT_OUTLINE, outline, s.cut_line_mm, s.cut_colour, (), piece.decal.name, piece.copy
    )
    # its own ticks are there already; those that tiles share are the same on both layers
    shared = [mark for mark in piece.marks() if mark.layer is Layer.TILE_MARK]
    return [*items, line, *shared]
