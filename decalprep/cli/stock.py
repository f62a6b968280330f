"""``decalprep stock``: part-used sheets that are kept for the next job."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import TYPE_CHECKING

import click

from decalprep.cli.groups import NearGroup
from decalprep.cli.text import say, say_notices, wrapped

if TYPE_CHECKING:
    from decalprep.jobs.used import UsedOptions


@click.group(name="stock", cls=NearGroup)
def command() -> None:
    """Part-used sheets: what is remembered of them.

    'decalprep make JOB --keep-leftovers' remembers what a run leaves of its sheets; leftovers =
    true on a [[sheet]] of the same stock and size uses it first. 'decalprep stock scan' finds what
    is gone of any sheet from a scan of it.

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


@command.command(name="scan")
@click.argument("scan", type=click.Path(path_type=Path))
@click.argument("name")
@click.option("--job", type=click.Path(path_type=Path), help="Job file that describes the stock.")
@click.option("--sheet", help="Which [[sheet]] of it, where there are several.")
@click.option(
    "--turn",
    type=click.Choice(["0", "90", "180", "270"]),
    help="Degrees it lies turned counter-clockwise, if it bears no check bars.",
)
@click.option("--margin", default="2 mm", show_default=True, help="Kept off what is gone.")
@click.option("--whole-at", help="A place of whole stock, from the lower left: 20mm,250mm.")
@click.option("--to", type=click.Path(path_type=Path), help="The picture; SCAN-gone.png if not.")
@click.option("--yes", is_flag=True, help="Remember it without asking.")
def scan(scan: Path, name: str, job: Path | None, sheet: str | None, **how: str | None) -> None:
    """Find in SCAN what is gone of a used sheet, and remember it as NAME.

    Scan the sheet face down on a flatbed at 100 to 600 dpi in colour, with a dark sheet of paper
    behind it that shows on all sides. What is peeled, cut out or printed is gone, with a margin;
    a picture shows it before it is kept. Compare it with the sheet: liner of nearly the stock's
    colour is not seen.

    \b
    Example:
      decalprep stock scan used.png "half a sheet" --job job.toml
    """
    from decalprep.errors import UsageProblem
    from decalprep.export import write_whole
    from decalprep.jobs.used import keep_used, scan_used, used_lines
    from decalprep.records import records_folder

    picture = Path(how["to"] or scan.with_name(scan.stem + "-gone.png"))
    if picture.resolve() == scan.resolve():
        raise UsageProblem("--to names the scan itself", do="give the picture another name")
    scanned = scan_used(records_folder(), scan, name, _used_options(job, sheet, how))
    for line in used_lines(scanned):
        say(wrapped(line))
    say_notices(scanned.notices)
    write_whole(picture, scanned.picture)
    say(wrapped(f"Wrote {picture}: what is gone is hatched."))
    asked = bool(how["yes"]) or sys.stdin.isatty()
    if not asked:
        say(wrapped("Nothing is remembered yet: look at the picture, then add --yes."))
    elif how["yes"] or click.confirm("Is that what is gone?"):
        say(wrapped(keep_used(records_folder(), scanned)))


def _used_options(job: Path | None, sheet: str | None, how: dict[str, str | None]) -> UsedOptions:
    """The options as values.

    Raises:
        UsageProblem: a length or a place that is none.
    """
    from decalprep.errors import UsageProblem
    from decalprep.jobs.used import UsedOptions
    from decalprep.scan import UsedChoices
    from decalprep.units import parse_length_mm

    margin = parse_length_mm(how["margin"] or "2 mm")
    if not 0.5 <= margin <= 20:
        raise UsageProblem(f"--margin {how['margin']} is out of range", do="choose 0.5 to 20 mm")
    place = None
    if how["whole_at"]:
        parts = how["whole_at"].split(",")
        if len(parts) != 2:
            raise UsageProblem(f"--whole-at {how['whole_at']!r} is no place", do="give 20mm,250mm")
        place = (parse_length_mm(parts[0]), parse_length_mm(parts[1]))
    turn = None if how["turn"] is None else int(how["turn"])
    return UsedOptions(job, sheet, UsedChoices(turn, margin, place))
