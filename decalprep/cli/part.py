"""``decalprep part``: what one printed part measures, so that its decal fits it."""

from pathlib import Path

import click

from decalprep.cli.groups import NearGroup
from decalprep.cli.text import say, say_notices, wrapped


@click.group(name="part", cls=NearGroup)
def command() -> None:
    """Record what one printed part measures; its decal is then fitted to it.

    Measure from hole to hole: near edges and far edges of two holes, with a caliper, for pairs
    across and pairs up, as far apart as you can. Best use the rule or caliper that measured the
    calibration page too: its own error then cancels.

    \b
    Example:
      decalprep part holes job.toml engine
      decalprep part enter job.toml engine "h1-h2=127.6/134.4 h1-h11=77.5/84.3"
    """


@command.command(name="holes")
@click.argument("job_file", type=click.Path(path_type=Path))
@click.argument("panel")
def holes(job_file: Path, panel: str) -> None:
    """List the holes of PANEL by label, to know which is which on the part.

    Each hole's centre is told in mm from the lower left corner of the box round the decal's cut
    outline, x to the right, y up, as the drawing stands. The build sheet shows the labels on a
    picture. ([[panel.hole]] in a job file counts from the lower left of the drawing page instead.)

    \b
    Example:
      decalprep part holes job.toml engine
    """
    from decalprep.jobs.jobfile import read_job
    from decalprep.jobs.parts import decal_of, hole_lines

    for line in hole_lines(decal_of(read_job(job_file), panel)):
        say(line)


@command.command(name="enter")
@click.argument("job_file", type=click.Path(path_type=Path))
@click.argument("panel")
@click.argument("readings", nargs=-1, required=True)
@click.option("--name", help="Name of the record; the panel's, if not given.")
@click.option(
    "--same-rule/--other-rule",
    default=False,
    help="Whether the same rule measured the calibration page.",
)
@click.option("--measured-on", help="Date of measuring, as 2026-05-31; today, if not given.")
def enter(
    job_file: Path,
    panel: str,
    readings: tuple[str, ...],
    name: str | None,
    same_rule: bool,
    measured_on: str | None,
) -> None:
    """Enter readings of the part of PANEL: h1-h2=NEAR/FAR for hole pairs, in mm.

    Outer sizes are taken too, as width=120.4, but say less: printed edges swell.

    \b
    Example:
      decalprep part enter job.toml engine "h1-h2=127.6/134.4 h1-h11=77.5/84.3"
    """
    from decalprep.cli.make import today
    from decalprep.jobs.jobfile import read_job
    from decalprep.jobs.parts import enter_part
    from decalprep.records import records_folder

    entered = enter_part(
        read_job(job_file),
        panel,
        " ".join(readings),
        records_folder(),
        record_name=name or panel,
        same_rule=same_rule,
        measured_on=measured_on or today(),
    )
    for line in entered.lines:
        say(line)
    say_notices(entered.estimate.notices)
    say(wrapped(f'Put part_record = "{entered.record.part}" under the panel to fit its decal.'))


@command.command(name="list")
def list_records() -> None:
    """List the part records there are.

    \b
    Example:
      decalprep part list
    """
    from decalprep.records import list_parts, records_folder

    folder = records_folder()
    records = list_parts(folder)
    if not records:
        say(wrapped(f"No part records in {folder} yet."))
    for r in records:
        say(
            wrapped(
                f"{r.part}: measured on {r.measured_on}, across {r.scale_x * 100:+.3f} %, up "
                f"{r.scale_y * 100:+.3f} %, lean {r.skew * 100:+.3f} %",
                "    ",
            )
        )
