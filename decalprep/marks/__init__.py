"""What is printed round the decals, and the calibration page.

Sheet frame: mm from the sheet's lower left corner, y up. Marks keep 0.5 mm inside the printable
area (half a line is never clipped) and 0.5 mm from decals (``reserved_zones``).
"""

from decalprep.marks.letters import (
    descent_mm,
    fitted_text,
    printable_text,
    text_width_mm,
    type_size_mm,
)
from decalprep.marks.places import MarkPlaces, label_cells, mark_places, mark_zones, reserved_zones
from decalprep.marks.sheet_items import (
    ACTUAL_SIZE,
    check_bar,
    sheet_mark_notices,
    sheet_marks,
    title_width_mm,
)

__all__ = [
    "ACTUAL_SIZE",
    "MarkPlaces",
    "check_bar",
    "descent_mm",
    "fitted_text",
    "label_cells",
    "mark_places",
    "mark_zones",
    "printable_text",
    "reserved_zones",
    "sheet_mark_notices",
    "sheet_marks",
    "text_width_mm",
    "title_width_mm",
    "type_size_mm",
]
