"""CSS lengths against the published table and a general units library.

Source: CSS Values and Units Module Level 4, "Absolute lengths": 1 in = 2.54 cm = 96 px = 72 pt =
6 pc, 1 cm = 10 mm = 40 Q. The library is pint, whose inch, point and pica are its own definitions.
"""

import pint
import pytest

from decalprep.intake.svg_size import read_root_size, read_side

PX_IN_ONE = {"cm": 96 / 2.54, "mm": 96 / 25.4, "Q": 96 / 101.6, "in": 96.0, "pc": 16.0}
PX_IN_ONE |= {"pt": 4 / 3, "px": 1.0, "": 1.0}


@pytest.mark.parametrize("unit", PX_IN_ONE)
def test_px_in_each_unit_as_the_standard_says(unit: str) -> None:
    assert read_side(f"1{unit}", "width", "").length_px == pytest.approx(PX_IN_ONE[unit], rel=1e-14)


@pytest.mark.parametrize(
    ("unit", "name"),
    [("in", "inch"), ("cm", "centimeter"), ("mm", "millimeter"), ("pt", "point"), ("pc", "pica")],
)
def test_millimetres_as_pint_has_them(unit: str, name: str) -> None:
    registry = pint.UnitRegistry()
    size = read_root_size(f"7{unit}", f"3{unit}", view_box=None, aspect=None, name="")
    assert size is not None
    for side, number in ((size.claim.width_mm, 7), (size.claim.height_mm, 3)):
        assert side == pytest.approx((number * registry(name)).to("mm").magnitude, rel=1e-12)
