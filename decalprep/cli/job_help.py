"""``decalprep job-help``: every key of a job file."""

import click

from decalprep.cli.text import say


@click.command(name="job-help")
@click.argument("about", required=False)
def command(about: str | None) -> None:
    """Explain every key of a job file, or of ABOUT: one table of it, or one key.

    \b
    Example:
      decalprep job-help panel
      decalprep job-help outline_layer
    """
    from decalprep.jobs.manual import manual

    for line in manual(about):
        say(line)
