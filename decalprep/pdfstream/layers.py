"""Optional-content groups ("layers") and whether the default configuration shows them.

ISO 32000-1:2008, 8.11. Does not apply automatic states by usage (print, view, zoom): the default
configuration's ON and OFF lists rule.
"""

from dataclasses import dataclass
from typing import Any

import pikepdf


@dataclass(frozen=True)
class LayerRef:
    """What a piece of content belongs to: a layer's name, and whether it is shown."""

    name: str | None
    visible: bool


def _key(obj: Any) -> tuple[int, int]:
    number, generation = obj.objgen
    return int(number), int(generation)


class LayerTable:
    """The layers of one document."""

    def __init__(self, document: pikepdf.Pdf) -> None:
        self._shown: dict[tuple[int, int], bool] = {}
        self.names: tuple[str, ...] = ()
        properties = document.Root.get("/OCProperties")
        if not isinstance(properties, pikepdf.Dictionary):
            return
        groups = _items(properties.get("/OCGs"))
        default = properties.get("/D")
        default = default if isinstance(default, pikepdf.Dictionary) else pikepdf.Dictionary()
        base = str(default.get("/BaseState", "/ON")) != "/OFF"
        self._shown = {_key(group): base for group in groups}
        for group in _items(default.get("/ON")):
            self._shown[_key(group)] = True
        for group in _items(default.get("/OFF")):
            self._shown[_key(group)] = False
        self.names = tuple(dict.fromkeys(_name(group) for group in groups))

    def resolve(self, content: Any) -> LayerRef:
        """The layer that an /OC entry or property means; anything malformed is shown."""
        if not isinstance(content, pikepdf.Dictionary):
            return LayerRef(None, True)
        if str(content.get("/Type", "")) != "/OCMD":
            return LayerRef(_name(content), self._shown.get(_key(content), True))
        groups = content.get("/OCGs")
        members = [groups] if isinstance(groups, pikepdf.Dictionary) else _items(groups)
        name = _name(members[0]) if members else None
        expression = content.get("/VE")
        if isinstance(expression, pikepdf.Array):
            return LayerRef(name, self._expression(expression, 0))
        states = [self._shown.get(_key(group), True) for group in members]
        policy = str(content.get("/P", "/AnyOn"))
        shown = {
            "/AllOn": all(states),
            "/AnyOff": not all(states),
            "/AllOff": not any(states),
        }.get(policy, any(states))
        return LayerRef(name, shown if states else True)

    def _expression(self, node: Any, depth: int) -> bool:
        if depth > 32 or not isinstance(node, pikepdf.Array) or not len(node):
            return (
                self._shown.get(_key(node), True)
                if isinstance(node, pikepdf.Dictionary)
                else (True)
            )
        states = [self._expression(part, depth + 1) for part in node.as_list()[1:]]
        operator = str(node[0])
        if operator == "/Not":
            return not states[0] if states else True
        return any(states) if operator == "/Or" else all(states)


def _items(array: Any) -> list[Any]:
    if not isinstance(array, pikepdf.Array):
        return []
    return [item for item in array.as_list() if isinstance(item, pikepdf.Dictionary)]


def _name(group: Any) -> str:
    return str(group.get("/Name", "")) or "unnamed layer"
