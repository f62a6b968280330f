"""From parts, sheets and locks to pieces and open sheets; what cannot work is refused here."""

from __future__ import annotations

from collections.abc import Sequence

from shapely.geometry import Polygon

from decalprep.errors import DecalprepError, DoesNotFit
from decalprep.model import Sheet, Turns
from decalprep.nesting.checker import placed_polygon
from decalprep.nesting.layout import NestPart, NestSettings
from decalprep.nesting.placing import Habit
from decalprep.nesting.regions import Kind, regions_of
from decalprep.nesting.shapes import Shape, shape_of
from decalprep.nesting.state import OpenSheet, Piece
from decalprep.units import format_mm


def pieces_of(parts: Sequence[NestPart], settings: NestSettings) -> list[Piece]:
    """One piece a copy that is not locked; parts of the same outline share their shape."""
    locked = {(p.decal, p.copy) for p in settings.locked}
    shapes: dict[tuple[bytes, Turns, float], Shape] = {}
    pieces = []
    for part in parts:
        known = (part.polygon.wkb, part.turns, part.turn_step_deg)
        if known not in shapes:
            shapes[known] = shape_of(part, settings)
        for copy in range(1, part.copies + 1):
            if (part.key, copy) not in locked:
                pieces.append(Piece(part.key, copy, part.panel, shapes[known]))
    return pieces


def check_parts(parts: Sequence[NestPart], sheets: Sequence[Sheet], settings: NestSettings) -> None:
    """Raise DecalprepError for parts, sheets or locks that contradict each other."""
    names = [sheet.name for sheet in sheets]
    if len(set(names)) < len(names):
        same = min(name for name in names if names.count(name) > 1)
        raise DecalprepError(f"two sheets are named {same!r}", do="give each kind its own name")
    keys = [part.key for part in parts]
    twice = {key for key in keys if keys.count(key) > 1}
    if twice:
        raise DecalprepError(f"two parts are named {min(twice)!r}", do="give each its own name")
    for part in parts:
        if part.copies < 0 or part.polygon.is_empty or not part.polygon.is_valid:
            raise DecalprepError(
                "its outline has no clean inside or its copies are below zero", where=part.key
            )
        step = part.turn_step_deg
        if step and (step < 1 or abs(360 / step - round(360 / step)) > 1e-9):
            raise DecalprepError(
                f"it may turn in steps of {step:g} degrees, which do not make a whole turn",
                where=part.key,
                do="take 1 or more degrees that divide 360, such as 15, 30 or 45",
            )
    if settings.locked and not settings.locked_sheets:
        raise DecalprepError(
            "locked placements without the sheets they lie on",
            do="give the sheets of the earlier layout as locked_sheets",
        )


def _size(shape_bounds: tuple[float, float, float, float]) -> str:
    x0, y0, x1, y1 = shape_bounds
    return f"{format_mm(x1 - x0)} x {format_mm(y1 - y0)}"


def check_fit(parts: Sequence[NestPart], kinds: Sequence[Kind], pieces: Sequence[Piece]) -> None:
    """Raise DoesNotFit where parts do not fit even an untouched sheet of any kind."""
    fits: dict[Shape, bool] = {}
    for piece in pieces:
        if piece.shape not in fits:
            fits[piece.shape] = any(OpenSheet(kind).add(piece, Habit.LOW) for kind in kinds)
    too_large = sorted({piece.key for piece in pieces if not fits[piece.shape]})
    if not too_large:
        return
    part = next(part for part in parts if part.key == too_large[0])
    rooms = [
        f"{_size((r.box.x0, r.box.y0, r.box.x1, r.box.y1))} on {kind.sheet.name}"
        for kind in kinds
        for r in kind.regions[:1]
    ]
    others = f" (nor do {', '.join(too_large[1:])})" if too_large[1:] else ""
    raise DoesNotFit(
        f"it is {_size(part.polygon.bounds)} with bleed ({part.turns.value}) and fits no sheet"
        f"{others}: largest area {', '.join(rooms) or 'none'}, less what is kept for marks",
        where=part.key,
        do="tile it, allow more turns, or use a larger sheet",
    )


def locked_sheets(parts: Sequence[NestPart], settings: NestSettings) -> list[OpenSheet]:
    """The sheets of the earlier layout, the locked pieces taken out of their free area."""
    by_key = {part.key: part for part in parts}
    lying: list[list[Polygon]] = [[] for _ in settings.locked_sheets]
    for placement in settings.locked:
        if placement.decal not in by_key or placement.sheet_index >= len(lying):
            raise DecalprepError(
                f"locked placement of {placement.decal!r} names no part or sheet of this job",
                do="remove the lock or bring the panel back",
            )
        polygon = by_key[placement.decal].polygon
        lying[placement.sheet_index].append(placed_polygon(polygon, placement))
    return [
        OpenSheet(
            Kind(sheet, regions_of(sheet, settings, shapes), 0),
            locked=True,
            closed=not settings.fill_locked,
        )
        for sheet, shapes in zip(settings.locked_sheets, lying, strict=True)
    ]
