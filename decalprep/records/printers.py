"""Printer records: one file for each printer + stock + tray + quality, with its whole history."""

import math
from collections.abc import Callable
from dataclasses import asdict
from datetime import date
from pathlib import Path
from typing import Any

from decalprep.errors import InputProblem, UsageProblem, near_first
from decalprep.model import Margins, PrinterRecord
from decalprep.records.fields import FLOAT_MOST, checked, refuse_unknown
from decalprep.records.folder import file_stem, locked, read_json, write_json

KIND = "decalprep printer record"
VERSION = 1
LARGEST_ERROR = 0.2
"""No record beyond this is read: a page scaled by a fifth is no printer's error."""


def printer_file(folder: Path, printer: str, stock: str, tray: str = "", quality: str = "") -> Path:
    """Where the record of one printer + stock + tray + quality lies or would lie."""
    return folder / "printers" / f"{file_stem(printer, stock, tray, quality)}.json"


def load_printer(path: Path) -> PrinterRecord:
    """The printer record in a file.

    Raises:
        InputProblem: missing, damaged, or with a value that cannot be.
    """
    return _from_data(read_json(path, KIND, VERSION), str(path))


def list_printers(folder: Path) -> tuple[PrinterRecord, ...]:
    """All printer records in a folder, by printer and stock.

    Raises:
        InputProblem: one of them is damaged.
    """
    found = [load_printer(p) for p in sorted((folder / "printers").glob("*.json"))]
    return tuple(sorted(found, key=lambda r: (r.printer, r.stock, r.tray, r.quality)))


def find_printer(
    folder: Path,
    printer: str,
    *,
    stock: str | None = None,
    tray: str | None = None,
    quality: str | None = None,
) -> PrinterRecord:
    """The one record that fits what is said of it; upper and lower case count the same.

    Raises:
        UsageProblem: none fits, or more than one does.
    """
    asked = {"printer": printer, "stock": stock, "tray": tray, "quality": quality}
    records = list_printers(folder)
    fits = [
        r
        for r in records
        if all(v is None or getattr(r, k).casefold() == v.casefold() for k, v in asked.items())
    ]
    said = ", ".join(f"{k} {v!r}" for k, v in asked.items() if v is not None)
    if len(fits) == 1:
        return fits[0]
    known = near_first(printer, [_title(r) for r in fits or records])
    found = f"{len(fits)} records fit {said}" if fits else f"there is no record of {said}"
    do = "say which by stock, tray and quality" if fits else "print a calibration page for it"
    raise UsageProblem(f"{found} (there are: {known})", do=do)


def _title(r: PrinterRecord) -> str:
    return " / ".join(part for part in (r.printer, r.stock, r.tray, r.quality) if part)


def save_printer(folder: Path, record: PrinterRecord) -> Path:
    """Writes a record over the one before it and returns its file.

    Where the new record rests on the old one use ``update_printer``: it cannot lose an update.

    Raises:
        OutputProblem: it cannot be written.
    """
    with locked(folder):
        return _write(folder, record)


def update_printer(
    folder: Path,
    record: PrinterRecord,
    change: Callable[[PrinterRecord], PrinterRecord],
) -> PrinterRecord:
    """Reads the record with the same names, applies ``change``, writes it, all under one lock.

    ``record`` is what to start from where there is no file yet. Raises what ``change`` raises;
    then the file stays as it was.

    Raises:
        OutputProblem: it cannot be written.
        UsageProblem: the change renames the record.
    """
    with locked(folder):
        path = printer_file(folder, record.printer, record.stock, record.tray, record.quality)
        new = change(load_printer(path) if path.exists() else record)
        if printer_file(folder, new.printer, new.stock, new.tray, new.quality) != path:
            raise UsageProblem("an update may not rename a record", do="save it as a new one")
        _write(folder, new)
        return new


def export_printer(record: PrinterRecord, path: Path) -> None:
    """Writes a record to a file of one's own, to keep or to carry to another machine.

    Raises:
        OutputProblem: it cannot be written.
    """
    write_json(path, _to_data(record))


def import_printer(folder: Path, path: Path, *, replace: bool = False) -> PrinterRecord:
    """Takes an exported record into the folder.

    Raises:
        InputProblem: the file is no printer record.
        UsageProblem: there is one by that name already and ``replace`` is not said.
    """
    record = load_printer(path)
    with locked(folder):
        there = printer_file(folder, record.printer, record.stock, record.tray, record.quality)
        if there.exists() and not replace and load_printer(there) != record:
            raise UsageProblem(
                f"there is already a record of {_title(record)}",
                where=str(path),
                do="export that one first, then import with replace",
            )
        _write(folder, record)
    return record


def _write(folder: Path, record: PrinterRecord) -> Path:
    path = printer_file(folder, record.printer, record.stock, record.tray, record.quality)
    write_json(path, _to_data(record))
    return path


def _to_data(record: PrinterRecord) -> dict[str, Any]:
    data = {"kind": KIND, "version": VERSION, **asdict(record)}
    data["history"] = [dict(entry) for entry in record.history]
    return data


def _from_data(data: dict[str, Any], where: str) -> PrinterRecord:
    refuse_unknown(PrinterRecord, data, where=where)
    values = checked(PrinterRecord, data, where=where)
    for name in ("printer", "stock"):
        if not values.get(name):
            raise InputProblem(f"{name} is missing", where=where)
    for name, value in values.items():
        error = name in ("scale_x", "scale_y", "skew") and abs(value) > LARGEST_ERROR
        negative = name.startswith(("u_", "scatter_", "weight")) and value < 0
        if error or negative:
            raise InputProblem(f"{name} = {value!r} cannot be", where=where)
    margins = data.get("margins")
    if margins is not None:
        if not isinstance(margins, dict):
            raise InputProblem("margins are not a table of four lengths", where=where)
        refuse_unknown(Margins, margins, where=where)
        values["margins"] = Margins(**checked(Margins, margins, where=where))
    _check_date(values.get("measured_on", ""), where)
    values["history"] = _history(data.get("history", []), where)
    return PrinterRecord(**values)


def _check_date(text: str, where: str) -> None:
    try:
        date.fromisoformat(text or "2000-01-01")
    except ValueError:
        raise InputProblem(f"{text!r} is not a date", where=where) from None


def _history(data: Any, where: str) -> tuple[tuple[tuple[str, str], ...], ...]:
    good = isinstance(data, list) and all(
        isinstance(e, dict) and all(isinstance(v, str) for v in e.values()) for e in data
    )
    if not good:
        raise InputProblem("history is not a list of entries of text", where=where)
    for entry in data:
        _check_date(entry.get("measured_on", ""), where)
        for name, text in entry.items():
            if name in ("measured_on", "method", "restart"):
                continue
            try:
                number = float(text)
            except (ValueError, TypeError, OverflowError):
                number = math.nan
            if not abs(number) <= FLOAT_MOST:
                raise InputProblem(f"history has {name} = {text!r}", where=where)
    return tuple(tuple(entry.items()) for entry in data)
