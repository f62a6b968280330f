"""The files of a run: the PDF and its proof, and beside the proof all that does not wait for it."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace
from functools import partial
from typing import TYPE_CHECKING, Any

from decalprep.errors import ProofFailed
from decalprep.geometry import Affine
from decalprep.jobs.crew import Say, all_done
from decalprep.jobs.expect import expected_job
from decalprep.jobs.finish import costs_of, cut_files, ink_of, mask_drawings
from decalprep.jobs.prepare import Prepared
from decalprep.jobs.spec import Job
from decalprep.jobs.stroke_effects import PanelEffect, stroke_effects
from decalprep.model import Drawing

if TYPE_CHECKING:
    from decalprep.export.buildsheet_costs import InkCoverage
    from decalprep.jobs.lay import Laid
    from decalprep.jobs.make import Made, MakeOptions
    from decalprep.jobs.report import Drawn
    from decalprep.proof import ExpectedJob, Proof
    from decalprep.proof.proving import Share

TOLERANCE_MM = 0.02


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
    share: Share | None = None,
) -> Proof:
    """The proof of the PDF; that of a private one also holds that nothing is attached.

    ``share`` may do parts of it in other processes.

    Raises:
        ProofFailed: it does not measure true.
    """
    corrections = [drawing.page_from_sheet for drawing in drawings]
    expected = expected_job(prepared, laid.placements, laid.sheets, corrections, job)
    expected = replace(expected, attachments_allowed=not private)
    return _prove(pdf, expected, job.source.name, share)


def _prove(pdf: bytes, expected: ExpectedJob, where: str, share: Share | None = None) -> Proof:
    from decalprep.proof import prove
    from decalprep.proof.proving import in_turn

    proof = prove(pdf, expected, tolerance_mm=TOLERANCE_MM, share=share or in_turn)
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


class Beside:
    """What is made of a run's PDF while it is proven: called with the proof's tasks, it does both.

    What it made can be had afterwards; nothing of it is written before the proof passed.
    """

    def __init__(self, made: Made, pdf: bytes, options: MakeOptions, say: Say) -> None:
        self.made, self.pdf, self.options, self.say = made, pdf, options, say
        self.files: dict[str, bytes] = {}
        self.drawn: Drawn | None = None
        self.effects: tuple[PanelEffect, ...] = ()
        self.ink: tuple[InkCoverage, ...] = ()

    def __call__(self, tasks: Sequence[Callable[[], Any]]) -> list[Any]:
        """What the tasks gave, in their order."""
        from decalprep.jobs.panel_pictures import panels_built
        from decalprep.jobs.report import Drawn, further_drawn, places_drawn, sheets_drawn

        made, pdf = self.made, self.pdf

        def further() -> tuple[dict[str, bytes], Any]:
            files = further_sheets(made, self.options)
            return files, further_drawn(files)

        def cut() -> dict[str, bytes]:
            return cut_files(made.drawings, made.pieces.decals, made.finishes)

        # the longest first, so that nobody is left with one of them at the end
        own: list[Callable[[], Any]] = [partial(stroke_effects, made.prepared)]
        own += [partial(panels_built, made, pdf), further, cut]
        own += [partial(draw, made, pdf) for draw in (sheets_drawn, places_drawn)]
        own += [partial(self._preview, k) for k in range(len(made.drawings))]
        every = [_untold(task) for task in (*own, *tasks)]
        self.effects, (builds, panels), (more, extra), cuts, sheets, places, *rest = all_done(
            every, self.say
        )
        seen = rest[: len(made.drawings)]
        self.files = {"sheets.pdf": pdf}
        self.files |= {f"sheet-{k}.png": png for k, (png, _) in enumerate(seen, 1)}
        self.files |= {**more, **cuts, "build-sheets.pdf": builds}
        self.ink = tuple(ink for _, ink in seen)
        self.drawn = Drawn(sheets, extra, panels, places)
        return rest[len(made.drawings) :]

    def _preview(self, page: int) -> tuple[bytes, InkCoverage]:
        """The picture of a sheet as PNG, and the ink in it."""
        from decalprep.export.preview import png_of, preview

        picture = preview(self.pdf, page, self.options.preview_dpi)
        ink = ink_of(picture, self.made.laid.sheets[page])
        return png_of(picture, self.options.preview_dpi), ink


def _untold(task: Callable[[], Any]) -> Callable[[Say], Any]:
    return lambda _: task()


def with_files(made: Made, beside: Beside) -> Made:
    """The result with all its files by name, its ink and its costs."""
    from decalprep.jobs.prints import PRINTS_FILE, prints_made
    from decalprep.jobs.report import report_html
    from decalprep.jobs.tell import result_json, result_text

    files, laid = dict(beside.files), made.laid
    costs = costs_of(laid, made.pieces.decals)
    made = replace(made, ink=beside.ink, costs=costs, effects=beside.effects)
    files["proof.txt"] = result_text(made).encode()
    files["result.json"] = result_json(made).encode()
    files[PRINTS_FILE] = prints_made(made)
    files["report.html"] = report_html(made, files, beside.drawn)
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
    unders, tiles = made.pieces.underlays, made.pieces.marks
    if unders:
        decals, laid = made.pieces.decals, made.laid
        title = underlay_title(made.job["title"], unders)
        settings = ComposeSettings(title=title, decal_marks=tiles)
        drawings = underlay_drawings(
            unders, decals, laid.placements, laid.sheets, settings, made.records
        )
        pdf = written(made.job, drawings, options)
        corrections = corrections_of(made)
        _prove(
            pdf,
            expected_underlays(
                unders, decals, laid.placements, laid.sheets, corrections, tiles=made.pieces.all
            ),
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


def corrections_of(made: Made) -> tuple[Affine, ...]:
    """The correction of each sheet."""
    return tuple(drawing.page_from_sheet for drawing in made.drawings)
