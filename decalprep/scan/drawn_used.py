"""The picture of a used sheet: what is gone of it hatched, so that a person can say yes to it."""

import io

import cv2
import numpy as np
from PIL import Image

from decalprep.geometry import Box
from decalprep.marks import label_cells
from decalprep.scan.lying import PX_PER_MM
from decalprep.scan.used import UsedSheet

_GONE = (200, 0, 0)
_HATCH_PX = 14


def used_picture(found: UsedSheet) -> bytes:
    """A PNG of a used sheet, upright, 4 px a mm: what is gone is hatched, gone labels crossed."""
    canvas = np.repeat((96 + found.upright * 0.6).astype(np.uint8)[:, :, None], 3, axis=2)
    mask = np.zeros(found.upright.shape, np.uint8)
    high_mm = found.sheet.height_mm
    for box in found.gone:
        low, high = _corners(box, high_mm)
        cv2.rectangle(mask, low, (high[0] - 1, high[1] - 1), 1, cv2.FILLED)
    rows, columns = np.nonzero(mask)
    lines = (rows + columns) % _HATCH_PX < 2
    canvas[rows[lines], columns[lines]] = _GONE
    outlines, _ = cv2.findContours(mask, cv2.RETR_LIST, cv2.CHAIN_APPROX_NONE)
    cv2.drawContours(canvas, outlines, -1, _GONE, 2)
    for number, cell in enumerate(label_cells(found.sheet), 1):
        low, high = _corners(cell, high_mm)
        gone = number in found.gone_labels
        cv2.rectangle(canvas, low, high, _GONE if gone else (0, 140, 60), 2)
        if gone:
            cv2.line(canvas, low, high, _GONE, 2, cv2.LINE_AA)
            cv2.line(canvas, (low[0], high[1]), (high[0], low[1]), _GONE, 2, cv2.LINE_AA)
        at = (low[0] + 6, low[1] + 22)
        cv2.putText(canvas, str(number), at, cv2.FONT_HERSHEY_SIMPLEX, 0.6, (0, 0, 0), 2)
    out = io.BytesIO()
    Image.fromarray(canvas).save(out, "PNG")
    return out.getvalue()


def _corners(box: Box, high_mm: float) -> tuple[tuple[int, int], tuple[int, int]]:
    """Upper left and lower right pixel of a box in sheet mm."""
    xs, ys = (box.x0, box.x1), (high_mm - box.y1, high_mm - box.y0)
    (x0, x1), (y0, y1) = ([round(v * PX_PER_MM) for v in pair] for pair in (xs, ys))
    return (x0, y0), (x1, y1)
