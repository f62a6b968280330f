"""The proof of one finished file: structure, then every decal and mark of every sheet."""

from __future__ import annotations

import math
from collections.abc import Sequence
from contextlib import ExitStack

from decalprep.model import Layer, Notice, Severity
from decalprep.proof.artparts import NO_PICTURE, artwork_parts
from decalprep.proof.expected import ExpectedDecal, ExpectedJob
from decalprep.proof.lineparts import Judged, cross_parts, guide_parts, measured_size, outline_parts
from decalprep.proof.lines import MeasuredLine, measure_lines
from decalprep.proof.marks import measure_marks
from decalprep.proof.result import TOLERANCE_MM, Part, Proof, ProofRow
from decalprep.proof.stations import stations_on
from decalprep.proof.stray import stray_ink
from decalprep.proof.structure import check_structure
from decalprep.proof.views import Views


def prove(pdf: bytes, expected: ExpectedJob, *, tolerance_mm: float = TOLERANCE_MM) -> Proof:
    """The proof of a file against what it should show; never raises for a file that is off.

    Does not look at colours closer than the eye would, nor at what a printer does to the page.

    Raises:
        InputProblem: the file cannot be opened at all.
    """
    structure = check_structure(pdf, expected)
    rows: list[ProofRow] = []
    notices: list[Notice] = []
    with ExitStack() as stack:
        views = Views(pdf, stack)
        pages = views.whole.pages
        for index in range(min(pages, len(expected.sheets))):
            decals = [d for d in expected.decals if d.page == index]
            rows += _sheet_rows(views, index, decals, tolerance_mm)
            notices += stray_ink(views.of, index, decals)
            views.rest()
        for decal in expected.decals:
            if not 0 <= decal.page < min(pages, len(expected.sheets)):
                rows.append(_absent(decal))
        marks = [
            row
            for index, sheet in enumerate(expected.sheets[:pages])
            for row in measure_marks(views.of, index, sheet, tolerance_mm)
        ]
    for row in rows:
        notices += _blank_notices(row)
    return Proof(tuple(rows), tuple(marks), structure, tuple(notices), tolerance_mm)


def _absent(decal: ExpectedDecal) -> ProofRow:
    nothing = (math.nan, math.nan)
    fault = f"there is no sheet {decal.page + 1} in the file"
    return ProofRow(
        decal.name, decal.copy, decal.page, decal.size_mm, nothing, nothing, math.inf, (), (fault,)
    )


def _blank_notices(row: ProofRow) -> list[Notice]:
    return [
        Notice(
            "proof-no-picture", f"{row.decal} #{row.copy}: {part.found}", row.decal, Severity.NOTE
        )
        for part in row.parts
        if part.what == "artwork" and part.found == NO_PICTURE
    ]


def _sheet_rows(
    views: Views, page: int, decals: Sequence[ExpectedDecal], tolerance_mm: float
) -> list[ProofRow]:
    """One row for each decal of a sheet; the lines of a layer are measured all at once."""
    outlines = [stations_on(d.outline_mm, closed=True) for d in decals]
    measured = measure_lines(views.of(Layer.CUT_OUTLINE.value), page, outlines)
    drawn = [h.contour_mm for d in decals for h in d.holes if h.drawn_as == "contour"]
    stations = [stations_on(contour, closed=True) for contour in drawn]
    guides = iter(measure_lines(views.of(Layer.HOLE_GUIDE.value), page, stations))
    view = views.of(Layer.SCREW_CROSS.value)
    crosses = [
        [cross_parts(view, d, h, tolerance_mm) for h in d.holes if h.drawn_as == "cross"]
        for d in decals
    ]
    views.rest()
    rows = []
    for decal, line, pierced in zip(decals, measured, crosses, strict=True):
        judged = list(pierced)
        for hole in decal.holes:
            if hole.drawn_as == "contour":
                judged.append(guide_parts(decal, hole, next(guides), tolerance_mm))
        rows.append(_row(views, decal, line, judged, tolerance_mm))
    return rows


def _row(
    views: Views,
    decal: ExpectedDecal,
    line: MeasuredLine,
    holes: Sequence[Judged],
    tolerance_mm: float,
) -> ProofRow:
    """Everything that is measured of one decal."""
    size = measured_size(decal, line)
    picture, art_mm = artwork_parts(views, decal, tolerance_mm)
    judged = [outline_parts(decal, line, size, tolerance_mm), *holes, picture]
    parts: list[Part] = [part for found, _ in judged for part in found]
    return ProofRow(
        decal.name,
        decal.copy,
        decal.page,
        decal.size_mm,
        size,
        art_mm,
        max(part.error_mm for part in parts),
        tuple(parts),
        tuple(fault for _, faults in judged for fault in faults),
    )
