"""Features of SVG and CSS that converters pass over in silence: refused or told by name.

A comparison of two drawings cannot find what both leave out, so this list stands beside it.
"""

import re
from typing import Any

from lxml import etree

from decalprep.errors import Unfaithful
from decalprep.intake.svg_colours import plain_paint
from decalprep.intake.svg_css import (
    SheetFindings,
    declared,
    plain_transform,
    style_of,
    write_style,
)
from decalprep.intake.svg_disputed import Seen, disputed, disputed_text
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
_SHAPES = re.compile(r"\b(circle|ellipse|inset|polygon|path|rect|xywh)\(", re.IGNORECASE)
_BY_PIXELS = frozenset({"feDiffuseLighting", "feSpecularLighting", "feConvolveMatrix"})
"""Filter Effects 1: their neighbours are the next pixels unless kernelUnitLength says otherwise."""

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
    dangers: set[str] = set()
    ids = {e.get("id"): e for e in root.iter(etree.Element) if e.get("id")}
    for element in root.iter():
        kind = local(element)
        if kind:
            _check_element(Seen(element, kind, style_of(element), ids), name)
            told |= _found_oddities(element, kind)
            dangers |= _found_dangers(Seen(element, kind, style_of(element), ids))
    for danger in sorted(dangers):
        notices.append(Notice("svg-disputed", danger, name, Severity.DANGER))
    for oddity in sorted(told):
        notices.append(Notice("svg-feature", oddity, name, Severity.WARNING))
    return tuple(notices)


def take_ground(root: Any, name: str) -> str:
    """The colour that CSS lays under the whole page, "" for none; taken off the root.

    Browsers and some converters fill the page with it, others pass it over.

    Raises:
        Unfaithful: a background that is no plain colour.
    """
    style = style_of(root)
    stated = {prop: style.pop(prop) for prop in ("background", "background-color") if prop in style}
    if not stated:
        return ""
    write_style(root, style)
    colour = plain_paint(stated.get("background-color", stated.get("background", "")), name)
    if colour in ("none", "transparent", "initial", "unset"):
        return ""
    if not re.fullmatch(r"[a-zA-Z]+|#[0-9a-fA-F]+|rgba?\([\d.,]+\)", colour):
        raise _refused("a background of the root set in CSS", name, do="draw it as a rectangle")
    return colour


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


def _check_element(seen: Seen, name: str) -> None:
    element, kind, style = seen.element, seen.kind, seen.style
    if kind in _NEVER_DRAWN and not _has_fallback(element):
        raise _refused(_NEVER_DRAWN[kind], name)
    if kind == "font" or kind == "font-face":
        return
    for prop, value in style.items():
        if _UNKNOWN_VALUES.search(value):
            raise _refused(f"{prop}: {value} in CSS", name, do="save plain values")
    found = disputed(seen)
    if found:
        raise Unfaithful(
            f"uses {found}, which programs draw differently",
            where=name,
            do="convert it to plain paths",
        )
    _carry_out_geometry(element, kind, style, name)
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


def _carry_out_geometry(element: Any, kind: str, style: dict[str, str], name: str) -> None:
    """Geometry set in CSS written as attributes, which every program reads."""
    stated = _GEOMETRY.get(kind, frozenset()) & style.keys()
    if not stated:
        return
    if element.getparent() is None:
        raise _refused(
            f"{min(stated)} of the root set in CSS", name, do="write it as a plain attribute"
        )
    for prop in sorted(stated):
        value = style.pop(prop).strip()
        path = re.fullmatch(r"""path\(\s*(["'])(.*)\1\s*\)""", value, re.DOTALL)
        if prop == "d" and path is None:
            raise _refused(f"d: {value} in CSS", name, do="write it as a plain attribute")
        if value == "auto":
            element.attrib.pop(prop, None)
        elif path is not None:
            element.set(prop, path[2])
        elif not re.fullmatch(r"[-+]?[\d.]*[1-9][\d.]*", value):
            # A length without a unit is no length in CSS, so that it is passed over.
            element.set(prop, value)
    write_style(element, style)


def _has_fallback(element: Any) -> bool:
    """Inside a switch the next child is drawn instead."""
    parent = element.getparent()
    return parent is not None and local(parent) == "switch" and element is not parent[-1]


def _turned(element: Any) -> bool:
    """Whether the element or one it lies in is rotated or skewed."""
    while element is not None:
        text = element.get("transform") or style_of(element).get("transform") or ""
        if re.search(r"rotate|skew", text):
            return True
        for match in re.finditer(r"matrix\(([^)]*)\)", text):
            numbers = re.split(r"[\s,]+", match[1].strip())
            if len(numbers) == 6 and any(n.strip("-0.") for n in numbers[1:3]):
                return True
        element = element.getparent()
    return False


def _found_dangers(seen: Seen) -> set[str]:
    """What may be drawn otherwise than the maker saw it, in words."""
    found = set()
    if seen.own("filter") not in ("", "none") and _turned(seen.element):
        found.add("has a filter on something rotated or skewed, which programs draw differently")
    if seen.kind in _BY_PIXELS:
        found.add(
            f"has the filter effect {seen.kind}, whose look depends on the pixels it is drawn in"
        )
    if seen.kind in ("text", "tspan", "textPath", "tref"):
        text = disputed_text(seen)
        if text:
            found.add(f"has {text}, which programs place differently: compare the letters")
    return found


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
