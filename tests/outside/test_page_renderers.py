"""The upright page measured in programs that share nothing with the reader: poppler and mupdf.

A page with an odd origin, a crop, a quarter turn and a UserUnit of 2 must come out so that a bar of
known place lies there. mupdf honours UserUnit and draws the original as well: both must agree.
Skipped by name where the program is not installed.
"""

import shutil
import subprocess

import numpy as np
import pikepdf
import pytest
from pikepdf import Array, Dictionary, Name
from PIL import Image

from decalprep.intake import IntakeOptions
from decalprep.intake.pdf import read_pdf

DPI = 254
COMMANDS = {
    "pdftoppm": ["pdftoppm", "-r", str(DPI), "-gray", "-singlefile", "{pdf}", "{out}"],
    "mutool": ["mutool", "draw", "-q", "-c", "gray", "-r", str(DPI), "-o", "{out}.pgm", "{pdf}"],
}


def ink_box_mm(program, pdf, out):
    """(width, height of the picture, left, top, right, bottom of the ink) in mm."""
    if shutil.which(program) is None:
        pytest.skip(f"{program} is not installed")
    command = [word.format(pdf=pdf, out=out) for word in COMMANDS[program]]
    subprocess.run(command, check=True, capture_output=True, timeout=60)
    with Image.open(f"{out}.pgm") as picture:
        dark = np.asarray(picture) < 128
    rows, columns = np.where(dark)
    pixels = (dark.shape[1], dark.shape[0], columns.min(), rows.min(), columns.max() + 1)
    return np.array((*pixels, rows.max() + 1)) * 25.4 / DPI


@pytest.fixture
def turned(tmp_path):
    """72 x 36 units of 2/72 in seen, turned by 90 degrees: 25.4 x 50.8 mm upright."""
    pdf = pikepdf.new()
    page = Dictionary(
        Type=Name.Page,
        MediaBox=Array([-100, -100, 300, 300]),
        CropBox=Array([10, 20, 82, 56]),
        Rotate=90,
        UserUnit=2,
        Contents=pdf.make_stream(b"0 g 19 29 18 9 re f"),
    )
    pdf.pages.append(pikepdf.Page(page))
    path = tmp_path / "turned.pdf"
    pdf.save(path, min_version="1.6")
    return path


# The bar starts 9 units right of and 9 above the lower left corner. Turned clockwise its left is
# 9 units from the left, its top 9 units from the top; a unit is 2/72 in = 0.70556 mm.
UNIT = 2 * 25.4 / 72
EXPECTED = (36 * UNIT, 72 * UNIT, 9 * UNIT, 9 * UNIT, 18 * UNIT, 27 * UNIT)


@pytest.mark.parametrize("program", sorted(COMMANDS))
def test_the_upright_page(program, turned, tmp_path):
    artwork = read_pdf(turned, IntakeOptions())
    assert (artwork.width_mm, artwork.height_mm) == pytest.approx(EXPECTED[:2], abs=1e-9)
    upright = tmp_path / "upright.pdf"
    upright.write_bytes(artwork.page_pdf)
    measured = ink_box_mm(program, upright, tmp_path / "upright")
    assert measured == pytest.approx(np.array(EXPECTED), abs=0.11)


def test_mupdf_sees_the_original_at_the_same_size(turned, tmp_path):
    measured = ink_box_mm("mutool", turned, tmp_path / "original")
    assert measured == pytest.approx(np.array(EXPECTED), abs=0.11)
