"""Holes classed by diameter: screws are pierced under a cross, switch holes cut after sticking."""

import math
from collections.abc import Sequence
from dataclasses import replace

from decalprep.errors import UsageProblem
from decalprep.model import Hole, HoleKind, Notice, Severity
from decalprep.outline.align import hole_centre
from decalprep.outline.settings import HoleOverride
from decalprep.outline.tables import HOLE_SIZES, HoleSize

NEAR_ROW_MM = 0.11
"""A hole may be this far from a table row (our choice: a printed hole is off by about a tenth)."""
NEAR_POINT_MM = 3.0
WIDE_SCREW_MM = 5.95
"""Screws this wide are rare in console panels, lamps and push buttons are not (common practice, no
source)."""


def class_of(diameter_mm: float) -> tuple[HoleKind, str]:
    """(kind, by which table row and how sure) of a round hole of this diameter in mm.

    The nearest row within 0.11 mm rules. Where a screw row and a switch row both fit, the hole is
    a switch hole: a guide shows where to cut, a cross would hide it. FREE where no row is near.

    >>> class_of(3.4)[0].value, class_of(12.2)[0].value, class_of(40.0)[0].value
    ('screw', 'switch', 'free')
    """
    rows = sorted(HOLE_SIZES, key=lambda r: r.away_mm(diameter_mm))
    near = [r for r in rows if r.away_mm(diameter_mm) <= NEAR_ROW_MM]
    if not near:
        return (
            HoleKind.FREE,
            f"no table row within {NEAR_ROW_MM - 0.01:g} mm of {diameter_mm:.2f} mm",
        )
    switch = _first(near, HoleKind.SWITCH)
    screw = _first(near, HoleKind.SCREW)
    if switch is not None and screw is not None:
        return HoleKind.SWITCH, f"{switch.described}; could also be {screw.described}"
    row = switch or screw
    assert row is not None
    return row.kind, row.described


def _first(rows: Sequence[HoleSize], kind: HoleKind) -> HoleSize | None:
    return next((r for r in rows if r.kind is kind), None)


def class_holes(holes: Sequence[Hole], overrides: Sequence[HoleOverride] = ()) -> tuple[Hole, ...]:
    """The holes with ``kind`` and ``classed_by`` set, the user's overrides last.

    Holes that are not round are FREE: cut as drawn.

    Raises:
        UsageProblem: an override names no hole, or is farther than 3 mm from any.

    >>> from decalprep.geometry import Circle, circle_path
    >>> hole = Hole(circle_path(0, 0, 3.4), Circle(0, 0, 3.4), label="A")
    >>> class_holes([hole], [HoleOverride(HoleKind.FREE, label="A")])[0].classed_by
    "the user's word"
    """
    classed = []
    for hole in holes:
        if hole.circle is None:
            kind, by = HoleKind.FREE, "not round"
        else:
            kind, by = class_of(hole.circle.diameter)
        classed.append(replace(hole, kind=kind, classed_by=by))
    for override in overrides:
        index = _hole_meant(classed, override)
        classed[index] = replace(classed[index], kind=override.kind, classed_by="the user's word")
    return tuple(classed)


def hole_classes(holes: Sequence[Hole]) -> tuple[str, ...]:
    """The holes by size, use and the table row that says so, one line each, smallest first.

    >>> from decalprep.geometry import Circle, circle_path
    >>> hole = Hole(circle_path(0, 0, 3.4), Circle(0, 0, 3.4))
    >>> hole_classes(class_holes([hole, hole]))
    ('2 of 3.4 mm: screw, M3 medium, 3.4 mm (ISO 273; seen in a secondary table)',)
    """
    counts: dict[tuple[float, str, str], int] = {}
    for hole in holes:
        size = round(hole.circle.diameter, 2) if hole.circle else 0.0
        key = (size, hole.kind.value, hole.classed_by)
        counts[key] = counts.get(key, 0) + 1
    return tuple(
        f"{count} of {size:g} mm: {kind}, {by}" if size else f"{count} not round: {kind}"
        for (size, kind, by), count in sorted(counts.items())
    )


def wide_screws(holes: Sequence[Hole], name: str) -> tuple[Notice, ...]:
    """A warning for holes of ``WIDE_SCREW_MM`` and more whose size alone made them screw holes.

    >>> from decalprep.geometry import Circle, circle_path
    >>> lamp = class_holes([Hole(circle_path(0, 0, 8), Circle(0, 0, 8), label="H1")])
    >>> [n.code for n in wide_screws(lamp, "nav")]
    ['wide-screws']
    """
    by_size = {row.described for row in HOLE_SIZES if row.kind is HoleKind.SCREW}
    wide = [
        h
        for h in holes
        if h.kind is HoleKind.SCREW
        and h.classed_by in by_size
        and h.circle is not None
        and h.circle.diameter >= WIDE_SCREW_MM
    ]
    if not wide:
        return ()
    sizes = sorted({round(h.circle.diameter, 2) for h in wide if h.circle})
    labels = ", ".join(h.label for h in wide[:6])
    labels += f" and {len(wide) - 6} more" if len(wide) > 6 else ""
    text = (
        f"pierced and not cut, because a hole of this size may be for a screw: {labels} "
        f"({', '.join(f'{d:g}' for d in sizes)} mm); if it is for a switch or a lamp, give it a "
        '[[panel.hole]] with its x, y and kind = "switch"'
    )
    numbers = (("holes", float(len(wide))),)
    return (Notice("wide-screws", text, name, Severity.WARNING, wide[0].contour.box, numbers),)


def _hole_meant(holes: Sequence[Hole], override: HoleOverride) -> int:
    if override.label:
        for index, hole in enumerate(holes):
            if hole.label == override.label:
                return index
        known = ", ".join(h.label for h in holes if h.label) or "none"
        raise UsageProblem(f"there is no hole {override.label!r}", do=f"labels here: {known}")
    if override.index is not None:
        if 0 <= override.index < len(holes):
            return override.index
        raise UsageProblem(
            f"there is no hole number {override.index}", do=f"use 0 to {len(holes) - 1}"
        )
    if override.near_mm is None:
        raise UsageProblem("a hole override names no hole", do="give a label, an index or a point")
    x, y = override.near_mm
    away = [math.dist((x, y), hole_centre(h)) for h in holes]
    if not away or min(away) > NEAR_POINT_MM:
        raise UsageProblem(
            f"there is no hole within {NEAR_POINT_MM:g} mm of ({x:.2f}, {y:.2f}) mm",
            do="give its centre in the decal's mm",
        )
    return away.index(min(away))
