"""Whether a record may be used for a job: its age, and what it was measured with."""

from decalprep.calibration.days import days_between
from decalprep.model import Notice, PrinterRecord, Severity


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
    notices = _changes(record, {"stock": stock, "tray": tray, "quality": quality})
    if record.weight_sheets <= 0 or not record.measured_on:
        text = f"the record of {name} holds no measurement: sheets are printed uncorrected"
        notices.append(Notice("not-calibrated", text, name))
        return tuple(notices)
    days = days_between(record.measured_on, today)
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


def _changes(record: PrinterRecord, used_now: dict[str, str]) -> list[Notice]:
    """One warning for each thing that differs from what the record was measured with."""
    notices = []
    for what, used in used_now.items():
        known = str(getattr(record, what))
        if used and used.casefold() != known.casefold():
            text = (
                f"the record of {record.printer} was measured with {what} "
                f"{known or '(not said)'!r}, this job uses {used!r}: sizes may differ by some "
                "tenths of a millimetre; print a calibration page with it"
            )
            notices.append(Notice(f"{what}-changed", text, record.printer))
    return notices
