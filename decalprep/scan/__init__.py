"""Scanned pages to the places of printed marks.

Pixels: (column, row) from the top left, pixel centres at .5; page places in mm, y up. Measures are
pixels per page millimetre, never the dpi that a file claims. One scan never corrects anything: a
scanner errs by more than a printer. A photograph alone says nothing: one of a page was off by up to
11,800 ppm in trials, more than any printer; several are read for ``calibration.shape_from_photos``.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from decalprep.later import later

if TYPE_CHECKING:
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
        expected_print,
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

_LATER = {
    "EdgeDeviation": "edges",
    "ExpectedPrint": "findings",
    "FittedPrint": "sheet",
    "FoundPage": "page",
    "FoundPhoto": "photos",
    "HoleOffset": "part",
    "MeanScale": "findings",
    "MeasuredDecal": "findings",
    "PartComparison": "part",
    "PlacedPrint": "printed",
    "PrintFinding": "findings",
    "ScanImage": "images",
    "ScannerScale": "findings",
    "SheetDecal": "findings",
    "SheetHole": "part",
    "UsedChoices": "used",
    "UsedSheet": "used",
    "Verdict": "findings",
    "compare_with_part": "part",
    "expected_print": "findings",
    "find_page": "page",
    "find_page_in_photo": "photos",
    "find_part": "bare",
    "find_used": "used",
    "fit_affine": "page",
    "fit_placed": "sheet",
    "fit_print": "sheet",
    "judge_print": "sheet",
    "measure_print": "sheet",
    "part_picture": "drawn_part",
    "place_print": "printed",
    "print_picture": "picture",
    "read_scan": "images",
    "scanner_scale": "sheet",
    "used_picture": "drawn_used",
}
"""Where each name is; modules that load OpenCV or scipy are loaded when first asked for."""

__getattr__ = later(__name__, _LATER)
