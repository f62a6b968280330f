"""Small plates as PDF files, runs of the command line in this process, ink of finished sheets."""

import json
from pathlib import Path

import numpy as np
import pypdfium2
from reportlab.pdfgen.canvas import Canvas

from decalprep.cli import run

MM = 72 / 25.4
LABELS_ON_A5 = """[sheet.grid]
rows = 4
columns = 2
label_width = "68 mm"
label_height = "48 mm"
left = "4 mm"
top = "6 mm"
pitch_x = "72 mm"
pitch_y = "50 mm"
"""


def plate(path: Path, width: float, height: float, spots=((10.0, 10.0),)) -> None:  # type: ignore[no-untyped-def]
    """A dark plate as a PDF page of true size with white dots."""
    canvas = Canvas(str(path), pagesize=(width * MM, height * MM), invariant=1)
    canvas.setFillColorRGB(0.12, 0.16, 0.2)
    canvas.rect(0, 0, width * MM, height * MM, stroke=0, fill=1)
    canvas.setFillColorRGB(1, 1, 1)
    for x, y in spots:
        canvas.circle(x * MM, y * MM, 2 * MM, stroke=0, fill=1)
    canvas.save()


def panel(name: str, more: str = "") -> str:
    """The text of a panel whose outline is its page."""
    return f'[[panel]]\nname = "{name}"\nartwork = "{name}.pdf"\noutline_from = "page"\n{more}\n'


def write_job(folder: Path, text: str, name: str = "job") -> Path:
    """A job file with few passes."""
    path = folder / f"{name}.toml"
    path.write_text(f"[job]\npasses = 3\n{text}")
    return path


def make(job: Path, *options: str) -> int:
    """The exit code of one run with small pictures."""
    return run(["make", str(job), "--dpi", "30", *options])


def result(folder: Path) -> dict:  # type: ignore[type-arg]
    """The result of a run."""
    found: dict = json.loads((folder / "result.json").read_text(encoding="utf-8"))  # type: ignore[type-arg]
    return found


def ink(folder: Path, page: int) -> np.ndarray:
    """Which tenths of a millimetre of a page, nearly, have ink; cut lines and marks included."""
    document = pypdfium2.PdfDocument((folder / "sheets.pdf").read_bytes())
    picture = document[page].render(scale=200 / 72).to_pil().convert("L")
    return np.asarray(picture) < 200
