"""Check bars and other marks of a sheet, measured."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence

import numpy as np

from decalprep.proof.expected import ExpectedBar, ExpectedShape, ExpectedSheet
from decalprep.proof.lines import MeasuredLine, measure_edges, measure_lines
from decalprep.proof.render import OpenPdf
from decalprep.proof.result import MarkRow
from decalprep.proof.stations import stations_on

View = Callable[..., OpenPdf]


def measure_marks(
    view: View, page: int, sheet: ExpectedSheet, tolerance_mm: float
) -> list[MarkRow]:
    """A row for each check bar and each line of a sheet."""
    rows = [_bar_row(view, page, sheet, bar, tolerance_mm) for bar in sheet.bars]
    for layer in sorted({line.layer for line in sheet.lines}):
        lines = [line for line in sheet.lines if line.layer == layer]
        stations = [stations_on(line.points_mm, closed=line.closed) for line in lines]
        for line, measured in zip(lines, measure_lines(view(layer), page, stations), strict=True):
            rows.append(_line_row(line.name, page, measured, tolerance_mm))
    for layer in sorted({shape.layer for shape in sheet.shapes}):
        shapes = [shape for shape in sheet.shapes if shape.layer == layer]
        rows += _shape_rows(view(layer), page, shapes, tolerance_mm)
    return rows


def _shape_rows(
    view: OpenPdf, page: int, shapes: Sequence[ExpectedShape], tolerance_mm: float
) -> list[MarkRow]:
    """The edges of filled shapes; a ring that is missing makes its shape missing."""
    rings = [ring for shape in shapes for ring in _inked_left(shape)]
    edges = iter(measure_edges(view, page, [stations_on(r, closed=True) for r in rings]))
    rows = []
    for shape in shapes:
        name = f"{shape.name} of {shape.decal} #{shape.copy}" if shape.decal else shape.name
        found = [_line_row(name, page, next(edges), tolerance_mm) for _ in shape.rings_mm]
        rows.append(max(found, key=lambda row: row.error_mm))
    return rows


def _inked_left(shape: ExpectedShape) -> list[Sequence[tuple[float, float]]]:
    """Rings turned so that the ink lies on their left: outer counter-clockwise, holes not."""
    turned: list[Sequence[tuple[float, float]]] = []
    for k, ring in enumerate(shape.rings_mm):
        x, y = np.asarray(ring, float).T
        counter_clockwise = float(x @ np.roll(y, -1) - y @ np.roll(x, -1)) > 0
        turned.append(ring if counter_clockwise == (k == 0) else ring[::-1])
    return turned


def _line_row(name: str, page: int, line: MeasuredLine, tolerance_mm: float) -> MarkRow:
    if not line.found.any() or line.gap_mm > 0:
        return MarkRow(name, page, math.inf, fault="missing, broken or more than 0.8 mm off")
    off = line.worst_mm
    fault = f"{off:.3f} mm from its place" if off > tolerance_mm else ""
    return MarkRow(name, page, off, fault=fault)


def _bar_row(
    view: View, page: int, sheet: ExpectedSheet, bar: ExpectedBar, tolerance_mm: float
) -> MarkRow:
    """The distance between the two end lines of a bar, in true mm, and their places."""
    ends = [stations_on(end, closed=False) for end in (bar.first, bar.last)]
    first, last = measure_lines(view(bar.layer), page, ends)
    if not (first.found.any() and last.found.any()):
        return MarkRow(bar.name, page, math.inf, bar.true_mm, math.nan, "an end line is missing")
    back = sheet.page_from_true.inverse()
    a, b = (back.apply(*_middle(line)) for line in (first, last))
    middles = [back.apply(*_mean(end)) for end in (bar.first, bar.last)]
    along = np.subtract(middles[1], middles[0])
    along = along / np.hypot(*along)
    length = float(np.subtract(b, a) @ along)
    off = max(abs(length - bar.true_mm), first.worst_mm, last.worst_mm)
    fault = ""
    if abs(length - bar.true_mm) > tolerance_mm:
        fault = f"measures {length:.3f} mm, intended {bar.true_mm:g}"
    elif off > tolerance_mm:
        fault = f"an end line is {off:.3f} mm from its place"
    return MarkRow(bar.name, page, off, bar.true_mm, length, fault)


def _mean(points: Sequence[tuple[float, float]]) -> tuple[float, float]:
    return sum(p[0] for p in points) / len(points), sum(p[1] for p in points) / len(points)


def _middle(line: MeasuredLine) -> tuple[float, float]:
    """Mean measured place of an end line; its offsets added to its expected middle."""
    s = line.stations
    offset = float(line.offsets_mm[line.found].mean())
    x, y = s.points.mean(axis=0) + s.normals[0] * offset
    return float(x), float(y)
