"""Frozen dataclasses of numbers and words to and from plain JSON values, every field checked."""

from collections.abc import Mapping
from typing import Any, get_args, get_origin, get_type_hints

from decalprep.errors import InputProblem

FLOAT_MOST = 1e300
"""No reading or record comes near it; a whole number beyond it would be none as a float."""


def checked(kind: type, data: Mapping[str, Any], *, where: str) -> dict[str, Any]:
    """The values of a dataclass's plain fields (float, int, str, bool) found in ``data``.

    Fields of other types are left to the caller. Missing fields keep their defaults.

    Raises:
        InputProblem: a value of the wrong type, or a number that is not finite.
    """
    found: dict[str, Any] = {}
    for name, wanted in get_type_hints(kind).items():
        if name not in data or get_origin(wanted) is tuple:
            continue
        plain = _plain_type(wanted)
        if plain is None:
            continue
        value = data[name]
        if value is None and type(None) in get_args(wanted):
            found[name] = None
            continue
        found[name] = _value(name, value, plain, where)
    return found


def _plain_type(wanted: Any) -> type | None:
    options = [t for t in (get_args(wanted) or (wanted,)) if t is not type(None)]
    return options[0] if len(options) == 1 and options[0] in (float, int, str, bool) else None


def _value(name: str, value: Any, plain: type, where: str) -> Any:
    number = isinstance(value, (int, float)) and not isinstance(value, bool)
    if plain is float and number and abs(value) <= FLOAT_MOST:  # never true of nan or inf
        return float(value)
    if plain is not float and type(value) is plain:
        return value
    words = {float: "a number", int: "a whole number", str: "text", bool: "true or false"}
    raise InputProblem(f"{name} = {value!r} is not {words[plain]}", where=where)


def refuse_unknown(kind: type, data: Mapping[str, Any], *, where: str) -> None:
    """Passes data whose every key is a field of the dataclass (or kind, version).

    Raises:
        InputProblem: a key that is not; it would be lost at the next writing.
    """
    known = {"kind", "version", *get_type_hints(kind)}
    for key in data:
        if key not in known:
            raise InputProblem(f"has an unknown entry {key!r}", where=where, do="remove it")
