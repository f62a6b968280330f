"""Whether the sheet, all layers together, shows the artwork: nothing over it, nothing through it.

Compares the file as it prints with its artwork layer alone, inside each cut outline. Thin lines
(marks) do not count; a patch of another colour does: an underlay or mask drawn over the artwork,
or a bleed that shows through where the artwork leaves bare paper.
"""

from __future__ import annotations

import cv2
import numpy as np

from decalprep.geometry import Box
from decalprep.proof.expected import ExpectedDecal
from decalprep.proof.render import OpenPdf, frame_for, within
from decalprep.proof.scene import compared
from decalprep.units import MM_PER_IN

DPI = 150.0
THIN_PX = 4
"""Lines up to 0.5 mm do not count."""
DIFFERENT = 40
LEAST_MM2 = 0.5


def covered(whole: OpenPdf, artwork: OpenPdf, decal: ExpectedDecal) -> tuple[float, Box | None]:
    """(area in mm2, box on the page) where the whole sheet does not look like the artwork."""
    frame, size = frame_for(Box.around(decal.outline_mm), DPI)
    mask = compared(decal, frame, size, DPI)
    if not mask.any():
        return 0.0, None
    shown, wanted = (view.draw(decal.page, frame, size) for view in (whole, artwork))
    alike = within(np.asarray(cv2.absdiff(shown, wanted), np.uint8), 0, DIFFERENT)
    odd = (~alike & mask).astype(np.uint8)
    if not odd.any():
        return 0.0, None
    odd = np.asarray(cv2.morphologyEx(odd, cv2.MORPH_OPEN, np.ones((THIN_PX, THIN_PX), np.uint8)))
    rows, columns = np.nonzero(odd)
    area_mm2 = len(rows) * (MM_PER_IN / DPI) ** 2
    if area_mm2 < LEAST_MM2:
        return 0.0, None
    corners = Box(columns.min(), rows.min(), columns.max() + 1, rows.max() + 1).corners
    return area_mm2, Box.around(frame.inverse().apply_all(corners))
