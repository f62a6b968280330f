"""``decalprep make``: the sheets of a job, proven."""

import datetime
import os
from pathlib import Path

import click

from decalprep.cli.text import Progress, say, say_notices, wrapped


@click.command(name="make")
@click.argument("job_file", type=click.Path(path_type=Path))
@click.option(
    "--to",
    "folder",
    type=click.Path(path_type=Path),
    help="Folder for the results; JOB-FILE's name with -out, if not given.",
)
@click.option("--printer", help="Correct all sheets by this printer record.")
@click.option("--anew", is_flag=True, help="Nest all again; do not keep earlier places.")
@click.option("--json", "as_json", is_flag=True, help="Print the result as JSON.")
@click.option("--dpi", default=150.0, show_default=True, help="Of the pictures of the sheets.")
def command(
    job_file: Path, folder: Path | None, printer: str | None, anew: bool, as_json: bool, dpi: float
) -> None:
    """Make the sheets of JOB_FILE, prove them by measuring, and write all files.

    Nothing is written unless every decal measures true in the file.

    \b
    Example:
      decalprep make job.toml --printer "office laser"
    """
    from decalprep.jobs.jobfile import read_job, with_printer

    job = read_job(job_file)
    if printer:
        job = with_printer(job, printer)
    folder = folder or job_file.with_name(job_file.stem + "-out")
    run_job(job, folder, anew=anew, as_json=as_json, dpi=dpi)


def run_job(job, folder: Path, *, anew: bool, as_json: bool, dpi: float) -> None:  # type: ignore[no-untyped-def]
    """Make, save and tell one job."""
    from decalprep.errors import UsageProblem
    from decalprep.jobs.make import MakeOptions, make_job, save
    from decalprep.jobs.tell import result_json, result_text
    from decalprep.records import records_folder

    if not 20 <= dpi <= 1200:
        raise UsageProblem(f"--dpi {dpi:g} is out of range", do="choose from 20 to 1200")
    options = MakeOptions(
        records=records_folder(), today=today(), anew=anew, date=pdf_date(), preview_dpi=dpi
    )
    progress = Progress()
    try:
        made = make_job(job, options, progress)
        save(made, folder)
    finally:
        progress.done()
    if as_json:
        say(result_json(made).rstrip())
        return
    say(result_text(made).rstrip())
    say()
    say_notices((), notes=False)
    say(wrapped(f"Wrote {len(made.files)} files to {folder}: sheets.pdf, its pictures, proof.txt."))
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
    epoch = os.environ.get("SOURCE_DATE_EPOCH", "")
    zone = datetime.timezone.utc  # noqa: UP017
    if epoch.isdigit():
        return datetime.datetime.fromtimestamp(int(epoch), zone)
    return datetime.datetime.now(zone)
