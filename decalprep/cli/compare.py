"""``decalprep compare``: a bare part against its printed decal, in two scans."""

from pathlib import Path

import click

from decalprep.cli.text import Progress, say, say_notices, wrapped


@click.command(name="compare")
@click.argument("job_file", type=click.Path(path_type=Path))
@click.argument("panel")
@click.argument("part_scan", type=click.Path(path_type=Path))
@click.argument("sheet_scan", type=click.Path(path_type=Path))
@click.option(
    "--result",
    "folder",
    type=click.Path(path_type=Path),
    help="Folder that 'make' wrote; JOB-FILE's name with -out, if not given.",
)
@click.option("--copy", type=click.IntRange(min=1), help="Which copy of the decal; the first.")
@click.option("--to", type=click.Path(path_type=Path), help="Folder for a picture of what is off.")
@click.option(
    "--uneven",
    help="How far 100 mm differ between places of the scanner's glass that are 100 mm apart; "
    "0.15 mm, if not given. Counts where the part lay elsewhere than the decal.",
)
@click.option("--save", "name", help="Keep the fitted decal as a part record of this name.")
def command(
    job_file: Path,
    panel: str,
    part_scan: Path,
    sheet_scan: Path,
    folder: Path | None,
    copy: int | None,
    to: Path | None,
    uneven: str | None,
    name: str | None,
) -> int:
    """Tell hole by hole, and along its edge, how far PANEL's decal will be off on its part.

    Scan the bare part face down and the printed sheet, at one setting of one scanner, the same way
    round: the part as the decal lies on the sheet. The scanner's error then falls on both and
    cancels; turned or at another setting it does not. Ends with 6 where the legend is off at a
    hole, or the edge is uneven or hangs over, by more than print_tolerance.

    \b
    Example:
      decalprep compare job.toml engine part.png sheet1.png --to compared
    """
    from dataclasses import replace

    from decalprep.cli.make import today
    from decalprep.errors import ReadingsRefused, UsageProblem
    from decalprep.export import write_folder
    from decalprep.jobs.compare import compare_job, compared_lines
    from decalprep.jobs.jobfile import read_job
    from decalprep.jobs.make import MakeOptions
    from decalprep.jobs.prints import prints_for, result_folder
    from decalprep.records import records_folder, save_part
    from decalprep.scan.part_ranges import UNEVEN_MM
    from decalprep.units import parse_length_mm

    uneven_mm = UNEVEN_MM if uneven is None else parse_length_mm(uneven, what="--uneven")
    if not 0 <= uneven_mm <= 5:
        raise UsageProblem(f"--uneven {uneven} is out of range", do="choose 0 to 5 mm")
    job = read_job(job_file)
    folder = result_folder(job_file, folder)
    options = MakeOptions(records=records_folder(), today=today())
    progress = Progress()
    try:
        prints, _ = prints_for(job, folder, options, progress)
        compared = compare_job(
            prints, panel, part_scan, sheet_scan, copy=copy, uneven_mm=uneven_mm, say=progress
        )
        if to is not None:
            progress("drawing the picture")
            write_folder(to, {compared.picture_name: compared.picture})
    finally:
        progress.done()
    for line in compared_lines(compared):
        say(line if line.startswith(" ") else wrapped(line))
    say_notices(compared.found.notices)
    if to is not None:
        say(wrapped(f"Wrote {to / compared.picture_name}."))
    if name is not None:
        if compared.record is None:
            raise ReadingsRefused(
                "too few holes were found to fit the decal, nothing was saved",
                do="measure the part with a caliper and 'decalprep part enter'",
            )
        save_part(records_folder(), replace(compared.record, part=name, measured_on=today()))
        say(wrapped(f'Put part_record = "{name}" under the panel to fit its decal.'))
    return int(compared.exit_code)
