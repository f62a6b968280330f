"""Making a job's sheets: the order of the steps, on one screen, and the result to be told."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from contextlib import nullcontext
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING

from decalprep.errors import ProofFailed, UsageProblem, near_first
from decalprep.geometry import Affine
from decalprep.jobs.arrange import arranged, keep_layout, layout_text, started, with_used
from decalprep.jobs.carry import carried
from decalprep.jobs.expect import expected_job
from decalprep.jobs.finish import (
    Finish,
    build_sheets,
    costs_of,
    cut_files,
    finish_panel,
    ink_of,
    mask_drawings,
    top_ticks,
)
from decalprep.jobs.groups import never
from decalprep.jobs.job_faults import job_names
from decalprep.jobs.lay import Laid
from decalprep.jobs.leftovers import PART_USED_LABELS, PART_USED_LASER
from decalprep.jobs.prepare import Prepared, prepare_panel
from decalprep.jobs.spec import Job, PanelSpec
from decalprep.jobs.stroke_effects import PanelEffect, stroke_effects
from decalprep.jobs.tiling import Pieces
from decalprep.model import Drawing, Notice, PartRecord, PrinterRecord, Severity, StockKind

if TYPE_CHECKING:
    from decalprep.export.buildsheet_costs import InkCoverage, PanelCost
    from decalprep.proof import ExpectedJob, Proof

PREVIEW_DPI = 150.0
TOLERANCE_MM = 0.02

Say = Callable[[str], None]


@dataclass(frozen=True)
class MakeOptions:
    """What the command line adds to a job file.

    ``records`` is the folder of printer and part records; ``today`` an ISO date, for the age of a
    record; ``anew`` nests all again; ``date`` a PDF date or None; ``private`` leaves job and
    artworks out of the PDF. ``seconds`` ends the nesting by the clock; ``keep_leftovers`` remembers
    what is left of the sheets; ``again`` names the pieces to print once more, on what is free of an
    earlier sheet or on a ``fresh_sheet``. ``search_over`` is asked often while nesting and ends it
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
    prepared = tuple(
        prepare_panel(p, job, part, say) for p, part in zip(job.panels, parts, strict=True)
    )
    finishes = tuple(
        finish_panel(panel, one, job) for panel, one in zip(job.panels, prepared, strict=True)
    )
    say("nesting: laying out")
    pieces, laid = arranged(start, prepared, options, say)
    say("composing")
    drawings, by_sheet = compose(job, pieces, laid, records, finishes)
    laid = with_used(laid, drawings, pieces.decals, options)
    say("writing the PDF")
    layout = layout_text(start, laid, pieces.decals)
    inside = carried(job, layout, tuple(records.values()), parts, options)
    pdf = written(job, drawings, options, inside.attachments)
    say("proving")
    proof = proven(pdf, pieces.all, laid, drawings, job, private=options.private)
    notices = (
        *record_notices,
        *laid.notices,
        *(n for f in finishes for n in f.notices),
        *(n for p in pieces.panels for n in p.notices),
        *(n for d in drawings for n in d.notices),
        *proof.notices,
        *stock_notices(job, laid),
        *inside.notices,
    )
    made = Made(job, pieces, finishes, laid, by_sheet, drawings, proof, {}, notices, parts)
    made = replace(made, layout=layout, records_folder=options.records)
    made = replace(made, effects=stroke_effects(made.prepared))
    say("drawing the pictures and the report")
    return with_files(made, pdf, options)


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


def written(
    job: Job,
    drawings: Sequence[Drawing],
    options: MakeOptions,
    attachments: tuple[tuple[str, bytes], ...] = (),
) -> bytes:
    """The PDF."""
    from decalprep.export import PdfSettings, write_pdf

    settings = PdfSettings(title=job["title"], date=options.date, attachments=attachments)
    return write_pdf(drawings, settings)


def proven(
    pdf: bytes,
    prepared: Sequence[Prepared],
    laid: Laid,
    drawings: Sequence[Drawing],
    job: Job,
    *,
    private: bool = False,
) -> Proof:
    """The proof of the PDF; that of a private one also holds that nothing is attached.

    Raises:
        ProofFailed: it does not measure true.
    """
    corrections = [drawing.page_from_sheet for drawing in drawings]
    expected = expected_job(prepared, laid.placements, laid.sheets, corrections, job)
    return _prove(pdf, replace(expected, attachments_allowed=not private), job.source.name)


def _prove(pdf: bytes, expected: ExpectedJob, where: str) -> Proof:
    from decalprep.proof import prove

    proof = prove(pdf, expected, tolerance_mm=TOLERANCE_MM)
    if not proof.passed:
        raise ProofFailed(
            f"the sheets do not measure true: {_first(proof.faults)}",
            where=where,
            do="nothing was written; please report this job",
        )
    return proof


def _first(faults: Sequence[str]) -> str:
    more = f" (and {len(faults) - 1} more)" if len(faults) > 1 else ""
    return f"{faults[0]}{more}" if faults else "nothing was measured"


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


def with_files(made: Made, pdf: bytes, options: MakeOptions) -> Made:
    """The result with all its files by name, its ink and its costs."""
    from decalprep.export import preview_png
    from decalprep.jobs.prints import PRINTS_FILE, prints_made
    from decalprep.jobs.report import report_html
    from decalprep.jobs.tell import result_json, result_text

    decals = made.pieces.decals
    files = {"sheets.pdf": pdf}
    pictures = [preview_png(pdf, k, options.preview_dpi) for k in range(len(made.drawings))]
    files |= {f"sheet-{k}.png": data for k, data in enumerate(pictures, 1)}
    files |= further_sheets(made, options)
    files |= cut_files(made.drawings, decals, made.finishes)
    files["build-sheets.pdf"] = build_sheets(made)
    made = replace(made, ink=ink_of(pictures, made.laid.sheets), costs=costs_of(made.laid, decals))
    files["proof.txt"] = result_text(made).encode()
    files["result.json"] = result_json(made).encode()
    files[PRINTS_FILE] = prints_made(made)
    files["report.html"] = report_html(made, files)
    return replace(made, files=files)


def further_sheets(made: Made, options: MakeOptions) -> dict[str, bytes]:
    """Underlays and paint masks as PDFs of their own, proven too, where the job has them.

    Raises:
        ProofFailed: one of them does not measure true.
    """
    from decalprep.calibration import correction_for
    from decalprep.compose import ComposeSettings, underlay_drawings
    from decalprep.jobs.expect_more import expected_masks, expected_underlays
    from decalprep.jobs.finish import mask_sheet, placed_masks, underlay_title

    files = {}
    unders = [f.underlay for f in made.finishes if f.underlay is not None]
    if unders:
        decals, laid = made.pieces.decals, made.laid
        settings = ComposeSettings(title=underlay_title(made.job["title"], unders))
        drawings = underlay_drawings(
            unders, decals, laid.placements, laid.sheets, settings, made.records
        )
        pdf = written(made.job, drawings, options)
        corrections = corrections_of(made)
        _prove(
            pdf,
            expected_underlays(unders, decals, laid.placements, laid.sheets, corrections),
            "underlays.pdf",
        )
        files["underlays.pdf"] = pdf
    sheet, record = mask_sheet(made.job.sheets[0].sheet), made.records[0]
    masks = mask_drawings(made.finishes, sheet, record)
    if masks:
        pdf = written(made.job, masks, options)
        placed = placed_masks(made.finishes, sheet)
        _prove(pdf, expected_masks(placed, sheet, correction_for(record, sheet)), "paint-masks.pdf")
        files["paint-masks.pdf"] = pdf
    return files


def save(made: Made, folder: Path) -> tuple[Path, ...]:
    """Write the files, all or none, and keep the accepted layout beside the job file.

    Raises:
        OutputProblem: they cannot be written; earlier output is as it was.
    """
    from decalprep.export import write_folder

    paths = write_folder(folder, made.files)
    keep_layout(made.laid, made.job, made.layout, made.records_folder)
    return paths


def corrections_of(made: Made) -> tuple[Affine, ...]:
    """The correction of each sheet."""
    return tuple(drawing.page_from_sheet for drawing in made.drawings)
