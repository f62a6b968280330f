"""Part-used sheets: what a run takes of each sheet, remembering the rest, and offering it again."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path

import shapely
from shapely.geometry import box

from decalprep.errors import DecalprepError
from decalprep.jobs.boxes import boxes_over, whole_shape
from decalprep.jobs.lay import Laid, nest_part
from decalprep.jobs.placements import Kept, Used
from decalprep.jobs.spec import Job, SheetSpec
from decalprep.model import Decal, Drawing, Layer, Notice, Severity, Sheet, StrokeMark, TextMark

CLEAR_MM = 0.5
LEAST_REST_MM2 = 1500.0
"""A rest whose largest free rectangle is smaller is not worth keeping."""

PART_USED_LABELS = (
    "part-used label sheets may let go of adhesive or labels in a hot laser printer; use them in "
    "an inkjet printer only, and follow the maker's data sheet"
)
PART_USED_LASER = "a cut or printed sheet may jam or smear in a laser printer: see its manual"


def used_of(drawing: Drawing, index: int, laid: Laid, decals: Sequence[Decal]) -> Used:
    """What the pieces, labels and marks of one sheet take of it."""
    from decalprep.compose.labels import label_box
    from decalprep.marks import label_cells, mark_places

    by_name = {d.name: nest_part(d) for d in decals}
    shapes = [whole_shape(by_name[p.decal], p) for p in laid.placements if p.sheet_index == index]
    cells = [box(c.x0, c.y0, c.x1, c.y1) for c in label_cells(drawing.sheet)]
    labels = tuple(n for n, cell in enumerate(cells, 1) if any(s.intersects(cell) for s in shapes))
    boxes = [] if cells else [b for shape in shapes for b in boxes_over(shape)]
    boxes += [b.grown(CLEAR_MM) for b in mark_places(drawing.sheet).boxes]
    boxes += [
        label_box(item).grown(CLEAR_MM)
        for item in drawing.items
        if isinstance(item, TextMark) and item.layer is Layer.LABEL
    ]
    boxes += [
        item.path.box.grown(CLEAR_MM)
        for item in drawing.items
        if isinstance(item, StrokeMark) and item.decal and item.layer is Layer.REGISTRATION
    ]
    return Used(tuple(dict.fromkeys(boxes)), labels)


# ---------------------------------------------------------------- offering and remembering


def stock_name(sheet: Sheet) -> str:
    """What kind of sheet it is as paper, whatever a job calls it.

    >>> stock_name(Sheet("mine", 210, 297))
    'plain paper 210 x 297 mm'
    """
    words = f"{sheet.stock.value} {sheet.width_mm:g} x {sheet.height_mm:g} mm"
    return words + (f", {sheet.grid.rows} x {sheet.grid.columns} labels" if sheet.grid else "")


def is_same_stock(a: Sheet, b: Sheet) -> bool:
    """Whether two sheets are the same paper: stock, size and grid."""
    return (a.stock, a.width_mm, a.height_mm, a.grid) == (b.stock, b.width_mm, b.height_mm, b.grid)


def offer(job: Job, kept: Kept | None, folder: Path) -> tuple[Job, tuple[Notice, ...]]:
    """The job with a remembered part-used sheet as first of each kind that asks for one.

    Those that the kept layout lies on already are not offered again.
    """
    if not any(spec.use_leftovers for spec in job.sheets):
        return job, ()
    there, notices = _remembered(folder)
    taken = {sheet.leftover for sheet in kept.sheets} if kept else set()
    specs = []
    for spec in job.sheets:
        mine = [s for s in there if is_same_stock(s, spec.sheet) and s.name not in taken]
        count = (
            sum(s.name == spec.sheet.name and bool(s.leftover) for s in kept.sheets) if kept else 0
        )
        if spec.use_leftovers:
            spec, found = _with(spec, mine, count)
            taken.add(found)
        specs.append(spec)
    return replace(job, sheets=tuple(specs)), notices


def _with(spec: SheetSpec, mine: Sequence[Sheet], kept_count: int) -> tuple[SheetSpec, str]:
    """The kind of sheet with the remembered one that has most room; it comes beside the others."""
    sheet, name, extra = spec.sheet, "", kept_count
    if mine:
        best = max(mine, key=lambda s: (free_mm2(s), s.name))
        sheet = replace(sheet, gone=best.gone, gone_labels=best.gone_labels)
        name, extra = best.name, extra + 1
    if sheet.available is not None:
        sheet = replace(sheet, available=sheet.available + extra)
    return replace(spec, sheet=sheet, leftover=name), name


def _remembered(folder: Path) -> tuple[list[Sheet], tuple[Notice, ...]]:
    """The part-used sheets on record; what cannot be read is told and left out."""
    from decalprep.records import list_sheets, read_sheet

    found, notices = [], []
    for name, path in list_sheets(folder).items():
        try:
            found.append(read_sheet(path))
        except DecalprepError as problem:
            words = f"{path.name} cannot be used ({problem.found}); it is not offered"
            notices.append(Notice("leftover-unread", words, name))
    return found, tuple(notices)


def free_mm2(sheet: Sheet) -> float:
    """What is left of a sheet, in mm2: of its labels, or of its printable area."""
    from decalprep.marks import label_cells

    p = sheet.printable
    cells = label_cells(sheet)
    if cells:
        return sum(c.area for n, c in enumerate(cells, 1) if n not in sheet.gone_labels)
    gone = shapely.union_all([box(b.x0, b.y0, b.x1, b.y1) for b in sheet.gone])
    return float(box(p.x0, p.y0, p.x1, p.y1).difference(gone).area)


def left_words(sheet: Sheet) -> str:
    """How much of a sheet is left.

    >>> left_words(Sheet("mine", 100, 100))
    'about 76 cm2 left'
    """
    if sheet.grid is not None:
        count = sheet.grid.rows * sheet.grid.columns
        return f"{count - len(sheet.gone_labels)} of {count} labels left"
    return f"about {free_mm2(sheet) / 100:.0f} cm2 left"


def leftover_notices(laid: Laid, specs: Sequence[SheetSpec]) -> tuple[Notice, ...]:
    """Says which sheets must be the remembered part-used ones, and where none is though asked for.

    One that an earlier run of the job laid these pieces on is told as that: it may be printed.
    What a laser printer does to them is told of all part-used sheets alike (``stock_notices``).
    """
    found = []
    used = laid.used or (Used(),) * len(laid.sheets)
    for number, (name, sheet) in enumerate(zip(laid.leftovers, laid.sheets, strict=True), 1):
        if not name:
            continue
        words = (
            f"sheet {number} goes on the remembered part-used sheet {name!r}, the same way up and "
            "the same edge first as before; its old prints stay as they are"
        )
        if used[number - 1] != Used():
            words = (
                f"sheet {number} is remembered as {name!r}, and what an earlier run of this job "
                "laid on it counts as printed there: if it is printed, do not print over it; "
                "--again prints single pieces on what is left of it, --anew lays out another sheet"
            )
        found.append(Notice("leftover-used", words, sheet.name, Severity.NOTE))
    pairs = zip(laid.leftovers, laid.sheets, strict=True)
    lain_on = {sheet.name for name, sheet in pairs if name}
    for spec in specs:
        if not spec.use_leftovers or spec.sheet.name in lain_on:
            continue
        why = "no part-used sheet of its stock and size is remembered (see 'decalprep stock list')"
        if spec.leftover:
            why = f"no piece was laid on {spec.leftover!r}, the one with most room left"
        words = f"leftovers = true, but {why}; all sheets are new ones"
        found.append(Notice("leftover-unused", words, spec.sheet.name, Severity.WARNING))
    return tuple(found)


@dataclass(frozen=True)
class Rest:
    """What a run leaves of one sheet: its record before, what the run takes, and its number."""

    number: int
    sheet: Sheet
    used: Used


def rests_of(laid: Laid) -> list[Rest]:
    """The sheets to remember: the part-used ones, and of each kind of whole ones the emptiest."""
    names = laid.leftovers or ("",) * len(laid.sheets)
    used = laid.used
    rests = [Rest(k, s, u) for k, (s, u) in enumerate(zip(laid.before, used, strict=True))]
    kept = [
        replace(r, sheet=replace(r.sheet, name=names[r.number])) for r in rests if names[r.number]
    ]
    fresh: dict[str, Rest] = {}
    for rest in rests:
        name = stock_name(rest.sheet)
        if names[rest.number] or _largest_mm2(after(rest)) < LEAST_REST_MM2:
            continue
        best = fresh.get(name)
        if best is None or free_mm2(after(rest)) > free_mm2(after(best)):
            fresh[name] = rest
    return [*kept, *fresh.values()]


def after(rest: Rest) -> Sheet:
    """The sheet with what the run takes of it gone."""
    sheet, used = rest.sheet, rest.used
    gone = tuple(dict.fromkeys((*sheet.gone, *used.boxes)))
    labels = tuple(sorted({*sheet.gone_labels, *used.labels}))
    return replace(sheet, gone=gone, gone_labels=labels, available=None)


def _largest_mm2(sheet: Sheet) -> float:
    from decalprep.marks import reserved_zones
    from decalprep.nesting import NestSettings
    from decalprep.nesting.objective import rest_rectangle_mm
    from decalprep.nesting.regions import Kind, regions_of
    from decalprep.nesting.state import OpenSheet

    settings = NestSettings(blocked_on={sheet.name: reserved_zones(sheet)})
    wide, high = rest_rectangle_mm(OpenSheet(Kind(sheet, regions_of(sheet, settings), 1)), 1.0)
    return wide * high


def planned(laid: Laid, folder: Path) -> tuple[Laid, tuple[Notice, ...]]:
    """The layout with names for the rests that are to be kept on record, and what is told."""
    from decalprep.records import list_sheets

    names = list(laid.leftovers or ("",) * len(laid.sheets))
    taken = set(list_sheets(folder))
    notices = []
    for rest in rests_of(laid):
        name = names[rest.number] or _free_name(stock_name(rest.sheet), taken)
        taken.add(name)
        names[rest.number] = name
        words = (
            f"the rest of sheet {rest.number + 1} is remembered as {name!r}, about "
            f"{free_mm2(after(rest)) / 100:.0f} cm2; leftovers = true on a [[sheet]] uses it"
        )
        notices.append(Notice("leftover-kept", words, rest.sheet.name, Severity.NOTE))
    return replace(laid, leftovers=tuple(names)), tuple(notices)


def remember(laid: Laid, folder: Path) -> None:
    """Takes what the run prints off the records of its remembered sheets; made where missing.

    Raises:
        OutputProblem: a record cannot be written.
    """
    from decalprep.records import take_from_sheet

    for name, sheet, used in zip(laid.leftovers, laid.before, laid.used, strict=True):
        if name:
            whole = replace(sheet, name=name, available=None)
            take_from_sheet(folder, whole, areas=used.boxes, labels=used.labels)


def _free_name(name: str, taken: set[str]) -> str:
    number = 1
    while (wanted := name if number == 1 else f"{name} ({number})") in taken:
        number += 1
    return wanted
