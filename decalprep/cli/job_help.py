"""``decalprep job-help``: every key of a job file."""

import click

from decalprep.cli.text import say


@click.command(name="job-help")
@click.argument("table", required=False)
def command(table: str | None) -> None:
    """Explain every key of a job file, or of one TABLE of it.

    \b
    Example:
      decalprep job-help panel
    """
    from decalprep.jobs.manual import manual

    for line in manual(table):
        say(line)
