"""Page sizes in the written file against their published values in points.

US sizes are whole points: Letter 8.5 x 11 in, Legal 8.5 x 14 in, Tabloid 11 x 17 in (ANSI/ASME
Y14.1), 72 points an inch (ISO 32000-1:2008, 8.3.2.3). ISO 216:2007 sides are whole millimetres.
"""

import io

import pypdf
import pytest

from decalprep.export import write_pdf
from decalprep.model import Drawing, Sheet
from decalprep.units import page_size_mm

POINTS = {"Letter": (612, 792), "Legal": (612, 1008), "Tabloid": (792, 1224)}
MILLIMETRES = {"A3": (297, 420), "A4": (210, 297), "A5": (148, 210)}


def written_points(name):
    pdf = write_pdf([Drawing(Sheet(name, *page_size_mm(name)), ())])
    box = pypdf.PdfReader(io.BytesIO(pdf)).pages[0].mediabox
    return float(box.width), float(box.height)


@pytest.mark.parametrize("name", POINTS)
def test_us_sizes_are_whole_points(name):
    assert written_points(name) == pytest.approx(POINTS[name], abs=1e-8)


@pytest.mark.parametrize("name", MILLIMETRES)
def test_iso_sizes_are_whole_millimetres(name):
    back = [side / 72 * 25.4 for side in written_points(name)]
    assert back == pytest.approx(MILLIMETRES[name], abs=1e-8)
