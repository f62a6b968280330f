"""A small job of the tug's console, made by the command line, its sheets printed and scanned."""

from pathlib import Path

import cv2
import numpy as np
from PIL import Image
from virtual.hand import Press
from virtual.prints import drawn, scanned
from virtual.scanner import Bed

from decalprep.cli import run
from decalprep.jobs.arrange import arranged, keep_layout, layout_text, started, with_used
from decalprep.jobs.jobfile import read_job
from decalprep.jobs.make import MakeOptions, compose
from decalprep.jobs.panels import panels_of
from decalprep.jobs.prints import PrintedSheet, Prints, prints_of, prints_text, rebuilt
from decalprep.model import ScannerRecord

A5 = (148.0, 210.0)
HELM_HOLES = ((8, 8, 2.2), (92, 8, 2.2), (92, 62, 2.2), (8, 62, 2.2), (50, 44, 6.1))
PUMP_HOLES = ((8, 8, 2.2), (40, 92, 2.2))
BED = Bed(
    dpi=150,
    width_mm=156,
    height_mm=220,
    scale_u=0.002,
    scale_v=-0.001,
    shear=0.0004,
    lens3_mm=0.08,
    noise=3,
)
"""A scanner a little larger than the sheet: turned by 90 degrees, the sheet hangs over."""


SCANNER = ScannerRecord(
    "desk",
    BED.dpi,
    BED.dpi / 25.4 * (1 + (BED.scale_u + BED.scale_v) / 2),
    2e-4,
    BED.scale_u - BED.scale_v,
    BED.shear,
    0.0,
    BED.lens3_mm * (100 / 108) ** 3,
)
"""What a calibrated page has shown of it."""


def artwork(width: float, height: float, fill: str, holes: tuple[tuple[float, ...], ...]) -> str:
    """A plate with a bar of legend and round holes, as SVG in true mm."""
    circles = "".join(
        f'<circle cx="{x}" cy="{y}" r="{r}" fill="#fff" stroke="#c00" stroke-width="0.2"/>'
        for x, y, r in holes
    )
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" width="{width}mm" height="{height}mm" '
        f'viewBox="0 0 {width} {height}"><rect width="{width}" height="{height}" fill="{fill}"/>'
        f'<rect x="{width / 4}" y="{height / 3}" width="{width / 2}" height="3" fill="#ffd"/>'
        f"{circles}</svg>"
    )


def job_file(folder: Path, *, printer: str = "", helm: str = "#234", more: str = "") -> Path:
    """The job file and its artworks; nothing is made."""
    (folder / "helm.svg").write_text(artwork(100, 70, helm, HELM_HOLES))
    (folder / "pump.svg").write_text(artwork(48, 100, "#dde4e8", PUMP_HOLES))
    job = folder / "tug.toml"
    lines = ["[job]", 'title = "Harbour tug"', 'print_tolerance = "0.25 mm"', "[[sheet]]"]
    lines += ['size = "148 mm x 210 mm"', f'printer = "{printer}"' if printer else "", more]
    lines += ["[[panel]]", 'name = "helm"', 'artwork = "helm.svg"']
    lines += ["[[panel]]", 'name = "pump"', 'artwork = "pump.svg"', ""]
    job.write_text("\n".join(lines))
    return job


def made_job(folder: Path, **how: str) -> Path:
    """The job file, its sheets made beside it in ``tug-out``."""
    job = job_file(folder, **how)
    assert run(["make", str(job), "--dpi", "40"]) == 0
    return job


def laid_job(folder: Path) -> tuple[Path, Prints]:
    """The job file and what its prints should show, kept as by a run but not drawn or proven."""
    job = job_file(folder)
    options = MakeOptions(folder / "records", "2026-06-01")
    prints = rebuilt(read_job(job), options, lambda _: None)
    (folder / "tug-out").mkdir()
    (folder / "tug-out" / "prints.json").write_bytes(prints_text(prints))
    return job, prints


def printed_job(job_file: Path, again: tuple[str, ...] = ()) -> Prints:
    """What the prints of a run should show; its layout is kept, nothing is drawn or proven."""
    options = MakeOptions(job_file.parent / "records", "2026-06-01", again=again)
    start = started(read_job(job_file), options)
    job = start.job
    nobody = [None] * len(job.panels)
    prepared, finishes = panels_of(job, nobody, lambda _: None)
    pieces, laid = arranged(start, (prepared, finishes), options, lambda _: None)
    records = {spec.sheet.name: None for spec in job.sheets}
    drawings, by_sheet = compose(job, pieces, laid, records, finishes)
    laid = with_used(laid, drawings, pieces.decals, options)
    keep_layout(laid, job, layout_text(start, laid, pieces.decals), options.records)
    return prints_of(drawings, pieces.decals, laid.placements, by_sheet, job["print_tolerance"])


def line_picture(sheet: PrintedSheet, dpi: float = 300.0) -> np.ndarray:
    """A sheet with nothing but its lines, as RGB: what measuring goes by."""
    px, fine = dpi / 25.4, 16
    shape = (round(sheet.height_mm * px), round(sheet.width_mm * px), 3)
    picture = np.full(shape, 255, np.uint8)
    for line in sheet.lines:
        at = np.array(line) * (px, -px) + (0, sheet.height_mm * px)
        way = np.round((at - 0.5) * fine).astype(np.int32)
        cv2.polylines(picture, [way], False, (0, 130, 200), 2, cv2.LINE_AA, 4)
    return picture


def sheet_picture(job: Path, page: int = 0, dpi: float = 300.0) -> np.ndarray:
    """The sheet drawn as RGB."""
    return drawn((job.with_name("tug-out") / "sheets.pdf").read_bytes(), page, dpi)


def save_scan(
    path: Path,
    rgb: np.ndarray,
    press: Press,
    *,
    turn_deg: float,
    bed: Bed = BED,
    size_mm: tuple[float, float] = A5,
    seed: int = 1,
) -> Path:
    """A scan file of a printed page."""
    picture = scanned(rgb, size_mm, press, bed, turn_deg=turn_deg, seed=seed)
    Image.fromarray(picture).save(path, dpi=(bed.dpi, bed.dpi))
    return path


def scan_pair(folder: Path, name: str, rgb: np.ndarray, press: Press, **more) -> list[str]:
    """Upright and turned, as file names."""
    turns = (0.4, 90.3)
    return [
        str(save_scan(folder / f"{name}-{k}.png", rgb, press, turn_deg=t, seed=k, **more))
        for k, t in enumerate(turns)
    ]
