"""What a plain script does for one step with a library alone; the bench sets us beside it."""

import io
import math
from collections.abc import Sequence
from pathlib import Path

from decalprep.model import Placement

MM_PT = 72 / 25.4


def svg_to_pdf(source: Path, target: Path) -> None:
    """An SVG to a PDF by svglib and reportlab; nothing is checked."""
    from reportlab.graphics import renderPDF
    from svglib.svglib import svg2rlg

    renderPDF.drawToFile(svg2rlg(str(source)), str(target))


def merged(page_pdf: bytes, placements: Sequence[Placement]) -> bytes:
    """Copies of a page merged on A4 pages by pypdf."""
    from pypdf import PageObject, PdfReader, PdfWriter, Transformation

    reader = PdfReader(io.BytesIO(page_pdf))
    writer = PdfWriter()
    count = 1 + max(p.sheet_index for p in placements)
    pages = [
        PageObject.create_blank_page(width=210 * MM_PT, height=297 * MM_PT) for _ in range(count)
    ]
    for p in placements:
        move = Transformation().rotate(p.turn_deg).translate(p.x_mm * MM_PT, p.y_mm * MM_PT)
        pages[p.sheet_index].merge_transformed_page(reader.pages[0], move)
    for page in pages:
        writer.add_page(page)
    out = io.BytesIO()
    writer.write(out)
    return out.getvalue()


def shelves(sizes: Sequence[tuple[float, float]], width: float, height: float, gap: float) -> int:
    """Sheets that bounding boxes take in rows, highest first (next-fit by decreasing height)."""
    sheets, x, y, row = 1, 0.0, 0.0, 0.0
    for w, h in sorted(((max(s), min(s)) for s in sizes), key=lambda s: -s[1]):
        if x + w > width and x > 0:
            x, y, row = 0.0, y + row + gap, 0.0
        if y + h > height:
            sheets, x, y, row = sheets + 1, 0.0, 0.0, 0.0
        x, row = x + w + gap, max(row, h)
    return math.ceil(sheets)
