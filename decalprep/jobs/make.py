"""Making a job's sheets: the order of the steps, on one screen, and the result to be told."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from contextlib import nullcontext
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING

from decalprep.errors import UsageProblem, near_first
from decalprep.jobs.arrange import arranged, keep_layout, layout_text, started, with_used
from decalprep.jobs.crew import Say
from decalprep.jobs.finish import Finish, top_ticks
from decalprep.jobs.groups import never
from decalprep.jobs.job_faults import job_names
from decalprep.jobs.lay import Laid
from decalprep.jobs.leftovers import PART_USED_LABELS, PART_USED_LASER
from decalprep.jobs.outputs import Beside, proven, with_files, written
from decalprep.jobs.panels import panels_of
from decalprep.jobs.prepare import Prepared
from decalprep.jobs.spec import Job, PanelSpec
from decalprep.jobs.stroke_effects import PanelEffect
from decalprep.jobs.tiling import Pieces
from decalprep.model import Drawing, Notice, PartRecord, PrinterRecord, Severity, StockKind

if TYPE_CHECKING:
    from decalprep.export.buildsheet_costs import InkCoverage, PanelCost
    from decalprep.proof import Proof

PREVIEW_DPI = 150.0


@dataclass(frozen=True)
class MakeOptions:
    """What the command line adds to a job file.

    ``records`` is the folder of printer and part records; ``today`` an ISO date, for the age of a
    record; ``anew`` nests all again; ``date`` a PDF date or None; ``private`` leaves job and
    artworks out of the PDF. ``seconds`` ends the nesting by the clock; ``keep_leftovers`` remembers
    what is left of the sheets; ``again`` names the pieces to print once more, on what is free of an
    earlier sheet or on a ``fresh_sheet``; ``keep`` those that stay while all others are nested
    again. ``search_over`` is asked often while nesting and ends it
    with the best layout so far.
    """

    records: Path
    today: str
    anew: bool = False
    date: str | None = None
    preview_dpi: float = PREVIEW_DPI
    private: bool = False
    seconds: float | None = None
    keep_leftovers: bool = False
    again: tuple[str, ...] = ()
    fresh_sheet: bool = False
    keep: tuple[str, ...] = ()
    search_over: Callable[[], bool] = never


@dataclass(frozen=True)
class Made:
    """Everything one run made: files by name, and what to tell of them."""

    job: Job
    pieces: Pieces
    finishes: tuple[Finish, ...]
    laid: Laid
    records: tuple[PrinterRecord | None, ...]
    drawings: tuple[Drawing, ...]
    proof: Proof
    files: dict[str, bytes]
    notices: tuple[Notice, ...]
    part_records: tuple[PartRecord | None, ...]
    ink: tuple[InkCoverage, ...] = ()
    costs: tuple[PanelCost, ...] = ()
    effects: tuple[PanelEffect, ...] = ()
    layout: bytes | None = None
    records_folder: Path = Path()

    @property
    def prepared(self) -> tuple[Prepared, ...]:
        """The panels, in the order of the job."""
        return self.pieces.panels


def make_job(job: Job, options: MakeOptions, say: Say) -> Made:
    """The sheets of a job, proven; nothing is written.

    Raises:
        DecalprepError: what is wrong, by cause; ProofFailed where the file does not measure true.
    """
    records, record_notices = printer_records(job, options)
    start = started(with_margins(job, records), options)
    job = start.job
    parts = part_records(job, options)
    prepared, finishes = panels_of(job, parts, say)
    say("nesting: laying out")
    pieces, laid = arranged(start, (prepared, finishes), options, say)
    say("composing")
    drawings, by_sheet = compose(job, pieces, laid, records, finishes)
    laid = with_used(laid, drawings, pieces.decals, options)
    say("writing the PDF")
    layout = layout_text(start, laid, pieces.decals)
    from decalprep.jobs.carry import carried

    inside = carried(job, layout, tuple(records.values()), parts, options)
    pdf = written(job, drawings, options, inside.attachments)
    notices = (
        *record_notices,
        *laid.notices,
        *(n for f in finishes for n in f.notices),
        *(n for p in pieces.panels for n in p.notices),
        *(n for d in drawings for n in d.notices),
    )
    from decalprep.proof import Proof

    nothing_proven = Proof((), (), (), ())
    made = Made(job, pieces, finishes, laid, by_sheet, drawings, nothing_proven, {}, notices, parts)
    made = replace(made, layout=layout, records_folder=options.records)
    say("proving")
    beside = Beside(made, pdf, options, say)
    private = options.private
    proof = proven(pdf, pieces.all, laid, drawings, job, private=private, share=beside)
    notices = (*notices, *proof.notices, *stock_notices(job, laid), *inside.notices)
    say("drawing the pictures and the report")
    return with_files(replace(made, proof=proof, notices=notices), beside)


def steps_of(job: Job) -> int:
    """How many steps ``make_job`` tells of, and the writing after it."""
    return 3 * len(job.panels) + 6


def printer_records(
    job: Job, options: MakeOptions
) -> tuple[dict[str, PrinterRecord | None], tuple[Notice, ...]]:
    """Printer record by name of the kind of sheet, and what to know of their age and stock."""
    from decalprep.calibration import check_record
    from decalprep.records import find_printer

    found: dict[str, PrinterRecord | None] = {}
    notices: list[Notice] = []
    for k, spec in enumerate(job.sheets):
        found[spec.sheet.name] = None
        if not spec.printer:
            words = "no printer record: the sheets are true in the file, the print is not corrected"
            notices.append(Notice("no-printer-record", words, spec.sheet.name, Severity.NOTE))
            continue
        with nullcontext() if job.other_printer else job_names(job, "sheet", k):
            record = find_printer(options.records, spec.printer)
        found[spec.sheet.name] = record
        notices += check_record(record, today=options.today, stock=spec.sheet.stock.value)
    return found, tuple(notices)


def with_margins(job: Job, records: dict[str, PrinterRecord | None]) -> Job:
    """The job with each record's measured margins, where the job file states none."""
    sheets = []
    for spec in job.sheets:
        record = records[spec.sheet.name]
        if record is not None and record.margins is not None and not spec.margin_given:
            spec = replace(spec, sheet=replace(spec.sheet, margins=record.margins))
        sheets.append(spec)
    return replace(job, sheets=tuple(sheets))


def part_records(job: Job, options: MakeOptions) -> tuple[PartRecord | None, ...]:
    """The record of each panel's own part, where the job names one.

    Raises:
        JobProblem: there is none of that name.
    """
    found = []
    for k, panel in enumerate(job.panels):
        with job_names(job, "panel", k):
            found.append(part_record(panel, options))
    return tuple(found)


def part_record(panel: PanelSpec, options: MakeOptions) -> PartRecord | None:
    """The record of the panel's own part, where the job names one."""
    from decalprep.records import list_parts, load_part, part_file

    name = panel["part_record"]
    if not name:
        return None
    if not part_file(options.records, name).exists():
        known = near_first(name, [r.part for r in list_parts(options.records)])
        raise UsageProblem(
            f"there is no part record {name!r} (there are: {known})",
            do="measure the part and 'decalprep part enter' it, or take the key out",
        )
    return load_part(options.records, name)


def compose(
    job: Job,
    pieces: Pieces,
    laid: Laid,
    records: dict[str, PrinterRecord | None],
    finishes: Sequence[Finish],
) -> tuple[tuple[Drawing, ...], tuple[PrinterRecord | None, ...]]:
    """One drawing a sheet, each with its own printer's correction beside it."""
    from decalprep.compose import ComposeSettings, compose_sheets

    by_sheet = tuple(records[sheet.name] for sheet in laid.sheets)
    settings = ComposeSettings(
        title=job["title"],
        decal_marks=(*top_ticks(finishes), *pieces.marks),
        undo_offset=any(sheet.grid is not None for sheet in laid.sheets),
    )
    return compose_sheets(pieces.decals, laid.placements, laid.sheets, settings, by_sheet), by_sheet


def stock_notices(job: Job, laid: Laid) -> tuple[Notice, ...]:
    """Cautions that follow from the stock."""
    found = []
    used = {s.name for s in laid.before if s.gone or s.gone_labels}
    for spec in job.sheets:
        sheet = spec.sheet
        labels = sheet.stock in (StockKind.LABEL, StockKind.DIE_CUT)
        part_used, laser = sheet.name in used, spec.printing == "laser"
        if labels and part_used:
            severity = Severity.DANGER if laser else Severity.WARNING
            found.append(Notice("part-used-labels", PART_USED_LABELS, sheet.name, severity))
        elif part_used and laser:
            found.append(Notice("part-used-laser", PART_USED_LASER, sheet.name))
        elif labels:
            words = "use only stock made for your printer (a laser's fuser is hot); see its sheet"
            found.append(Notice("label-stock", words, sheet.name, Severity.NOTE))
    return tuple(found)


def save(made: Made, folder: Path) -> tuple[Path, ...]:
    """Write the files, all or none, and keep the accepted layout beside the job file.

    Raises:
        OutputProblem: they cannot be written; earlier output is as it was.
    """
    from decalprep.export import write_folder

    paths = write_folder(folder, made.files)
    keep_layout(made.laid, made.job, made.layout, made.records_folder)
    return paths
