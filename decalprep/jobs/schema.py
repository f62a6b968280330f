"""The job file's keys: one table of what may be written, from which it is read and explained.

Each key has a kind; a kind turns what TOML gave into a value or says in one clause what is wrong.
"""

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import PurePosixPath, PureWindowsPath
from typing import Any

from decalprep.errors import UsageProblem
from decalprep.model import StockKind, Turns
from decalprep.units import PAGE_SIZES_MM, page_size_mm, parse_length_mm

MOST_COPIES = 1000
MOST = 1_000_000
MOST_SIDE_MM = 5080.0
"""The longest side in mm that a PDF page may have without a user unit (ISO 32000-1, Annex C)."""


class Fault(Exception):
    """What is wrong with one value, as a clause."""


@dataclass(frozen=True)
class Key:
    """One key of a table: how it is read, what it is when left out, and one line of help."""

    name: str
    kind: Callable[[Any], Any]
    default: Any
    help: str
    example: str
    required: bool = False


def text(value: Any) -> str:
    """A line of text that is not empty."""
    if not isinstance(value, str) or not value.strip():
        raise Fault("needs a text in quotes")
    if any(ord(c) < 32 for c in value):
        raise Fault("must be one line without control characters (write paths with /, not \\)")
    return value.strip()


def name(value: Any) -> str:
    """A text that can also be part of a file name."""
    word = text(value)
    if len(word) > 80 or any(c in '<>:"/\\|?*' for c in word) or word.strip(". ") != word:
        raise Fault('needs a name of at most 80 characters without < > : " / \\ | ? *')
    reserved = {"con", "prn", "aux", "nul"} | {f"{a}{n}" for a in ("com", "lpt") for n in range(10)}
    if word.split(".")[0].lower() in reserved:
        raise Fault("is a reserved name on some systems; choose another")
    return word


def file(value: Any) -> str:
    """A path relative to the job file, without a way out of its folder."""
    path = text(value)
    pure = PurePosixPath(path.replace("\\", "/"))
    if pure.is_absolute() or PureWindowsPath(path).drive or ".." in pure.parts:
        raise Fault("must be a path inside the job file's folder (copy the file there)")
    return pure.as_posix()


def flag(value: Any) -> bool:
    """True or false."""
    if not isinstance(value, bool):
        raise Fault("needs true or false (without quotes)")
    return value


def number(value: Any) -> float:
    """A finite number above zero and up to ``MOST``."""
    if isinstance(value, bool) or not isinstance(value, int | float):
        raise Fault("needs a number (without quotes)")
    if not 0 < value <= MOST:
        raise Fault(f"must be a finite number above zero, {MOST:,} at most")
    return float(value)


def coordinate(value: Any) -> float:
    """A finite number of a size that a page can have."""
    if isinstance(value, bool) or not isinstance(value, int | float):
        raise Fault("needs numbers (without quotes)")
    if not -MOST <= value <= MOST:
        raise Fault("must be finite numbers below a million")
    return float(value)


def share(value: Any) -> float:
    """A number between 0 and 1, both left out."""
    part = number(value)
    if part >= 1:
        raise Fault("must be between 0 and 1")
    return part


def turn_step(value: Any) -> float:
    """A number of degrees, 1 or more, that makes a whole turn."""
    step = number(value)
    if not 1 <= step <= 180 or abs(360 / step - round(360 / step)) > 1e-9:
        raise Fault("must be 1 to 180 degrees that divide 360, such as 15, 30 or 45")
    return step


def count(value: Any) -> int:
    """A whole number from 1 to ``MOST_COPIES``."""
    if isinstance(value, bool) or not isinstance(value, int):
        raise Fault("needs a whole number (without quotes)")
    if not 1 <= value <= MOST_COPIES:
        raise Fault(f"must be from 1 to {MOST_COPIES}")
    return value


def tone(value: Any) -> int:
    """A grey level from 128 to 255."""
    if isinstance(value, bool) or not isinstance(value, int) or not 128 <= value <= 255:
        raise Fault("needs a whole number from 128 to 255")
    return value


def length(value: Any) -> float:
    """Any length in mm, typed with its unit."""
    if not isinstance(value, str):
        raise Fault(f'needs a length in quotes with its unit, as in "{value} mm"')
    try:
        length_mm = parse_length_mm(value)
    except UsageProblem as problem:
        raise Fault(f"{problem.found.removeprefix('length ')}; {problem.do}") from None
    if abs(length_mm) > MOST_SIDE_MM:
        raise Fault(f"is beyond {MOST_SIDE_MM:.0f} mm")
    return length_mm


def size(value: Any) -> float:
    """A length in mm above zero."""
    length_mm = length(value)
    if length_mm <= 0:
        raise Fault("must be above zero")
    return length_mm


def distance(value: Any) -> float:
    """A length in mm that is not negative."""
    length_mm = length(value)
    if length_mm < 0:
        raise Fault("must not be negative")
    return length_mm


def page(value: Any) -> tuple[float, float]:
    """A page size by name, or as "210 x 297 mm": (width, height) in mm."""
    words = text(value)
    wide, cross, high = words.lower().partition("x")
    if cross and any(c.isdigit() for c in words):
        unit = high.strip().lstrip("0123456789., ")
        return size(wide if wide.strip()[-1:].isalpha() else f"{wide} {unit}"), size(high)
    try:
        return page_size_mm(words)
    except UsageProblem:
        known = ", ".join(PAGE_SIZES_MM)
        raise Fault(f'is not a known page size; use {known} or "210 x 297 mm"') from None


def one_of(*choices: str) -> Callable[[Any], str]:
    """One of the given words."""

    def read(value: Any) -> str:
        if value not in choices:
            raise Fault("must be one of " + ", ".join(f'"{c}"' for c in choices))
        return str(value)

    return read


def many(kind: Callable[[Any], Any]) -> Callable[[Any], tuple[Any, ...]]:
    """A list of values of one kind."""

    def read(value: Any) -> tuple[Any, ...]:
        if not isinstance(value, list):
            raise Fault("needs a list in square brackets")
        return tuple(kind(v) for v in value)

    return read


def exactly(how_many: int, kind: Callable[[Any], Any]) -> Callable[[Any], tuple[Any, ...]]:
    """A list of just so many values of one kind."""

    def read(value: Any) -> tuple[Any, ...]:
        values = many(kind)(value)
        if len(values) != how_many:
            raise Fault(f"needs {how_many} values in square brackets")
        return values

    return read


JOB = (
    Key("title", text, "Decals", "Printed in the sheets' footer.", '"Bridge console"'),
    Key("gap", distance, 3.0, "Least distance between two decals' bleeds.", '"3 mm"'),
    Key("hairline", distance, 0.1, "Strokes at or under this width are stripped.", '"0.1 mm"'),
    Key(
        "lone_hairlines",
        one_of("keep", "thicken", "drop"),
        "keep",
        "What to do where a hairline is the only ink of a shape.",
        '"keep"',
    ),
    Key("near_white", tone, 248, "Greys at or above this level become bare paper.", "248"),
    Key("viewing_distance", size, 700.0, "For the legibility checks.", '"700 mm"'),
    Key("printer_dpi", number, 600.0, "The printer's dots an inch.", "600"),
    Key("passes", count, 2000, "How long to look for fewer sheets, in passes.", "10000"),
    Key("seed", count, 1, "Start of the search; the same seed gives the same sheets.", "1"),
    Key(
        "rows",
        flag,
        False,
        "Prefer sheets that straight cuts from edge to edge can take apart.",
        "true",
    ),
    Key("print_tolerance", size, 0.25, "How far a printed decal may be off.", '"0.25 mm"'),
    Key("currency", text, "", "Name or sign of the money that prices are in.", '"EUR"'),
)

SHEET = (
    Key("name", name, "", "What this kind of sheet is called.", '"plain A4"'),
    Key(
        "size",
        page,
        (210.0, 297.0),
        "A3, A4, A5, Letter, Legal, Tabloid or width x height.",
        '"A4"',
    ),
    Key(
        "stock",
        one_of(*(s.value for s in StockKind)),
        StockKind.PLAIN.value,
        "What the sheet is made of.",
        '"plain paper"',
    ),
    Key(
        "margin",
        distance,
        None,
        "Non-printable margin on all sides (6.35 mm if not given).",
        '"6.35 mm"',
    ),
    Key(
        "printing",
        one_of("inkjet", "laser"),
        "inkjet",
        "What prints it, for the cautions.",
        '"laser"',
    ),
    Key("printer", name, "", "Printer record that corrects these sheets.", '"office laser"'),
    Key("available", count, None, "How many such sheets there are.", "4"),
    Key(
        "gone",
        many(exactly(4, length)),
        (),
        "Used-up areas of the first: left, bottom, width, height from the lower left corner.",
        '[["0 mm", "0 mm", "100 mm", "80 mm"]]',
    ),
    Key(
        "gone_labels",
        many(count),
        (),
        "Labels of the first sheet that are used up, from 1 at the top left, row by row.",
        "[1, 2]",
    ),
    Key("start_at", count, 1, "First unused label of the first sheet, from 1.", "5"),
    Key(
        "transmittance",
        share,
        None,
        "Share of light that the stock passes, measured or from its maker's sheet; not the opacity "
        "on a ream.",
        "0.15",
    ),
    Key("block_out", flag, False, "Whether it is block-out stock, which passes no light.", "true"),
    Key(
        "leftovers",
        flag,
        False,
        "Take a remembered part-used sheet of this stock and size first (see 'decalprep stock').",
        "true",
    ),
    Key("price", number, None, "Price of one sheet, in the job's currency.", "0.45"),
)

GRID = (
    Key("rows", count, 0, "Rows of labels.", "9", required=True),
    Key("columns", count, 0, "Columns of labels.", "3", required=True),
    Key("label_width", size, 0.0, "Width of a label.", '"63.5 mm"', required=True),
    Key("label_height", size, 0.0, "Height of a label.", '"29.6 mm"', required=True),
    Key(
        "left", distance, 0.0, "First label's distance from the left edge.", '"7 mm"', required=True
    ),
    Key(
        "top", distance, 0.0, "First label's distance from the top edge.", '"15 mm"', required=True
    ),
    Key(
        "pitch_x",
        size,
        0.0,
        "From one label's left edge to the next one's.",
        '"66 mm"',
        required=True,
    ),
    Key(
        "pitch_y",
        size,
        0.0,
        "From one label's top edge to the next one's.",
        '"29.6 mm"',
        required=True,
    ),
    Key("corner_radius", distance, 0.0, "Rounding of a label's corners.", '"1.5 mm"'),
)

PANEL = (
    Key(
        "name",
        name,
        "",
        "What the panel is called on sheets and in reports.",
        '"engine"',
        required=True,
    ),
    Key(
        "artwork",
        file,
        "",
        "SVG, PDF, PNG, JPEG, TIFF, WebP, BMP or DXF file beside the job file.",
        '"engine.svg"',
        required=True,
    ),
    Key("page", count, 1, "Page of a PDF.", "1"),
    Key("width", size, None, "True width of the whole drawing page.", '"140 mm"'),
    Key("height", size, None, "True height of the whole drawing page.", '"90 mm"'),
    Key("scale", number, None, "True size over the file's own size, as a ratio.", "1.0"),
    Key(
        "known_distance",
        size,
        None,
        "The true distance between known_points or known_circles; the size follows from it.",
        '"100.4 mm"',
    ),
    Key(
        "known_points",
        exactly(4, coordinate),
        (),
        "x, y, x, y of two points on the drawing page, in points of 1/72 in from the lower left "
        "(a picture: in pixels).",
        "[20.5, 31, 280.2, 31]",
    ),
    Key(
        "known_circles",
        exactly(2, count),
        (),
        "Two circles by the numbers that 'decalprep look' gives them.",
        "[1, 4]",
    ),
    Key(
        "stretch",
        flag,
        False,
        "Whether a width and height of another ratio than the drawing's may stretch it.",
        "true",
    ),
    Key(
        "resample",
        flag,
        False,
        "Whether a picture's pixels are laid on the printer's own grid (printer_dpi of the job).",
        "true",
    ),
    Key("copies", count, 1, "How many of this decal.", "1"),
    Key(
        "show_layers",
        many(text),
        (),
        "Layers to switch on that the file has hidden.",
        '["ground", "legend"]',
    ),
    Key("hide_layers", many(text), (), "Layers that must not be printed.", '["construction"]'),
    Key(
        "outline_from",
        one_of("auto", "layer", "part", "path", "picture", "page"),
        "auto",
        "Where the cut outline comes from; auto tries layer, part, largest path and picture's "
        "edge in turn.",
        '"part"',
    ),
    Key("outline_layer", text, None, "Layer that holds the cut outline.", '"cut"'),
    Key("outline_spot", text, None, "Spot colour that the cut outline is drawn in.", '"cut"'),
    Key(
        "holes_from",
        one_of("auto", "part", "layer", "paths", "none"),
        "auto",
        "Where the holes come from.",
        '"part"',
    ),
    Key("hole_layer", text, None, "Layer that holds the holes.", '"holes"'),
    Key("hole_spot", text, None, "Spot colour that the holes are drawn in.", '"holes"'),
    Key("part", file, None, "The face plate itself: STL, 3MF, OBJ or DXF.", '"plate.stl"'),
    Key(
        "part_face",
        one_of("largest", "top", "bottom", "front", "back", "left", "right"),
        "largest",
        "Which face of the part carries the decal.",
        '"top"',
    ),
    Key(
        "part_unit", one_of("mm", "cm", "in"), "mm", "Unit of an STL, OBJ or unitless DXF.", '"mm"'
    ),
    Key("back_part", file, None, "The back plate, for its own paint masks.", '"back.stl"'),
    Key(
        "back_part_face",
        one_of("largest", "top", "bottom", "front", "back", "left", "right"),
        "largest",
        "Which face of the back plate is meant.",
        '"top"',
    ),
    Key("part_record", name, None, "Record of this part's own size.", '"engine plate 1"'),
    Key("round_corners", distance, 0.0, "Round the outline's corners by this radius.", '"2 mm"'),
    Key("offset", length, 0.0, "Move the outline outward (inward if negative).", '"-0.2 mm"'),
    Key("bleed", distance, 1.0, "How far ink runs past the outline.", '"1 mm"'),
    Key("bleed_into_holes", flag, False, "Whether ink also runs into the holes.", "true"),
    Key("safe_margin", distance, 0.0, "Least distance of legend from edges and holes.", '"1 mm"'),
    Key(
        "turns",
        one_of(*(t.value for t in Turns)),
        Turns.QUARTER.value,
        "How the decal may be turned on the sheet.",
        '"quarter turns"',
    ),
    Key(
        "turn_step",
        turn_step,
        None,
        'With turns = "any angle": only in steps of so many degrees, which must divide 360.',
        "45",
    ),
    Key(
        "sheets", many(name), (), "Kinds of sheet it may go on (all, if not given).", '["plain A4"]'
    ),
    Key(
        "tile",
        flag,
        False,
        "Whether a decal larger than the sheets is made in tiles that overlap.",
        "true",
    ),
    Key("overlap", size, 8.0, "Width of the strip that two tiles share.", '"8 mm"'),
    Key(
        "seam_sway",
        distance,
        0.0,
        "How far a seam of tiles may leave a straight line, round legend or along an edge.",
        '"10 mm"',
    ),
    Key("backlit", flag, False, "Lit from behind: make an underlay and its checks.", "true"),
    Key("trap", distance, 0.4, "How far the underlay steps back from the legend.", '"0.4 mm"'),
    Key(
        "openings",
        one_of("choke", "spread"),
        "choke",
        "Whether the underlay's openings are smaller than the legend by the trap (no light beside "
        "it, thin strokes dark) or larger (all of it lit, light may pass beside it).",
        '"spread"',
    ),
    Key(
        "layer_transmittance",
        share,
        0.1,
        "Share of light that one printed layer of the underlay passes, measured or from the "
        "maker's sheet; not the opacity on a ream.",
        "0.1",
    ),
    Key(
        "target_density", number, 3.0, "Optical density wanted of the underlay's dark field.", "3.0"
    ),
    Key("masks", flag, False, "Make paint masks for the plates.", "true"),
    Key("mask_choke", distance, 0.5, "How far a mask stays inside the plate's edge.", '"0.5 mm"'),
    Key("mask_rim", distance, 1.0, "How far a mask stands back round openings.", '"1 mm"'),
    Key(
        "allow_missing_fonts",
        flag,
        True,
        "Whether a stand-in font is accepted (and named).",
        "false",
    ),
)

HOLE = (
    Key("x", length, 0.0, "Centre, from the left of the drawing page.", '"20 mm"', required=True),
    Key("y", length, 0.0, "Centre, from the bottom of the drawing page.", '"10 mm"', required=True),
    Key("diameter", size, None, "For a hole that no drawing shows.", '"5.2 mm"'),
    Key(
        "kind",
        one_of("screw", "switch", "free", "none"),
        None,
        "What is done with it, if not as its size suggests.",
        '"screw"',
    ),
    Key("label", text, "", "Its name in the reports.", '"LED"'),
)

TABLES: tuple[tuple[str, tuple[Key, ...], str], ...] = (
    ("job", JOB, "What holds for the whole job."),
    ("sheet", SHEET, "A kind of sheet; one [[sheet]] for each, in the order of preference."),
    ("sheet.grid", GRID, "For die-cut stock: where the labels are."),
    ("panel", PANEL, "One panel; one [[panel]] for each."),
    ("panel.hole", HOLE, "A hole the drawing lacks, or another use for the one drawn there."),
)
