"""Lengths inside an SVG in physical units, rewritten as plain user units (1/96 in each).

Converters leave out shapes whose unit they do not know (``Q``, or ``MM`` in capitals), in silence.
Source: CSS Values and Units 4, absolute lengths; units there are written in either case.
"""

import re
from typing import Any

from decalprep.errors import Unfaithful
from decalprep.intake.svg_css import style_of, write_style
from decalprep.intake.svg_xml import local
from decalprep.units import MM_PER_PX, MM_PER_UNIT

_PLACES = frozenset(
    {"x", "y", "width", "height", "cx", "cy", "r", "rx", "ry", "x1", "y1", "x2", "y2"}
    | {"fx", "fy", "fr", "dx", "dy", "markerWidth", "markerHeight", "refX", "refY"}
    | {"startOffset", "textLength"}
)
_STYLED = frozenset(
    {"stroke-width", "stroke-dasharray", "stroke-dashoffset", "font-size", "letter-spacing"}
    | {"word-spacing", "baseline-shift", "kerning", "font"}
)
_TOKEN = re.compile(r"(?<![\w.#])([-+]?(?:\d+\.?\d*|\.\d+)(?:[eE][-+]?\d+)?)([A-Za-z]+)(?![\w-])")
_KNOWN = frozenset({"mm", "cm", "in", "pt", "pc", "q", "px"})
_KEPT = frozenset({"em"})


def plain_lengths(text: str) -> str:
    """The lengths of an attribute in user units; ``em`` and per cent stay.

    >>> plain_lengths("1in 40Q 2em 50% 7")
    '96 37.79527559 2em 50% 7'
    >>> plain_lengths("3vw")
    Traceback (most recent call last):
    ValueError: vw
    """
    return _TOKEN.sub(_plain, text.replace(",", " ") if _TOKEN.search(text) else text)


def _plain(match: re.Match[str]) -> str:
    unit = match[2].lower()
    if unit in _KEPT:
        return match[1] + unit
    if unit not in _KNOWN:
        raise ValueError(match[2])
    factor = 1.0 if unit == "px" else MM_PER_UNIT[unit] / MM_PER_PX
    return f"{float(match[1]) * factor:.8f}".rstrip("0").rstrip(".")


def make_lengths_plain(root: Any, name: str) -> None:
    """Rewrite every length of the tree below the root's own size (changes ``root``).

    Raises:
        Unfaithful: a unit that has no fixed length here, such as vw or rem.
    """
    for element in root.iter():
        kind = local(element)
        if not kind:
            continue
        try:
            _rewrite(element, is_root=element is root)
        except ValueError as problem:
            raise Unfaithful(
                f"a <{kind}> has a length in {problem}, which has no fixed size",
                where=name,
                do="write it in mm or plain units",
            ) from problem


def _rewrite(element: Any, *, is_root: bool) -> None:
    for key in _PLACES | _STYLED:
        value = element.get(key)
        if value is None or key == "font" or (is_root and key in ("width", "height")):
            continue
        plain = plain_lengths(value)
        if plain != value:
            element.set(key, plain)
    style = style_of(element)
    changed = False
    for prop in _STYLED & style.keys():
        if prop == "font":
            # Family names may look like lengths; only the size and what precedes it is one.
            head, mark, tail = style[prop].partition("/")
            plain = plain_lengths_in_font(head) + mark + tail
        else:
            plain = plain_lengths(style[prop])
        changed = changed or plain != style[prop]
        style[prop] = plain
    if changed:
        write_style(element, style)


def plain_lengths_in_font(value: str) -> str:
    """The first length of a font shorthand in user units.

    >>> plain_lengths_in_font("bold 12pt Face 9mm")
    'bold 16px Face 9mm'
    """
    return _TOKEN.sub(lambda m: _plain(m) + "px", value, count=1)
