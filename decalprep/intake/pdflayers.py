"""Layers (optional content groups) of a PDF page: names, which are on, and carrying them over.

The state is that of printing: the default configuration, then usage rules for the print event
(ISO 32000-1, 8.11.4). Hidden layers are kept and stay hidden.
"""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

import pikepdf
from pikepdf import Array, Dictionary, Name

from decalprep.errors import UsageProblem, near_first
from decalprep.intake.options import IntakeOptions
from decalprep.model import Notice, Severity

Group = tuple[int, int]


def layer_name(group: Any) -> str:
    """The name of an optional content group, "unnamed" where it has none."""
    return str(group.get("/Name", "unnamed")) or "unnamed"


def _listed(config: Any, key: str) -> list[Any]:
    found = config.get(key) if isinstance(config, Dictionary) else None
    return [g for g in found if isinstance(g, Dictionary)] if isinstance(found, Array) else []


def printed_states(source: pikepdf.Pdf) -> dict[Group, bool]:
    """Whether each group of the document is on when it is printed, by object number."""
    properties = source.Root.get("/OCProperties")
    if not isinstance(properties, Dictionary):
        return {}
    config = properties.get("/D", Dictionary())
    states: dict[Group, bool] = {}
    base_on = not isinstance(config, Dictionary) or config.get("/BaseState") != Name.OFF
    for group in _listed(properties, "/OCGs"):
        states[group.objgen] = base_on
    for key, on in (("/ON", True), ("/OFF", False)):
        for group in _listed(config, key):
            states[group.objgen] = on
    for rule in _listed(config, "/AS"):
        if rule.get("/Event") == Name.Print:
            for group in _listed(rule, "/OCGs"):
                _apply_print_state(group, states)
    return states


def _apply_print_state(group: Any, states: dict[Group, bool]) -> None:
    usage = group.get("/Usage")
    printing = usage.get("/Print") if isinstance(usage, Dictionary) else None
    state = printing.get("/PrintState") if isinstance(printing, Dictionary) else None
    if state in (Name.ON, Name.OFF):
        states[group.objgen] = state == Name.ON


def groups_used(target: pikepdf.Pdf) -> list[Any]:
    """The groups among the objects of a new document, in object order."""
    return [
        obj
        for obj in target.objects
        if isinstance(obj, Dictionary) and obj.get("/Type") == Name.OCG
    ]


def carried_states(
    source: pikepdf.Pdf, target: pikepdf.Pdf, states: dict[Group, bool]
) -> dict[Group, bool]:
    """The states by object number in ``target``, which already holds copies of what it uses."""
    properties = source.Root.get("/OCProperties")
    on: dict[Group, bool] = {}
    for group in _listed(properties, "/OCGs"):
        if group.is_indirect:
            copied = target.copy_foreign(group)
            if isinstance(copied, pikepdf.Object):  # a damaged table names what is not there
                on[copied.objgen] = states.get(group.objgen, True)
    return on


def carry_layers(
    source: pikepdf.Pdf, target: pikepdf.Pdf, options: IntakeOptions, name: str
) -> tuple[tuple[str, ...], list[Notice]]:
    """Write the layer table of the new document; (layer names, notices).

    Does not keep groups that the page does not use.

    Raises:
        UsageProblem: a layer to show or hide that the page does not have.
    """
    groups = groups_used(target)
    on = carried_states(source, target, printed_states(source))
    names = tuple(dict.fromkeys(layer_name(group) for group in groups))
    _check_wanted((*options.show_layers, *options.hide_layers), names, name)
    shown, hidden = Array(), Array()
    for group in groups:
        label, state = layer_name(group), on.get(group.objgen, True)
        state = (state or label in options.show_layers) and label not in options.hide_layers
        (shown if state else hidden).append(group)
        if "/Usage" in group:
            del group["/Usage"]
    if groups:
        config = Dictionary(BaseState=Name.ON, ON=shown, OFF=hidden, Order=Array(groups))
        target.Root.OCProperties = Dictionary(OCGs=Array(groups), D=config)
    return names, _hidden_notice(hidden, name)


def _check_wanted(wanted: Iterable[str], names: tuple[str, ...], name: str) -> None:
    for label in wanted:
        if label not in names:
            have = near_first(label, names)
            raise UsageProblem(
                f"there is no layer {label!r}", where=name, do=f"its layers are: {have}"
            )


def _hidden_notice(hidden: Any, name: str) -> list[Notice]:
    if len(hidden) == 0:
        return []
    labels = ", ".join(repr(layer_name(group)) for group in hidden)
    text = f"hidden layers stay hidden: {labels}; show them by name if they belong to the picture"
    return [Notice("layers-hidden", text, name, Severity.NOTE)]
