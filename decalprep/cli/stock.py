"""``decalprep stock``: part-used sheets that are kept for the next job."""

import click

from decalprep.cli.text import say, wrapped


@click.group(name="stock")
def command() -> None:
    """Part-used sheets: what is remembered of them.

    'decalprep make JOB --keep-leftovers' remembers what a run leaves of its sheets; leftovers =
    true on a [[sheet]] of the same stock and size uses it first.

    \b
    Example:
      decalprep stock list
      decalprep stock forget "plain paper 210 x 297 mm"
    """


@command.command(name="list")
def list_them() -> None:
    """List the part-used sheets and what is left of each.

    \b
    Example:
      decalprep stock list
    """
    from decalprep.jobs.stock import stock_lines
    from decalprep.records import records_folder

    for line in stock_lines(records_folder()):
        say(wrapped(line))


@command.command(name="forget")
@click.argument("name")
def forget(name: str) -> None:
    """Forget the part-used sheet NAME: it is used up or thrown away.

    \b
    Example:
      decalprep stock forget "plain paper 210 x 297 mm"
    """
    from decalprep.records import forget_sheet, records_folder

    path = forget_sheet(records_folder(), name)
    say(wrapped(f"Forgotten: {name} ({path.name})."))


@command.command(name="gone")
@click.argument("name")
@click.argument("areas", nargs=-1, required=True)
def gone(name: str, areas: tuple[str, ...]) -> None:
    """Mark AREAS of the part-used sheet NAME as gone: labels as 4 or 4-6, or rectangles.

    A rectangle is left, bottom, width and height from the sheet's lower left corner, with units.

    \b
    Example:
      decalprep stock gone "plain paper 210 x 297 mm" "0mm,0mm,80mm,60mm"
    """
    from decalprep.jobs.stock import mark_gone
    from decalprep.records import records_folder

    for line in mark_gone(records_folder(), name, areas):
        say(wrapped(line))
