"""Measured lines, hole guides and crosses of one decal, judged against what is expected."""

from __future__ import annotations

import math

import numpy as np
import numpy.typing as npt

from decalprep.geometry import Affine, Box, fit_circle
from decalprep.proof.expected import ExpectedDecal, ExpectedHole
from decalprep.proof.lines import MeasuredLine, measure_cross
from decalprep.proof.render import OpenPdf
from decalprep.proof.result import Part

Floats = npt.NDArray[np.float64]
EXPECTED_MM = 0.005
"""How far an expected outline's own box may be from the intended size: what flattening does."""
Judged = tuple[list[Part], list[str]]
"""Parts measured, and what is wrong with them in plain sentences."""


def outline_parts(
    decal: ExpectedDecal, line: MeasuredLine, size: tuple[float, float], tolerance_mm: float
) -> Judged:
    """The cut outline: its place all round, its size, and whether the expectation is sound."""
    part, faults = _line_part("cut outline", line, decal.allow_gaps_mm, tolerance_mm)
    parts = [part]
    ring = Box.around(decal.page_from_decal.inverse().apply_all(decal.outline_mm))
    width, height = decal.size_mm
    if max(abs(ring.width - width), abs(ring.height - height)) > EXPECTED_MM:
        told = f"{ring.width:.3f} x {ring.height:.3f} mm"
        faults.append(f"the expected outline is {told}, not the intended size")
    if not math.isnan(size[0]):
        off = max(abs(size[0] - width), abs(size[1] - height))
        parts.append(Part("size", off, f"{size[0]:.4f} x {size[1]:.4f} mm"))
        if off > tolerance_mm:
            faults.append(f"measures {size[0]:.3f} x {size[1]:.3f} mm")
    return parts, faults


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


def measured_size(decal: ExpectedDecal, line: MeasuredLine) -> tuple[float, float]:
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


def _affine_fit(points: Floats, normals: Floats, offsets: Floats) -> tuple[Floats, Floats]:
    """Displacement (a0 + a1 x + a2 y, b0 + b1 x + b2 y) that explains offsets along normals."""
    ones = np.column_stack([np.ones(len(points)), points])
    basis = np.hstack([ones * normals[:, :1], ones * normals[:, 1:]])
    numbers = np.linalg.lstsq(basis, offsets, rcond=1e-6)[0]
    return np.asarray(numbers[:3], float), np.asarray(numbers[3:], float)


def guide_parts(
    decal: ExpectedDecal, hole: ExpectedHole, line: MeasuredLine, tolerance_mm: float
) -> Judged:
    """A hole guide; for a round hole also its true diameter."""
    what = f"hole guide {hole.name}"
    part, faults = _line_part(what, line, decal.allow_gaps_mm, tolerance_mm)
    if hole.diameter_mm is None or not math.isfinite(part.error_mm) or line.found.sum() < 6:
        return [part], faults
    back = decal.page_from_decal.inverse()
    circle, _ = fit_circle([back.apply(float(x), float(y)) for x, y in line.points])
    off = abs(circle.diameter - hole.diameter_mm)
    if off > tolerance_mm:
        faults.append(f"the {what} measures {circle.diameter:.3f} mm across")
    text = f"{part.found}, diameter {circle.diameter:.4f} mm"
    return [Part(what, max(part.error_mm, off), text)], faults


def cross_parts(
    view: OpenPdf, decal: ExpectedDecal, hole: ExpectedHole, tolerance_mm: float
) -> Judged:
    """A screw cross: how far its centre is from the middle of the hole."""
    what = f"screw cross {hole.name}"
    box = Box.around(hole.contour_mm)
    reach = (hole.cross_mm / 2 + 0.3) if hole.cross_mm else max(0.8, box.width / 2)
    found = measure_cross(view, decal.page, box.centre, reach_mm=min(reach, 4.0))
    if found is None:
        return [Part(what, math.inf, "missing")], [f"the {what} is missing"]
    off = math.dist(found, box.centre)
    faults = [f"the {what} is {off:.3f} mm from its place"] if off > tolerance_mm else []
    return [Part(what, off, f"centre {off:.4f} mm off")], faults
