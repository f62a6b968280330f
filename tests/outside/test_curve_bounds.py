"""Boxes round curves, against fontTools' bounds and the examples in its documentation.

fontTools (``misc.bezierTools.calcCubicBounds``) prints three worked boxes in its documentation and
computes others; boxes of arcs are what the circle's own equation says.
"""

import math
import random

import pytest
from fontTools.misc.bezierTools import calcCubicBounds

from decalprep.geometry import Arc, Box, Cubic, Path, circle_path, rectangle_path

DOCUMENTED = [
    (((0, 0), (25, 100), (75, 100), (100, 0)), (0, 0, 100, 75)),
    (((0, 0), (50, 0), (100, 50), (100, 100)), (0, 0, 100, 100)),
    (((50, 0), (0, 100), (100, 100), (50, 0)), (35.566243, 0, 64.433757, 75)),
]


def sides(path: Path) -> tuple[float, ...]:
    box = path.box
    return (box.x0, box.y0, box.x1, box.y1)


@pytest.mark.parametrize(("points", "box"), DOCUMENTED)
def test_the_documented_boxes(points, box) -> None:
    assert sides(Path((Cubic(*points),), closed=False)) == pytest.approx(box, abs=5e-7)


def test_any_curve_has_the_box_that_the_library_gives_it() -> None:
    rng = random.Random(5)
    for number in range(400):
        points = [(rng.uniform(-90, 90), rng.uniform(-90, 90)) for _ in range(4)]
        if number % 4 == 1:  # a curve of second degree drawn as one of third: no t3
            (x0, y0), (x, y), (x3, y3) = points[:3]
            points = [(x0, y0), ((x0 + 2 * x) / 3, (y0 + 2 * y) / 3),
                      ((x3 + 2 * x) / 3, (y3 + 2 * y) / 3), (x3, y3)]  # fmt: skip
        got = sides(Path((Cubic(*points),), closed=False))
        assert got == pytest.approx(calcCubicBounds(*points), abs=1e-9)


def test_a_circle_is_as_wide_as_its_diameter() -> None:
    for diameter in (0.4, 6.35, 52.0, 199.9):
        box = circle_path(10, 20, diameter).box
        assert (box.width, box.height) == pytest.approx((diameter, diameter), abs=1e-12)
        assert box.centre == pytest.approx((10, 20), abs=1e-12)
    assert sides(rectangle_path(Box(1, 2, 81, 42), 5)) == pytest.approx((1, 2, 81, 42), abs=1e-12)


@pytest.mark.parametrize(
    ("start", "sweep", "box"),
    [
        (30, 90, (-0.5, 0.5, math.sqrt(3) / 2, 1)),
        (120, -90, (-0.5, 0.5, math.sqrt(3) / 2, 1)),
        (-45, 90, (math.sqrt(0.5), -math.sqrt(0.5), 1, math.sqrt(0.5))),
        (10, 20, (math.cos(math.radians(30)), math.sin(math.radians(10)),
                  math.cos(math.radians(10)), 0.5)),
        (315, 270, (-1, -math.sqrt(0.5), 1, 1)),
        (100, 720, (-1, -1, 1, 1)),
        (170, -360, (-1, -1, 1, 1)),
    ],
)  # fmt: skip
def test_part_of_a_circle_reaches_where_it_turns_round(start, sweep, box) -> None:
    """On a circle of radius 2 about (3, -1); cosines and sines of 30, 45 and 60 degrees."""
    got = sides(Path((Arc((3.0, -1.0), 2.0, start, sweep),), closed=False))
    wanted = [3 + 2 * box[0], -1 + 2 * box[1], 3 + 2 * box[2], -1 + 2 * box[3]]
    assert got == pytest.approx(wanted, abs=1e-12)
