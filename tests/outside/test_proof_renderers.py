"""The proof against two other PDF renderers, measured by plain arithmetic on their pixels.

Outside truth: poppler (pdftoppm) and MuPDF (mutool), two independent implementations of ISO 32000;
each is skipped by name where it is not installed.
"""

import math
import shutil
import subprocess
from pathlib import Path

import numpy as np
import pytest

from decalprep.geometry import Affine, Box
from decalprep.proof import prove
from decalprep.proof.layers import Layered
from decalprep.proof.selfcheck import Wrongs, specimen_job

DPI = 600
MM = 25.4 / DPI
PLACE = Affine(e=20.37, f=180.21)
CORRECTION = Affine(1.0031, 0, 0, 0.9978).about(105, 148.5)
COMMANDS = {
    "pdftoppm": ["pdftoppm", "-r", str(DPI), "-gray", "-singlefile", "in.pdf", "out"],
    "mutool": [
        "mutool",
        "draw",
        "-q",
        "-r",
        str(DPI),
        "-c",
        "gray",
        "-o",
        "out.pgm",
        "in.pdf",
        "1",
    ],
}


def darkness(tool: str, pdf: bytes, folder: Path) -> np.ndarray:
    """Darkness 0..255 of the only page, drawn by another renderer."""
    if shutil.which(tool) is None:
        pytest.skip(f"{tool} is not installed")
    (folder / "in.pdf").write_bytes(pdf)
    subprocess.run(COMMANDS[tool], cwd=folder, check=True, timeout=60, capture_output=True)
    data = (folder / "out.pgm").read_bytes()
    head, width, height = [], 0, 0
    offset = 0
    while len(head) < 4:  # P5, width, height, largest grey; comments between
        end = data.index(b"\n", offset)
        words = data[offset:end].split()
        offset = end + 1
        head += [] if words[:1] == [b"#"] or data[end - 1 : end] == b"#" else words
    width, height = int(head[1]), int(head[2])
    return 255.0 - np.frombuffer(data, np.uint8, width * height, offset).reshape(height, width)


def extents_mm(dark: np.ndarray, box: Box, height_mm: float) -> tuple[float, float]:
    """(width, height) in page mm between the centre lines of a rectangle's sides near ``box``."""
    middle_y = (height_mm - box.centre[1]) / MM
    middle_x = box.centre[0] / MM
    rows = dark[round(middle_y) + 40 : round(middle_y) + 80].mean(axis=0)
    columns = dark[:, round(middle_x) + 40 : round(middle_x) + 80].mean(axis=1)

    def centre(profile: np.ndarray, near_mm: float) -> float:
        at = np.arange(round((near_mm - 0.5) / MM), round((near_mm + 0.5) / MM))
        return float((profile[at] * (at + 0.5)).sum() / profile[at].sum()) * MM

    width = centre(rows, box.x1) - centre(rows, box.x0)
    low, high = height_mm - box.y1, height_mm - box.y0
    return width, centre(columns, high) - centre(columns, low)


@pytest.mark.parametrize("tool", sorted(COMMANDS))
@pytest.mark.parametrize("stretch", [1.0, 1.001])
def test_another_renderer_measures_the_same_size(tool, stretch, tmp_path):
    wrongs = Wrongs(outline=Affine.scaling(stretch, 1.0).about(60, 200))
    pdf, job = specimen_job("blank", placements=(PLACE,), correction=CORRECTION, wrongs=wrongs)
    row = prove(pdf, job).rows[0]
    dark = darkness(tool, Layered(pdf).only(["cut outline"]), tmp_path)
    box = Box.around(wrongs.outline.apply_all(job.decals[0].outline_mm))
    width, height = extents_mm(dark, box, 297.0)
    back = CORRECTION.inverse()
    assert width * back.a == pytest.approx(row.measured_mm[0], abs=0.02)
    assert height * back.d == pytest.approx(row.measured_mm[1], abs=0.02)
    assert row.measured_mm[0] == pytest.approx(80.0 * stretch, abs=0.005)
    assert row.passed == (stretch == 1.0)


@pytest.mark.parametrize("tool", sorted(COMMANDS))
def test_another_renderer_finds_the_cross_in_the_same_place(tool, tmp_path):
    pdf, job = specimen_job("blank", placements=(PLACE,), correction=CORRECTION)
    dark = darkness(tool, Layered(pdf).only(["screw cross"]), tmp_path)
    parts = {p.what: p for p in prove(pdf, job).rows[0].parts}
    hole = next(h for h in job.decals[0].holes if h.name == "1")
    x, y = Box.around(hole.contour_mm).centre
    left, top = round((x - 2.5) / MM), round((297.0 - y - 2.5) / MM)
    side = round(5.0 / MM)
    patch = dark[top : top + side, left : left + side]
    down, across = np.indices(patch.shape)
    found_x = (left + (patch * (across + 0.5)).sum() / patch.sum()) * MM
    found_y = 297.0 - (top + (patch * (down + 0.5)).sum() / patch.sum()) * MM
    assert math.dist((found_x, found_y), (x, y)) < 0.02
    assert parts["screw cross 1"].error_mm < 0.02
