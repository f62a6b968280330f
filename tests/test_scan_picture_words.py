"""Words on the pictures of what was measured: they show whole."""

import numpy as np
import pytest
from PIL import Image, ImageDraw

from decalprep.geometry import Affine
from decalprep.scan.picture import Pen


@pytest.mark.parametrize("place", [(-30.0, 40.0), (330.0, 40.0), (150.0, -20.0), (150.0, 140.0)])
def test_a_badge_beyond_the_rim_is_moved_into_the_picture(place: tuple[float, float]) -> None:
    image = Image.new("RGB", (300, 120), "white")
    Pen(ImageDraw.Draw(image), Affine()).badge(place, "worst +1.19", (190, 0, 0))
    red = np.argwhere(np.all(np.array(image) == (190, 0, 0), axis=2))
    (top, left), (bottom, right) = red.min(axis=0), red.max(axis=0)
    assert min(top, left) > 0
    assert bottom < 119
    assert right < 299
    assert right - left > 120
