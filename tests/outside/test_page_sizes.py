"""Page sizes of PDF files against standards.

ISO 216:2007 A-series and ANSI/ASME Y14.1 sizes in mm; PDF user space is 1/72 in (ISO 32000-1:2008,
8.3.2.3); UserUnit multiplies it (table 30). Point figures: A4 595.2756 x 841.8898. pint's point is
the 1/72 in one.
"""

import pikepdf
import pint
import pytest
from pikepdf import Array, Dictionary, Name

from decalprep.intake import IntakeOptions, read_artwork
from decalprep.units import page_size_mm

ureg = pint.UnitRegistry()

PAGES = [
    ("A3", 841.8898, 1190.5512, 297.0, 420.0),
    ("A4", 595.2756, 841.8898, 210.0, 297.0),
    ("A5", 419.5276, 595.2756, 148.0, 210.0),
    ("Letter", 612, 792, 215.9, 279.4),
    ("Legal", 612, 1008, 215.9, 355.6),
    ("Tabloid", 792, 1224, 279.4, 431.8),
]


def page(path, width_pt, height_pt, **keys):
    pdf = pikepdf.new()
    made = Dictionary(
        Type=Name.Page,
        MediaBox=Array([0, 0, width_pt, height_pt]),
        Contents=pdf.make_stream(b"0 0 10 10 re f"),
    )
    for key, value in keys.items():
        made[f"/{key}"] = value
    pdf.pages.append(pikepdf.Page(made))
    pdf.save(path)
    return path


@pytest.mark.parametrize(("name", "width_pt", "height_pt", "width_mm", "height_mm"), PAGES)
def test_standard_pages(name, width_pt, height_pt, width_mm, height_mm, tmp_path):
    artwork = read_artwork(page(tmp_path / "page.pdf", width_pt, height_pt))
    # Four decimals of a point are 0.00002 mm.
    assert (artwork.width_mm, artwork.height_mm) == pytest.approx((width_mm, height_mm), abs=4e-5)
    assert page_size_mm(name) == (width_mm, height_mm)


def test_points_are_those_of_pint(tmp_path):
    point_mm = float(ureg.Quantity(1, "point").to("millimeter").magnitude)
    artwork = read_artwork(page(tmp_path / "page.pdf", 1000, 500))
    assert artwork.width_mm == pytest.approx(1000 * point_mm, rel=1e-12)


def test_user_unit_multiplies_the_point(tmp_path):
    """200 x 100 units of 2/72 in: 400 x 200 pt as two renderers show it, 141.11 x 70.56 mm."""
    artwork = read_artwork(page(tmp_path / "page.pdf", 200, 100, UserUnit=2))
    assert (artwork.page_width_pt, artwork.page_height_pt) == (400, 200)
    assert (artwork.width_mm, artwork.height_mm) == pytest.approx((141.1111, 70.5556), abs=1e-4)


def test_a4_of_whole_points_is_not_taken_for_a4(tmp_path):
    """595 x 842 pt is what many programs write for A4; its own points stay 1/72 in."""
    path = page(tmp_path / "page.pdf", 595, 842)
    artwork = read_artwork(path)
    assert (artwork.width_mm, artwork.height_mm) == pytest.approx((209.903, 297.039), abs=1e-3)
    said = read_artwork(path, IntakeOptions(width_mm=210.0))
    assert "rounded-page" in {n.code for n in said.notices}
