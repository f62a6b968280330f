"""Small files of the demo's kinds, for jobs that are made in a second."""

from pathlib import Path

import ezdxf
import pikepdf
from PIL import Image, ImageDraw

WINCH = (
    '<svg xmlns="http://www.w3.org/2000/svg" width="40mm" height="30mm" viewBox="0 0 40 30">'
    '<rect width="40" height="30" fill="#223"/><rect x="5" y="5" width="6" height="6" fill="#fff"/>'
    '<path d="M5 25H30" stroke="#fff" stroke-width="0.05"/></svg>'
)


def small_files(folder: Path) -> None:
    """A drawing with a hairline, its plate with a hole as DXF, a PDF, and a picture."""
    (folder / "winch.svg").write_text(WINCH)
    plate = ezdxf.new(units=4)
    corners = [(0, 0), (40, 0), (40, 30), (0, 30)]
    plate.modelspace().add_lwpolyline(corners, close=True)
    plate.modelspace().add_circle((20, 15), 2.5)
    plate.saveas(folder / "winch-plate.dxf")
    with pikepdf.new() as pdf:
        page = pdf.add_blank_page(page_size=(85.04, 56.69))
        page.obj.Contents = pdf.make_stream(b"0.1 0.3 0.2 rg 0 0 85.04 56.69 re f 1 g 9 9 9 9 re f")
        pdf.save(folder / "bezel.pdf", deterministic_id=True)
    strip = Image.new("RGBA", (236, 118))
    ImageDraw.Draw(strip).rounded_rectangle((12, 12, 223, 105), 20, fill=(60, 20, 20, 255))
    strip.save(folder / "alarms.png", dpi=(300, 300))
