"""The true size of an SVG's root, read by ourselves.

Sources: CSS Values and Units 4, absolute lengths (1 in = 96 px = 72 pt = 6 pc = 2.54 cm =
25.4 mm = 101.6 Q); SVG 2, 8.2 and 8.6 (width, height, viewBox, preserveAspectRatio). An SVG user
unit at the root is one CSS px. Convention: ``*_px`` here are CSS px, 96 an inch.
"""

import math
import re
from dataclasses import dataclass

from decalprep.errors import InputProblem, NoSize
from decalprep.model import EvidenceRank, Notice, Severity, SizeEvidence
from decalprep.units import MM_PER_PX, MM_PER_UNIT, PX_PER_IN

_NUMBER = r"[-+]?(?:\d+\.?\d*|\.\d+)(?:[eE][-+]?\d+)?"
_LENGTH = re.compile(rf"\s*({_NUMBER})\s*([A-Za-z]*|%)\s*")
_BOX = re.compile(rf"\s*({_NUMBER})" + rf"(?:\s*,\s*|\s+|(?=[-+]))({_NUMBER})" * 3 + r"\s*")
_PHYSICAL = frozenset({"mm", "cm", "in", "pt", "pc", "q"})
_RELATIVE = frozenset({"%", "em", "ex", "rem", "ch", "vw", "vh", "vmin", "vmax", "lh", "ic"})

UNEVEN = 0.002
"""A page and a viewBox whose aspects differ by more than this share are told."""


@dataclass(frozen=True)
class Side:
    """One stated side: its length in px, or None where it is absent or relative."""

    length_px: float | None
    physical: bool = False
    shown: str = "none"


@dataclass(frozen=True)
class RootSize:
    """The root's viewport in px, the claim it makes in mm, and the viewBox if there is one."""

    width_px: float
    height_px: float
    claim: SizeEvidence
    view_box: tuple[float, float, float, float] | None
    notices: tuple[Notice, ...] = ()


def read_side(text: str | None, what: str, name: str) -> Side:
    """One side in px from a CSS length.

    >>> read_side("101.6Q", "width", "").length_px
    96.0
    >>> read_side("100%", "width", "").length_px is None
    True

    Raises:
        InputProblem: not a length, an unknown unit, or not above zero.
    """
    if text is None or text.strip().lower() in ("", "auto"):
        return Side(None)
    match = _LENGTH.fullmatch(text)
    if match is None:
        raise InputProblem(
            f'{what}="{text}" of the SVG root is not a length',
            where=name,
            do='write it with a unit, as in "80mm"',
        )
    unit = match[2].lower()
    if unit in _RELATIVE:
        return Side(None, shown=text.strip())
    value = float(match[1])
    if unit not in _PHYSICAL | {"", "px"}:
        raise InputProblem(
            f'{what}="{text}" of the SVG root has an unknown unit',
            where=name,
            do="use mm, cm, in, pt, pc, Q or px",
        )
    length_px = value if unit in ("", "px") else value * MM_PER_UNIT[unit] / MM_PER_PX
    if not (math.isfinite(length_px) and length_px > 0):
        raise InputProblem(
            f'{what}="{text}" of the SVG root is not above zero', where=name, do="correct it"
        )
    return Side(length_px, unit in _PHYSICAL, text.strip())


def read_view_box(text: str | None, name: str) -> tuple[float, float, float, float] | None:
    """(min x, min y, width, height) in user units.

    >>> read_view_box("0,0 80 40", "")
    (0.0, 0.0, 80.0, 40.0)

    Raises:
        InputProblem: not four numbers, or no area.
    """
    if text is None or text.strip().lower() in ("", "none"):
        return None
    match = _BOX.fullmatch(text)
    numbers = [float(g) for g in match.groups()] if match else []
    if len(numbers) != 4 or not all(map(math.isfinite, numbers)):
        raise InputProblem(
            f'viewBox="{text}" is not four numbers', where=name, do="correct the SVG root"
        )
    if numbers[2] <= 0 or numbers[3] <= 0:
        raise InputProblem(f'viewBox="{text}" has no area', where=name, do="correct the SVG root")
    return numbers[0], numbers[1], numbers[2], numbers[3]


def read_root_size(
    width: str | None,
    height: str | None,
    *,
    view_box: str | None,
    aspect: str | None,
    name: str,
    drawn_px: tuple[float, float] | None = None,
) -> RootSize | None:
    """The root's size, or None where it states none at all and ``drawn_px`` is not given.

    ``drawn_px`` is how far the drawing reaches from (0, 0), the page where nothing else is
    stated. A side that is missing or relative follows the viewBox's aspect.

    Raises:
        InputProblem: a value that cannot be read. NoSize: one side alone and no viewBox.
    """
    across, up = read_side(width, "width", name), read_side(height, "height", name)
    box = read_view_box(view_box, name)
    if across.length_px is None and up.length_px is None and box is None and drawn_px is None:
        return None
    if across.length_px is not None and up.length_px is not None:
        w, h, rank, reason = _both(across, up)
    elif box is not None:
        w, h, rank, reason = _with_box(across, up, box)
    elif drawn_px is not None and across.length_px is None and up.length_px is None:
        w, h = drawn_px
        rank = EvidenceRank.ASSUMED
        reason = f"no size and no viewBox; the drawn area at {PX_PER_IN:g} px/in"
    else:
        missing = "height" if up.length_px is None else "width"
        raise NoSize(
            f"its SVG root states no {missing} and no viewBox",
            where=name,
            do=f"add {missing} or a viewBox to <svg>",
        )
    claim = SizeEvidence(rank, w * MM_PER_PX, h * MM_PER_PX, reason)
    if not all(math.isfinite(v) and v > 0 for v in (claim.width_mm, claim.height_mm)):
        raise InputProblem(
            f"its size would be {claim.width_mm:g} x {claim.height_mm:g} mm ({reason})",
            where=name,
            do="correct width, height and viewBox of the SVG root",
        )
    return RootSize(w, h, claim, box, _aspect_notices(w, h, box, aspect=aspect, name=name))


def _both(across: Side, up: Side) -> tuple[float, float, EvidenceRank, str]:
    w, h = across.length_px or 0.0, up.length_px or 0.0
    shown = f"{across.shown} x {up.shown}"
    if across.physical and up.physical:
        return w, h, EvidenceRank.FILE_UNITS, f"the SVG root says {shown}"
    reason = f"the SVG root says {shown}, taken at {PX_PER_IN:g} px/in"
    return w, h, EvidenceRank.FILE_DENSITY, reason


def _with_box(
    across: Side, up: Side, box: tuple[float, float, float, float]
) -> tuple[float, float, EvidenceRank, str]:
    known = across if across.length_px is not None else up
    if known.length_px is None:
        relative = [side.shown for side in (across, up) if side.shown != "none"]
        stated = f"its size is {' x '.join(relative)}" if relative else "no width or height"
        reason = f"only a viewBox ({stated}), taken at {PX_PER_IN:g} units/in"
        return box[2], box[3], EvidenceRank.ASSUMED, reason
    if known is across:
        w, h = known.length_px, known.length_px * box[3] / box[2]
        reason = f"the SVG root says width {known.shown}; the height follows its viewBox"
    else:
        w, h = known.length_px * box[2] / box[3], known.length_px
        reason = f"the SVG root says height {known.shown}; the width follows its viewBox"
    if known.physical:
        return w, h, EvidenceRank.FILE_UNITS, reason
    return w, h, EvidenceRank.FILE_DENSITY, f"{reason}, taken at {PX_PER_IN:g} px/in"


def _aspect_notices(
    w: float,
    h: float,
    box: tuple[float, float, float, float] | None,
    *,
    aspect: str | None,
    name: str,
) -> tuple[Notice, ...]:
    """Told where one user unit is not the same length as the page's sides suggest."""
    if box is None:
        return ()
    sx, sy = w / box[2], h / box[3]
    if abs(sx / sy - 1) <= UNEVEN:
        return ()
    words = (aspect or "").split()
    numbers = (("unit_across_mm", sx * MM_PER_PX), ("unit_up_mm", sy * MM_PER_PX))
    if "none" in words:
        text = (
            f"its root stretches the drawing unevenly: one unit is {sx * MM_PER_PX:.5g} mm across "
            f"and {sy * MM_PER_PX:.5g} mm up, so circles become ovals"
        )
        return (Notice("uneven-viewbox", text, name, Severity.DANGER, None, numbers),)
    unit = (max(sx, sy) if "slice" in words else min(sx, sy)) * MM_PER_PX
    does = "cuts off part of" if "slice" in words else "leaves empty margins beside"
    text = (
        f"its page and its viewBox differ in shape: the root {does} the drawing, and one unit is "
        f"{unit:.5g} mm both ways"
    )
    return (Notice("viewbox-shape", text, name, Severity.WARNING, None, numbers),)
