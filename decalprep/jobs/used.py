"""A part-used sheet from a scan: what is gone of it, shown before it is remembered."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from pathlib import Path

from decalprep.errors import InputProblem, UsageProblem
from decalprep.jobs.jobfile import read_job
from decalprep.jobs.leftovers import (
    PART_USED_LABELS,
    PART_USED_LASER,
    free_mm2,
    is_same_stock,
    left_words,
    stock_name,
)
from decalprep.model import Notice, Severity, Sheet, StockKind
from decalprep.records import list_sheets, load_sheet, take_from_sheet
from decalprep.scan import UsedChoices, UsedSheet, find_used, read_scan, used_picture

LEAST_REST_MM2 = 1500.0


@dataclass(frozen=True)
class UsedOptions:
    """Which stock is scanned, and how it is read.

    ``job`` and ``kind`` name a [[sheet]] of a job file; a sheet that is remembered needs neither.
    """

    job: Path | None = None
    kind: str | None = None
    choices: UsedChoices = field(default_factory=UsedChoices)


@dataclass(frozen=True)
class Scanned:
    """What a scan shows of a sheet, the sheet with that gone, and a PNG to look at."""

    found: UsedSheet
    left: Sheet
    picture: bytes
    notices: tuple[Notice, ...]


def scan_used(folder: Path, path: Path, name: str, options: UsedOptions) -> Scanned:
    """What is gone of a sheet by its scan, beside what is known to be; nothing is kept yet.

    Raises:
        InputProblem: the scan cannot be read or does not show the sheet.
        UsageProblem: which stock it is is not said, or said twice over.
    """
    sheet = _stock(folder, name, options)
    pages = read_scan(path)
    if len(pages) != 1:
        raise InputProblem(
            f"holds {len(pages)} pages, one is read", where=str(path), do="save it alone"
        )
    found = find_used(pages[0], sheet, options.choices)
    left = replace(
        sheet,
        gone=tuple(dict.fromkeys((*sheet.gone, *found.gone))),
        gone_labels=tuple(sorted({*sheet.gone_labels, *found.gone_labels})),
    )
    shown = replace(found, gone=left.gone, gone_labels=left.gone_labels)
    return Scanned(found, left, used_picture(shown), (*found.notices, *_notices(left)))


def keep_used(folder: Path, scanned: Scanned) -> str:
    """Remembers what is gone of the sheet; says what is left.

    Raises:
        OutputProblem: it cannot be written.
    """
    found = scanned.found
    left = take_from_sheet(folder, found.sheet, areas=found.gone, labels=found.gone_labels)
    return (
        f"Remembered as {left.name!r}, {left_words(left)}; leftovers = true on a [[sheet]] uses it."
    )


def used_lines(scanned: Scanned) -> list[str]:
    """What was found, and what the scan cannot show."""
    found, left = scanned.found, scanned.left
    lies = f"turned by {found.turn_deg} degrees" if found.turn_deg else "upright"
    lines = [f"The scan shows {stock_name(found.sheet)}, lying {lies}: {left_words(left)}."]
    if found.sheet.grid is not None:
        numbers = ", ".join(map(str, found.gone_labels)) or "none"
        lines.append(f"Labels gone: {numbers}.")
    lines.append(
        f"What differs from the stock by less than {found.levels:.0f} of 255 levels is not seen, "
        "such as white liner on white stock: compare the picture with the sheet, and mark the rest "
        "with 'decalprep stock gone'."
    )
    return lines


def _stock(folder: Path, name: str, options: UsedOptions) -> Sheet:
    """The sheet as it is remembered, or as the job file describes it whole."""
    known = list_sheets(folder)
    if options.job is None:
        if name in known:
            return load_sheet(folder, name)
        raise UsageProblem(
            f"no part-used sheet is remembered as {name!r}",
            do="give --job JOB-FILE whose [[sheet]] says what stock it is; known: "
            + (", ".join(repr(n) for n in known) or "none"),
        )
    sheets = {spec.sheet.name: spec.sheet for spec in read_job(options.job).sheets}
    kind = options.kind or next(iter(sheets))
    if kind not in sheets or (options.kind is None and len(sheets) > 1):
        raise UsageProblem(
            f"which [[sheet]] of {options.job.name} it is is not said",
            do="give --sheet with one of: " + ", ".join(sheets),
        )
    whole = replace(sheets[kind], name=name, gone=(), gone_labels=(), available=None)
    if name not in known:
        return whole
    before = load_sheet(folder, name)
    if not is_same_stock(before, whole):
        raise UsageProblem(
            f"{name!r} is remembered as {stock_name(before)}", do="give this sheet another name"
        )
    return before


def _notices(left: Sheet) -> tuple[Notice, ...]:
    """Cautions for what is left."""
    labels = left.stock in (StockKind.LABEL, StockKind.DIE_CUT)
    found = [
        Notice("part-used-labels", PART_USED_LABELS, left.name, Severity.DANGER)
        if labels
        else Notice("part-used-laser", PART_USED_LASER, left.name)
    ]
    if free_mm2(left) < LEAST_REST_MM2:
        words = (
            "next to nothing is left of it; if that is wrong, name a place that is surely whole "
            "stock with --whole-at, or scan it again on a dark ground"
        )
        found.append(Notice("nothing-left", words, left.name))
    return tuple(found)
