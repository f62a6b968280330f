"""The job file explained, from the same table that it is read by."""

import textwrap

from decalprep.errors import UsageProblem, near_first
from decalprep.jobs.schema import TABLES, Key
from decalprep.model import Sheet, StockKind, Turns
from decalprep.units import PAGE_SIZES_MM

WIDTH = 80

OPENING = """A job file says which artworks are made into decals, how many of each, and on
what sheets. It is a TOML text, made with any plain text editor:

  text        in straight quotes               name = "engine"
  length      in quotes with its unit          width = "12.5 mm" (or "0.5 in")
  number      no quotes, decimal point         price = 0.45
  yes or no   true or false, no quotes         backlit = true
  list        in square brackets               hide_layers = ["guides", "notes"]
  file        beside the job file, with /      artwork = "art/engine.svg"
  comment     after a #

A table starts with its name in brackets and goes on to the next one. [job]
stands once; [[sheet]] and [[panel]] may come many times. [sheet.grid] belongs
to the [[sheet]] above it, [[panel.hole]] to the [[panel]] above it. Only a
[[panel]] is needed; a key that is left out has its default.

The smallest job:

    [[panel]]
    name = "engine"
    artwork = "engine.svg"

A longer one is at the end. All faults of a job file are told at once, each
with its line; the exit code is then 4.
"""

ENDING = """A longer job, as for a console that is printed on labels:

    [job]
    title = "Bridge console"
    currency = "EUR"

    [[sheet]]
    name = "A4 label"
    size = "A4"
    stock = "full-sheet label stock"
    printer = "office laser"        # once it is calibrated
    price = 0.45

    [[panel]]
    name = "engine"
    artwork = "engine.svg"
    hide_layers = ["construction"]
    outline_layer = "cut"
    hole_layer = "holes"

    [[panel.hole]]                  # one that the drawing lacks
    x = "20 mm"
    y = "13 mm"
    diameter = "5.2 mm"
    kind = "switch"

    [[panel]]
    name = "winch"
    artwork = "winch.png"
    width = "110 mm"                # its file does not say
    copies = 2
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


def manual(about: str | None = None) -> list[str]:
    """Lines of help, at most 80 columns, for one table, one key, or the whole file.

    Raises:
        UsageProblem: there is no such table or key.
    """
    word = about.strip().strip("[]") if about else None
    lines = [] if word else OPENING.splitlines()
    found = not word
    for name, keys, words in TABLES:
        chosen = [key for key in keys if word in (None, name, key.name, f"{name}.{key.name}")]
        if not chosen and word != name:
            continue
        found = True
        head = f"[{name}]" if name in ("job", "sheet.grid") else f"[[{name}]]"
        lines += ["", head, *textwrap.wrap(words, WIDTH), ""]
        for key in chosen:
            lines += _key_lines(key)
    if not found:
        known = [name for name, _, _ in TABLES]
        known += [key.name for _, keys, _ in TABLES for key in keys]
        raise UsageProblem(
            f"there is no table or key {word!r}", do=f"there are: {near_first(word or '', known)}"
        )
    if word == "sheet.grid":
        lines += _grid_examples()
    return lines if word else [*lines, "", *ENDING.splitlines()]


def _grid_examples() -> list[str]:
    """Die-cut sheets to start from, as text of a job file."""
    from decalprep.nesting import example_grids

    lines = ["", "To start from; measure your own sheet with a rule and change the numbers:"]
    for sheet in example_grids():
        grid = sheet.grid
        if grid is None:
            continue
        sides = (
            ("label_width", grid.label_width_mm),
            ("label_height", grid.label_height_mm),
            ("left", grid.first_left_mm),
            ("top", grid.first_top_mm),
            ("pitch_x", grid.pitch_x_mm),
            ("pitch_y", grid.pitch_y_mm),
            ("corner_radius", grid.corner_radius_mm),
        )
        lines += ["", "    [[sheet]]", f'    name = "{sheet.name}"', f'    size = "{_page(sheet)}"']
        lines += [f'    stock = "{sheet.stock.value}"', "    [sheet.grid]"]
        lines += [f"    rows = {grid.rows}", f"    columns = {grid.columns}"]
        lines += [f'    {key} = "{value:.6g} mm"' for key, value in sides if value]
    return lines


def _page(sheet: Sheet) -> str:
    """The name of the sheet's size."""
    sizes = {size: name for name, size in PAGE_SIZES_MM.items()}
    return sizes[(sheet.width_mm, sheet.height_mm)]


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
        return f"Default: {str(value).lower()}."
    if isinstance(value, tuple):
        return f"Default: {value[0]:g} x {value[1]:g} mm."
    if isinstance(value, float) and '"' in key.example:
        return f"Default: {value:g} mm."
    return f"Default: {value:g}." if isinstance(value, float) else f"Default: {value}."
