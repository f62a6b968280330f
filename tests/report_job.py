"""A small job for the report's tests: two panels, one with a name that is markup, and records."""

import shutil
import tempfile
from functools import lru_cache
from importlib.resources import files
from pathlib import Path

from decalprep.jobs.jobfile import read_job
from decalprep.jobs.make import Made, MakeOptions, make_job
from decalprep.model import PartRecord, PrinterRecord
from decalprep.records import save_part, save_printer

HOSTILE = "winch' onload=alert(1) &lt; &"
"""A panel name as hostile as the job file lets one be: no < or quotes of its own."""
TITLE = "</title><script>alert(1)</script><img src=x onerror=alert(2)>"

JOB = f"""
[job]
title = '{TITLE}'
currency = "<b>EUR</b>"

[[sheet]]
name = "A5 label"
size = "A5"
stock = "full-sheet label stock"
price = 0.45
printer = "office laser"

[[panel]]
name = "{HOSTILE}"
artwork = "winch.svg"
width = "110 mm"
hide_layers = ["construction"]
outline_layer = "cut"
part = "winch-plate.dxf"
part_record = "winch plate 1"

[[panel.hole]]
x = "60 mm"
y = "60 mm"
diameter = "5.2 mm"
label = "<script>lamp</script>"

[[panel]]
name = "alarms"
artwork = "alarms.png"
width = "100 mm"
copies = 2
"""


def laid_out(folder: Path, *, job: str = JOB) -> Path:
    """The job file of the small job, its artworks beside it, its records under ``home``."""
    demo = Path(str(files("decalprep") / "data" / "demo"))
    for name in ("winch.svg", "winch-plate.dxf", "alarms.png"):
        shutil.copy(demo / name, folder / name)
    (folder / "job.toml").write_text(job, encoding="utf-8")
    save_records(folder / "home")
    return folder / "job.toml"


def save_records(home: Path) -> None:
    """The records of two printers and of the winch's plate."""
    for record in (
        PrinterRecord(
            "office laser",
            "full-sheet label stock",
            scale_x=-0.0027,
            scale_y=-0.001,
            skew=0.0004,
            u_scale_x=0.0003,
            u_scale_y=0.0002,
            u_skew=0.0003,
            u_rule=0.0005,
            measured_on="2026-01-01",
            weight_sheets=1,
        ),
        PrinterRecord("other", "full-sheet label stock", scale_x=0.004, measured_on="2026-01-01"),
    ):
        save_printer(home, record)
    save_part(
        home,
        PartRecord("winch plate 1", scale_x=0.002, scale_y=0.001, same_rule_as_printer=True),
    )


def made_job(folder: Path, *, private: bool = False, job: str = JOB) -> Made:
    """The small job made; nothing but its sources is written."""
    source = laid_out(folder, job=job)
    options = MakeOptions(records=folder / "home", today="2026-01-15", private=private)
    return make_job(read_job(source), options, lambda _: None)


@lru_cache(maxsize=1)
def shared_job() -> Made:
    """The small job, made once for all test modules of one process; its sources are gone again."""
    with tempfile.TemporaryDirectory() as folder:
        return made_job(Path(folder))
