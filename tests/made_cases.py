"""Whole jobs made in a folder, and their pages as a renderer not our own draws them."""

import shutil
import subprocess
from importlib.resources import files
from pathlib import Path

import numpy as np
import pypdfium2

from decalprep.geometry import Affine
from decalprep.jobs.jobfile import read_job
from decalprep.jobs.make import Made, MakeOptions, make_job

DEMO = Path(str(files("decalprep"))) / "data" / "demo"


def made_of(folder: Path, text: str, *, preview_dpi: float = 50.0) -> Made:
    """The job of that text, made with the folder's own records."""
    source = folder / "job.toml"
    source.write_text(text, encoding="utf-8")
    options = MakeOptions(folder / "records", "2026-05-31", anew=True, preview_dpi=preview_dpi)
    return make_job(read_job(source), options, lambda _: None)


def grey_page(pdf: bytes, folder: Path, *, page: int = 1, dpi: float = 508) -> np.ndarray:
    """One page as grey levels, row 0 at the foot: poppler where installed, else pdfium."""
    document = pypdfium2.PdfDocument(pdf)
    rows = round(document[page - 1].get_height() * dpi / 72)  # the foot may lie inside a last row
    if shutil.which("pdftoppm"):
        path = folder / "page.pdf"
        path.write_bytes(pdf)
        command = ["pdftoppm", "-r", f"{dpi:g}", "-f", str(page), "-l", str(page), "-gray", path]
        done = subprocess.run(command, check=True, capture_output=True, timeout=60).stdout
        magic, size, depth, data = done.split(b"\n", 3)
        assert (magic, depth) == (b"P5", b"255")
        width, height = map(int, size.split())
        return np.frombuffer(data, np.uint8).reshape(height, width)[:rows][::-1]
    picture = document[page - 1].render(scale=dpi / 72).to_pil().convert("L")
    return np.asarray(picture)[:rows][::-1]


def page_from_fitted(made: Made, decal: str) -> tuple[int, Affine]:
    """(sheet index, page mm from the fitted decal frame) of the first copy, by its placement."""
    p = next(p for p in made.laid.placements if p.decal == decal)
    turned = Affine.translation(p.x_mm, p.y_mm) @ Affine.rotation(p.turn_deg)
    return p.sheet_index, made.drawings[p.sheet_index].page_from_sheet @ turned


def at(picture: np.ndarray, points: np.ndarray, dpi: float = 508) -> np.ndarray:
    """Grey levels at points (page mm, from the lower left), by the nearest pixel."""
    column, row = (np.floor(np.asarray(points, float) * dpi / 25.4).astype(int)).T
    return picture[row.clip(0, len(picture) - 1), column.clip(0, picture.shape[1] - 1)]
