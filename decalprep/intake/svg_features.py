"""Features of SVG and CSS that converters pass over in silence: refused or told by name.

A comparison of two drawings cannot find what both leave out, so this list stands beside it.
"""

import re
from typing import Any

from decalprep.errors import Unfaithful
from decalprep.intake.svg_css import (
    SheetFindings,
    declared,
    plain_transform,
    style_of,
    write_style,
)
from decalprep.intake.svg_xml import local
from decalprep.model import Notice, Severity

_GEOMETRY: dict[str, frozenset[str]] = {
    "svg": frozenset({"x", "y", "width", "height"}),
    "rect": frozenset({"x", "y", "width", "height", "rx", "ry"}),
    "image": frozenset({"x", "y", "width", "height"}),
    "use": frozenset({"x", "y", "width", "height"}),
    "circle": frozenset({"cx", "cy", "r"}),
    "ellipse": frozenset({"cx", "cy", "rx", "ry"}),
    "path": frozenset({"d"}),
}
"""SVG 2, 8.8 geometry properties: what a style may set on which element."""

_NEVER_DRAWN: dict[str, str] = {
    "foreignObject": "text or pictures in HTML",
    "flowRoot": "flowed text of an older draft",
    "meshgradient": "a mesh gradient",
    "meshGradient": "a mesh gradient",
    "hatch": "a hatch paint",
    "solidcolor": "a solidcolor paint",
    "solidColor": "a solidcolor paint",
    "tref": "a text reference (tref)",
    "altGlyph": "an alternate glyph",
    "video": "a video",
    "audio": "a sound",
    "canvas": "a canvas",
    "iframe": "a frame",
}
_UNKNOWN_VALUES = re.compile(r"\b(var|calc|env|min|max|clamp|attr)\(", re.IGNORECASE)
_UNKNOWN_COLOURS = re.compile(r"\b(lab|lch|oklab|oklch|color|color-mix|hwb|device-cmyk)\(", re.I)
_SHAPES = re.compile(r"\b(circle|ellipse|inset|polygon|path|rect|xywh)\(", re.IGNORECASE)
_PAINTS = ("fill", "stroke", "stop-color", "flood-color", "lighting-color", "color")
_ANIMATED = frozenset({"animate", "animateTransform", "animateMotion", "animateColor", "set"})


def check_features(root: Any, sheets: SheetFindings, *, name: str) -> tuple[Notice, ...]:
    """Notices for what is told, after small repairs that change no meaning (changes ``root``).

    Raises:
        Unfaithful: a feature that no route draws.
    """
    notices: list[Notice] = []
    _check_sheets(sheets, name)
    if root.get("transform") or "transform" in style_of(root):
        raise _refused("a transform on the SVG root", name, do="put it on a group inside")
    told: set[str] = set()
    for element in root.iter():
        kind = local(element)
        if kind:
            _check_element(element, kind, name)
            told |= _found_oddities(element, kind)
    for oddity in sorted(told):
        notices.append(Notice("svg-feature", oddity, name, Severity.WARNING))
    return tuple(notices)


def _refused(feature: str, name: str, do: str = "convert it to plain paths") -> Unfaithful:
    return Unfaithful(f"uses {feature}, which cannot be drawn faithfully", where=name, do=do)


def _check_sheets(sheets: SheetFindings, name: str) -> None:
    if sheets.at_rules:
        raise _refused(f"{sheets.at_rules[0]} in a style sheet", name, do="save plain styles")
    if sheets.bad_selectors:
        raise _refused(
            f"a style rule that cannot be read ({sheets.bad_selectors[0]})",
            name,
            do="save plain styles",
        )


def _check_element(element: Any, kind: str, name: str) -> None:
    if kind in _NEVER_DRAWN and not _has_fallback(element):
        raise _refused(_NEVER_DRAWN[kind], name)
    if kind == "font" or kind == "font-face":
        return
    style = style_of(element)
    for prop in style:
        if prop in _GEOMETRY.get(kind, frozenset()):
            raise _refused(
                f"{prop} of <{kind}> set in CSS", name, do="write it as a plain attribute"
            )
    for prop, value in style.items():
        if _UNKNOWN_VALUES.search(value):
            raise _refused(f"{prop}: {value} in CSS", name, do="save plain values")
    _check_paint(element, name)
    if declared(element, "vector-effect") not in (None, "none"):
        raise _refused(
            f"vector-effect {declared(element, 'vector-effect')}", name, do="expand the strokes"
        )
    clip = f"{declared(element, 'clip-path') or ''} {declared(element, 'mask') or ''}"
    if _SHAPES.search(re.sub(r"url\([^)]*\)", "", clip)):
        raise _refused("a clip shape written in CSS", name, do="use a clipPath element")
    if kind in ("text", "tspan") and {"inline-size", "shape-inside"} & style.keys():
        raise _refused("text that wraps by itself", name)
    if "transform" in style:
        style["transform"] = plain_transform(style["transform"])
        if re.search(r"[\d.](?:%|[a-df-z]|e[a-z])", style["transform"]):
            raise _refused(f"transform: {style['transform']} in CSS", name, do="save plain values")
        write_style(element, style)


def _check_paint(element: Any, name: str) -> None:
    for prop in _PAINTS:
        value = declared(element, prop)
        if value and _UNKNOWN_COLOURS.search(value):
            raise _refused(f"the colour {value}", name, do="save it as an RGB colour")


def _has_fallback(element: Any) -> bool:
    """Inside a switch the next child is drawn instead."""
    parent = element.getparent()
    return parent is not None and local(parent) == "switch" and element is not parent[-1]


def _found_oddities(element: Any, kind: str) -> set[str]:
    found: set[str] = set()
    if kind in _ANIMATED:
        found.add("holds an animation; only its first state is drawn")
    elif kind == "script":
        found.add("holds a script, which is never run")
    elif kind == "switch":
        found.add("holds a switch between languages; the English or first branch is drawn")
    elif kind == "filter":
        found.add("holds a filter effect, which is drawn as pixels")
    elif kind in ("font", "font-face"):
        found.add("holds a font of its own drawn in SVG, which is not used")
    if declared(element, "mix-blend-mode") not in (None, "normal"):
        found.add("blends colours with what lies below; printers' colours may differ")
    if declared(element, "font-variant") in ("small-caps", "all-small-caps"):
        found.add("asks for small capitals, drawn only where the font has them")
    for prop in ("text-shadow", "box-shadow", "backdrop-filter", "shape-outside"):
        if declared(element, prop) not in (None, "none"):
            found.add(f"{prop} is not drawn")
    return found
