"""Contrast against figures that the WCAG 2.x definition gives.

The definition: https://www.w3.org/TR/WCAG21/#dfn-contrast-ratio and #dfn-relative-luminance.
The figures were computed from it independently, three decimals; #777 on white (4.478) and
#767676 (4.542) are the well-known pair on either side of 4.5 : 1.
"""

import numpy as np
import pytest

from decalprep.cleaning import contrast_ratio, relative_luminance
from decalprep.cleaning.contrast import luminance_table

ON_WHITE = {
    "777777": 4.478,
    "767676": 4.542,
    "949494": 3.033,
    "959595": 2.995,
    "595959": 7.005,
    "808080": 3.949,
    "ff0000": 3.998,
    "0000ff": 8.592,
    "00ff00": 1.372,
    "ffff00": 1.074,
    "000000": 21.0,
    "ffffff": 1.0,
    "333333": 12.635,
}


def rgb(text: str) -> tuple[float, float, float]:
    red, green, blue = (int(text[i : i + 2], 16) / 255 for i in (0, 2, 4))
    return red, green, blue


@pytest.mark.parametrize(("colour", "ratio"), ON_WHITE.items())
def test_on_white(colour: str, ratio: float) -> None:
    assert contrast_ratio(rgb(colour), (1, 1, 1)) == pytest.approx(ratio, abs=5e-4)


def test_grey_on_black_and_order_does_not_matter() -> None:
    assert contrast_ratio(rgb("808080"), (0, 0, 0)) == pytest.approx(5.317, abs=5e-4)
    assert contrast_ratio((0, 0, 0), rgb("808080")) == contrast_ratio(rgb("808080"), (0, 0, 0))


def test_both_published_thresholds_give_the_same_over_8_bits() -> None:
    """The standard's text says 0.03928, sRGB itself 0.04045: no 8-bit level lies between."""
    assert not [v for v in range(256) if 0.03928 < v / 255 <= 0.04045]


def test_pixels_and_single_colours_agree() -> None:
    levels = np.array([[[0, 0, 0], [255, 255, 255], [119, 10, 200]]], np.uint8)
    table = luminance_table(levels)[0]
    for pixel, value in zip(levels[0], table, strict=True):
        one = relative_luminance(tuple(float(v) / 255 for v in pixel))
        assert value == pytest.approx(one, abs=1e-6)
