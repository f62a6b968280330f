"""The proof of one finished file: structure, then every decal and mark of every sheet."""

from __future__ import annotations

import math
from collections.abc import Sequence
from contextlib import ExitStack

import numpy as np

from decalprep.errors import InputProblem
from decalprep.geometry import Affine, Box, fit_circle
from decalprep.model import Layer, Notice, Severity
from decalprep.proof.artwork import MeasuredArtwork, measure_artwork
from decalprep.proof.expected import ExpectedDecal, ExpectedHole, ExpectedJob
from decalprep.proof.layers import Layered
from decalprep.proof.lines import (
    MeasuredLine,
    measure_cross,
    measure_lines,
    stations_on,
)
from decalprep.proof.marks import measure_marks
from decalprep.proof.render import OpenPdf, open_pdf
from decalprep.proof.result import TOLERANCE_MM, Part, Proof, ProofRow
from decalprep.proof.stray import stray_ink
from decalprep.proof.structure import check_structure

STATES = {
    "missing": "the artwork is missing",
    "mirrored": "the artwork is mirrored",
    "turned": "the artwork is turned",
    "other": "another picture is in the place of the artwork",
}


class _Views:
    """The file opened once for each layer that is looked at."""

    def __init__(self, pdf: bytes, stack: ExitStack) -> None:
        self._layered = Layered(pdf)
        self._stack = stack
        self._open: dict[tuple[str, ...], OpenPdf] = {}
        self._references: dict[bytes, OpenPdf] = {}

    @property
    def names(self) -> tuple[str, ...]:
        return self._layered.names

    def of(self, *layers: str) -> OpenPdf:
        """The file with only these layers on."""
        if layers not in self._open:
            shown = self._layered.only(layers)
            self._open[layers] = self._stack.enter_context(open_pdf(shown, where="exported PDF"))
        return self._open[layers]

    def reference(self, page_pdf: bytes) -> OpenPdf:
        """A reference artwork."""
        if page_pdf not in self._references:
            opened = self._stack.enter_context(open_pdf(page_pdf, where="reference artwork"))
            self._references[page_pdf] = opened
        return self._references[page_pdf]


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
        views = _Views(pdf, stack)
        pages = views.of(*views.names).pages
        for index in range(min(pages, len(expected.sheets))):
            decals = [d for d in expected.decals if d.page == index]
            rows += _sheet_rows(views, index, decals, tolerance_mm)
            notices += stray_ink(views.of, index, decals)
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
        if part.what == "artwork" and part.found.startswith("no picture")
    ]


def _sheet_rows(
    views: _Views, page: int, decals: Sequence[ExpectedDecal], tolerance_mm: float
) -> list[ProofRow]:
    """One row for each decal of a sheet; the lines of a layer are measured all at once."""
    outlines = [stations_on(d.outline_mm, closed=True) for d in decals]
    measured = measure_lines(views.of(Layer.CUT_OUTLINE.value), page, outlines)
    drawn = [h for d in decals for h in d.holes if h.drawn_as == "contour"]
    guides = measure_lines(
        views.of(Layer.HOLE_GUIDE.value),
        page,
        [stations_on(h.contour_mm, closed=True) for h in drawn],
    )
    guide_of = {id(h): line for h, line in zip(drawn, guides, strict=True)}
    rows = []
    for decal, line in zip(decals, measured, strict=True):
        parts, faults = _outline_part(decal, line, tolerance_mm)
        size = _measured_size(decal, line)
        parts, faults = _size_part(decal, size, parts, faults, tolerance_mm)
        for hole in decal.holes:
            if hole.drawn_as == "contour":
                part, fault = _guide_part(decal, hole, guide_of[id(hole)], tolerance_mm)
            elif hole.drawn_as == "cross":
                part, fault = _cross_part(views, decal, hole, tolerance_mm)
            else:
                continue
            parts.append(part)
            faults += fault
        picture, fault, art_mm = _artwork_part(views, decal, tolerance_mm)
        parts += picture
        faults += fault
        worst = max((p.error_mm for p in parts), default=math.inf)
        rows.append(
            ProofRow(
                decal.name,
                decal.copy,
                page,
                decal.size_mm,
                size,
                art_mm,
                worst,
                tuple(parts),
                tuple(faults),
            )
        )
    return rows


def _outline_part(
    decal: ExpectedDecal, line: MeasuredLine, tolerance_mm: float
) -> tuple[list[Part], list[str]]:
    part, fault = _line_part("cut outline", line, decal.allow_gaps_mm, tolerance_mm)
    return [part], fault


def _line_part(
    what: str, line: MeasuredLine, gaps_mm: float, tolerance_mm: float
) -> tuple[Part, list[str]]:
    """A line against its expected place."""
    found = int(line.found.sum())
    if found < max(1, len(line.found) // 4):
        return Part(what, math.inf, "missing"), [f"the {what} is missing or more than 0.8 mm off"]
    text = f"largest {line.worst_mm:.4f}, mean {line.mean_mm:.4f} mm at {found} places"
    part = Part(what, line.worst_mm, text)
    faults = []
    if line.worst_mm > tolerance_mm:
        faults.append(f"the {what} is up to {line.worst_mm:.3f} mm from its place")
    if line.gap_mm > gaps_mm + 1e-9:
        faults.append(f"the {what} has a gap of {line.gap_mm:.1f} mm")
        part = Part(what, math.inf, text + f", gap {line.gap_mm:.1f} mm")
    return part, faults


def _measured_size(decal: ExpectedDecal, line: MeasuredLine) -> tuple[float, float]:
    """(width, height) in true mm of the drawn outline, in the decal's own frame.

    Each side is the mean of the stations nearest to that extreme of the expected outline; where a
    corner is the extreme, an affine fit over all stations says where it lies.
    """
    if line.found.sum() < 4:
        return math.nan, math.nan
    back = decal.page_from_decal.inverse()
    ring = np.array(back.apply_all(decal.outline_mm))
    at = line.found
    expected = np.array(back.apply_all([tuple(p) for p in line.stations.points[at]]))
    moved = np.array(back.apply_all([tuple(p) for p in line.points])) - expected
    normals = line.stations.normals[at]
    linear = Affine(back.a, back.b, back.c, back.d)
    normals = np.array(linear.apply_all([tuple(n) for n in normals]))
    normals /= np.hypot(normals[:, 0], normals[:, 1])[:, None]
    fit = _affine_fit(expected, normals, (moved * normals).sum(axis=1))
    sizes = []
    for axis in (0, 1):
        ends = []
        for extreme in (int(ring[:, axis].argmin()), int(ring[:, axis].argmax())):
            edge = ring[extreme, axis]
            near = (np.abs(expected[:, axis] - edge) < 0.02) & (np.abs(normals[:, axis]) > 0.98)
            if near.any():
                ends.append(float(edge) + float(moved[near, axis].mean()))
            else:
                x, y = ring[extreme]
                ends.append(float(edge) + float(fit[axis] @ (1.0, x, y)))
        sizes.append(float(ends[1] - ends[0]))
    return sizes[0], sizes[1]


def _affine_fit(
    points: np.ndarray, normals: np.ndarray, offsets: np.ndarray
) -> tuple[np.ndarray, np.ndarray]:
    """Displacement (a0 + a1 x + a2 y, b0 + b1 x + b2 y) that explains offsets along normals."""
    ones = np.column_stack([np.ones(len(points)), points])
    basis = np.hstack([ones * normals[:, :1], ones * normals[:, 1:]])
    numbers = np.linalg.lstsq(basis, offsets, rcond=1e-6)[0]
    return numbers[:3], numbers[3:]


def _size_part(
    decal: ExpectedDecal,
    size: tuple[float, float],
    parts: list[Part],
    faults: list[str],
    tolerance_mm: float,
) -> tuple[list[Part], list[str]]:
    """Adds the size to the parts, and checks that the expectation agrees with itself."""
    ring = Box.around(decal.page_from_decal.inverse().apply_all(decal.outline_mm))
    width, height = decal.size_mm
    if max(abs(ring.width - width), abs(ring.height - height)) > 0.005:
        told = f"{ring.width:.3f} x {ring.height:.3f} mm"
        faults = [*faults, f"the expected outline is {told}, not the intended size"]
    if math.isnan(size[0]):
        return parts, faults
    off = max(abs(size[0] - width), abs(size[1] - height))
    parts = [*parts, Part("size", off, f"{size[0]:.4f} x {size[1]:.4f} mm")]
    if off > tolerance_mm:
        faults = [*faults, f"measures {size[0]:.3f} x {size[1]:.3f} mm"]
    return parts, faults


def _guide_part(
    decal: ExpectedDecal, hole: ExpectedHole, line: MeasuredLine, tolerance_mm: float
) -> tuple[Part, list[str]]:
    """A hole guide; for a round hole also its true diameter."""
    what = f"hole guide {hole.name}"
    part, faults = _line_part(what, line, decal.allow_gaps_mm, tolerance_mm)
    if hole.diameter_mm is None or not math.isfinite(part.error_mm) or line.found.sum() < 6:
        return part, faults
    back = decal.page_from_decal.inverse()
    circle, _ = fit_circle([back.apply(float(x), float(y)) for x, y in line.points])
    off = abs(circle.diameter - hole.diameter_mm)
    if off > tolerance_mm:
        faults.append(f"the {what} measures {circle.diameter:.3f} mm across")
    text = f"{part.found}, diameter {circle.diameter:.4f} mm"
    return Part(what, max(part.error_mm, off), text), faults


def _cross_part(
    views: _Views, decal: ExpectedDecal, hole: ExpectedHole, tolerance_mm: float
) -> tuple[Part, list[str]]:
    """A screw cross: how far its centre is from the middle of the hole."""
    what = f"screw cross {hole.name}"
    box = Box.around(hole.contour_mm)
    reach = (hole.cross_mm / 2 + 0.3) if hole.cross_mm else max(0.8, box.width / 2)
    view = views.of(Layer.SCREW_CROSS.value)
    found = measure_cross(view, decal.page, box.centre, reach_mm=min(reach, 4.0))
    if found is None:
        return Part(what, math.inf, "missing"), [f"the {what} is missing"]
    off = math.dist(found, box.centre)
    faults = [f"the {what} is {off:.3f} mm from its place"] if off > tolerance_mm else []
    return Part(what, off, f"centre {off:.4f} mm off"), faults


def _artwork_part(
    views: _Views, decal: ExpectedDecal, tolerance_mm: float
) -> tuple[list[Part], list[str], tuple[float, float]]:
    """The artwork's place and picture, and its size as (width, height) in true mm of its page."""
    nothing = (math.nan, math.nan)
    if decal.artwork is None:
        return [], [], nothing
    art = decal.artwork
    try:
        reference = views.reference(art.page_pdf)
    except InputProblem as fault:
        return [Part("artwork", math.inf, str(fault))], [str(fault)], nothing
    found = measure_artwork(views.of(Layer.ARTWORK.value), reference, decal)
    if found.state in ("blank", "too small"):
        text = "no picture that can be measured; the cut outline stands for it"
        return [Part("artwork", 0.0, text)], [], nothing
    size = (
        art.width_mm * found.width_ratio if found.width_ratio else math.nan,
        art.height_mm * found.height_ratio if found.height_ratio else math.nan,
    )
    part, faults = _picture_part(found, tolerance_mm)
    for name, got, want in zip(("wide", "high"), size, (art.width_mm, art.height_mm), strict=True):
        if abs(got - want) > max(tolerance_mm, 1e-9) and found.state in ("same", "differs"):
            faults.append(f"the artwork measures {got:.3f} mm {name}, intended {want:.3f}")
            part = Part(part.what, max(part.error_mm, abs(got - want)), part.found)
    return [part], faults, size


def _picture_part(found: MeasuredArtwork, tolerance_mm: float) -> tuple[Part, list[str]]:
    """The artwork in words."""
    if found.state in STATES:
        return Part("artwork", math.inf, STATES[found.state]), [STATES[found.state]]
    dx, dy = found.shift_mm
    text = f"largest {found.worst_mm:.4f} mm, shift ({dx:.4f}, {dy:.4f}) mm"
    faults = []
    if found.worst_mm > tolerance_mm:
        faults.append(f"the artwork is up to {found.worst_mm:.3f} mm from its place")
    if found.state == "differs":
        at = found.differs_at
        where = f" near ({at.centre[0]:.1f}, {at.centre[1]:.1f}) mm" if at else ""
        faults.append(f"the picture differs over {found.differs_mm2:.2f} mm2{where}")
    return Part("artwork", found.worst_mm, text), faults
