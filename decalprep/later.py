"""Names of a room whose modules are loaded when a name is first asked for."""

from __future__ import annotations

import sys
from collections.abc import Callable, Mapping
from importlib import import_module
from typing import Any


def later(room: str, modules: Mapping[str, str]) -> Callable[[str], Any]:
    """The ``__getattr__`` of a package: each name's value from the module that it is in.

    >>> later("decalprep.proof", {"Proof": "result"})("Proof").__name__
    'Proof'
    """

    def found(name: str) -> Any:
        if name not in modules:
            raise AttributeError(f"module {room!r} has no attribute {name!r}")
        value = getattr(import_module(f"{room}.{modules[name]}"), name)
        setattr(sys.modules[room], name, value)
        return value

    return found
