"""``decalprep make``: the sheets of a job, proven."""

from __future__ import annotations

import datetime
import os
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from decalprep.cli.interrupts import Interrupts
from decalprep.cli.text import Progress, say, wrapped

if TYPE_CHECKING:
    from decalprep.jobs.spec import Job


@click.command(name="make")
@click.argument("job_file", type=click.Path(path_type=Path))
@click.option(
    "--to",
    "folder",
    type=click.Path(path_type=Path),
    help="Folder for the results; JOB-FILE's name with -out, if not given.",
)
@click.option("--printer", help="Correct all sheets by this printer record.")
@click.option(
    "--anew",
    is_flag=True,
    help="Lay all out again; keep no place of an earlier run.",
)
@click.option("--keep", multiple=True, help="Lay all out again but this decal or piece.")
@click.option("--json", "as_json", is_flag=True, help="Print the result as JSON.")
@click.option(
    "--dpi", default=150.0, show_default=True, help="Dots an inch of the pictures of the sheets."
)
@click.option(
    "--seconds",
    type=float,
    help="Look for fewer sheets so long at most; runs differ.",
)
@click.option(
    "--keep-leftovers", is_flag=True, help="Remember what is left of the sheets, for later jobs."
)
@click.option("--again", multiple=True, help='Print only this piece once more, as in "bezel#2".')
@click.option("--fresh-sheet", is_flag=True, help="With --again: print it on a new sheet.")
@click.option("--private", is_flag=True, help="Leave job file and artworks out of the PDF.")
def command(job_file: Path, folder: Path | None, printer: str | None, **how: Any) -> None:
    """Make the sheets of JOB_FILE, prove them by measuring, and write all files.

    Nothing is written unless every decal measures true in the file. sheets.pdf carries the job
    file, the artworks and the records used, so that it can be made again from the PDF alone
    ('decalprep unpack'); --private leaves them out.

    --again prints spoiled pieces once more on what is free of a sheet that was printed; nothing
    else is printed, and nothing on top of what is there. Its results go to JOB-FILE-again-1, -2
    and so on. 'decalprep stock' tells of part-used sheets.

    Ctrl-C while nesting ends the search: the run goes on with the best layout so far. At any other
    time, or the second time, it ends the run and nothing is written.

    \b
    Example:
      decalprep make job.toml --printer "office laser"
      decalprep make job.toml --again "bezel#2"
    """
    from decalprep.jobs.jobfile import read_job, with_printer

    job = read_job(job_file)
    if printer:
        job = with_printer(job, printer)
    folder = folder or _folder_for(job_file, again=bool(how["again"]))
    run_job(job, folder, RunChoices(**how))


def _folder_for(job_file: Path, *, again: bool) -> Path:
    """Where results go: beside the job file; for pieces printed again the next free number."""
    if not again:
        return job_file.with_name(job_file.stem + "-out")
    number = 1
    while (folder := job_file.with_name(f"{job_file.stem}-again-{number}")).exists():
        number += 1
    return folder


@dataclass(frozen=True)
class RunChoices:
    """How one job is run and told; ``dpi`` is of the pictures of the sheets."""

    anew: bool = False
    as_json: bool = False
    dpi: float = 150.0
    private: bool = False
    seconds: float | None = None
    keep_leftovers: bool = False
    again: tuple[str, ...] = ()
    fresh_sheet: bool = False
    keep: tuple[str, ...] = ()


def run_job(job: Job, folder: Path, choices: RunChoices) -> None:
    """Make, save and tell one job."""
    from decalprep.errors import UsageProblem
    from decalprep.jobs.make import MakeOptions, make_job, save, steps_of
    from decalprep.jobs.memory import keep_freed
    from decalprep.records import records_folder

    keep_freed()
    if not 20 <= choices.dpi <= 1200:
        raise UsageProblem(f"--dpi {choices.dpi:g} is out of range", do="choose from 20 to 1200")
    interrupts = Interrupts()
    options = MakeOptions(
        records=records_folder(),
        today=today(),
        anew=choices.anew,
        date=pdf_date(),
        preview_dpi=choices.dpi,
        private=choices.private,
        seconds=choices.seconds,
        keep_leftovers=choices.keep_leftovers,
        again=choices.again,
        fresh_sheet=choices.fresh_sheet,
        keep=choices.keep,
        search_over=interrupts.search_over,
    )
    interrupts.listen()
    with Progress(steps_of(job), interrupts) as progress:
        made = make_job(job, options, progress)
        progress("writing the files")
        save(made, folder)
    from decalprep.jobs.tell import result_json, result_text

    if choices.as_json:
        say(result_json(made).rstrip())
        return
    say(result_text(made).rstrip())
    say()
    say(wrapped(f"Wrote {len(made.files)} files to {folder}; open report.html first."))
    say(wrapped('Print sheets.pdf at "actual size" or 100 %, then measure the check bars.'))


def today() -> str:
    """Today's date, or that of SOURCE_DATE_EPOCH where it is set."""
    return _now().date().isoformat()


def pdf_date() -> str | None:
    """A date for the PDF only where SOURCE_DATE_EPOCH asks for one, so that bytes repeat."""
    if not os.environ.get("SOURCE_DATE_EPOCH", "").isdigit():
        return None
    return _now().strftime("D:%Y%m%d%H%M%SZ")


def _now() -> datetime.datetime:
    from decalprep.errors import UsageProblem

    epoch = os.environ.get("SOURCE_DATE_EPOCH", "")
    zone = datetime.timezone.utc  # noqa: UP017
    if not epoch:
        return datetime.datetime.now(zone)
    try:
        if not epoch.isdecimal():
            raise ValueError(epoch)
        return datetime.datetime.fromtimestamp(int(epoch), zone)
    except (ValueError, OverflowError, OSError):
        raise UsageProblem(
            f"SOURCE_DATE_EPOCH is {epoch[:30]!r}", do="give seconds since 1970, or unset it"
        ) from None
