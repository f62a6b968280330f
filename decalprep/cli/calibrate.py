"""``decalprep calibrate``: a printer measured, and its record."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from decalprep.cli.groups import NearGroup
from decalprep.cli.text import say, say_notices, wrapped

if TYPE_CHECKING:
    from decalprep.jobs.calibrate import PrinterKey
    from decalprep.model import Notice


def which_printer(function: Callable[..., Any]) -> Callable[..., Any]:
    """The options that say which printer is meant."""
    for option in (
        click.option("--quality", default="", help="Quality setting, if it matters."),
        click.option("--tray", default="", help="Tray or feed, if it matters."),
        click.option(
            "--stock", default="plain paper", show_default=True, help="What is printed on."
        ),
        click.option("--printer", required=True, help="A name of your own for the printer."),
    ):
        function = option(function)
    return function


def how_entered(function: Callable[..., Any]) -> Callable[..., Any]:
    """The options of every way to enter a page."""
    for option in (
        click.option("--instead", is_flag=True, help="In place of the page entered last."),
        click.option(
            "--accept",
            multiple=True,
            type=click.Choice(["dialog-scaling", "misfit"]),
            help="Take readings that would be refused for this reason.",
        ),
        click.option(
            "--measured-on", help="Date of measuring, as 2026-05-31; today, if not given."
        ),
    ):
        function = option(function)
    return function


def _key(printer: str, stock: str, tray: str, quality: str) -> PrinterKey:
    from decalprep.errors import UsageProblem
    from decalprep.jobs.calibrate import PrinterKey

    if not printer.strip():
        raise UsageProblem(
            "--printer is empty", do='give it a name, as in --printer "office laser"'
        )
    return PrinterKey(printer.strip(), stock.strip(), tray.strip(), quality.strip())


@click.group(name="calibrate", cls=NearGroup)
def command() -> None:
    """Measure a printer, so that its sheets come out true.

    Print a calibration page at actual size, let it cool and dry, read its lines with a steel rule,
    enter the readings. From then on sheets for that printer are corrected.

    \b
    Example:
      decalprep calibrate page --printer "office laser"
      decalprep calibrate enter --printer "office laser" \\
        "across1=169.4 across2=169.5 down1=254.7 down2=254.6
         diag1=277.0 diag1=276.9 diag2=276.8 diag2=276.9"
    """


@command.command(name="page")
@which_printer
@click.option("--size", default="A4", show_default=True, help="A4, Letter, A3, Legal or Tabloid.")
@click.option("--uncorrected", is_flag=True, help="Print without the correction so far.")
@click.option("--to", "path", type=click.Path(path_type=Path), help="PDF file to write.")
def page(
    printer: str,
    stock: str,
    tray: str,
    quality: str,
    size: str,
    uncorrected: bool,
    path: Path | None,
) -> None:
    """Write the calibration page to print.

    The black squares hold the page's size and code for a scanner or camera, the same that is
    printed in letters; the discs are for them too. With a rule you need neither.

    \b
    Example:
      decalprep calibrate page --printer "office laser" --size Letter
    """
    from decalprep.export import write_whole
    from decalprep.jobs.calibrate import page_pdf, rule_pictures
    from decalprep.records import records_folder

    key = _key(printer, stock, tray, quality)
    pdf = page_pdf(key, size, records_folder(), uncorrected=uncorrected)
    path = path or Path("calibration-page.pdf")
    lines = path.with_name(f"{path.stem}-lines.png")
    pictures = rule_pictures(key, size)
    write_whole(path, pdf)
    write_whole(lines, pictures)
    say(wrapped(f"Wrote {path}, for {key.title}, and {lines}: where to lay the rule."))
    say(wrapped('Print it at "actual size" or 100 %, without fitting, on the stock named.'))
    say(wrapped("Let it cool and dry, lay it flat, then follow the words on the page."))


@command.command(name="enter")
@which_printer
@click.option("--size", default="A4", show_default=True, help="Size of the page measured.")
@how_entered
@click.option(
    "--picture",
    type=click.Path(path_type=Path),
    help="PNG to write that shows where to lay the rule; made before you are asked.",
)
@click.argument("readings", nargs=-1)
def enter(
    printer: str,
    stock: str,
    tray: str,
    quality: str,
    size: str,
    measured_on: str | None,
    accept: tuple[str, ...],
    picture: Path | None,
    instead: bool,
    readings: tuple[str, ...],
) -> None:
    """Enter what you read from the page; without READINGS you are asked one by one.

    Write name=value for each line, in mm; a decimal comma and unit=in will do, 12.3..267.1 is the
    far reading less the near one, and a line may be read again. Say rule=I, II or III if your rule
    shows its class, code=... the page's code if it was printed with a correction. edge_left= and so
    on are from the paper's edge to line 10 of its ladder, margin_left= and so on what is not
    printed.

    The printed verniers read a plain rule to about 0.05 mm. At each end: whole mm are the rule's
    last mark before line 0; tenths are the number, 0 to 10, of the printed line that best meets a
    mark of the rule. Enter both ends as down1=12.3..267.1 and say method=vernier.

    \b
    Example:
      decalprep calibrate enter --printer "office laser" \\
        "across1=169.4 across2=169.5 down1=254.7 down2=254.6 method=vernier
         diag1=277.0 diag1=276.9 diag2=276.8 diag2=276.9"
    """
    from decalprep.cli.make import today
    from decalprep.export import write_whole
    from decalprep.jobs.calibrate import enter_readings, rule_pictures
    from decalprep.records import records_folder

    key = _key(printer, stock, tray, quality)
    if picture is not None:
        write_whole(picture, rule_pictures(key, size))
        say(wrapped(f"Wrote {picture}: where to lay the rule for each line."))
    text = " ".join(readings) or _asked(key, size)
    entered = enter_readings(
        key,
        size,
        text,
        records_folder(),
        measured_on=measured_on or today(),
        accept=frozenset(accept),
        instead=instead,
    )
    _tell(entered.lines, entered.updated.notices, key)


def _tell(lines: Iterable[str], notices: Iterable[Notice], key: PrinterKey) -> None:
    """What a page that was entered says, and how to use it."""
    from decalprep.jobs.calibrate import like_names
    from decalprep.records import records_folder

    for line in lines:
        say(wrapped(line) if not line.startswith(" ") else line)
    say_notices(notices)
    for words in like_names(key, records_folder()):
        say(wrapped(words))
    say(wrapped(f'Put printer = "{key.printer}" under [[sheet]] in your job file to use it.'))


def _asked(key: PrinterKey, size: str) -> str:
    """The readings, asked for one by one at the terminal."""
    from decalprep.calibration import prompts_for
    from decalprep.jobs.calibrate import layout_for

    say(
        wrapped("Lay a steel rule along each line as the page shows. Enter nothing to skip a line.")
    )
    parts = []
    for prompt in prompts_for(layout_for(key, size).baselines):
        say()
        say(wrapped(prompt.text))
        value = click.prompt(
            f"  {prompt.line} =", default="", show_default=False, prompt_suffix=" "
        )
        if str(value).strip():
            parts.append(f"{prompt.line}={str(value).strip()}")
    for name, words in (
        ("method", "read to the mark (plain) or by the printed vernier (vernier)?"),
        ("rule", "class printed on the rule (I, II, III)?"),
        ("code", "page code, five letters and figures?"),
    ):
        value = click.prompt(f"{words}", default="", show_default=False, prompt_suffix=" ")
        if str(value).strip():
            parts.append(f"{name}={str(value).strip()}")
    return " ".join(parts)


@command.command(name="scan")
@which_printer
@click.option("--size", help="Size of the page; its markers say it, this only checks.")
@click.option("--scanner", default="", help="A name of your own for the scanner, to keep its size.")
@click.option(
    "--rule-along",
    multiple=True,
    type=click.Path(path_type=Path),
    metavar="SCAN",
    help="A scan that shows a steel rule beside the page.",
)
@how_entered
@click.argument("given", nargs=-1, required=True, metavar="SCAN... READINGS")
def scan(
    printer: str,
    stock: str,
    tray: str,
    quality: str,
    size: str | None,
    scanner: str,
    rule_along: tuple[Path, ...],
    measured_on: str | None,
    accept: tuple[str, ...],
    instead: bool,
    given: tuple[str, ...],
) -> None:
    """Enter flatbed scans of the page and the rule reading of a line or two.

    Scan the same printed page twice at 300 dpi: upright, then turned by 90 degrees on the glass (an
    A4 page may hang over). Two scans tell your printer's error from the scanner's; one alone
    corrects nothing. No fitting, straightening or cropping in the scan program. The size comes from
    what you read with a rule, as for 'enter'; method=vernier reads finest.

    Instead of reading it you may scan a steel rule along: millimetre marks face down and flat on
    the glass beside the page, along the glass's long side; the page may hang over the other side.
    Name that scan with --rule-along, and say rule=I, II or III if the rule shows its class.

    \b
    Example:
      decalprep calibrate scan --printer "office laser" upright.png turned.png \\
        "down1=254.62 across1=169.55 method=vernier" --scanner "desk flatbed"
    """
    from decalprep.cli.make import today
    from decalprep.jobs.calibrate_scan import enter_scans, read_pages
    from decalprep.records import records_folder

    key = _key(printer, stock, tray, quality)
    paths, text = scans_and_readings(given)
    scans = read_pages(paths)
    for line in scans.lines:
        say(wrapped(line))
    say()
    scanned = enter_scans(
        key,
        scans,
        text,
        records_folder(),
        size=size,
        scanner=scanner,
        rule_along=rule_along,
        measured_on=measured_on or today(),
        accept=frozenset(accept),
        instead=instead,
    )
    _tell(scanned.lines, scanned.updated.notices, key)


@command.command(name="photos")
@which_printer
@click.option("--size", help="Size of the page; its markers say it, this only checks.")
@how_entered
@click.argument("given", nargs=-1, required=True, metavar="PHOTO... READINGS")
def photos(
    printer: str,
    stock: str,
    tray: str,
    quality: str,
    size: str | None,
    measured_on: str | None,
    accept: tuple[str, ...],
    instead: bool,
    given: tuple[str, ...],
) -> None:
    """Enter four or five photographs of the page and the rule reading of a line or two.

    No scanner at hand? Lay the page flat on a table and photograph it from the left, the right, the
    near and the far side, tilted 20 to 40 degrees, so that it fills the picture. One lens, no zoom,
    no cropping or editing; lock focus and exposure if your phone can (hold a finger on the page):
    that makes the answer several times better. What comes out worse than a plain rule is refused,
    with the reason. The size comes from what you read with a rule, as for 'enter'.

    \b
    Example:
      decalprep calibrate photos --printer "office laser" left.jpg \\
        right.jpg near.jpg far.jpg \\
        "down1=254.62 across1=169.55 method=vernier"
    """
    from decalprep.cli.make import today
    from decalprep.jobs.calibrate_photos import enter_photos, read_photos
    from decalprep.records import records_folder

    key = _key(printer, stock, tray, quality)
    paths, text = scans_and_readings(given)
    entered = enter_photos(
        key,
        read_photos(paths),
        text,
        records_folder(),
        size=size,
        measured_on=measured_on or today(),
        accept=frozenset(accept),
        instead=instead,
    )
    _tell(entered.lines, entered.updated.notices, key)


def scans_and_readings(given: tuple[str, ...]) -> tuple[list[Path], str]:
    """What was given taken apart: files, and readings as name=value."""
    from decalprep.errors import UsageProblem

    paths = [Path(g) for g in given if "=" not in g or Path(g).is_file()]
    text = " ".join(g for g in given if "=" in g and not Path(g).is_file())
    if not paths:
        raise UsageProblem(
            "no picture is named", do="give the files of the pictures, then the readings"
        )
    return paths, text


@command.command(name="list")
def list_records() -> None:
    """List the printer records there are.

    \b
    Example:
      decalprep calibrate list
    """
    from decalprep.jobs.calibrate import record_lines
    from decalprep.records import list_printers, records_folder

    folder = records_folder()
    records = list_printers(folder)
    if not records:
        say(wrapped(f"No printer records in {folder} yet; begin with 'decalprep calibrate page'."))
    for line in record_lines(records):
        say(
            wrapped(line, "    ")
            if not line.startswith(" ")
            else "  " + wrapped(line.strip(), "    ")
        )


@command.command(name="show")
@click.argument("printer")
@click.option("--stock", help="Which record, if the printer has several.")
@click.option("--tray", help="Which record, if the printer has several.")
@click.option("--quality", help="Which record, if the printer has several.")
@click.option("--size", default="A4", show_default=True, help="Page whose code is told.")
def show(printer: str, stock: str | None, tray: str | None, quality: str | None, size: str) -> None:
    """Tell all about PRINTER's record: its pages, drift and scatter, and what is left to gain.

    \b
    Example:
      decalprep calibrate show "office laser"
    """
    from decalprep.calibration import check_record
    from decalprep.cli.make import today
    from decalprep.jobs.calibrate_show import show_lines
    from decalprep.records import find_printer, records_folder

    record = find_printer(records_folder(), printer, stock=stock, tray=tray, quality=quality)
    for line in show_lines(record, size):
        say(line if line.startswith(" ") else wrapped(line))
    say_notices(check_record(record, today=today(), stock=record.stock))


@command.command(name="export")
@click.argument("printer")
@click.argument("path", type=click.Path(path_type=Path))
def export_record(printer: str, path: Path) -> None:
    """Write PRINTER's record with its whole history to the file PATH.

    \b
    Example:
      decalprep calibrate export "office laser" office-laser.json
    """
    from decalprep.records import export_printer, find_printer, records_folder

    export_printer(find_printer(records_folder(), printer), path)
    say(wrapped(f"Wrote {path}."))


@command.command(name="import")
@click.argument("path", type=click.Path(path_type=Path))
@click.option("--replace", is_flag=True, help="Replace a record of the same name.")
def import_record(path: Path, replace: bool) -> None:
    """Take the exported printer record in the file PATH.

    \b
    Example:
      decalprep calibrate import office-laser.json
    """
    from decalprep.records import import_printer, records_folder

    record = import_printer(records_folder(), path, replace=replace)
    say(wrapped(f"Took in the record of {record.printer}, {record.stock}."))
