"""Lengths: millimetres inside; points, pixels and inches only at the edges.

This module alone owns 25.4, 72 and 96. Sources: 1 in = 25.4 mm exactly; PDF default user space is
1/72 in (ISO 32000-1:2008, 8.3.2.3); CSS 1 px = 1/96 in (CSS Values and Units 4, absolute lengths);
ISO 216:2007 A-series; ANSI/ASME Y14.1 Letter, Legal and Tabloid.
"""

import math
import re

from decalprep.errors import UsageProblem

MM_PER_IN = 25.4
PT_PER_IN = 72.0
PX_PER_IN = 96.0
MM_PER_PT = MM_PER_IN / PT_PER_IN
MM_PER_PX = MM_PER_IN / PX_PER_IN

PAGE_SIZES_MM: dict[str, tuple[float, float]] = {
    "A3": (297.0, 420.0),
    "A4": (210.0, 297.0),
    "A5": (148.0, 210.0),
    "Letter": (215.9, 279.4),
    "Legal": (215.9, 355.6),
    "Tabloid": (279.4, 431.8),
}
"""Portrait width and height in mm: ISO 216:2007 and ANSI/ASME Y14.1."""

MM_PER_UNIT: dict[str, float] = {
    "mm": 1.0,
    "cm": 10.0,
    "m": 1000.0,
    "in": MM_PER_IN,
    "inch": MM_PER_IN,
    "inches": MM_PER_IN,
    '"': MM_PER_IN,
    "pt": MM_PER_PT,
    "pc": 12 * MM_PER_PT,
    "px": MM_PER_PX,
    "q": 0.25,
}
"""Millimetres in one of each unit (CSS absolute lengths, and the words people type)."""

_LENGTH = re.compile(
    r"\s*(?P<number>[-+]?(?:\d+(?:[.,]\d*)?|[.,]\d+)(?:[eE][-+]?\d+)?)\s*(?P<unit>[A-Za-z\"]*)\s*"
)


def mm_from_pt(length_pt: float) -> float:
    """Length in mm of a length in PDF points (1/72 in).

    >>> mm_from_pt(72.0)
    25.4
    """
    return length_pt * MM_PER_PT


def pt_from_mm(length_mm: float) -> float:
    """Length in PDF points of a length in mm.

    >>> round(pt_from_mm(210.0), 4), round(pt_from_mm(297.0), 4)
    (595.2756, 841.8898)
    """
    return length_mm / MM_PER_PT


def px_from_mm(length_mm: float, dpi: float) -> float:
    """Length in device pixels of a length in mm at ``dpi`` pixels an inch."""
    return length_mm * dpi / MM_PER_IN


def parse_length_mm(text: object, *, what: str = "length") -> float:
    """Length in mm of what a person typed, such as ``"12.5 mm"``, ``"3,2cm"`` or ``"0.5in"``.

    Does not accept a bare number: nobody can tell 10 mm from 10 inches.

    Raises:
        UsageProblem: no unit, an unknown unit, or not a finite number.

    >>> parse_length_mm("12,5 mm"), parse_length_mm("0.5 in")
    (12.5, 12.7)
    """
    shown = f"{what} {text!r}"
    match = _LENGTH.fullmatch(str(text))
    if match is None:
        raise UsageProblem(f"{shown} is not a length", do='write it with a unit, as in "12.5 mm"')
    unit = match["unit"].lower()
    if not unit:
        raise UsageProblem(
            f"{shown} has no unit",
            do=f'say which: "{match["number"]} mm" or "{match["number"]} in"',
        )
    if unit not in MM_PER_UNIT:
        raise UsageProblem(f"{shown} has an unknown unit", do="use mm, cm, in, pt or px")
    value_mm = float(match["number"].replace(",", ".")) * MM_PER_UNIT[unit]
    if not math.isfinite(value_mm):
        raise UsageProblem(f"{shown} is not a finite length", do='write it as in "12.5 mm"')
    return value_mm


def format_mm(length_mm: float, places: int = 2) -> str:
    """A length as text with its unit, never a negative zero.

    >>> format_mm(-0.0001), format_mm(12.345, 1)
    ('0.00 mm', '12.3 mm')
    """
    rounded = round(length_mm, places)
    return f"{rounded + 0.0 if rounded else 0.0:.{places}f} mm"


def format_turn(turn_deg: float, places: int = 1) -> str:
    """A turn in degrees from -180 to 180, as text: a little to the right is a little below 0.

    >>> format_turn(359.8), format_turn(90.3), format_turn(-0.04), format_turn(180.0, 0)
    ('-0.2', '90.3', '0.0', '180')
    """
    near = turn_deg - 360.0 * math.ceil((turn_deg - 180.0) / 360.0)
    return f"{round(near, places) + 0.0:.{places}f}"


def page_size_mm(name: str) -> tuple[float, float]:
    """Portrait (width, height) in mm of a page size by name, in any case.

    Raises:
        UsageProblem: not one of ``PAGE_SIZES_MM``.

    >>> page_size_mm("letter")
    (215.9, 279.4)
    """
    for known, size in PAGE_SIZES_MM.items():
        if known.lower() == name.strip().lower():
            return size
    raise UsageProblem(
        f"page size {name!r} is not known", do="use " + ", ".join(PAGE_SIZES_MM) + ', or "WxH mm"'
    )
