"""The proof of one finished file: structure, then every decal and mark of every sheet."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from contextlib import ExitStack
from functools import partial
from typing import Any

from decalprep.errors import InputProblem
from decalprep.model import Layer, Notice, Severity
from decalprep.proof.artparts import NO_PICTURE, artwork_parts
from decalprep.proof.expected import ExpectedDecal, ExpectedJob
from decalprep.proof.layers import layered
from decalprep.proof.lineparts import Judged, cross_parts, guide_parts, measured_size, outline_parts
from decalprep.proof.lines import measure_lines
from decalprep.proof.marks import measure_marks
from decalprep.proof.result import TOLERANCE_MM, Part, Proof, ProofRow
from decalprep.proof.stations import stations_on
from decalprep.proof.stray import stray_ink
from decalprep.proof.structure import check_structure
from decalprep.proof.views import Views

Share = Callable[[Sequence[Callable[[], Any]]], list[Any]]
"""Does tasks in any order, several at a time if it likes; what they gave, in their order."""


def in_turn(tasks: Sequence[Callable[[], Any]]) -> list[Any]:
    """The tasks' results, one after another."""
    return [task() for task in tasks]


def prove(
    pdf: bytes,
    expected: ExpectedJob,
    *,
    tolerance_mm: float = TOLERANCE_MM,
    share: Share = in_turn,
) -> Proof:
    """The proof of a file against what it should show; never raises for a file that is off.

    ``share`` may do parts of the measuring in other processes. Does not look at colours closer than
    the eye would, nor at what a printer does to the page.

    Raises:
        InputProblem: the file cannot be opened at all.
    """
    with ExitStack() as stack:
        stack.callback(layered.cache_clear)
        views = _opened(pdf, expected, stack)
        pages = range(min(views.whole.pages, len(expected.sheets)))
        on = [[d for d in expected.decals if d.page == index] for index in pages]
        placed = [decal for decals in on for decal in decals]
        views.open_all()
        tasks: list[Callable[[], Any]] = [partial(check_structure, pdf, expected)]
        tasks += [partial(_lines, views, k, on[k], tolerance_mm) for k in pages]
        tasks += [partial(artwork_parts, views, decal, tolerance_mm) for decal in placed]
        tasks += [partial(stray_ink, views.of, k, on[k]) for k in pages]
        sheets = expected.sheets[: views.whole.pages]
        tasks += [
            partial(measure_marks, views.of, k, sheet, tolerance_mm)
            for k, sheet in enumerate(sheets)
        ]
        found = iter(share(tasks))
    structure = next(found)
    lines = [line for _ in pages for line in next(found)]
    pictures = [next(found) for _ in placed]
    rows = [_row(*each) for each in zip(placed, lines, pictures, strict=True)]
    notices: list[Notice] = [notice for _ in pages for notice in next(found)]
    marks = [row for _ in sheets for row in next(found)]
    rows += [_absent(decal) for decal in expected.decals if decal.page not in pages]
    for row in rows:
        notices += _blank_notices(row)
    return Proof(tuple(rows), tuple(marks), structure, tuple(notices), tolerance_mm)


def _opened(pdf: bytes, expected: ExpectedJob, stack: ExitStack) -> Views:
    try:
        return Views(pdf, stack)
    except InputProblem:
        check_structure(pdf, expected)  # which says more of what is wrong
        raise


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


Lines = tuple[tuple[float, float], list[Judged]]
"""A decal's measured size (true mm), and its judged outline and holes."""


def _lines(
    views: Views, page: int, decals: Sequence[ExpectedDecal], tolerance_mm: float
) -> list[Lines]:
    """Size, outline and holes of each decal of a sheet; a layer is measured all at once."""
    outlines = [stations_on(d.outline_mm, closed=True) for d in decals]
    measured = measure_lines(views.of(Layer.CUT_OUTLINE.value), page, outlines)
    drawn = [h.contour_mm for d in decals for h in d.holes if h.drawn_as == "contour"]
    stations = [stations_on(contour, closed=True) for contour in drawn]
    guides = iter(measure_lines(views.of(Layer.HOLE_GUIDE.value), page, stations))
    view = views.of(Layer.SCREW_CROSS.value)
    found = []
    for decal, line in zip(decals, measured, strict=True):
        size = measured_size(decal, line)
        judged = [outline_parts(decal, line, size, tolerance_mm)]
        crosses = [h for h in decal.holes if h.drawn_as == "cross"]
        judged += [cross_parts(view, decal, hole, tolerance_mm) for hole in crosses]
        for hole in decal.holes:
            if hole.drawn_as == "contour":
                judged.append(guide_parts(decal, hole, next(guides), tolerance_mm))
        found.append((size, judged))
    views.rest()
    return found


def _row(
    decal: ExpectedDecal, lines: Lines, artwork: tuple[Judged, tuple[float, float]]
) -> ProofRow:
    """Everything that was measured of one decal."""
    size, drawn = lines
    picture, art_mm = artwork
    judged = [*drawn, picture]
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
