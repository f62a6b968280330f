"""Pieces at exact places, off the grid, as the other steps of the engine see them."""

from __future__ import annotations

import math
from dataclasses import dataclass

from shapely.affinity import translate
from shapely.geometry import Polygon

from decalprep.nesting.board import Spot
from decalprep.nesting.layout import NestSettings
from decalprep.nesting.raster import grown, touched_cells
from decalprep.nesting.regions import Region
from decalprep.nesting.shapes import Turned, turn


@dataclass(frozen=True)
class Posed:
    """A piece turned about its origin, then shifted; mm. ``name`` is the asker's own."""

    name: str
    turn_deg: float
    x_mm: float
    y_mm: float


def posed_spot(
    polygon: Polygon, pose: Posed, region: Region, settings: NestSettings
) -> tuple[Spot, Polygon]:
    """A piece at an exact place (sheet frame): its cells there, and its outline on the sheet.

    Two pieces that keep the exact gap may touch the same cell.
    """
    step, half = settings.grid_mm, settings.gap_mm / 2
    shape = translate(turn(polygon, pose.turn_deg), pose.x_mm, pose.y_mm)
    x0, y0, x1, y1 = shape.bounds
    left, low = region.box.x0 - half, region.box.y0 - half
    column = math.floor((x0 - half - left) / step + 1e-6)
    row = math.floor((y0 - half - low) / step + 1e-6)
    corner = (left + column * step, low + row * step)
    width, height = (x1 + half - corner[0]) / step, (y1 + half - corner[1]) / step
    mask = touched_cells(
        grown(shape, half), corner, step, math.ceil(height - 1e-6), math.ceil(width - 1e-6)
    )
    turned = Turned(
        pose.turn_deg,
        region.box.x0 + column * step - pose.x_mm,
        region.box.y0 + row * step - pose.y_mm,
        width,
        height,
        mask,
    )
    return Spot(turned, column, row), shape
