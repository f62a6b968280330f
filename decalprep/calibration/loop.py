"""The loop: a page printed with a correction is measured, and the record learns from it by weight.

What came out is T = P C, P the printer and C the correction in force, so the page shows the printer
as P = T C^-1. The record keeps the mean of all such sheets, each weighted by its uncertainty and by
how much sheets differ (the one-value Kalman filter, R. E. Kalman 1960); between sheets the mean is
allowed to drift, so old readings fade.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

from decalprep.calibration.days import days_between
from decalprep.calibration.estimate import Estimate
from decalprep.errors import UsageProblem
from decalprep.geometry import Affine
from decalprep.model import Notice, PrinterRecord

AXES = ("scale_x", "scale_y", "skew")


@dataclass(frozen=True)
class LoopSettings:
    """What is taken for granted about printers (assumed from simulation, no source).

    ``scatter``: standard deviation of one sheet about the mean, worth ``scatter_worth`` sheets of
    knowledge; ``drift_sheet`` and ``drift_month``: how far the mean wanders, parts of one, from
    one calibration to the next and in a month; ``jump``: so many standard deviations mean that the
    printer has changed, and the record starts again from the new page.
    """

    scatter: tuple[float, float, float] = (200e-6, 200e-6, 100e-6)
    scatter_worth: float = 4.0
    drift_sheet: float = 40e-6
    drift_month: float = 60e-6
    jump: float = 5.0


@dataclass(frozen=True)
class Gain:
    """Whether another correction could help: the error left against what can be measured, mm."""

    worthwhile: bool
    left_mm: float
    measurable_mm: float
    over_mm: float

    @property
    def text(self) -> str:
        """The same in words."""
        if self.worthwhile:
            return (
                f"{self.left_mm:.2f} mm over {self.over_mm:.0f} mm is left, and "
                f"{self.measurable_mm:.2f} mm can be measured: the new correction helps"
            )
        return (
            f"nothing to gain: the remaining error of {self.left_mm:.2f} mm over "
            f"{self.over_mm:.0f} mm is below what you can measure ({self.measurable_mm:.2f} mm)"
        )


@dataclass(frozen=True)
class Updated:
    """The new record, whether there was anything to gain, and what to tell."""

    record: PrinterRecord
    gain: Gain
    notices: tuple[Notice, ...]


def printer_seen(estimate: Estimate, correction: Affine) -> PrinterRecord:
    """The printer's own error (parts of one) as one page shows it: P = T C^-1, uncertainty kept.

    ``correction`` is the ``page_from_sheet`` that the page was printed with.
    """
    p = (
        estimate.printed_from_true
        @ Affine(correction.a, correction.b, correction.c, correction.d).inverse()
    )
    ux, uy, us = estimate.u
    return PrinterRecord(
        "", "", scale_x=p.a - 1, scale_y=p.d - 1, skew=p.c, u_scale_x=ux, u_scale_y=uy, u_skew=us
    )


def gain_of(estimate: Estimate, over_mm: float = 250.0) -> Gain:
    """Whether the error seen on a page stands out from what can be measured (95 %), in mm.

    A single sheet's scatter is no reason to correct again: it is left out of 'measurable' here
    and enters the weight instead.
    """
    pairs = list(zip((estimate.scale_x, estimate.scale_y, estimate.skew), estimate.u, strict=True))
    # Told for the value that stands out most: a skew nobody read would hide the others.
    value, u = max(pairs, key=lambda pair: abs(pair[0]) / max(pair[1], 1e-12))
    return Gain(abs(value) > 2 * u, abs(value) * over_mm, 2 * u * over_mm, over_mm)


def update_record(
    record: PrinterRecord,
    estimate: Estimate,
    correction: Affine,
    *,
    measured_on: str,
    settings: LoopSettings | None = None,
) -> Updated:
    """The record with one more sheet in it; ``correction`` is the one that sheet was printed with.

    ``measured_on`` is a date as 2026-05-31. Values stay relative to the user's rule.

    Raises:
        UsageProblem: the date is not one, or lies before the record's last.
    """
    s = settings or LoopSettings()
    _check_dates(record.measured_on, measured_on)
    seen = printer_seen(estimate, correction)
    before = _since_restart(record)
    jumped = _jumps(before, seen, measured_on, s)
    entry = _entry(seen, estimate, correction, measured_on, restart=bool(jumped))
    entry = (*entry, *_in_force(record))
    rows = [dict(entry)] if jumped else [*before, dict(entry)]
    new = replace(
        _settled(record, rows, s),
        history=(*record.history, entry),
        margins=estimate.margins or record.margins,
    )
    if estimate.offset_mm is not None:
        # The page was printed without undoing the offset, so it is the printer's own.
        new = replace(new, offset_x_mm=estimate.offset_mm[0], offset_y_mm=estimate.offset_mm[1])
    return Updated(new, gain_of(estimate), (*estimate.notices, *_jump_notices(jumped)))


def without_last(record: PrinterRecord, settings: LoopSettings | None = None) -> PrinterRecord:
    """The record as it would be had its last page not been entered; offset and margins stay.

    Raises:
        UsageProblem: it has no page, or stood on values without pages before.
    """
    if not record.history or (len(record.history) == 1 and _based_on_more(record)):
        raise UsageProblem(
            f"the record of {record.printer} has no page that could be taken back",
            do="enter the readings as a new page",
        )
    fewer = replace(record, history=record.history[:-1])
    if not fewer.history:
        bare = PrinterRecord(record.printer, record.stock, record.tray, record.quality)
        offset = {name: getattr(record, name) for name in ("offset_x_mm", "offset_y_mm", "margins")}
        return replace(bare, **offset)
    return _settled(fewer, _since_restart(fewer), settings or LoopSettings())


def _based_on_more(record: PrinterRecord) -> bool:
    return "until_scale_x" in dict(record.history[0])


def _settled(
    record: PrinterRecord, rows: Sequence[dict[str, str]], s: LoopSettings
) -> PrinterRecord:
    """The record with the values that its counting pages, oldest first, amount to."""
    scatter = _scatter(rows, s)
    values: dict[str, float] = {}
    for axis, spread in zip(AXES, scatter, strict=True):
        mean, u = _mean(rows, axis, spread, s)
        values |= {axis: mean, f"u_{axis}": u, f"scatter_{axis}": spread}
    return replace(
        record,
        **values,  # type: ignore[arg-type]
        u_rule=max(float(row["u_rule"]) for row in rows),
        measured_on=rows[-1]["measured_on"],
        weight_sheets=_weight(values, scatter, rows[-1]),
    )


def _since_restart(record: PrinterRecord) -> list[dict[str, str]]:
    """The history that still counts; a record without one stands for a single page."""
    rows = [dict(entry) for entry in record.history]
    rows = [row for row in rows if all(axis in row for axis in AXES)]
    starts = [k for k, row in enumerate(rows) if row.get("restart") == "yes"]
    rows = rows[starts[-1] :] if starts else rows
    if rows or record.weight_sheets <= 0:
        return rows
    names = (*AXES, *(f"u_{axis}" for axis in AXES), "u_rule")
    row = {name: repr(float(getattr(record, name))) for name in names}
    return [row | {"measured_on": record.measured_on}]


def _mean(
    rows: Sequence[dict[str, str]], axis: str, spread: float, s: LoopSettings
) -> tuple[float, float]:
    """(mean, its standard uncertainty) of one value over the pages, oldest first."""
    mean = variance = 0.0
    for k, row in enumerate(rows):
        new, own = float(row[axis]), float(row[f"u_{axis}"]) ** 2 + spread**2
        if k == 0:
            mean, variance = new, own
            continue
        months = _months_between(rows[k - 1]["measured_on"], row["measured_on"])
        variance += s.drift_sheet**2 + s.drift_month**2 * months
        weight = variance / (variance + own)
        mean, variance = mean + weight * (new - mean), (1 - weight) * variance
    return mean, math.sqrt(variance)


def _jumps(
    before: Sequence[dict[str, str]], seen: PrinterRecord, measured_on: str, s: LoopSettings
) -> list[str]:
    """The values in which a page cannot come from the printer that the record knows."""
    if not before:
        return []
    found = []
    months = _months_between(before[-1]["measured_on"], measured_on)
    for axis, spread in zip(AXES, _scatter(before, s), strict=True):
        mean, u = _mean(before, axis, spread, s)
        own = math.hypot(getattr(seen, f"u_{axis}"), spread)
        drift = s.drift_sheet**2 + s.drift_month**2 * months
        if abs(getattr(seen, axis) - mean) > s.jump * math.sqrt(u**2 + own**2 + drift):
            found.append(axis)
    return found


def _scatter(rows: Sequence[dict[str, str]], s: LoopSettings) -> tuple[float, float, float]:
    """Standard deviation of one sheet about the mean, prior knowledge and history pooled.

    What the readings' own uncertainty explains of the spread is taken off.
    """
    found = []
    for axis, prior in zip(AXES, s.scatter, strict=True):
        values = [float(row[axis]) for row in rows]
        reading = [float(row[f"u_{axis}"]) ** 2 for row in rows]
        n = len(values)
        mean = sum(values) / n
        excess = sum((v - mean) ** 2 for v in values) - (n - 1) * sum(reading) / n
        pooled = (s.scatter_worth * prior**2 + max(excess, 0.0)) / (s.scatter_worth + n - 1)
        found.append(math.sqrt(pooled))
    return found[0], found[1], found[2]


def _weight(
    values: dict[str, float], scatter: tuple[float, float, float], last: dict[str, str]
) -> float:
    """How many sheets like the last one the mean is worth."""
    shares = [
        (spread**2 + float(last[f"u_{axis}"]) ** 2) / values[f"u_{axis}"] ** 2
        for axis, spread in zip(AXES, scatter, strict=True)
    ]
    return sum(shares) / len(shares)


def _entry(
    seen: PrinterRecord,
    estimate: Estimate,
    correction: Affine,
    measured_on: str,
    *,
    restart: bool,
) -> tuple[tuple[str, str], ...]:
    """One line of history: what this page showed, all numbers as text that reads back exactly."""
    numbers = {axis: getattr(seen, axis) for axis in AXES}
    numbers |= {f"u_{axis}": getattr(seen, f"u_{axis}") for axis in AXES}
    numbers |= {f"left_{axis}": getattr(estimate, axis) for axis in AXES}
    numbers |= {"u_rule": estimate.u_rule, "sigma_mm": estimate.sigma_mm}
    numbers |= dict(
        zip(("used_a", "used_c", "used_d"), (correction.a, correction.c, correction.d), strict=True)
    )
    return (
        ("measured_on", measured_on),
        ("method", estimate.method),
        ("restart", "yes" if restart else "no"),
        *((name, repr(float(value))) for name, value in numbers.items()),
    )


def _in_force(record: PrinterRecord) -> tuple[tuple[str, str], ...]:
    """What the record said until this page: pages printed by it may still lie about unmeasured."""
    if record.weight_sheets <= 0:
        return ()
    return tuple((f"until_{axis}", repr(float(getattr(record, axis)))) for axis in AXES)


def earlier_states(record: PrinterRecord) -> tuple[PrinterRecord, ...]:
    """The record as it stood before each of its pages, newest first, and as it stands now.

    Only names and errors are right in the earlier ones: enough for the corrections they gave.
    """
    rows = [dict(entry) for entry in reversed(record.history)]
    return (
        record,
        *(
            replace(record, **{axis: float(row[f"until_{axis}"]) for axis in AXES})  # type: ignore[arg-type]
            for row in rows
            if all(f"until_{axis}" in row for axis in AXES)
        ),
    )


def _months_between(before: str, after: str) -> float:
    return max(days_between(before, after), 0) / 30.4 if before and after else 0.0


def _check_dates(before: str, after: str) -> None:
    if days_between(before or after, after) < 0:
        raise UsageProblem(
            f"the page is dated {after}, before the record's last on {before}",
            do="enter pages in the order in which they were measured",
        )


def _jump_notices(jumped: Sequence[str]) -> tuple[Notice, ...]:
    if not jumped:
        return ()
    return (
        Notice(
            "printer-changed",
            "this page does not fit the earlier ones in "
            + ", ".join(axis.replace("_", " ") for axis in jumped)
            + ": the printer, its driver or the stock has changed; the old values are dropped. "
            "Print and measure one more page to be sure",
        ),
    )
