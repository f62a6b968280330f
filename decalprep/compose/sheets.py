"""Decals, placements, marks and the correction to one drawing a sheet."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import shapely
from shapely.geometry.base import BaseGeometry

from decalprep.calibration import correction_for
from decalprep.compose.correction import correction_note, past_margins
from decalprep.compose.labels import Named, label_box, place_labels
from decalprep.compose.pieces import InkedShape, Piece, inked_shape
from decalprep.compose.settings import ComposeSettings
from decalprep.errors import UsageProblem
from decalprep.geometry import Box
from decalprep.marks import (
    fitted_text,
    label_cells,
    mark_places,
    mark_zones,
    sheet_mark_notices,
    sheet_marks,
    text_width_mm,
    title_width_mm,
)
from decalprep.marks.places import CLEAR_MM, INSET_MM, TEXT_MM
from decalprep.model import (
    Decal,
    Drawing,
    Item,
    Layer,
    Notice,
    Placement,
    PrinterRecord,
    Severity,
    Sheet,
    StrokeMark,
    TextMark,
)


def compose_sheets(
    decals: Sequence[Decal],
    placements: Sequence[Placement],
    sheets: Sequence[Sheet],
    settings: ComposeSettings | None = None,
    record: PrinterRecord | Sequence[PrinterRecord | None] | None = None,
) -> tuple[Drawing, ...]:
    """One drawing list for each sheet, in true sheet mm, with the correction kept beside it.

    ``sheets[k]`` is the sheet of ``sheet_index`` k; ``record`` is one printer's for all sheets, or
    one a sheet. Notices ride on the drawings. Does not move anything: where a decal lies is the
    placement's word.

    Raises:
        UsageProblem: a placement names no decal or no sheet, or two decals have one name.
    """
    settings = settings or ComposeSettings()
    pieces = pieces_on_sheets(decals, placements, sheets, settings)
    records = records_of(record, len(sheets))
    return tuple(
        _compose(sheet, mine, settings, own, (k + 1, len(sheets)))
        for k, (sheet, mine, own) in enumerate(zip(sheets, pieces, records, strict=True))
    )


def records_of(
    record: PrinterRecord | Sequence[PrinterRecord | None] | None, count: int
) -> list[PrinterRecord | None]:
    """One record a sheet, from one for all or one each."""
    return list(record) if isinstance(record, Sequence) else [record] * count


def pieces_on_sheets(
    decals: Sequence[Decal],
    placements: Sequence[Placement],
    sheets: Sequence[Sheet],
    settings: ComposeSettings,
) -> list[list[Piece]]:
    """The placed copies of each sheet.

    Raises:
        UsageProblem: a placement names no decal or no sheet, or two decals have one name.
    """
    by_name = {decal.name: decal for decal in decals}
    if len(by_name) < len(decals):
        names = sorted({d.name for d in decals if sum(d.name == o.name for o in decals) > 1})
        raise UsageProblem(f"two decals are named {names[0]!r}", do="give each its own name")
    shapes: dict[str, InkedShape] = {}
    pieces: list[list[Piece]] = [[] for _ in sheets]
    for placement in placements:
        if placement.decal not in by_name or not 0 <= placement.sheet_index < len(sheets):
            raise UsageProblem(
                f"a placement names decal {placement.decal!r} on sheet {placement.sheet_index + 1}",
                do=f"there are {len(sheets)} sheets, and decals " + ", ".join(by_name),
            )
        name = placement.decal
        if name not in shapes:
            shapes[name] = inked_shape(by_name[name])
        piece = Piece(by_name[name], placement, settings, shapes[name])
        pieces[placement.sheet_index].append(piece)
    return pieces


def _compose(
    sheet: Sheet,
    pieces: Sequence[Piece],
    settings: ComposeSettings,
    record: PrinterRecord | None,
    count: tuple[int, int],
) -> Drawing:
    items = [item for piece in pieces for item in piece.items()]
    items, told = clear_ticks(items, pieces, sheet)
    tail = f"sheet {count[0]} of {count[1]}"
    drawing = marked_drawing(sheet, pieces, items, settings, (record, tail))
    return replace(drawing, notices=(*told, *drawing.notices))


def marked_drawing(
    sheet: Sheet,
    pieces: Sequence[Piece],
    items: Sequence[Item],
    settings: ComposeSettings,
    record_and_tail: tuple[PrinterRecord | None, str],
) -> Drawing:
    """The drawing of a sheet's pieces: their items, then marks, labels and correction.

    The second of ``record_and_tail`` is what the title ends in, such as "sheet 1 of 2".
    """
    record, tail = record_and_tail
    title, notices = _title(sheet, settings.title, tail)
    note = settings.note or correction_note(
        record, settings.page_from_sheet, with_offset=settings.undo_offset
    )
    notices += sheet_mark_notices(sheet, title=title, note=note)
    all_items = [*items, *sheet_marks(sheet, title=title, note=note)]
    if settings.labels and pieces:
        labels, told = _labels(sheet, pieces, items, settings, tail)
        all_items += labels
        notices += told
    correction = settings.page_from_sheet or correction_for(
        record, sheet, with_offset=settings.undo_offset
    )
    notices += _over_marks(sheet, pieces)
    notices += past_margins(_reach(sheet, pieces, all_items), correction, sheet, tail)
    return Drawing(sheet, tuple(all_items), correction, title, tuple(notices))


def _over_marks(sheet: Sheet, pieces: Sequence[Piece]) -> list[Notice]:
    """A notice for each piece that covers marks: a placement from elsewhere may not know them."""
    zones = shapely.union_all([zone.buffer(-CLEAR_MM) for zone in mark_zones(sheet)])
    shapely.prepare(zones)
    text = "lies over registration ticks, check bars or title lines: nest it again"
    return [
        Notice("piece-over-marks", text, piece.name, Severity.DANGER)
        for piece in pieces
        if zones.intersects(piece.area)
    ]


def _reach(sheet: Sheet, pieces: Sequence[Piece], items: Sequence[Item]) -> dict[str, Box]:
    """What must stay inside the printable area: pieces, marks and labels, by name."""
    areas = {piece.name: _box(piece.area) for piece in pieces}
    areas |= {f"marks, part {k}": box for k, box in enumerate(mark_places(sheet).boxes, 1)}
    areas |= {
        f"the label {item.text!r}": label_box(item)
        for item in items
        if isinstance(item, TextMark) and item.layer is Layer.LABEL and item.decal
    }
    return areas


def clear_ticks(
    items: Sequence[Item], pieces: Sequence[Piece], sheet: Sheet
) -> tuple[list[Item], list[Notice]]:
    """The items less those of the pieces' own ticks that would lie on a piece, a mark or a margin.

    It looks at the places only, so a top layer and its underlay lose the same ticks. A copy that
    keeps ticks at fewer than two corners is told.
    """
    ticks = [i for i in items if isinstance(i, StrokeMark) and i.layer is Layer.REGISTRATION]
    if not ticks:
        return list(items), []
    solid = shapely.union_all([*(piece.area for piece in pieces), *mark_zones(sheet)])
    shapely.prepare(solid)
    inside = sheet.printable.grown(-INSET_MM)
    kept = {
        id(t)
        for t in ticks
        if inside.contains(t.path.box)
        and not solid.intersects(shapely.LineString(t.path.points()).buffer(0.3))
    }
    notices = []
    for whose in dict.fromkeys((t.decal, t.copy) for t in ticks):
        left = sum(id(t) in kept for t in ticks if (t.decal, t.copy) == whose)
        if left < 3:
            text = f"only {left} of its own ticks have room: lay it by the sheet's corner ticks"
            notices.append(Notice("piece-ticks-left-out", text, f"{whose[0]} {whose[1]}"))
    dropped = {id(t) for t in ticks} - kept
    return [i for i in items if id(i) not in dropped], notices


def _title(sheet: Sheet, title: str, tail: str) -> tuple[str, list[Notice]]:
    """The job's title and the sheet's number; the number is never what is cut off."""
    if not title:
        return tail, []
    end = f" · {tail}"
    room = title_width_mm(sheet) - text_width_mm(end, TEXT_MM)
    shown = fitted_text(title, TEXT_MM, room) if room > 0 else title
    if shown == title:
        return title + end, []
    text = f"the title is shortened to {shown!r} on the sheet"
    return (shown + end if shown else tail), [Notice("title-shortened", text, tail)]


def _box(area: BaseGeometry) -> Box:
    x0, y0, x1, y1 = area.bounds
    return Box(x0, y0, x1, y1)


def _labels(
    sheet: Sheet,
    pieces: Sequence[Piece],
    items: Sequence[Item],
    settings: ComposeSettings,
    tail: str,
) -> tuple[list[Item], list[Notice]]:
    named = [Named(p.name, p.decal.name, p.copy, p.area) for p in pieces]
    blocked: list[BaseGeometry] = list(mark_zones(sheet))
    blocked += [_shape(gone) for gone in sheet.gone]
    blocked += [
        _shape(item.path.box.grown(0.3))
        for item in items
        if isinstance(item, StrokeMark) and item.layer in (Layer.REGISTRATION, Layer.TILE_MARK)
    ]
    for number, cell in enumerate(label_cells(sheet), 1):
        shape = _shape(cell)
        used = any(piece.area.intersects(shape) for piece in pieces)
        spoilt = not used or number in sheet.gone_labels
        blocked.append(shape if spoilt else shape.exterior.buffer(0.2))
    return place_labels(
        sheet.printable.grown(-INSET_MM),
        named,
        blocked=blocked,
        height_mm=settings.label_height_mm,
        sheet=tail,
    )


def _shape(area: Box) -> BaseGeometry:
    return shapely.box(area.x0, area.y0, area.x1, area.y1)
