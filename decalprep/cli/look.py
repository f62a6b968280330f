"""``decalprep look``: what one file holds."""

from pathlib import Path

import click

from decalprep.cli.text import say, say_notices


@click.command(name="look")
@click.argument("path", type=click.Path(path_type=Path))
@click.option("--width", help='True width of the page, as "120 mm".')
@click.option("--height", help='True height of the page, as "80 mm".')
@click.option("--page", default=1, show_default=True, help="Page of a PDF.")
def command(path: Path, width: str | None, height: str | None, page: int) -> None:
    """Tell what the artwork or part file PATH holds, and how large it is.

    Its size and what says so, its layers, its strokes by width, and what to look out for. Nothing
    is changed.

    \b
    Example:
      decalprep look engine.svg
    """
    from decalprep.jobs.look import look_at
    from decalprep.units import parse_length_mm

    looked = look_at(
        path,
        width_mm=parse_length_mm(width, what="--width") if width else None,
        height_mm=parse_length_mm(height, what="--height") if height else None,
        page=page,
    )
    for line in looked.lines:
        say(line)
    if looked.notices:
        say()
        say_notices(looked.notices)
