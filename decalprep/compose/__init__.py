"""Decals, placements and marks to one drawing list a sheet.

Sheet frame: true mm from the sheet's lower left corner, y up. A placed artwork's map is
placement @ part fit @ decal_from_artwork; the printer's correction is not in it but beside it, as
``Drawing.page_from_sheet``, and is applied once, by export. Overlap tests use 0.1 mm of growth on
shapes simplified to 0.02 mm, so that they err to the safe side.
"""

from decalprep.compose.correction import correction_note
from decalprep.compose.settings import ComposeSettings
from decalprep.compose.shapes import (
    Shape,
    ShapeSheet,
    mask_drawing,
    shapes_drawing,
)
from decalprep.compose.sheets import compose_sheets
from decalprep.compose.underlays import underlay_drawings

__all__ = [
    "ComposeSettings",
    "Shape",
    "ShapeSheet",
    "compose_sheets",
    "correction_note",
    "mask_drawing",
    "shapes_drawing",
    "underlay_drawings",
]
