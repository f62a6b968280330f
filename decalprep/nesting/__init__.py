"""Decals onto sheets: placements, bounds, and a checker of its own.

Convention: the sheet frame has its origin at the lower left, y up, mm. A piece is turned
counter-clockwise about its own frame's origin, then shifted (``model.Placement``); never mirrored.
The engine works on cells of ``grid_mm``; each piece takes every cell that its outline, grown by
half the gap, reaches into, so a layout on cells keeps the exact gap. ``check_layout`` proves it
again on the exact outlines, to 0.001 mm, and shares nothing with the engine.
"""

from decalprep.nesting.checker import check_layout, placed_polygon
from decalprep.nesting.engine import nest
from decalprep.nesting.grids import (
    check_grid,
    even_grid,
    example_grids,
    label_boxes,
    start_at,
)
from decalprep.nesting.layout import Layout, NestPart, NestSettings
from decalprep.nesting.tile_ends import TileSettings
from decalprep.nesting.tiles import Ground, Seam, Tile, Tiling, tile_decal

__all__ = [
    "Ground",
    "Layout",
    "NestPart",
    "NestSettings",
    "Seam",
    "Tile",
    "TileSettings",
    "Tiling",
    "check_grid",
    "check_layout",
    "even_grid",
    "example_grids",
    "label_boxes",
    "nest",
    "placed_polygon",
    "start_at",
    "tile_decal",
]
