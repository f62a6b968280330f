"""Scanned pages to the places of printed marks.

Pixels: (column, row) from the top left, pixel centres at .5; page places in mm, y up. Measures are
pixels per page millimetre, never the dpi that a file claims. One scan never corrects anything: a
scanner errs by more than a printer. A photograph alone says nothing: one of a page was off by up to
11,800 ppm in trials, more than any printer; several are read for ``calibration.shape_from_photos``.
"""

from decalprep.scan.bare import find_part
from decalprep.scan.drawn_part import part_picture
from decalprep.scan.drawn_used import used_picture
from decalprep.scan.edges import EdgeDeviation
from decalprep.scan.findings import (
    ExpectedPrint,
    MeanScale,
    MeasuredDecal,
    PrintFinding,
    ScannerScale,
    SheetDecal,
    Verdict,
)
from decalprep.scan.images import ScanImage, read_scan
from decalprep.scan.page import FoundPage, find_page, fit_affine
from decalprep.scan.part import (
    HoleOffset,
    PartComparison,
    SheetHole,
    compare_with_part,
)
from decalprep.scan.photos import FoundPhoto, find_page_in_photo
from decalprep.scan.picture import print_picture
from decalprep.scan.printed import PlacedPrint, place_print
from decalprep.scan.sheet import (
    FittedPrint,
    expected_print,
    fit_placed,
    fit_print,
    judge_print,
    measure_print,
    scanner_scale,
)
from decalprep.scan.used import UsedChoices, UsedSheet, find_used

__all__ = [
    "EdgeDeviation",
    "ExpectedPrint",
    "FittedPrint",
    "FoundPage",
    "FoundPhoto",
    "HoleOffset",
    "MeanScale",
    "MeasuredDecal",
    "PartComparison",
    "PlacedPrint",
    "PrintFinding",
    "ScanImage",
    "ScannerScale",
    "SheetDecal",
    "SheetHole",
    "UsedChoices",
    "UsedSheet",
    "Verdict",
    "compare_with_part",
    "expected_print",
    "find_page",
    "find_page_in_photo",
    "find_part",
    "find_used",
    "fit_affine",
    "fit_placed",
    "fit_print",
    "judge_print",
    "measure_print",
    "part_picture",
    "place_print",
    "print_picture",
    "read_scan",
    "scanner_scale",
    "used_picture",
]
