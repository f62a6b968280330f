"""Colours of an SVG written so that every converter reads them alike.

Converters know the older notations only and take the default, black, for the rest. Source: CSS
Color 4 (notations, conversion to sRGB). Unknown words stay: programs agree to pass them over.
"""

import re
from functools import lru_cache
from typing import Any

from tinycss2.color4 import parse_color  # type: ignore[import-untyped]

from decalprep.errors import Unfaithful
from decalprep.intake.svg_css import style_of, write_style
from decalprep.intake.svg_xml import local

PAINTS = ("fill", "stroke", "stop-color", "flood-color", "lighting-color", "color")

_SERVER = re.compile(r"\s*url\([^)]*\)\s*", re.IGNORECASE)
_HEX_ALPHA = re.compile(r"#(?:[0-9a-f]{4}|[0-9a-f]{8})", re.IGNORECASE)


def make_colours_plain(root: Any, name: str) -> None:
    """Rewrite colours as rgb() or rgba() (changes ``root``).

    Raises:
        Unfaithful: a colour in a space that is not carried over, or that cannot be read.
    """
    for element in root.iter():
        if not local(element):
            continue
        style = style_of(element)
        changed = False
        for prop in PAINTS:
            for held in (style, element.attrib):
                value = held.get(prop)
                plain = None if value is None else plain_paint(value, name)
                if plain is not None and plain != value:
                    held[prop] = plain
                    changed = changed or held is style
        if changed:
            write_style(element, style)


@lru_cache(maxsize=4096)
def plain_paint(value: str, name: str) -> str:
    """One paint with its colour in an older notation; keywords and references stay.

    >>> plain_paint("rgb(0 127 0 / 50%)", ""), plain_paint("url(#a) hsl(120, 100%, 25%)", "")
    ('rgba(0,127,0,0.5)', 'url(#a) rgb(0,128,0)')

    Raises:
        Unfaithful: a colour in a space that is not carried over, or that cannot be read.
    """
    text = value.strip()
    server = _SERVER.match(text)
    head, colour = (server[0].strip() + " ", text[server.end() :]) if server else ("", text)
    if "(" not in colour and not _HEX_ALPHA.fullmatch(colour):
        return value
    try:
        parsed = parse_color(colour)
        found = parsed.to("srgb") if parsed is not None else None
    except NotImplementedError:
        found = None
    if found is None:
        raise Unfaithful(
            f"uses the colour {colour}, which cannot be drawn faithfully",
            where=name,
            do="save it as an RGB colour",
        )
    levels = ",".join(str(round(255 * min(max(float(c), 0.0), 1.0))) for c in found.coordinates)
    alpha = min(max(float(found.alpha), 0.0), 1.0)
    plain = f"rgb({levels})" if alpha == 1.0 else f"rgba({levels},{round(alpha, 4):g})"
    return head + plain
