"""Features that drawing programs draw each in their own way: refused by name.

What such a file shows depends on the program it is opened in, so no picture of it is the right one;
a comparison of two drawings from one family of programs cannot find them. Found on one half of
public conformance suites and in the standards' lists of changes (SVG 2, changes from SVG 1.1; CSS
Masking 1; CSS Transforms 2), measured on the other half by ``tests/bench/bench_svg_suite.py``.
"""

import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any

from lxml import etree

from decalprep.intake.svg_css import declared
from decalprep.intake.svg_xml import XLINK_HREF, local

_NUMBER = r"[-+]?(?:\d+\.?\d*|\.\d+)(?:[eE][-+]?\d+)?"
_POINTS = re.compile(rf"\s*(?:{_NUMBER}(?:\s*,\s*|\s+|(?=[-+.])|\s*$))*", re.ASCII)
_FUNCTION = re.compile(r"\s*,?\s*([a-zA-Z]+)\s*\(([^()]*)\)\s*")
_ARGUMENTS = {
    "matrix": (6,),
    "translate": (1, 2),
    "scale": (1, 2),
    "rotate": (1, 3),
    "skewX": (1,),
    "skewY": (1,),
}
_UNITS = frozenset({"userSpaceOnUse", "objectBoundingBox"})
_SERVERS = frozenset({"linearGradient", "radialGradient", "pattern"})
_ACROSS = frozenset({"lr", "lr-tb", "rl", "rl-tb", "horizontal-tb"})
_HOLDERS = frozenset({"pattern", "mask", "clipPath", "filter", "marker"})
_OFF = _SERVERS | _HOLDERS | {"defs"}
_MARKERS = ("marker", "marker-start", "marker-mid", "marker-end")
_SECOND_CHOICE = re.compile(r"url\(\s*['\"]?#([^)'\"]*)['\"]?\s*\)\s*(?!none)\S")
_DRAWN = frozenset(
    {"svg", "g", "a", "use", "image", "text", "path", "rect", "circle", "ellipse", "line"}
    | {"polyline", "polygon", "switch", "foreignObject", "title", "desc", "metadata", "defs"}
)
_ONLY_NEW = {
    "translate": "none",
    "rotate": "none",
    "scale": "none",
    "offset-path": "none",
    "zoom": "1",
    "transform-box": "view-box",
    "mask-image": "none",
    "mask-mode": "match-source",
    "mask-composite": "add",
    "mask-border": "none",
    "mask-border-source": "none",
    "mask-size": "auto",
    "mask-position": "0% 0%",
}
"""CSS properties of which some programs know nothing, and the value that asks for nothing."""


def inherited(element: Any, prop: str) -> str | None:
    """The nearest value of an inherited property, from the element or those it lies in."""
    node = element
    while node is not None:
        value = declared(node, prop)
        if value is not None and value.strip() != "inherit":
            return value
        node = node.getparent()
    return None


def determinant(transform: str) -> float | None:
    """The area that a transform list makes of a unit area; None where it cannot be read.

    >>> determinant("translate(3 4) scale(2)"), determinant("matrix(0 0 0 0 0 0)")
    (4.0, 0.0)
    >>> determinant("scale(2,3,4)") is None
    True
    """
    place, area = 0, 1.0
    while place < len(transform.rstrip()):
        match = _FUNCTION.match(transform, place)
        if match is None:
            return None
        words = [w for w in re.split(r"[\s,]+", match[2].strip()) if w]
        try:
            numbers = [float(w) for w in words]
        except ValueError:
            return None
        if len(numbers) not in _ARGUMENTS.get(match[1], ()):
            return None
        if match[1] == "matrix":
            area *= numbers[0] * numbers[3] - numbers[1] * numbers[2]
        elif match[1] == "scale":
            area *= numbers[0] * numbers[-1]
        place = match.end()
    return area


@dataclass(frozen=True)
class Seen:
    """One element, its kind (local name), its own style attribute, and all elements by id."""

    element: Any
    kind: str
    style: dict[str, str]
    ids: Mapping[str, Any]

    def own(self, prop: str) -> str:
        """The element's own value of a property, "" where it has none."""
        return (self.style.get(prop) or self.element.get(prop) or "").strip()

    def get(self, key: str) -> str:
        """An attribute, "" where it is absent."""
        return self.element.get(key) or ""


def disputed(seen: Seen) -> str | None:
    """In words, what programs disagree about on this element; None where nothing is known."""
    for check in _CHECKS:
        found = check(seen)
        if found:
            return found
    return None


def _units(seen: Seen) -> str | None:
    for key in ("patternUnits", "patternContentUnits"):
        if seen.kind == "pattern" and seen.get(key).strip() not in _UNITS | {""}:
            return f'{key}="{seen.get(key)}", an unknown value'
    return None


def _points(seen: Seen) -> str | None:
    points = seen.get("points") if seen.kind in ("polyline", "polygon") else None
    if points and _POINTS.fullmatch(points) is None:
        return f"points that are not all numbers (<{seen.kind}>)"
    return None


def _strokes(seen: Seen) -> str | None:
    if seen.own("stroke-width").startswith("-"):
        return "a stroke-width below zero"
    if seen.own("stroke-linejoin") == "miter-clip":
        return "stroke-linejoin miter-clip"
    if seen.get("pathLength") and inherited(seen.element, "stroke-dasharray") not in (
        None,
        "none",
    ):
        return "dashes measured by pathLength"
    return None


def _markers(seen: Seen) -> str | None:
    """SVG 2 puts markers on every shape, SVG 1.1 on lines and paths alone."""
    if seen.kind == "marker" or all(seen.own(p) in ("", "none") for p in _MARKERS):
        return None
    for inner in seen.element.iter():
        if local(inner) in ("rect", "circle", "ellipse") and any(
            inherited(inner, prop) not in (None, "none") for prop in _MARKERS
        ):
            return f"markers on a <{local(inner)}>"
    return None


def _servers(seen: Seen) -> str | None:
    if seen.kind in _OFF and seen.own("display") == "none":
        return f"a <{seen.kind}> that is switched off"
    if seen.kind == "defs" and seen.get("systemLanguage"):
        return "a <defs> for some languages"
    if seen.kind in _SERVERS:
        if "transform" in seen.style:
            return f"a transform of <{seen.kind}> set in CSS"
        key = "patternTransform" if seen.kind == "pattern" else "gradientTransform"
        if seen.element.get(key) and determinant(seen.element.get(key)) in (None, 0.0):
            return f'{key}="{seen.element.get(key)}", which cannot be carried out'
    elif seen.kind in ("marker", "symbol"):
        if seen.own("transform"):
            return f"a transform on <{seen.kind}>"
        if any(re.search(r"[a-z]{3}", seen.element.get(key) or "") for key in ("refX", "refY")):
            return f"a place in words (refX, refY) on <{seen.kind}>"
    return None


def _unstopped(seen: Seen) -> str | None:
    """A paint with a second choice whose first choice is a gradient without stops."""
    for prop in ("fill", "stroke"):
        match = _SECOND_CHOICE.match(seen.own(prop))
        if match is None:
            continue
        found = seen.ids.get(match[1])
        if found is not None and local(found) in ("linearGradient", "radialGradient"):
            href = found.get("href") or found.get(XLINK_HREF)
            if not href and not any(local(e) == "stop" for e in found):
                return "a gradient without stops where another paint stands in"
    return None


def _masks(seen: Seen) -> str | None:
    mask = seen.own("mask")
    if seen.kind == "mask" and mask not in ("", "none", f"url(#{seen.get('id')})"):
        return "a mask on a <mask>"
    clip = seen.own("clip-path")
    if "-box" in re.sub(r"url\([^)]*\)", "", clip):
        return f"clip-path: {clip}"
    more = re.sub(r"url\([^)]*\)", "", mask).strip()
    if more not in ("", "none", "inherit", "initial", "unset"):
        return f"mask: {mask}"
    return None


def _new_css(seen: Seen) -> str | None:
    for prop in _ONLY_NEW.keys() & seen.style.keys():
        if seen.style[prop].strip() not in (_ONLY_NEW[prop], "initial", "unset"):
            return f"{prop}: {seen.style[prop]} in CSS"
    return None


def _images(seen: Seen) -> str | None:
    if seen.kind == "image" and "auto" in (seen.get("width"), seen.get("height")):
        return "a picture whose width or height is auto"
    return None


def _filters(seen: Seen) -> str | None:
    if seen.kind == "filter":
        if seen.get("href") or seen.element.get(XLINK_HREF):
            return "a filter that takes over parts of another"
        lit = any(local(e) in ("fePointLight", "feSpotLight") for e in seen.element.iter())
        if lit and seen.get("primitiveUnits") == "objectBoundingBox":
            return "a lamp placed in shares of a shape's box"
    if seen.kind == "feColorMatrix" and seen.get("type") == "saturate":
        try:
            if not 0.0 <= float(seen.get("values") or 1.0) <= 1.0:
                return f"a saturation of {seen.element.get('values')}"
        except ValueError:
            return f'a saturation of "{seen.get("values")}"'
    for key in ("specularExponent", "limitingConeAngle"):
        if seen.element.get(key) in ("0", "0.0"):
            return f"{key}=0"
    named = re.fullmatch(r"url\(\s*['\"]?#([^)'\"]*)['\"]?\s*\)", seen.own("filter"))
    if named and named[1] not in seen.ids:
        return f"the filter {named[1]!r}, which is not there"
    return None


def disputed_text(seen: Seen) -> str | None:
    """In words, what of a text programs place each in their own way; None where nothing is."""
    for prop in ("letter-spacing", "word-spacing"):
        if "%" in seen.own(prop):
            return f"{prop} in per cent"
    if (inherited(seen.element, "writing-mode") or "lr").strip() not in _ACROSS:
        return "letters running down (writing-mode)"
    if seen.kind != "text":
        for prop in ("clip-path", "mask", "filter"):
            if seen.own(prop) not in ("", "none"):
                return f"{prop} on a part of a text"
    shift = seen.own("baseline-shift")
    above = seen.element.getparent()
    still = (None, "", "0", "baseline")
    if shift not in still and inherited(above, "baseline-shift") not in still:
        return "a baseline-shift inside another"
    if seen.get("textLength") in ("0", "0.0"):
        return "textLength=0"
    return None


def _switches(seen: Seen) -> str | None:
    if seen.kind != "switch":
        return None
    for inner in seen.element:
        if isinstance(inner.tag, str) and local(inner) not in _DRAWN:
            return f"a switch with <{etree.QName(inner).localname}>"
    return None


def _root(seen: Seen) -> str | None:
    """Programs clip the root in its own px or in the viewBox's units."""
    if seen.element.getparent() is not None:
        return None
    for prop in ("clip-path", "mask", "filter"):
        if seen.own(prop) not in ("", "none"):
            return f"{prop} on the SVG root"
    return None


_CHECKS: tuple[Callable[[Seen], str | None], ...] = (
    _units,
    _points,
    _strokes,
    _markers,
    _servers,
    _unstopped,
    _masks,
    _new_css,
    _images,
    _filters,
    _switches,
    _root,
)
