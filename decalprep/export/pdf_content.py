"""Content-stream text: numbers without exponents, paths, strokes and fills, in mm.

Coordinates have 6 decimals (0.000001 mm); matrices have 9, for they multiply whole pages.
"""

from __future__ import annotations

import math
from collections.abc import Iterable

from decalprep.errors import OutputProblem
from decalprep.geometry import Affine, Arc, Line, Path
from decalprep.geometry.path import Segment


def number(value: float, places: int = 6) -> str:
    """A number as PDF writes it: no exponent, no idle zeros, no negative zero.

    Raises:
        OutputProblem: it is not finite; a PDF has no way to write that.

    >>> number(1e-9), number(-0.0000001), number(12.5), number(1 / 3, 9)
    ('0', '0', '12.5', '0.333333333')
    """
    if not math.isfinite(value):
        raise OutputProblem(f"a place on the sheet is {value}, not a finite number")
    text = f"{value:.{places}f}".rstrip("0").rstrip(".") if places else f"{value:.0f}"
    return "0" if text in ("-0", "") else text


def matrix(m: Affine) -> str:
    """The six numbers of a map, 9 decimals each."""
    return " ".join(number(value, 9) for value in m.as_tuple())


def _point(point: tuple[float, float]) -> str:
    return f"{number(point[0])} {number(point[1])}"


def _segment(segment: Segment) -> list[str]:
    if isinstance(segment, Line):
        return [f"{_point(segment.end)} l"]
    cubics = segment.cubics() if isinstance(segment, Arc) else [segment]
    return [f"{_point(c.control1)} {_point(c.control2)} {_point(c.end)} c" for c in cubics]


def path_operators(path: Path) -> str:
    """The construction operators of a path; arcs as cubic pieces within 1.2e-7 of the radius."""
    if not path.segments:
        return ""
    pieces = list(path.segments)
    if path.closed and isinstance(pieces[-1], Line) and len(pieces) > 1:
        pieces.pop()
    out = [f"{_point(path.segments[0].start)} m"]
    for piece in pieces:
        out.extend(_segment(piece))
    if path.closed:
        out.append("h")
    return "\n".join(out)


def clip_operators(paths: Iterable[Path]) -> str:
    """Clip to the paths by even-odd; nothing at all where there are none."""
    drawn = [text for text in map(path_operators, paths) if text]
    return "\n".join([*drawn, "W* n\n"]) if drawn else ""


def stroke_operators(path: Path, *, width_mm: float, dash_mm: tuple[float, ...] = ()) -> str:
    """Stroke a path ``width_mm`` wide; the dash starts with a whole dash."""
    dash = f"[{' '.join(number(d) for d in dash_mm)}] 0 d\n"
    return f"{number(width_mm)} w\n{dash}{path_operators(path)}\nS\n"


def fill_operators(paths: Iterable[Path]) -> str:
    """Fill the paths by even-odd."""
    drawn = [text for text in map(path_operators, paths) if text]
    return "\n".join([*drawn, "f*\n"]) if drawn else ""
