"""A printer's record told: its pages, how it drifts and scatters, what is left to gain."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence

from decalprep.calibration import Estimate, Gain, correction_for, expected_error, gain_of
from decalprep.jobs.calibrate import page_sheet
from decalprep.marks.calibration_page_codes import page_code, page_digits
from decalprep.model import PrinterRecord

ACROSS_MM, UP_MM = 200.0, 250.0
_OVER = (("scale_x", "across", ACROSS_MM), ("scale_y", "up", UP_MM), ("skew", "lean", UP_MM))


def show_lines(record: PrinterRecord, size: str = "A4") -> list[str]:
    """All that a record knows, every number with its uncertainty, in mm over 200 x 250 mm."""
    title = record_title(record)
    lines = [title, ""]
    if record.weight_sheets <= 0:
        lines.append("Not measured yet; print a page with 'decalprep calibrate page'.")
        return lines
    lines += _values(record)
    lines += ["", *_history(record)]
    lines += ["", *_drift(record)]
    gain = last_gain(record)
    if gain is not None:
        lines += ["", f"Last page: {gain.text}"]
    sheet = page_sheet(size)
    code = page_code(page_digits(title, correction_for(record, sheet)))
    lines += ["", f"A calibration page ({sheet.name}) printed with this record bears {code}."]
    return lines


def record_title(record: PrinterRecord) -> str:
    """Printer, stock, tray and quality as far as they are said."""
    said = (record.printer, record.stock, record.tray, record.quality)
    return " / ".join(part for part in said if part)


def _values(record: PrinterRecord) -> list[str]:
    lines = ["The printer's own error, corrected on sheets (95 %, relative to your rule):"]
    for name, word, over in _OVER:
        value, u = getattr(record, name), getattr(record, f"u_{name}")
        lines.append(
            f"  {word:<7}{value * over:+.2f} mm over {over:.0f} mm, give or take "
            f"{2 * u * over:.2f}; one sheet scatters by {2 * _scatter(record, name) * over:.2f}"
        )
    error = expected_error(record, ACROSS_MM, UP_MM, same_rule=True)
    lines.append(
        f"Corrected sheets should come out within {error.x_mm:.2f} mm across and {error.y_mm:.2f} "
        f"mm up; the rule itself may add {2 * record.u_rule * UP_MM:.2f} mm over {UP_MM:.0f} mm."
    )
    if record.margins is not None:
        m = record.margins
        lines.append(
            f"It prints to {m.left_mm:g} / {m.bottom_mm:g} / {m.right_mm:g} / {m.top_mm:g} mm from "
            "the left, bottom, right and top edge."
        )
    if record.offset_x_mm or record.offset_y_mm:
        lines.append(
            f"The picture lies {record.offset_x_mm:+.2f} mm across and {record.offset_y_mm:+.2f} "
            "mm up on the paper, give or take half a millimetre (assumed)."
        )
    return lines


def _scatter(record: PrinterRecord, name: str) -> float:
    return float(getattr(record, f"scatter_{name}"))


def _history(record: PrinterRecord) -> list[str]:
    """One line a page, oldest first: what it said of the printer."""
    head = f"  {'measured on':<12} {'by':<14} {'across mm':>15} {'up mm':>15} {'lean mm':>15}"
    lines = ["Pages, oldest first:", head]
    for entry in record.history:
        row = dict(entry)
        cells = []
        for name, _, over in _OVER:
            value, u = _number(row, name), _number(row, f"u_{name}")
            cells.append(f"{value * over:+.2f} +/- {2 * u * over:.2f}")
        lines.append(
            f"  {row.get('measured_on', ''):<12} {row.get('method', ''):<14} "
            + " ".join(f"{cell:>15}" for cell in cells)
        )
        if row.get("restart") == "yes":
            lines.append("    the printer had changed: the pages before are not used any more")
    return lines


def _drift(record: PrinterRecord) -> list[str]:
    """First against last page in use, judged against what a page can tell."""
    rows = counted(record)
    if len(rows) < 2:
        return ["Drift and scatter show from the second page on."]
    first, last = rows[0], rows[-1]
    words = []
    for name, word, over in _OVER:
        change = (_number(last, name) - _number(first, name)) * over
        spread = _scatter(record, name)
        u = math.hypot(_number(first, f"u_{name}"), _number(last, f"u_{name}"), spread, spread)
        seen = "" if abs(change) > 2 * u * over else " (not more than chance)"
        words.append(f"{word} {change:+.2f} mm, give or take {2 * u * over:.2f}{seen}")
    return [
        f"From {first.get('measured_on', '')} to {last.get('measured_on', '')}: "
        + "; ".join(words)
        + "."
    ]


def counted(record: PrinterRecord) -> list[dict[str, str]]:
    """The pages of the history that still count, oldest first."""
    rows = [dict(entry) for entry in record.history]
    starts = [k for k, row in enumerate(rows) if row.get("restart") == "yes"]
    return rows[starts[-1] :] if starts else rows


def last_gain(record: PrinterRecord) -> Gain | None:
    """Whether what the last page left is more than could be measured on it; None without one."""
    rows: Sequence[Mapping[str, str]] = counted(record)
    if not rows or "left_scale_x" not in rows[-1]:
        return None
    row = rows[-1]
    left = [_number(row, f"left_{name}") for name, _, _ in _OVER]
    u = [_number(row, f"u_{name}") ** 2 for name, _, _ in _OVER]
    covariance = ((u[0], 0.0, 0.0), (0.0, u[1], 0.0), (0.0, 0.0, u[2]))
    return gain_of(Estimate(left[0], left[1], left[2], covariance, 10.0, 0.0, 0.0))


def _number(row: Mapping[str, str], name: str) -> float:
    return float(row.get(name, "0"))
