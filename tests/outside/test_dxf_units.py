"""DXF units against figures from outside.

Codes of $INSUNITS: the DXF reference, header variables, as listed in the ezdxf documentation page
"DXF Units". Factors: pint's unit registry, and 1 in = 25.4 mm exactly; the US survey foot is
1200/3937 m (NIST SP 811, appendix B; from memory). ezdxf's own conversion factors agree to
4e-12, its yard to 4e-10.
"""

import ezdxf.units
import pint
import pytest

from decalprep.intake import read_artwork
from decalprep.intake.dxffile import INSUNITS

ureg = pint.UnitRegistry()

CODES = {
    1: "inch",
    2: "foot",
    3: "mile",
    4: "millimeter",
    5: "centimeter",
    6: "meter",
    7: "kilometer",
    8: "microinch",
    9: "thou",
    10: "yard",
    11: "angstrom",
    12: "nanometer",
    13: "micrometer",
    14: "decimeter",
    15: "decameter",
    16: "hectometer",
    17: "gigameter",
    21: "survey_foot",
    24: "survey_mile",
}


@pytest.mark.parametrize(("code", "name"), CODES.items())
def test_unit_codes_agree_with_pint(code, name):
    wanted = float(ureg.Quantity(1, name).to("millimeter").magnitude)
    assert INSUNITS[code][1] == pytest.approx(wanted, rel=1e-12)


@pytest.mark.parametrize("code", [1, 2, 4, 5, 6, 10, 13, 14])
def test_unit_codes_agree_with_ezdxf(code):
    theirs = ezdxf.units.conversion_factor(
        ezdxf.units.InsertUnits(code), ezdxf.units.InsertUnits.Millimeters
    )
    assert INSUNITS[code][1] == pytest.approx(theirs, rel=1e-9)


@pytest.mark.parametrize(
    ("code", "side", "mm"),
    [(1, 3.125, 79.375), (4, 79.375, 79.375), (5, 7.9375, 79.375), (9, 3125, 79.375)],
)
def test_a_panel_of_three_and_an_eighth_inches_in_several_units(code, side, mm, tmp_path):
    """3 1/8 in, a usual round instrument size, is 79.375 mm (25.4 x 3.125)."""
    doc = ezdxf.new()
    doc.header["$INSUNITS"] = code
    doc.modelspace().add_circle((side, side), side / 2)
    doc.saveas(tmp_path / "round.dxf")
    artwork = read_artwork(tmp_path / "round.dxf")
    assert artwork.width_mm == pytest.approx(mm, abs=0.003)
    assert artwork.face.outline.box.width == pytest.approx(mm, abs=0.003)
