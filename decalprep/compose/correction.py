"""What the printer's correction says of itself on the sheet, and how far it reaches."""

from __future__ import annotations

from collections.abc import Mapping

from decalprep.geometry import Affine, Box
from decalprep.model import Notice, PrinterRecord, Sheet

SLACK_MM = 0.01


def correction_note(
    record: PrinterRecord | None, given: Affine | None = None, *, with_offset: bool = False
) -> str:
    """The line that tells which correction is in force; ``given`` stands in for the record's.

    The numbers come first: a long printer's name may be cut off, they may not.

    >>> correction_note(PrinterRecord("desk laser", "plain", scale_x=-0.00123, scale_y=0.0005))
    'corrected x +0.123 %, y −0.050 %, lean 0.000 % for desk laser, plain'
    """
    who, shift = "", ""
    if given is not None:
        back = given
    elif record is not None:
        back = record.printed_from_page.inverse()
        who = f" for {record.printer}" + (f", {record.stock}" if record.stock else "")
        if with_offset:
            move = (-record.offset_x_mm, -record.offset_y_mm)
            shift = f", shift {_signed(move[0], 2)} {_signed(move[1], 2)} mm"
    else:
        return "no printer correction"
    x, y, lean = (_percent(share) for share in (back.a - 1, back.d - 1, back.c))
    return f"corrected x {x}, y {y}, lean {lean}{shift}{who}"


def _signed(value: float, places: int) -> str:
    value = round(value, places)
    sign = "+" if value > 0 else "−" if value < 0 else ""
    return f"{sign}{abs(value):.{places}f}"


def _percent(share: float) -> str:
    return f"{_signed(share * 100, 3)} %"


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
