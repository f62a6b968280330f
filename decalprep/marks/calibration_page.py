"""The calibration page: discs for a scanner, baselines with verniers for a rule, and its identity.

Vernier (P. Vernier 1631; common practice): eleven lines 0.9 mm apart. Lay a millimetre rule along
the baseline; the whole millimetres are those just before line 0, the tenths are the number of the
vernier line that best meets a line of the rule.
"""

from collections.abc import Iterator

from decalprep.geometry import Affine, circle_path
from decalprep.marks.calibration_page_codes import marker_mark, page_code, page_digits
from decalprep.marks.calibration_page_layout import Grid, grid_of, target_layout
from decalprep.marks.calibration_page_parts import (
    baseline_items,
    check_bar,
    feed_arrow,
    ladder,
    paragraph,
    words,
)
from decalprep.marks.letters import fitted_text, printable_text
from decalprep.model import Drawing, FillMark, Item, Layer, Sheet, TargetLayout

_HOW_TO_READ = (
    "Lay a steel rule along a line, its graduated edge on the line, its 0 towards the",
    "start (left, or bottom). Read both ends. Whole mm: the last mm mark before line 0.",
    "Tenths: the number (0 to 10) of the printed line that best meets a mm mark.",
    "Length = far reading - near reading. Always the same edge of both 0 lines.",
)
_WHICH_EDGE = (
    "across: LEFT edge to LEFT edge, rule below the line",
    "down: LOWER edge to LOWER edge, rule right of the line",
    "diag1: LOWER LEFT edge to LOWER LEFT edge, rule below",
    "diag2: LOWER RIGHT edge to LOWER RIGHT edge, rule below",
)
_ENTER = (
    "Read across1, across2, down1, down2 once each, diag1 and diag2 twice each,",
    "when the sheet has cooled and dried and lies flat. Enter all eight in one line:",
    "across1=... across2=... down1=... down2=... diag1=... diag1=... diag2=... diag2=...",
)
_LADDERS = (
    "Edge ladders: the smallest number whose line is whole is",
    "the margin the printer leaves: margin_left=4 and so on.",
    "Offset: measure from each paper edge to the thick line",
    "10 of its ladder: edge_left=10.4 and so on.",
)


def calibration_page(
    sheet: Sheet, *, record_name: str, correction: Affine | None = None, note: str = ""
) -> Drawing:
    """The calibration page for a sheet as a drawing list in true mm, with the correction set.

    ``correction`` is the ``page_from_sheet`` in force (none: the printer as it is); it is stamped
    on the page, and with ``record_name`` it makes the page code, so that a page is never entered
    against the wrong correction. Does not look at the sheet's margins: targets keep 15 mm clear,
    the edge ladders run off the printable area on purpose.

    Raises:
        UsageProblem: no calibration page of this size is drawn.
    """
    used = correction or Affine()
    layout = target_layout(sheet, record_name=record_name, correction=used)
    grid = grid_of(layout.width_mm, layout.height_mm)
    items = [
        *target_items(layout),
        *_words(layout, grid),
        *_identity(layout, grid, record_name, used, note),
    ]
    return Drawing(sheet, tuple(items), used, f"Calibration page {layout.page} {record_name}")


def target_items(layout: TargetLayout) -> Iterator[Item]:
    """Discs, markers, baselines and ladders."""
    for x, y in layout.discs:
        yield FillMark(Layer.TARGET, (circle_path(x, y, layout.disc_diameter_mm),))
    for marker in layout.markers:
        yield marker_mark(marker)
    for baseline in layout.baselines:
        yield from baseline_items(baseline)
    for edge in ("left", "bottom", "right", "top"):
        yield from ladder(edge, layout.width_mm, layout.height_mm)


def _words(layout: TargetLayout, grid: Grid) -> Iterator[Item]:
    middle = layout.width_mm / 2
    top_y = grid.cell(0, -1)[1]
    yield words("PRINT AT ACTUAL SIZE", (middle, top_y + 1.5), 5.0)
    yield words("NO FITTING - 100 % - PLAIN DRIVER SETTINGS", (middle, top_y - 5.0), 3.0)
    low, high = 2, grid.rows - 4
    centre = (low + high) // 2
    free = [r for r in range(low + 1, high) if r != centre]
    rows = (high, free[-1], free[-2], low)
    for row, block in zip(rows, (_WHICH_EDGE, _HOW_TO_READ, _ENTER, _LADDERS), strict=True):
        size = 1.6 if row in (high, low) else 1.8
        yield from paragraph(block, (middle, grid.cell(0, row)[1]), size)
    arrow_y = grid.cell(0, centre)[1]
    yield from feed_arrow((middle, arrow_y - 3))
    yield words("this end into the printer first,", (middle, arrow_y - 5.6), 1.6)
    yield words("on every sheet the same way", (middle, arrow_y - 8.2), 1.6)
    for number in (1, 2):
        baseline = next(b for b in layout.baselines if b.name == f"across{number}")
        at = (middle, baseline.start[1] - 0.8)
        yield words("across: rule below, LEFT edge of 0 to LEFT edge of 0", at, 1.6)


def _identity(
    layout: TargetLayout, grid: Grid, record_name: str, correction: Affine, note: str
) -> Iterator[Item]:
    middle = layout.width_mm / 2
    bottom_y = grid.cell(0, 0)[1]
    yield from check_bar((middle, bottom_y + 2.5))
    code = page_code(page_digits(record_name, correction))
    yield words(stamp(correction), (middle, bottom_y - 2.5), 2.0)
    page = f"page {layout.page}, design {layout.design}, code {code}"
    wide = grid.pitch_x_mm * (grid.columns - 3)
    name, _ = printable_text(f"{page}, record: {record_name or 'none'}")
    # Smaller before it is cut short: the name matters, the hint is only for the curious.
    hinted = f"{name}; the squares tell a scanner the same"
    choices = ((hinted, 2.0), (hinted, 1.6), (name, 2.0), (name, 1.6))
    fits = (c for c in choices if fitted_text(c[0], c[1], wide) == c[0])
    text, size_mm = next(fits, choices[-1])
    yield words(fitted_text(text, size_mm, wide), (middle, bottom_y - 6.0), size_mm)
    if note:
        yield words(fitted_text(printable_text(note)[0], 1.8, wide), (middle, bottom_y - 9.2), 1.8)


def stamp(correction: Affine) -> str:
    """The correction in force in words.

    >>> stamp(Affine())
    'correction in force: none'
    """
    if max(abs(v) for v in (correction.a - 1, correction.b, correction.c, correction.d - 1)) < 1e-9:
        return "correction in force: none"
    return (
        f"correction in force: across x {correction.a:.6f}, down x {correction.d:.6f}, "
        f"skew {correction.c:+.6f}"
    )
