"""Printed calibration pages on the virtual bed: what a person gets from printer and scanner."""

from functools import cache

import numpy as np

from decalprep.geometry import Affine
from decalprep.marks.calibration_page import calibration_page
from decalprep.marks.calibration_page_layout import target_layout
from decalprep.model import FillMark, Sheet, StrokeMark, TargetLayout
from virtual.hand import Press
from virtual.scanner import Bed, scan_page

A4 = Sheet("A4", 210, 297)


@cache
def parts(record: str = "r") -> tuple[TargetLayout, list, list]:
    """(layout, filled contours of the markers, strokes) of the A4 page."""
    drawing = calibration_page(A4, record_name=record)
    layout = target_layout(A4, record_name=record, correction=Affine())
    marks = [i for i in drawing.items if isinstance(i, FillMark) and len(i.paths) > 1]
    filled = [[np.array(p.points(0.02)) for p in m.paths] for m in marks]
    strokes = [i for i in drawing.items if isinstance(i, StrokeMark)]
    return layout, filled, [(np.array(s.path.points()), s.width_mm) for s in strokes]


def picture(
    press: Press,
    bed: Bed,
    *,
    turn_deg: float,
    seed: int = 1,
    shift_mm: tuple[float, float] = (0.0, 0.0),
    record: str = "r",
    sheet_seed: int = 99,
) -> np.ndarray:
    """A scan of one printed sheet; the same ``sheet_seed`` is the same sheet."""
    layout, filled, lines = parts(record)
    discs = np.array(layout.discs)
    toner = np.random.default_rng(sheet_seed).normal(0, bed.toner_mm, discs.shape)
    return scan_page(
        press,
        bed,
        np.random.default_rng(seed),
        discs=discs,
        disc_mm=layout.disc_diameter_mm,
        filled=filled,
        lines=lines,
        turn_deg=turn_deg,
        shift_mm=shift_mm,
        toner=toner,
    )
