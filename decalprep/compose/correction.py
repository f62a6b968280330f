"""The printer's correction as the sheet's one extra map, what it says of itself, and its reach."""

from __future__ import annotations

from collections.abc import Mapping

from decalprep.geometry import Affine, Box
from decalprep.model import Notice, PrinterRecord, Sheet

SLACK_MM = 0.01


def page_from_sheet_for(record: PrinterRecord | None, sheet: Sheet) -> Affine:
    """Page mm from true sheet mm for this printer: the identity where there is no record."""
    if record is None:
        return Affine()
    return record.printed_from_page.inverse().about(sheet.width_mm / 2, sheet.height_mm / 2)


def correction_note(record: PrinterRecord | None, given: Affine | None = None) -> str:
    """The line that tells which correction is in force.

    >>> correction_note(PrinterRecord("desk laser", "plain", scale_x=-0.00123, scale_y=0.0005))
    'corrected for desk laser, plain: x +0.123 %, y −0.050 %, lean 0.000 %'
    """
    if given is not None:
        x, y, lean = given.a - 1, given.d - 1, given.c
        who = "corrected"
    elif record is not None:
        back = record.printed_from_page.inverse()
        x, y, lean = back.a - 1, back.d - 1, back.c
        stock = f", {record.stock}" if record.stock else ""
        who = f"corrected for {record.printer}{stock}"
    else:
        return "no printer correction"
    return f"{who}: x {_percent(x)}, y {_percent(y)}, lean {_percent(lean)}"


def _percent(share: float) -> str:
    value = round(share * 100, 3)
    sign = "+" if value > 0 else "−" if value < 0 else ""
    return f"{sign}{abs(value):.3f} %"


def past_margins(
    areas: Mapping[str, Box], page_from_sheet: Affine, sheet: Sheet, subject: str
) -> list[Notice]:
    """A notice for the sheet if the correction carries content past its printable area."""
    printable = sheet.printable
    worst, who = 0.0, ""
    for name, area in areas.items():
        moved = Box.around(page_from_sheet.apply_all(area.corners))
        past = max(
            printable.x0 - moved.x0,
            printable.y0 - moved.y0,
            moved.x1 - printable.x1,
            moved.y1 - printable.y1,
        )
        if past > worst:
            worst, who = past, name
    if worst <= SLACK_MM:
        return []
    text = f"{who} reaches {worst:.2f} mm past the printable area: the printer may clip it"
    return [Notice("past-margin", text, subject, numbers=(("past_mm", worst),))]
