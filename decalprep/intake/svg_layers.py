"""Layers of an SVG: groups with a name, switched by the user and kept apart for the page.

A group's name is its layer label (``label`` in any namespace), else ``data-name``,
``aria-label`` or ``id``; it answers to all of them. The layers of a file are its named top-level
groups (plain wrapping groups are looked through).
"""

import copy
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from lxml import etree

from decalprep.errors import UsageProblem, near_first
from decalprep.intake.svg_css import declared, style_of, write_style
from decalprep.intake.svg_xml import SVG, local

MAX_SEGMENTS = 64
MAX_SEGMENT_BYTES = 60_000_000
_NOT_DRAWN = frozenset(
    {"defs", "metadata", "title", "desc", "symbol", "clipPath", "mask", "pattern", "marker"}
    | {"filter", "linearGradient", "radialGradient", "style", "script", "view"}
)
_PLAIN_VALUES = {
    "opacity": {"1", "1.0", "100%"},
    "filter": {"none"},
    "mask": {"none"},
    "clip-path": {"none"},
    "mix-blend-mode": {"normal"},
    "isolation": {"auto"},
    "display": {"inline", "block"},
}


@dataclass(frozen=True)
class Segment:
    """A part of the drawing, bottom first: one layer or what lies between layers (no name)."""

    layer: str | None
    hidden: bool
    svg: bytes


def names_of(element: Any) -> tuple[str, ...]:
    """Every name the group answers to, the one shown first."""
    labels = [v for k, v in element.attrib.items() if k.startswith("{") and k.endswith("}label")]
    plain = [element.get(key) for key in ("data-name", "aria-label", "id")]
    return tuple(dict.fromkeys(n.strip() for n in [*labels, *plain] if n and n.strip()))


def is_hidden(element: Any) -> bool:
    """Whether the group itself is switched off."""
    return declared(element, "display") == "none"


def _set_shown(element: Any, shown: bool) -> None:
    style = style_of(element)
    style.pop("display", None)
    element.attrib.pop("display", None)
    if not shown:
        style["display"] = "none"
    write_style(element, style)


def switch_layers(root: Any, show: Sequence[str], hide: Sequence[str], *, name: str) -> None:
    """Show and hide groups by name (changes ``root``); showing one shows what it lies in.

    Raises:
        UsageProblem: no group has that name.
    """
    if not show and not hide:
        return
    groups = [(e, names_of(e)) for e in root.iter() if local(e) == "g"]
    for wanted, shown in [(n, True) for n in show] + [(n, False) for n in hide]:
        found = [e for e, names in groups if wanted in names]
        if not found:
            have = [names[0] for _, names in groups if names]
            raise UsageProblem(
                f"there is no layer {wanted!r}",
                where=name,
                do=f"its layers are: {near_first(wanted, have)}"
                if have
                else "it has no named groups",
            )
        for element in found:
            _set_shown(element, shown)
            if shown:
                for above in element.iterancestors():
                    if local(above) == "g" and is_hidden(above):
                        _set_shown(above, True)


def _kids(element: Any) -> list[Any]:
    return [e for e in element if local(e) and local(e) not in _NOT_DRAWN]


def _is_plain(element: Any) -> bool:
    return all(
        (declared(element, prop) or next(iter(values))).strip() in values
        for prop, values in _PLAIN_VALUES.items()
    )


def layer_container(root: Any) -> Any:
    """The element whose children are the layers: the root or a plain unnamed group inside."""
    container = root
    while True:
        kids = _kids(container)
        if len(kids) != 1 or local(kids[0]) != "g" or not _is_plain(kids[0]):
            return container
        inner = [e for e in _kids(kids[0]) if local(e) == "g" and names_of(e)]
        if names_of(kids[0]) and not any(len(names_of(e)) > 1 for e in inner):
            return container
        container = kids[0]


def layer_names(root: Any) -> tuple[str, ...]:
    """The names of the file's layers, bottom first, each once."""
    return tuple(dict.fromkeys(names_of(e)[0] for e in _layers(layer_container(root))))


def _layers(container: Any) -> list[Any]:
    return [e for e in _kids(container) if local(e) == "g" and names_of(e)]


def cut_into_segments(root: Any) -> tuple[Segment, ...]:
    """The drawing as one SVG a layer, stacked bottom first; empty where it cannot be cut so.

    It cannot where the container or what is above it has opacity, a filter, a mask or a clip, or
    where there is no layer. What a segment does not show stays in it as definitions, for uses.
    """
    container = layer_container(root)
    above = [container, *container.iterancestors()]
    layers = _layers(container)
    if not layers or not all(_is_plain(e) for e in above):
        return ()
    kids = _kids(container)
    groups: list[tuple[Any | None, list[int]]] = []
    for place, kid in enumerate(kids):
        if kid in layers:
            groups.append((kid, [place]))
        elif groups and groups[-1][0] is None:
            groups[-1][1].append(place)
        else:
            groups.append((None, [place]))
    if len(groups) > MAX_SEGMENTS:
        return ()
    if len(etree.tostring(root)) * len(groups) > MAX_SEGMENT_BYTES:
        return ()
    way = _way_to(root, container)
    return tuple(
        Segment(
            names_of(layer)[0] if layer is not None else None,
            layer is not None and is_hidden(layer),
            _only(root, way, places),
        )
        for layer, places in groups
    )


def _way_to(root: Any, element: Any) -> list[int]:
    way: list[int] = []
    while element is not root:
        parent = element.getparent()
        way.append(parent.index(element))
        element = parent
    return way[::-1]


def _only(root: Any, way: list[int], places: list[int]) -> bytes:
    """A copy of the drawing that shows only the children at ``places`` of the container."""
    copied = copy.deepcopy(root)
    container = copied
    for step in way:
        container = container[step]
    for place, kid in enumerate(_kids(container)):
        if place in places:
            if names_of(kid) and local(kid) == "g":
                _set_shown(kid, True)
            continue
        shelter = container.makeelement(SVG + "defs")
        container.replace(kid, shelter)
        kid.tail = None
        shelter.append(kid)
    return bytes(etree.tostring(copied))
