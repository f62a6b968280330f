"""``decalprep new``: a commented job file to start from."""

from pathlib import Path

import click

from decalprep.cli.text import say, wrapped


@click.command(name="new")
@click.argument("files", nargs=-1, required=True, type=click.Path(path_type=Path))
@click.option(
    "--to",
    "job_file",
    default="job.toml",
    show_default=True,
    type=click.Path(path_type=Path),
    help="The job file to write.",
)
@click.option(
    "--page", default="A4", show_default=True, help="Page size of the sheets, such as Letter or A3."
)
@click.option("--force", is_flag=True, help="Replace a job file that is there already.")
def command(files: tuple[Path, ...], job_file: Path, page: str, force: bool) -> None:
    """Write a commented job file for the artwork (and part) FILES.

    What the files say is filled in: true sizes, and the layers of the cut outline and the holes
    where their names are plain. A part (STL, 3MF, OBJ, DXF) goes with the artwork whose name its
    own starts with.

    \b
    Example:
      decalprep new engine.svg engine.stl winch.pdf --page Letter
    """
    from decalprep.errors import UsageProblem
    from decalprep.export import write_whole
    from decalprep.jobs.starter import start_job
    from decalprep.units import page_size_mm

    page_size_mm(page)
    if job_file.exists() and not force:
        raise UsageProblem(
            f"{job_file} is there already", do="choose another with --to, or --force"
        )
    started = start_job(list(files), job_file, page=page)
    write_whole(job_file, started.text.encode("utf-8"))
    for note in started.notes:
        say(wrapped(note))
    say(f"Wrote {job_file}. Look it over, then: decalprep make {job_file}")
