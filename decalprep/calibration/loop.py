"""The loop: a page printed with a correction is measured, and the record learns from it by weight.

What came out is T = P C, P the printer and C the correction in force, so the page shows the printer
as P = T C^-1. The record keeps the mean of all such sheets, each weighted by its uncertainty and by
how much sheets differ (the one-value Kalman filter, R. E. Kalman 1960); between sheets the mean is
allowed to drift, so old readings fade.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import date

from decalprep.calibration.estimate import Estimate
from decalprep.errors import UsageProblem
from decalprep.geometry import Affine
from decalprep.model import Notice, PrinterRecord, Severity

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
    worst, reach = 0.0, 0.0
    clear = False
    for value, u in zip(
        (estimate.scale_x, estimate.scale_y, estimate.skew), estimate.u, strict=True
    ):
        clear = clear or abs(value) > 2 * u
        worst, reach = max(worst, abs(value)), max(reach, 2 * u)
    return Gain(clear, worst * over_mm, reach * over_mm, over_mm)


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
    months = _months_between(record.measured_on, measured_on)
    seen = printer_seen(estimate, correction)
    history = (*record.history, _entry(seen, estimate, correction, measured_on))
    scatter = _scatter(history, s)
    drift = s.drift_sheet**2 + s.drift_month**2 * months
    values: dict[str, float] = {}
    jumped = []
    for axis, spread in zip(AXES, scatter, strict=True):
        mean, u, jump = _joined(record, seen, axis, spread, drift, s.jump)
        values |= {axis: mean, f"u_{axis}": u, f"scatter_{axis}": spread}
        jumped += [axis] if jump else []
    new = replace(
        record,
        **values,  # type: ignore[arg-type]
        u_rule=max(estimate.u_rule, record.u_rule if record.weight_sheets and not jumped else 0.0),
        measured_on=measured_on,
        weight_sheets=_weight(values, scatter, estimate),
        history=history,
        margins=estimate.margins or record.margins,
    )
    if estimate.offset_mm is not None:
        # The page was printed without undoing the offset, so it is the printer's own.
        new = replace(new, offset_x_mm=estimate.offset_mm[0], offset_y_mm=estimate.offset_mm[1])
    return Updated(new, gain_of(estimate), (*estimate.notices, *_jump_notices(jumped)))


def _joined(
    record: PrinterRecord,
    seen: PrinterRecord,
    axis: str,
    spread: float,
    drift: float,
    jump_limit: float,
) -> tuple[float, float, bool]:
    """(mean, its uncertainty, whether the printer has changed) for one value."""
    new, u_new = float(getattr(seen, axis)), math.hypot(getattr(seen, f"u_{axis}"), spread)
    if record.weight_sheets <= 0:
        return new, u_new, False
    old, u_old = float(getattr(record, axis)), math.hypot(getattr(record, f"u_{axis}"), drift**0.5)
    if abs(new - old) > jump_limit * math.hypot(u_old, u_new):
        return new, u_new, True
    weight = u_old**2 / (u_old**2 + u_new**2)
    return old + weight * (new - old), math.sqrt(1 - weight) * u_old, False


def _scatter(
    history: Sequence[tuple[tuple[str, str], ...]], s: LoopSettings
) -> tuple[float, float, float]:
    """Standard deviation of one sheet about the mean, prior knowledge and history pooled.

    What the readings' own uncertainty explains of the spread is taken off.
    """
    found = []
    for axis, prior in zip(AXES, s.scatter, strict=True):
        rows = [dict(entry) for entry in history if axis in dict(entry)]
        values = [float(row[axis]) for row in rows]
        reading = [float(row[f"u_{axis}"]) ** 2 for row in rows]
        n = len(values)
        mean = sum(values) / n
        excess = sum((v - mean) ** 2 for v in values) - (n - 1) * sum(reading) / n
        pooled = (s.scatter_worth * prior**2 + max(excess, 0.0)) / (s.scatter_worth + n - 1)
        found.append(math.sqrt(pooled))
    return found[0], found[1], found[2]


def _weight(
    values: dict[str, float], scatter: tuple[float, float, float], estimate: Estimate
) -> float:
    """How many sheets like this one the mean is worth."""
    shares = [
        (spread**2 + u**2) / values[f"u_{axis}"] ** 2
        for axis, spread, u in zip(AXES, scatter, estimate.u, strict=True)
    ]
    return sum(shares) / len(shares)


def _entry(
    seen: PrinterRecord, estimate: Estimate, correction: Affine, measured_on: str
) -> tuple[tuple[str, str], ...]:
    """One line of history: what this page showed, all numbers as text that reads back exactly."""
    numbers = {axis: getattr(seen, axis) for axis in AXES}
    numbers |= {f"u_{axis}": getattr(seen, f"u_{axis}") for axis in AXES}
    numbers |= {f"left_{axis}": getattr(estimate, axis) for axis in AXES}
    numbers |= {"u_rule": estimate.u_rule, "sigma_mm": estimate.sigma_mm}
    numbers |= dict(zip(("used_a", "used_c", "used_d"), (correction.a, correction.c, correction.d)))
    return (
        ("measured_on", measured_on),
        ("method", estimate.method),
        *((name, repr(float(value))) for name, value in numbers.items()),
    )


def _months_between(before: str, after: str) -> float:
    try:
        last = date.fromisoformat(after)
        first = date.fromisoformat(before) if before else last
    except ValueError:
        raise UsageProblem(f"{after!r} is not a date", do="write it as 2026-05-31") from None
    if last < first:
        raise UsageProblem(
            f"the page is dated {after}, before the record's last on {before}",
            do="enter pages in the order in which they were measured",
        )
    return (last - first).days / 30.4


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


def check_record(
    record: PrinterRecord,
    *,
    today: str,
    stock: str,
    tray: str = "",
    quality: str = "",
    old_after_days: int = 180,
) -> tuple[Notice, ...]:
    """Warnings before a record is used: it is old, or it was measured with something else."""
    name = record.printer
    notices = []
    for what, used, known in (
        ("stock", stock, record.stock),
        ("tray", tray, record.tray),
        ("quality", quality, record.quality),
    ):
        if used and used.casefold() != known.casefold():
            notices.append(
                Notice(
                    f"{what}-changed",
                    f"the record of {name} was measured with {what} "
                    f"{known or '(not said)'!r}, this job uses {used!r}: sizes may differ by "
                    "some tenths of a millimetre; print a calibration page with it",
                    name,
                )
            )
    if record.weight_sheets <= 0 or not record.measured_on:
        text = f"the record of {name} holds no measurement: sheets are printed uncorrected"
        notices.append(Notice("not-calibrated", text, name))
        return tuple(notices)
    days = (date.fromisoformat(today) - date.fromisoformat(record.measured_on)).days
    if days < 0:
        text = f"the record of {name} is dated {record.measured_on}, after today ({today})"
        notices.append(Notice("record-from-the-future", text, name))
    if days > old_after_days:
        text = (
            f"the record of {name} is {days} days old: print and measure a page before a job "
            "that must fit"
        )
        numbers = (("age_days", float(days)),)
        notices.append(Notice("record-old", text, name, Severity.WARNING, None, numbers))
    return tuple(notices)
