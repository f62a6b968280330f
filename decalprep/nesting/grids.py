"""Die-cut label sheets: where the labels lie, whether the numbers close, a few plain examples.

A grid is given from the sheet's top left, as it is measured with a rule; boxes come out in the
sheet frame (origin lower left, y up). Labels are numbered from 1, row by row from the top left.
Closure: first offset + last pitch + label + the far margin must give the sheet, each way;
for instance 0.1875 + 2 x 2.75 + 2.625 + 0.1875 = 8.5 in and 0.5 + 9 x 1 + 1 + 0.5 = 11 in.
"""

from __future__ import annotations

from dataclasses import replace

from shapely.geometry import Polygon, box

from decalprep.geometry import Box
from decalprep.model import DieCutGrid, Notice, Severity, Sheet, StockKind
from decalprep.units import format_mm, page_size_mm

CLOSE_MM = 0.3
"""How far opposite margins may differ before it is told: what a careful rule reading leaves."""


def label_boxes(sheet: Sheet) -> tuple[Box, ...]:
    """Every label's box in mm, in label order; empty where the sheet has no grid."""
    grid = sheet.grid
    if grid is None:
        return ()
    boxes = []
    for row in range(grid.rows):
        top = sheet.height_mm - grid.first_top_mm - row * grid.pitch_y_mm
        for column in range(grid.columns):
            left = grid.first_left_mm + column * grid.pitch_x_mm
            boxes.append(Box(left, top - grid.label_height_mm, left + grid.label_width_mm, top))
    return tuple(boxes)


def label_polygon(label: Box, corner_radius_mm: float, inset_mm: float) -> Polygon:
    """A label with its rounded corners, made smaller by ``inset_mm`` all round."""
    r = min(corner_radius_mm, label.width / 2, label.height / 2)
    shape = box(label.x0 + r, label.y0 + r, label.x1 - r, label.y1 - r)
    return (
        shape.buffer(r, quad_segs=32).buffer(-inset_mm, quad_segs=32)
        if r > 0
        else shape.buffer(-inset_mm, join_style="mitre")
    )


def start_at(sheet: Sheet, label: int) -> Sheet:
    """The sheet with every label before ``label`` (1-based) marked as gone."""
    return replace(sheet, gone_labels=tuple(sorted({*sheet.gone_labels, *range(1, label)})))


def _one_way(
    axis: str, offset: float, pitch: float, label: float, count: int, size: float, name: str
) -> list[Notice]:
    span = offset + (count - 1) * pitch + label
    far = size - span
    where = ("left", "right") if axis == "across" else ("top", "bottom")
    numbers = (("span_mm", span), ("sheet_mm", size), ("far_margin_mm", far))
    found = []
    if count > 1 and pitch < label - 1e-9:
        text = (
            f"labels overlap {axis}: the pitch {format_mm(pitch)} is less than the label "
            f"{format_mm(label)}; measure the pitch from edge to same edge of the next label"
        )
        found.append(Notice("grid-labels-overlap", text, name, Severity.DANGER, numbers=numbers))
    if far < -CLOSE_MM:
        text = (
            f"the labels end {format_mm(-far)} beyond the sheet {axis}: {format_mm(offset)} + "
            f"{count - 1} x {format_mm(pitch)} + {format_mm(label)} = {format_mm(span)}, the sheet "
            f"is {format_mm(size)}; check the {where[0]} offset and the pitch"
        )
        found.append(Notice("grid-beyond-sheet", text, name, Severity.DANGER, numbers=numbers))
    elif abs(far - offset) > CLOSE_MM:
        text = (
            f"the {where[0]} margin is {format_mm(offset)} but {format_mm(far)} is left at the "
            f"{where[1]}: most sheets are symmetric, so check the {where[0]} offset; an error that "
            f"grows from label to label is a wrong pitch, one that stays is a wrong offset"
        )
        found.append(Notice("grid-not-symmetric", text, name, numbers=numbers))
    return found


def check_grid(sheet: Sheet) -> tuple[Notice, ...]:
    """What does not close in a die-cut sheet's numbers; empty when all is well.

    Does not know the real sheet: print on plain paper and hold it against a label sheet first.
    """
    grid = sheet.grid
    if grid is None:
        return ()
    across = _one_way(
        "across",
        grid.first_left_mm,
        grid.pitch_x_mm,
        grid.label_width_mm,
        grid.columns,
        sheet.width_mm,
        sheet.name,
    )
    down = _one_way(
        "down",
        grid.first_top_mm,
        grid.pitch_y_mm,
        grid.label_height_mm,
        grid.rows,
        sheet.height_mm,
        sheet.name,
    )
    gone = [n for n in sheet.gone_labels if not 1 <= n <= grid.rows * grid.columns]
    unknown = [
        Notice(
            "grid-no-such-label",
            f"label {n} is marked as gone, but there are {grid.rows * grid.columns} labels",
            sheet.name,
        )
        for n in gone
    ]
    return (*across, *down, *unknown)


def even_grid(
    page: str, rows: int, columns: int, label_mm: tuple[float, float], corner_radius_mm: float = 0.0
) -> Sheet:
    """A die-cut sheet with its labels spread evenly, edge margins and gaps alike each way.

    >>> even_grid("A4", 2, 1, (199.0, 143.5)).grid.first_left_mm
    5.5
    """
    width, height = page_size_mm(page)
    gap_x = (width - columns * label_mm[0]) / (columns + 1)
    gap_y = (height - rows * label_mm[1]) / (rows + 1)
    grid = DieCutGrid(
        rows,
        columns,
        *label_mm,
        gap_x,
        gap_y,
        label_mm[0] + gap_x,
        label_mm[1] + gap_y,
        corner_radius_mm,
    )
    name = f"{page} with {rows} x {columns} labels"
    return Sheet(name, width, height, stock=StockKind.DIE_CUT, grid=grid)


def example_grids() -> tuple[Sheet, ...]:
    """A few generic die-cut sheets to start from; measure your own and change the numbers."""
    return (
        even_grid("A4", 2, 1, (199.0, 143.5)),
        even_grid("A4", 4, 2, (98.0, 67.0), 2.0),
        even_grid("A4", 8, 3, (64.0, 34.0), 2.0),
        even_grid("Letter", 3, 2, (101.6, 84.0), 3.0),
        Sheet(
            "Letter with 10 x 3 labels",
            *page_size_mm("Letter"),
            stock=StockKind.DIE_CUT,
            grid=DieCutGrid(10, 3, 66.675, 25.4, 4.7625, 12.7, 69.85, 25.4),
        ),
    )
