"""The independent check of a layout: plain geometry on the exact outlines, nothing of the engine.

It turns and shifts every piece itself, works out die lines itself, and measures with shapely.
``SLACK_MM`` is 0.001 mm: a hundredth of what a knife can follow, a thousand times the rounding of
the sums; any fault beyond it is told with its size.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Sequence
from typing import TYPE_CHECKING

from shapely import STRtree
from shapely.affinity import rotate, translate
from shapely.geometry import Polygon, box
from shapely.geometry.base import BaseGeometry

from decalprep.model import Placement, Sheet, Turns

if TYPE_CHECKING:
    from decalprep.nesting.layout import Layout, NestPart, NestSettings

SLACK_MM = 0.001
_STEP_DEG = {Turns.NONE: 360.0, Turns.HALF: 180.0, Turns.QUARTER: 90.0}


def placed_polygon(polygon: Polygon, placement: Placement) -> Polygon:
    """Where a piece lies, in the sheet frame in mm."""
    turned = rotate(polygon, placement.turn_deg, origin=(0, 0))
    return translate(turned, placement.x_mm, placement.y_mm)


def _name(placement: Placement) -> str:
    return f"{placement.decal!r} copy {placement.copy}"


def _counts(
    parts: Sequence[NestPart], placements: Sequence[Placement], unplaced: Sequence[tuple[str, int]]
) -> list[str]:
    wanted = Counter((part.key, copy + 1) for part in parts for copy in range(part.copies))
    found = Counter([(p.decal, p.copy) for p in placements] + list(unplaced))
    return [
        f"{key!r} copy {copy} appears {found[key, copy]} times, wanted {wanted[key, copy]}"
        for key, copy in sorted(wanted | found)
        if found[key, copy] != wanted[key, copy]
    ]


def _turns(part: NestPart, placement: Placement) -> list[str]:
    step = _STEP_DEG.get(part.turns, part.turn_step_deg)
    if not step:
        return []
    off = (placement.turn_deg + step / 2) % step - step / 2
    if abs(off) <= 1e-9:
        return []
    allowed = part.turns.value if part.turns in _STEP_DEG else f"steps of {step:g}"
    return [f"{_name(placement)} is turned {placement.turn_deg:g} degrees; {allowed} only"]


def _edges(name: str, shape: Polygon, sheet: Sheet) -> list[str]:
    m = sheet.margins
    x0, y0, x1, y1 = shape.bounds
    over = max(
        m.left_mm - x0,
        m.bottom_mm - y0,
        x1 - (sheet.width_mm - m.right_mm),
        y1 - (sheet.height_mm - m.top_mm),
    )
    return [f"{name} reaches {over:.3f} mm into the margin"] if over > SLACK_MM else []


def _far_from(
    name: str, shape: Polygon, areas: Iterable[BaseGeometry], least_mm: float, what: str
) -> list[str]:
    faults = []
    for area in areas:
        apart = shape.distance(area)
        overlap = shape.intersection(area).area if apart == 0 else 0.0
        if apart < least_mm - SLACK_MM or overlap > SLACK_MM:
            faults.append(f"{name} is {apart:.3f} mm from {what}, {least_mm:g} mm wanted")
    return faults


def _label(sheet: Sheet, number: int, inset_mm: float) -> BaseGeometry:
    """Label ``number`` (1-based, row by row from the top left), made smaller all round."""
    grid = sheet.grid
    assert grid is not None
    row, column = divmod(number - 1, grid.columns)
    left = grid.first_left_mm + column * grid.pitch_x_mm
    top = sheet.height_mm - grid.first_top_mm - row * grid.pitch_y_mm
    r = min(grid.corner_radius_mm, grid.label_width_mm / 2, grid.label_height_mm / 2)
    core = box(left + r, top - grid.label_height_mm + r, left + grid.label_width_mm - r, top - r)
    label = core.buffer(r, quad_segs=64) if r > 0 else core
    return label.buffer(-inset_mm, quad_segs=64) if inset_mm > 0 else label


def _die_lines(name: str, shape: Polygon, sheet: Sheet, margin_mm: float) -> list[str]:
    grid = sheet.grid
    if grid is None:
        return []
    for number in range(1, grid.rows * grid.columns + 1):
        if _label(sheet, number, 0.0).intersection(shape).area <= SLACK_MM:
            continue
        if number in sheet.gone_labels:
            return [f"{name} lies on label {number}, which is gone"]
        if shape.difference(_label(sheet, number, margin_mm).buffer(SLACK_MM)).is_empty:
            return []
        return [f"{name} is not within label {number} less {margin_mm:g} mm"]
    return [f"{name} lies on no label"]


def _gaps(shapes: Sequence[tuple[str, Polygon]], gap_mm: float) -> list[str]:
    faults = []
    tree = STRtree([shape for _, shape in shapes])
    for first, (name, shape) in enumerate(shapes):
        for second in tree.query(shape.buffer(gap_mm + 1)):
            if second <= first:
                continue
            other_name, other = shapes[second]
            apart = shape.distance(other)
            overlap = shape.intersection(other).area if apart == 0 else 0.0
            if overlap > SLACK_MM:
                faults.append(f"{name} and {other_name} overlap by {overlap:.3f} mm2")
            elif apart < gap_mm - SLACK_MM:
                faults.append(f"{name} and {other_name} are {apart:.3f} mm apart, not {gap_mm:g}")
    return faults


def _supply(used: Sequence[Sheet], stock: Sequence[Sheet]) -> list[str]:
    faults = []
    for sheet in stock:
        same = [u for u in used if u.name == sheet.name]
        part_used = sheet.gone or sheet.gone_labels
        if sheet.available is not None and len(same) > sheet.available:
            faults.append(f"{len(same)} of {sheet.name!r} used, {sheet.available} there are")
        whole = [u for u in same if not (u.gone or u.gone_labels)]
        if part_used and sheet.available is not None and len(whole) > sheet.available - 1:
            faults.append(f"the part-used {sheet.name!r} was taken for a whole one")
        wrong = [u for u in same if (u.width_mm, u.height_mm) != (sheet.width_mm, sheet.height_mm)]
        if wrong:
            faults.append(f"{sheet.name!r} changed its size")
    return faults


def _kept(placements: Sequence[Placement], locked: Sequence[Placement]) -> list[str]:
    there = set(placements)
    return [f"{_name(p)} was locked and has moved" for p in locked if p not in there]


def check_layout(
    parts: Sequence[NestPart], stock: Sequence[Sheet], settings: NestSettings, layout: Layout
) -> tuple[str, ...]:
    """Every fault of a layout as one line; empty when it keeps all the rules.

    Checks counts, turns, margins, spacing, blocked and gone areas, die lines, supply and locks.
    Does not judge whether fewer sheets would do.
    """
    by_key = {part.key: part for part in parts}
    faults = _counts(parts, layout.placements, layout.unplaced)
    faults += _supply(layout.sheets, stock)
    faults += _kept(layout.placements, settings.locked)
    on_sheet: dict[int, list[tuple[str, Polygon]]] = {}
    for placement in layout.placements:
        part = by_key.get(placement.decal)
        if part is None:
            continue
        if not 0 <= placement.sheet_index < len(layout.sheets):
            faults.append(f"{_name(placement)} is on sheet {placement.sheet_index}, which is none")
            continue
        sheet, name = layout.sheets[placement.sheet_index], _name(placement)
        shape = placed_polygon(part.polygon, placement)
        on_sheet.setdefault(placement.sheet_index, []).append((name, shape))
        faults += _turns(part, placement) + _edges(name, shape, sheet)
        blocked = (*settings.blocked, *settings.blocked_on.get(sheet.name, ()))
        half = settings.gap_mm / 2
        faults += _far_from(name, shape, blocked, half, "a blocked area")
        gone = [box(b.x0, b.y0, b.x1, b.y1) for b in sheet.gone]
        faults += _far_from(name, shape, gone, settings.gap_mm, "an area that is gone")
        faults += _die_lines(name, shape, sheet, settings.die_margin_mm)
    for index, shapes in sorted(on_sheet.items()):
        faults += [f"sheet {index + 1}: {fault}" for fault in _gaps(shapes, settings.gap_mm)]
    return tuple(faults)
