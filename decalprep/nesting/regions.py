"""Sheets as the engine sees them: one field for a plain sheet, one a label for a die-cut one."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
import shapely
from shapely.geometry import Polygon, box
from shapely.geometry.base import BaseGeometry

from decalprep.geometry import Box
from decalprep.model import Sheet
from decalprep.nesting.board import Board, Field
from decalprep.nesting.grids import label_boxes, label_polygon
from decalprep.nesting.layout import NestSettings
from decalprep.nesting.raster import TOUCH_MM, grown, polygons_of, touched_cells


@dataclass(eq=False)
class Region:
    """Part of a sheet that pieces may lie in; cell (0, 0) has its lower left at ``origin_mm``.

    The field is larger than ``box`` by half the gap all round, since the gap belongs to pieces;
    ``usable_mm2`` is what grown pieces may cover of it, ``kept`` are boxes round what is not free.
    """

    box: Box
    field: Field
    usable_mm2: float
    kept: tuple[Box, ...] = ()

    def board(self) -> Board:
        """An empty board."""
        return Board(self.field)


@dataclass(eq=False)
class Kind:
    """One sheet in one state of use: its regions, and how many there are (None: enough).

    ``cost`` is its price where every sheet has one, else its area in mm2.
    """

    sheet: Sheet
    regions: tuple[Region, ...]
    available: int | None
    cost: float = 0.0

    @property
    def free_cells(self) -> int:
        """Cells that can be used."""
        return sum(region.field.free_cells for region in self.regions)


def label_inset_mm(sheet: Sheet, settings: NestSettings) -> float:
    """How far pieces stay from die lines: the die margin, or what keeps the gap across labels."""
    grid = sheet.grid
    if grid is None:
        return 0.0
    gaps = []
    if grid.columns > 1:
        gaps.append(grid.pitch_x_mm - grid.label_width_mm)
    if grid.rows > 1:
        gaps.append(grid.pitch_y_mm - grid.label_height_mm)
    across = (settings.gap_mm - min(gaps)) / 2 if gaps else 0.0
    return max(settings.die_margin_mm, across)


def _cut(a: Box, b: Box) -> Box:
    return Box(max(a.x0, b.x0), max(a.y0, b.y0), min(a.x1, b.x1), min(a.y1, b.y1))


def _region(
    area: Box,
    settings: NestSettings,
    kept: list[BaseGeometry],
    outside: Sequence[BaseGeometry] = (),
) -> Region | None:
    if area.width <= 0 or area.height <= 0:
        return None
    step, half = settings.grid_mm, settings.gap_mm / 2
    width, height = (area.width + 2 * half) / step, (area.height + 2 * half) / step
    rows, columns = math.ceil(height - 1e-6), math.ceil(width - 1e-6)
    taken = np.zeros((rows, columns), dtype=bool)
    kept_free = [*kept, *outside]
    for shape in kept_free:
        taken |= touched_cells(shape, (area.x0 - half, area.y0 - half), step, rows, columns)
    whole = box(area.x0 - half, area.y0 - half, area.x1 + half, area.y1 + half)
    usable = whole.difference(shapely.union_all(kept_free)).area if kept_free else whole.area
    boxes = tuple(Box(*p.bounds) for shape in kept for p in polygons_of(shape))
    return Region(area, Field(width, height, taken), usable, boxes)


def _corners(label: Polygon, within: Box) -> BaseGeometry:
    return box(within.x0 - 1, within.y0 - 1, within.x1 + 1, within.y1 + 1).difference(label)


def regions_of(
    sheet: Sheet, settings: NestSettings, lying: Sequence[BaseGeometry] = ()
) -> tuple[Region, ...]:
    """The regions of one sheet less what is gone, blocked, or taken by pieces ``lying`` there."""
    half = settings.gap_mm / 2
    kept: list[BaseGeometry] = [
        shape.buffer(-TOUCH_MM, join_style="mitre") for shape in settings.blocked_of(sheet)
    ]
    kept += [grown(box(b.x0, b.y0, b.x1, b.y1), half) for b in sheet.gone]
    kept += [grown(shape, half) for shape in lying]
    if sheet.grid is None:
        region = _region(sheet.printable, settings, kept)
        return (region,) if region is not None else ()
    inset = label_inset_mm(sheet, settings)
    found = []
    for number, label in enumerate(label_boxes(sheet), start=1):
        if number in sheet.gone_labels:
            continue
        inner = label_polygon(label, sheet.grid.corner_radius_mm, inset)
        if inner.is_empty:
            continue
        area = _cut(Box(*inner.bounds), sheet.printable)
        outside = [_corners(inner.buffer(half + 2 * TOUCH_MM), area.grown(half))]
        region = _region(area, settings, kept, outside if sheet.grid.corner_radius_mm else ())
        if region is not None:
            found.append(region)
    return tuple(found)


def unused(sheet: Sheet) -> Sheet:
    """The same sheet, whole."""
    return replace(sheet, gone=(), gone_labels=())


def untouched(sheets: Sequence[Sheet], settings: NestSettings) -> tuple[Kind, ...]:
    """Every kind as a whole, unused sheet: what a part could be laid on at best."""
    fresh = [unused(sheet) for sheet in sheets]
    return tuple(Kind(sheet, regions_of(sheet, settings), None) for sheet in fresh)


def kinds_of(sheets: tuple[Sheet, ...], settings: NestSettings) -> tuple[Kind, ...]:
    """The kinds to draw from: part-used sheets first, then whole ones, the largest first.

    Only the first sheet of a kind is part-used, so such a kind becomes two.
    """
    part_used, whole = [], []
    priced = all(sheet.price is not None for sheet in sheets)
    for sheet in sheets:
        same = sum(locked.name == sheet.name for locked in settings.locked_sheets)
        left = None if sheet.available is None else max(sheet.available - same, 0)
        cost = (sheet.price or 0.0) if priced else sheet.width_mm * sheet.height_mm
        if (sheet.gone or sheet.gone_labels) and sheet not in settings.locked_sheets:
            if left == 0:
                continue
            part_used.append(Kind(sheet, regions_of(sheet, settings), 1, cost))
            left = None if left is None else left - 1
        if left is None or left > 0:
            fresh = unused(sheet)
            whole.append(Kind(fresh, regions_of(fresh, settings), left, cost))
    return (*part_used, *sorted(whole, key=lambda kind: -kind.free_cells))
