"""Calibrating a printer: the page to print, and what was read from it into the printer's record."""

from __future__ import annotations

import difflib
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from decalprep.calibration import (
    Estimate,
    Updated,
    correction_for,
    earlier_states,
    estimate_printer,
    expected_error,
    parse_readings,
    update_record,
    without_last,
)
from decalprep.errors import UsageProblem
from decalprep.geometry import Affine
from decalprep.marks.calibration_page import calibration_page
from decalprep.marks.calibration_page_codes import page_code, page_digits
from decalprep.marks.calibration_page_layout import target_layout
from decalprep.model import PrinterRecord, Sheet, TargetLayout
from decalprep.records import list_printers, load_printer, printer_file, update_printer
from decalprep.units import page_size_mm


@dataclass(frozen=True)
class PrinterKey:
    """Which printer, with which stock, tray and quality."""

    printer: str
    stock: str = "plain paper"
    tray: str = ""
    quality: str = ""

    @property
    def title(self) -> str:
        """The parts that are said, with slashes."""
        return " / ".join(p for p in (self.printer, self.stock, self.tray, self.quality) if p)

    def record(self, folder: Path) -> PrinterRecord:
        """The record there is, or an empty one."""
        path = printer_file(folder, self.printer, self.stock, self.tray, self.quality)
        if path.exists():
            return load_printer(path)
        return PrinterRecord(self.printer, self.stock, self.tray, self.quality)


@dataclass(frozen=True)
class Entered:
    """What one set of readings did: the estimate, the new record, and lines to tell."""

    estimate: Estimate
    updated: Updated
    lines: tuple[str, ...]


def page_sheet(size: str) -> Sheet:
    """The sheet of a calibration page by the name of its size.

    Raises:
        UsageProblem: not a known size.
    """
    width, height = page_size_mm(size)
    return Sheet(size, width, height)


def page_pdf(key: PrinterKey, size: str, folder: Path, *, uncorrected: bool = False) -> bytes:
    """The calibration page as a PDF, printed with the correction that the record holds so far.

    Raises:
        UsageProblem: no page of this size is drawn.
    """
    from decalprep.export import PdfSettings, write_pdf

    sheet = page_sheet(size)
    correction = Affine() if uncorrected else correction_for(key.record(folder), sheet)
    drawing = calibration_page(sheet, record_name=key.title, correction=correction)
    return write_pdf([drawing], PdfSettings(title=f"Calibration page: {key.title}"))


def layout_for(key: PrinterKey, size: str) -> TargetLayout:
    """Where the lines of the page lie; the same for every correction."""
    return target_layout(page_sheet(size), record_name=key.title, correction=Affine())


def rule_pictures(key: PrinterKey, size: str, *, dpi: float = 40.0) -> bytes:
    """One PNG of small pictures of the page, one a line, that show where to lay the rule."""
    import io

    from PIL import Image

    from decalprep.export import PdfSettings, preview_png, write_pdf
    from decalprep.marks.calibration_page_prompt import rule_picture

    layout = layout_for(key, size)
    drawings = [rule_picture(layout, b.name) for b in layout.baselines]
    pdf = write_pdf(drawings, PdfSettings(title="Where to lay the rule"))
    small = [Image.open(io.BytesIO(preview_png(pdf, k, dpi))) for k in range(len(drawings))]
    wide, high = small[0].size
    columns, gap = 3, 12
    rows = -(-len(small) // columns)
    sheet = Image.new(
        "RGB", (columns * (wide + gap) + gap, rows * (high + gap) + gap), (150, 150, 150)
    )
    for k, picture in enumerate(small):
        at = (gap + k % columns * (wide + gap), gap + k // columns * (high + gap))
        sheet.paste(picture.convert("RGB"), at)
    out = io.BytesIO()
    sheet.save(out, "PNG")
    return out.getvalue()


def enter_readings(
    key: PrinterKey,
    size: str,
    text: str,
    folder: Path,
    *,
    measured_on: str,
    accept: frozenset[str] = frozenset(),
    instead: bool = False,
) -> Entered:
    """The record with one more measured page in it, saved; all or nothing.

    ``instead`` takes back the page that was entered last.

    Raises:
        UsageProblem: the readings cannot be taken apart, or the page's code fits no correction.
        ReadingsRefused: they cannot be believed.
    """
    layout = layout_for(key, size)
    readings = parse_readings(text, layout.baselines)
    estimate = estimate_printer(readings, layout, accept=accept)
    updated = learned(
        key,
        page_sheet(size),
        estimate,
        folder,
        code=readings.code,
        measured_on=measured_on,
        instead=instead,
    )
    return Entered(estimate, updated, tuple(told(estimate, updated)))


def learned(
    key: PrinterKey,
    sheet: Sheet,
    estimate: Estimate,
    folder: Path,
    *,
    code: str,
    measured_on: str,
    instead: bool = False,
) -> Updated:
    """The record with one more page in it, saved under the folder's lock; all or nothing.

    Raises:
        UsageProblem: the page's code fits no correction, or the date is not one.
    """
    results: list[Updated] = []

    def change(record: PrinterRecord) -> PrinterRecord:
        record = without_last(record) if instead else record
        correction = correction_printed_with(record, key, code, sheet)
        results.append(update_record(record, estimate, correction, measured_on=measured_on))
        return results[-1].record

    update_printer(folder, PrinterRecord(key.printer, key.stock, key.tray, key.quality), change)
    return results[-1]


def correction_printed_with(
    record: PrinterRecord, key: PrinterKey, code: str, sheet: Sheet
) -> Affine:
    """The correction that the measured page was printed with, known by its printed code.

    Raises:
        UsageProblem: the code fits none, or is needed and was not given.
    """
    if code:
        for candidate in corrections_known(record, sheet):
            if page_code(page_digits(key.title, candidate)) == code:
                return candidate
        raise UsageProblem(
            f"the page code {code} is not of a page for {key.title} that is known here",
            do="check the code, printer, stock, tray and quality, or print a new page",
        )
    if record.weight_sheets <= 0:
        return Affine()
    raise UsageProblem(
        "this printer has a correction already, so it must be known which one was on the page",
        do="add the code printed on the page to the readings, as in code=1A2B3",
    )


def corrections_known(record: PrinterRecord, sheet: Sheet) -> list[Affine]:
    """What a page for this record may have been printed with: the newest first.

    Every correction that was ever in force counts: several pages may have been printed before the
    first of them is entered, and that one changes the record.
    """
    found = [*(correction_for(r, sheet) for r in earlier_states(record)), Affine()]
    for entry in record.history:
        row = dict(entry)
        if all(name in row for name in ("used_a", "used_c", "used_d")):
            found.append(
                Affine(a=float(row["used_a"]), c=float(row["used_c"]), d=float(row["used_d"]))
            )
    return found


def like_names(key: PrinterKey, folder: Path) -> tuple[str, ...]:
    """Whether a record that rests on one page only has nearly the name of another: mistyped?"""
    records = list_printers(folder)
    others = {r.printer for r in records if r.printer.casefold() != key.printer.casefold()}
    near = difflib.get_close_matches(key.printer, sorted(others), n=1, cutoff=0.8)
    mine = [r for r in records if r.printer.casefold() == key.printer.casefold()]
    if not near or sum(len(r.history) for r in mine) != 1:
        return ()
    return (
        f"This is a record of its own, beside that of {near[0]!r}; if that printer was meant, "
        "enter the page again under its name ('decalprep calibrate list').",
    )


def told(estimate: Estimate, updated: Updated) -> list[str]:
    """What was found and what it is worth, each number with its uncertainty and in mm."""
    across, up = 200.0, 250.0
    ux, uy, us = estimate.u
    record = updated.record
    lines = [
        "This page, as printed (95 %, relative to your rule):",
        f"  across {_mm(estimate.scale_x, ux, across)}",
        f"  up     {_mm(estimate.scale_y, uy, up)}",
        f"  lean   {_mm(estimate.skew, us, up, ('to the right', 'to the left'))}",
        f"The rule itself may add {2 * estimate.u_rule * up:.2f} mm over {up:.0f} mm; it cancels "
        "where the same rule measures the part.",
    ]
    expected = expected_error(record, across, up, same_rule=True)
    lines += [
        "",
        f"The record now rests on {_pages(len(record.history))}. Corrected sheets should come out "
        f"within {expected.x_mm:.2f} mm over {across:.0f} mm across and {expected.y_mm:.2f} mm "
        f"over {up:.0f} mm up (95 %).",
        updated.gain.text,
    ]
    worst = max(estimate.residuals, key=lambda r: abs(r.residual_mm), default=None)
    if worst is not None:
        lines.append(
            f"The readings agree to {estimate.sigma_mm:.2f} mm; {worst.line} fits worst, by "
            f"{worst.residual_mm:+.2f} mm."
        )
    return lines


def _mm(
    value: float, u: float, over_mm: float, ways: tuple[str, str] = ("too long", "too short")
) -> str:
    word = ways[0] if value > 0 else ways[1]
    # Never less than the last figure shown.
    reach = max(2 * u * over_mm, 0.01)
    off = f"{abs(value) * over_mm:.2f} mm {word} over {over_mm:.0f} mm ({value * 100:+.3f} %)"
    if abs(value) * over_mm < 0.005:
        off = f"0.00 mm off over {over_mm:.0f} mm"
    return f"{off}, give or take {reach:.2f} mm"


def record_lines(records: Sequence[PrinterRecord]) -> list[str]:
    """One paragraph a record, for the list of records."""
    lines = []
    for r in records:
        title = " / ".join(p for p in (r.printer, r.stock, r.tray, r.quality) if p)
        lines.append(title)
        if r.weight_sheets <= 0:
            lines.append("  not measured yet")
            continue
        lines.append(
            f"  measured on {r.measured_on}, {_pages(len(r.history))}: across "
            f"{r.scale_x * 100:+.3f} % (give or take {2 * r.u_scale_x * 100:.3f}), up "
            f"{r.scale_y * 100:+.3f} % ({2 * r.u_scale_y * 100:.3f}), lean "
            f"{r.skew * 100:+.3f} % ({2 * r.u_skew * 100:.3f})"
        )
        lines.append(
            f"  over 200 x 250 mm: {r.scale_x * 200:+.2f} mm across, {r.scale_y * 250:+.2f} mm up"
        )
    return lines


def _pages(count: int) -> str:
    return f"{count} page" + ("s" if count != 1 else "")
