"""``decalprep unpack``: the job that a sheets.pdf carries, written back as files."""

from pathlib import Path

import click

from decalprep.cli.text import say, wrapped


@click.command(name="unpack")
@click.argument("pdf", type=click.Path(path_type=Path))
@click.argument("folder", type=click.Path(path_type=Path))
@click.option("--force", is_flag=True, help="Replace files that are there already.")
def command(pdf: Path, folder: Path, force: bool) -> None:
    """Write the job that PDF carries into FOLDER: job file, artworks, layout, records.

    A sheets.pdf carries all that it was made from, unless it was made with --private. Make it
    again from there, for another printer if you like. Fonts are not carried.

    \b
    Example:
      decalprep unpack sheets.pdf console
      decalprep make console/job.toml --printer "other laser"
    """
    from decalprep.jobs.carry import RECORDS, read_pdf_file, take_out, write_out

    unpacked = take_out(read_pdf_file(pdf), name=pdf.name)
    write_out(unpacked, folder, force=force)
    job = folder / unpacked.job
    say(wrapped(f"Wrote {len(unpacked.files)} files to {folder}; the job file is {job}."))
    for path in unpacked.left_out:
        say(wrapped(f"Not carried, because it was too large: {path}. Put it back before making."))
    for kind, printer in unpacked.printers.items():
        say(wrapped(f"{kind} was made for the printer record {printer!r}."))
    if any(path.startswith(f"{RECORDS}/") for path in unpacked.files):
        say(
            wrapped(
                f"Its records are in {folder / RECORDS}; to use them, set DECALPREP_HOME to that "
                "folder, or name a record of your own with --printer."
            )
        )
