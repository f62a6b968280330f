"""``decalprep demo``: the demo console, end to end."""

from pathlib import Path

import click

from decalprep.cli.text import say, wrapped


@click.command(name="demo")
@click.argument("folder", default="demo-out", type=click.Path(path_type=Path))
def command(folder: Path) -> None:
    """Make the demo: the bridge console of a harbour tug trainer, in FOLDER.

    Writes the artworks and job file it starts from (in FOLDER/console), the sheets, their proof
    and pictures.

    \b
    Example:
      decalprep demo
    """
    from decalprep.cli.make import RunChoices, run_job
    from decalprep.jobs.demo import lay_out_demo

    job = lay_out_demo(folder)
    say(wrapped(f"The demo's artworks and job file are in {job.folder}; they are yours to change."))
    say()
    run_job(job, folder, RunChoices(anew=True))
