"""``decalprep measure``: a printed sheet measured in scans, before anything is cut."""

from pathlib import Path

import click

from decalprep.cli.text import Progress, say, say_notices, wrapped


@click.command(name="measure")
@click.argument("job_file", type=click.Path(path_type=Path))
@click.argument("given", nargs=-1, required=True, metavar="SCAN... [READINGS]")
@click.option(
    "--result",
    "folder",
    type=click.Path(path_type=Path),
    help="Folder that 'make' wrote; JOB-FILE's name with -out, if not given.",
)
@click.option("--scanner", help="Scanner whose size 'calibrate scan --scanner' has found.")
@click.option("--sheet", type=click.IntRange(min=1), help="Which sheet it is, if they look alike.")
@click.option(
    "--to", type=click.Path(path_type=Path), help="Folder for a picture of each sheet measured."
)
def command(
    job_file: Path,
    given: tuple[str, ...],
    folder: Path | None,
    scanner: str | None,
    sheet: int | None,
    to: Path | None,
) -> int:
    """Measure printed sheets of JOB_FILE in scans, before you cut.

    Scan each sheet twice on a flatbed at 300 dpi in colour, upright and turned by 90 degrees (it
    may hang over the glass). Scans show each decal's shape; how large the sheet is as a whole they
    do not: name a --scanner that 'calibrate scan' has measured, or read the check bars with your
    rule: bar1=100.2 across, bar2=99.9 up.

    Ends with 0 where size, lean and place of every decal are within print_tolerance, with 6 where
    one is not, with 7 where the scans cannot tell. For pieces printed again, name that run's folder
    by --result.

    \b
    Example:
      decalprep measure job.toml sheet1.png sheet1-turned.png \\
        --scanner "desk flatbed" --to measured
    """
    from decalprep.cli.calibrate import scans_and_readings
    from decalprep.cli.make import today
    from decalprep.export import write_folder
    from decalprep.jobs.jobfile import read_job
    from decalprep.jobs.make import MakeOptions
    from decalprep.jobs.measure import MeasureOptions, measure_job, measured_lines, read_scans
    from decalprep.jobs.prints import prints_for, result_folder
    from decalprep.records import find_scanners, records_folder

    job = read_job(job_file)
    folder = result_folder(job_file, folder)
    options = MakeOptions(records=records_folder(), today=today())
    paths, bars = scans_and_readings(given)
    known = find_scanners(options.records, scanner) if scanner else ()
    written: tuple[Path, ...] = ()
    progress = Progress()
    try:
        prints, _ = prints_for(job, folder, options, progress)
        measured = measure_job(
            prints, read_scans(paths, progress), MeasureOptions(sheet, known, bars), say=progress
        )
        if to is not None:
            progress("drawing the pictures")
            pictures = {f"measured-sheet-{one.number}.png": one.picture for one in measured.sheets}
            written = write_folder(to, pictures)
    finally:
        progress.done()
    for line in measured_lines(measured):
        say(line if line.startswith(" ") else wrapped(line))
    say_notices(measured.notices)
    for path in written:
        say(wrapped(f"Wrote {path}."))
    return int(measured.exit_code)
