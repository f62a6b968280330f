"""The slip ratios against figures from outside.

Units: CSS Values and Units 4, "Absolute lengths" (1 in = 96 px = 72 pt = 25.4 mm); the TeX point is
1/72.27 in (The TeXbook, chapter 10; from memory); 90 px an inch is what older SVG editors used
(common practice, no source). Pages: ISO 216:2007, ANSI/ASME Y14.1 (from memory). The pint library
is an independent reference for the units. The cases reported in the wild come from public issue
threads of drawing programs: 50 mm came out as 46.88, 180 as 135.
"""

import pint
import pytest

from decalprep.intake.slips import SLIPS, rounded_page, slip_causes

ureg = pint.UnitRegistry()

UNIT_RATIOS = [
    ("72 dots an inch taken for 96", 0.75),
    ("90 dots an inch (older SVG editors) taken for 96", 0.9375),
    ("72 dots an inch taken for 90", 0.8),
    ("inches taken for centimetres, reversed", 2.54),
    ("inches taken for millimetres", 0.0393701),
    ("millimetres taken for points", 0.352778),
    ("millimetres taken for points, reversed", 2.834646),
    ("millimetres taken for pixels", 0.264583),
    ("millimetres taken for pixels, reversed", 3.779528),
    ("printer's points of 1/72.27 in taken for 1/72 in", 0.996264),
    ("72 dots an inch taken for 300, reversed", 4.166667),
    ("96 dots an inch taken for 300, reversed", 3.125),
    ("1000 plotter units an inch taken for 1016", 0.984252),
]

PAGE_RATIOS = [
    ("an A4 page fitted to Letter", 0.940741),
    ("a Letter page fitted to A4", 0.972673),
    ("an A4 page enlarged to A3", 1.414141),
    ("an A3 page reduced to A4", 0.707071),
    ("an A4 page fitted inside margins of 3 mm", 0.97143),
    ("an A4 page fitted inside margins of 4.23 mm", 0.95968),
    ("an A4 page fitted inside margins of 6.35 mm", 0.93952),
    ("an A4 page fitted inside margins of 12.7 mm", 0.87905),
    ("a Letter page fitted inside margins of 5 mm", 0.95368),
    ("a Letter page fitted inside margins of 10 mm", 0.90736),
    ("an A4 page fitted to Letter inside margins of 4.23 mm", 0.91223),
    ("a Letter page fitted to A4 inside margins of 6.35 mm", 0.91385),
]


def ratio_of(cause):
    (slip,) = [s for s in SLIPS if s.cause == cause]
    return slip.across


@pytest.mark.parametrize(("cause", "ratio"), UNIT_RATIOS)
def test_unit_slips(cause, ratio):
    assert ratio_of(cause) == pytest.approx(ratio, rel=2e-6)


@pytest.mark.parametrize(("cause", "ratio"), PAGE_RATIOS)
def test_page_slips(cause, ratio):
    assert ratio_of(cause) == pytest.approx(ratio, abs=6e-6)


def test_unit_slips_agree_with_pint():
    mm, inch, point = (ureg.Quantity(1, u) for u in ("millimeter", "inch", "point"))
    px = inch / 96
    assert ratio_of("inches taken for millimetres") == pytest.approx(float((mm / inch).to("")))
    assert ratio_of("millimetres taken for points") == pytest.approx(float((point / mm).to("")))
    assert ratio_of("millimetres taken for pixels") == pytest.approx(float((px / mm).to("")))


@pytest.mark.parametrize(
    ("wanted_mm", "came_mm", "word"),
    [
        (50, 46.88, "90 dots an inch"),
        (180, 135, "72 dots an inch taken for 96"),
        (403, 302, "72 dots an inch taken for 96"),
    ],
)
def test_cases_reported_in_public_threads(wanted_mm, came_mm, word):
    assert word in slip_causes(came_mm / wanted_mm)[0]


def test_a4_in_whole_points():
    """595 x 842 pt, the rounding that many programs write for A4: -0.046 % and +0.013 %."""
    assert rounded_page(595 * 25.4 / 72, 842 * 25.4 / 72) == "A4"
    assert pytest.approx(-0.00046, abs=5e-6) == 595 * 25.4 / 72 / 210 - 1
    assert pytest.approx(0.00013, abs=5e-6) == 842 * 25.4 / 72 / 297 - 1
