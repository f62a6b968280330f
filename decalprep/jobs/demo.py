"""The demo: an invented console, copied out of the package and made like any other job."""

from importlib.resources import files
from pathlib import Path

from decalprep.export import write_folder
from decalprep.jobs.jobfile import read_job
from decalprep.jobs.spec import Job

JOB_FILE = "bridge-console.toml"


def lay_out_demo(folder: Path) -> Job:
    """Copy the demo's artworks and job file into ``folder/console``; the job.

    Raises:
        OutputProblem: the folder cannot be written.
    """
    source = files("decalprep") / "data" / "demo"
    data = {entry.name: entry.read_bytes() for entry in source.iterdir() if entry.is_file()}
    console = folder / "console"
    write_folder(console, dict(sorted(data.items())))
    return read_job(console / JOB_FILE)
