"""From a printer record to the affine that a sheet is written with, and what it leaves."""

import math
from dataclasses import dataclass

from decalprep.geometry import Affine
from decalprep.model import PrinterRecord, Sheet


def correction_for(
    record: PrinterRecord | None, sheet: Sheet, *, with_offset: bool = False
) -> Affine:
    """``page_from_sheet`` in mm: the exact inverse of the printer's error about the sheet's centre.

    The offset is undone only when asked for (die-cut stock needs it; a shift harms nothing else).
    Without a record it is the identity.

    >>> sheet = Sheet("A4", 210, 297)
    >>> correction_for(PrinterRecord("p", "s", scale_x=0.25), sheet).apply(205, 148.5)
    (185.0, 148.5)
    """
    if record is None:
        return Affine()
    printed = record.printed_from_page.about(sheet.width_mm / 2, sheet.height_mm / 2)
    if with_offset:
        printed = Affine.translation(record.offset_x_mm, record.offset_y_mm) @ printed
    return printed.inverse()


@dataclass(frozen=True)
class ErrorOver:
    """What to expect of one corrected panel, in mm, 95 % (coverage factor 2).

    ``mean_*`` comes from what is not known of the printer, ``sheet_*`` from sheets differing,
    ``rule_*`` from the user's rule (absent where part and print are measured with the same rule).
    """

    mean_x_mm: float
    mean_y_mm: float
    sheet_x_mm: float
    sheet_y_mm: float
    rule_x_mm: float
    rule_y_mm: float
    skew_mm: float

    @property
    def x_mm(self) -> float:
        """All of it across."""
        return math.hypot(self.mean_x_mm, self.sheet_x_mm, self.rule_x_mm)

    @property
    def y_mm(self) -> float:
        """All of it up and down."""
        return math.hypot(self.mean_y_mm, self.sheet_y_mm, self.rule_y_mm)


def expected_error(
    record: PrinterRecord, width_mm: float, height_mm: float, *, same_rule: bool = False
) -> ErrorOver:
    """Size error in mm (95 %) to expect over a panel printed with the record's correction.

    ``same_rule``: the part was measured with the rule that measured the calibration page, so the
    rule's own error falls on both and cancels.
    """
    rule = 0.0 if same_rule else record.u_rule
    return ErrorOver(
        2 * record.u_scale_x * width_mm,
        2 * record.u_scale_y * height_mm,
        2 * record.scatter_scale_x * width_mm,
        2 * record.scatter_scale_y * height_mm,
        2 * rule * width_mm,
        2 * rule * height_mm,
        2 * math.hypot(record.u_skew, record.scatter_skew) * height_mm,
    )


def mean_scale_uncertainty(record: PrinterRecord) -> float:
    """Standard uncertainty (parts of one) of the mean scale of one corrected sheet.

    What is not known of the printer's mean, and how far one sheet lies from it; relative to the
    user's rule.
    """
    squares = (
        record.u_scale_x**2
        + record.u_scale_y**2
        + record.scatter_scale_x**2
        + record.scatter_scale_y**2
    )
    return math.sqrt(squares) / 2
