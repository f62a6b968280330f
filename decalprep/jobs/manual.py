"""The job file explained, from the same table that it is read by."""

import textwrap

from decalprep.errors import UsageProblem
from decalprep.jobs.schema import TABLES, Key
from decalprep.model import StockKind, Turns
from decalprep.units import PAGE_SIZES_MM

WIDTH = 80

OPENING = """A job file is a TOML text. Lengths are written in quotes with their unit, as in
"12.5 mm", "3,2 cm" or "0.5 in". Files lie in the job file's folder. A table
starts with its name in brackets; [[sheet]] and [[panel]] may come many times.

Smallest job:

    [[panel]]
    name = "engine"
    artwork = "engine.svg"
"""

WORDS = {
    "stock": "One of: " + ", ".join(f'"{s.value}"' for s in StockKind) + ".",
    "turns": "One of: " + ", ".join(f'"{t.value}"' for t in Turns) + ".",
    "size": "Known: " + ", ".join(PAGE_SIZES_MM) + ".",
    "lone_hairlines": 'One of: "keep", "thicken", "drop".',
    "part_face": 'One of: "largest", "top", "bottom", "front", "back", "left", "right".',
    "outline_from": 'One of: "auto", "layer", "part", "path", "picture", "page".',
    "holes_from": 'One of: "auto", "part", "layer", "paths", "none".',
    "openings": 'One of: "choke", "spread".',
    "printing": 'One of: "inkjet", "laser".',
    "back_part_face": 'One of: "largest", "top", "bottom", "front", "back", "left", "right".',
    "part_unit": 'One of: "mm", "cm", "in".',
    "kind": 'One of: "screw" (cross, pierced), "switch" (guide, cut after sticking), '
    '"free" (cut as drawn), "none" (not a hole).',
}


def manual(table: str | None = None) -> list[str]:
    """Lines of help, at most 80 columns, for one table or the whole file.

    Raises:
        UsageProblem: there is no such table.
    """
    names = [name for name, _, _ in TABLES]
    if table is not None and table.strip("[]") not in names:
        raise UsageProblem(f"there is no table {table!r}", do="use one of " + ", ".join(names))
    lines = [] if table else OPENING.splitlines()
    for name, keys, words in TABLES:
        if table and name != table.strip("[]"):
            continue
        head = f"[{name}]" if name in ("job", "sheet.grid") else f"[[{name}]]"
        lines += ["", head, *textwrap.wrap(words, WIDTH), ""]
        for key in keys:
            lines += _key_lines(key)
    return lines


def _key_lines(key: Key) -> list[str]:
    words = [key.help, WORDS.get(key.name, "")]
    words.append("Required." if key.required else _default(key))
    body = " ".join(w for w in words if w)
    return [
        f"  {key.name} = {key.example}",
        *textwrap.wrap(body, WIDTH, initial_indent="      ", subsequent_indent="      "),
    ]


def _default(key: Key) -> str:
    value = key.default
    if value is None or value == "" or value == ():
        return ""
    if isinstance(value, bool):
        return f"Otherwise {str(value).lower()}."
    if isinstance(value, tuple):
        return f"Otherwise {value[0]:g} x {value[1]:g} mm."
    if isinstance(value, float) and '"' in key.example:
        return f"Otherwise {value:g} mm."
    return f"Otherwise {value:g}." if isinstance(value, float) else f"Otherwise {value}."
