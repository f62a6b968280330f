"""The job file's keys: one table of what may be written, from which it is read and explained.

Each key has a kind (``jobs/kinds.py``).
"""

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

from decalprep.jobs.kinds import (
    coordinate,
    count,
    distance,
    exactly,
    file,
    flag,
    length,
    many,
    name,
    number,
    one_of,
    page,
    share,
    size,
    text,
    tone,
    turn_step,
)
from decalprep.model import StockKind, Turns


@dataclass(frozen=True)
class Key:
    """One key of a table: how it is read, what it is when left out, and one line of help."""

    name: str
    kind: Callable[[Any], Any]
    default: Any
    help: str
    example: str
    required: bool = False


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
