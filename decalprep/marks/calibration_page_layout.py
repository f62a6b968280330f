"""Where everything lies on a calibration page: sheet mm, origin lower left, y up.

Discs stand on a grid of about 24 x 25 mm about the middle of the sheet. The places between four
discs ('cells') are free: baselines, markers and words stand there, clear of every disc.
No baseline is longer than 290 mm, so that a 300 mm rule reads it.
"""

import math
from collections.abc import Iterator
from dataclasses import dataclass

from decalprep.errors import UsageProblem
from decalprep.geometry import Affine
from decalprep.marks.calibration_page_codes import (
    DESIGN,
    PAGE_KINDS,
    marker_numbers,
    page_digits,
)
from decalprep.model import Baseline, Marker, Sheet, TargetLayout
from decalprep.units import PAGE_SIZES_MM

MARGIN_MM = 15.0
DISC_MM = 5.0
MARKER_MM = 10.5
VERNIER_LINES = 11
VERNIER_PITCH_MM = 0.9
VERNIER_MM = (VERNIER_LINES - 1) * VERNIER_PITCH_MM
LONGEST_MM = 290.0
_INSET_X_MM, _INSET_Y_MM = 21.0, 23.5
_PITCH_X_MM, _PITCH_Y_MM = 24.0, 25.0
_DIAGONAL_IN_MM = 3.0


@dataclass(frozen=True)
class Grid:
    """The disc grid of one page size."""

    columns: int
    rows: int
    x0_mm: float
    y0_mm: float
    pitch_x_mm: float
    pitch_y_mm: float

    @property
    def centre_x_mm(self) -> float:
        """Middle of the page across."""
        return self.x0_mm + self.pitch_x_mm * (self.columns - 1) / 2

    @property
    def centre_y_mm(self) -> float:
        """Middle of the page up and down."""
        return self.y0_mm + self.pitch_y_mm * (self.rows - 1) / 2

    def disc(self, column: float, row: float) -> tuple[float, float]:
        """Middle of a disc; half numbers are the cells between."""
        return self.x0_mm + column * self.pitch_x_mm, self.y0_mm + row * self.pitch_y_mm

    def cell(self, column: int, row: int) -> tuple[float, float]:
        """Middle of a cell; negative numbers count from the far side."""
        c = column % (self.columns - 1)
        r = row % (self.rows - 1)
        return self.disc(c + 0.5, r + 0.5)


def page_kind(sheet: Sheet) -> str:
    """Name of the page size, found by measure (to 0.6 mm), whatever the sheet is called.

    Raises:
        UsageProblem: no calibration page is drawn for this size, or it lies on its side.
    """
    for name in PAGE_KINDS:
        width, height = PAGE_SIZES_MM[name]
        if abs(sheet.width_mm - width) <= 0.6 and abs(sheet.height_mm - height) <= 0.6:
            return name
        if abs(sheet.width_mm - height) <= 0.6 and abs(sheet.height_mm - width) <= 0.6:
            raise UsageProblem(
                f"the sheet {sheet.name} lies on its side ({sheet.width_mm:g} x "
                f"{sheet.height_mm:g} mm)",
                do="calibrate upright: a printer turns the page itself, its errors stay the same",
            )
    raise UsageProblem(
        f"no calibration page for a sheet of {sheet.width_mm:g} x {sheet.height_mm:g} mm",
        do="use one of " + ", ".join(PAGE_KINDS),
    )


def grid_of(width_mm: float, height_mm: float) -> Grid:
    """The disc grid for a page."""
    across, up = width_mm - 2 * _INSET_X_MM, height_mm - 2 * _INSET_Y_MM
    nx, ny = round(across / _PITCH_X_MM), round(up / _PITCH_Y_MM)
    return Grid(nx + 1, ny + 1, _INSET_X_MM, _INSET_Y_MM, across / nx, up / ny)


def target_layout(sheet: Sheet, *, record_name: str, correction: Affine) -> TargetLayout:
    """Places of all targets on the calibration page for ``sheet``, in true mm.

    Raises:
        UsageProblem: no page of this size is drawn.

    >>> layout = target_layout(Sheet("A4", 210, 297), record_name="", correction=Affine())
    >>> len(layout.discs), [round(b.length_mm, 1) for b in layout.baselines]
    (88, [170.0, 170.0, 255.0, 255.0, 277.3, 277.3])
    """
    page = page_kind(sheet)
    width, height = PAGE_SIZES_MM[page]
    numbers = marker_numbers(page, DESIGN, page_digits(record_name, correction))
    return _layout(page, width, height, numbers)


def known_layout(
    page: str, design: int, digits: tuple[int, int, int, int] | None
) -> TargetLayout | None:
    """The layout that a scanned page names; None for a design that this version does not know."""
    if design != DESIGN or page not in PAGE_KINDS:
        return None
    width, height = PAGE_SIZES_MM[page]
    return _layout(page, width, height, marker_numbers(page, design, digits or (0, 0, 0, 0)))


def _layout(page: str, width: float, height: float, numbers: tuple[int, ...]) -> TargetLayout:
    grid = grid_of(width, height)
    places = [(r, grid.disc(c, r)) for r in range(grid.rows) for c in range(grid.columns)]
    return TargetLayout(
        page,
        width,
        height,
        DESIGN,
        tuple(place for _, place in places),
        tuple(row for row, _ in places),
        DISC_MM,
        tuple(_markers(grid, numbers)),
        (*_straight(grid, width, height), *_diagonals(grid)),
    )


def marker_cells(grid: Grid) -> list[tuple[int, int]]:
    """Cells of the six markers: left and right of the words, near the top, middle and bottom."""
    left, right = 1, grid.columns - 3
    low, high = 2, grid.rows - 4
    middle = (low + high) // 2
    return [(left, high), (right, high), (left, middle), (right, middle), (left, low), (right, low)]


def _markers(grid: Grid, numbers: tuple[int, ...]) -> Iterator[Marker]:
    for place, (column, row) in enumerate(marker_cells(grid)):
        x, y = grid.cell(column, row)
        yield Marker(place, numbers[place], x, y, MARKER_MM)


def _straight(grid: Grid, width: float, height: float) -> Iterator[Baseline]:
    across = min(5 * math.floor((width - 2 * MARGIN_MM - 10) / 5), LONGEST_MM)
    up = min(5 * math.floor((height - 2 * MARGIN_MM - 10) / 5), LONGEST_MM)
    x0 = (width - across - VERNIER_MM) / 2
    y0 = (height - up - VERNIER_MM) / 2
    for number, row in (("1", -2), ("2", 1)):
        y = grid.cell(0, row)[1]
        yield Baseline(
            f"across{number}",
            (x0, y),
            (x0 + across, y),
            "left edge of the left 0 line to left edge of the right 0 line",
            "rule below the line, its graduated edge on the line",
        )
    # Lines cut short by the rule end in the rows of the across lines: keep out of their way.
    inward = 2 if y0 + VERNIER_MM + 10 > grid.cell(0, 1)[1] else 0
    for number, column in (("1", inward), ("2", -1 - inward)):
        x = grid.cell(column, 0)[0]
        yield Baseline(
            f"down{number}",
            (x, y0),
            (x, y0 + up),
            "lower edge of the lower 0 line to lower edge of the upper 0 line",
            "rule to the right of the line, its graduated edge on the line",
        )


def _diagonals(grid: Grid) -> Iterator[Baseline]:
    left, low = _diagonal_start(grid)
    right, high = 2 * grid.centre_x_mm - left, 2 * grid.centre_y_mm - low
    for name, first, last, side in (
        ("diag1", (left, low), (right, high), "left"),
        ("diag2", (right, low), (left, high), "right"),
    ):
        length = math.dist(first, last)
        ux, uy = (last[0] - first[0]) / length, (last[1] - first[1]) / length
        # The vernier, not its index line, stands in the middle of the free place.
        back = VERNIER_MM / 2 + 1
        yield Baseline(
            name,
            (first[0] - back * ux, first[1] - back * uy),
            (last[0] - back * ux, last[1] - back * uy),
            # The edge that faces the start: ink spread is the same at both ends.
            f"lower {side} edge of the lower 0 line to lower {side} edge of the upper 0 line",
            "rule below the line, its graduated edge on the line",
        )


def _diagonal_start(grid: Grid) -> tuple[float, float]:
    """Where the diagonals start: the place that shows skew best within a 300 mm rule.

    Skew shows as dx dy / length. Places are cells, and the gaps in the outermost disc column.
    """
    # Markers stand there, and the ends of the across lines (row 1) and down lines.
    taken = set(marker_cells(grid))
    best, found = 0.0, grid.cell(0, 0)
    for i in range(-1, (grid.columns - 1) // 2):
        for j in range((grid.rows - 1) // 2):
            x, y = grid.cell(max(i, 0), j)
            if i < 0:
                x = grid.x0_mm + _DIAGONAL_IN_MM
            dx, dy = 2 * (grid.centre_x_mm - x), 2 * (grid.centre_y_mm - y)
            length = math.hypot(dx, dy)
            free = (i, j) not in taken and not (i <= 0 and j == 1) and length <= LONGEST_MM
            if free and best < dx * dy / length:
                best, found = dx * dy / length, (x, y)
    return found
