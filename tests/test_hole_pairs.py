"""Which hole of a part is which of its decal: by place and size, most of them, or not at all."""

import time

import numpy as np
import pytest

from decalprep.errors import ReadingsRefused
from decalprep.scan.hole_pairs import HoleSet, hole_pairs, refuse_too_few

PLACES = np.array([(8.0, 8), (92, 8), (92, 62), (8, 62), (30, 44), (60, 20)])
ACROSS = np.array([4.4, 4.4, 4.4, 4.4, 12.2, 9.5])
DECAL = HoleSet(PLACES, ACROSS)


def part(turn_deg: float = 0.0, *, mirror: bool = False, without: int = 0) -> HoleSet:
    """The decal's holes 0.5 % smaller, somewhere else, some of them gone, in another order."""
    c, s = np.cos(np.radians(turn_deg)), np.sin(np.radians(turn_deg))
    p = PLACES * ((-1, 1) if mirror else (1, 1)) * 0.995
    p = p @ np.array([[c, s], [-s, c]]) + (150, 40)
    order = np.random.default_rng(3).permutation(len(p))[: len(p) - without]
    return HoleSet(p[order], ACROSS[order] - 0.2)


@pytest.mark.parametrize("turn", [0.0, -2.6, 4.0])
@pytest.mark.parametrize("without", [0, 2])
def test_most_holes_are_enough(turn: float, without: int) -> None:
    there = part(turn, without=without)
    pairs = hole_pairs(DECAL, there)
    assert len(pairs) == 6 - without
    assert all(ACROSS[a] - 0.2 == there.diameters[b] for a, b in pairs)
    refuse_too_few(DECAL, there, pairs, "part.png")


@pytest.mark.parametrize(
    ("there", "told"),
    [
        (part(90), "turned by 90 degrees"),
        (part(180), "turned by 180 degrees"),
        (part(269), "turned by 270 degrees"),
        (part(mirror=True), "mirrored, as from its other side"),
        (part(91, mirror=True), "mirrored, as from its other side"),
        (HoleSet(PLACES[:, ::-1] * 0.6, ACROSS), "another part"),
        (part(without=4), "shows 2 round holes, the decal has 6"),
        (HoleSet(np.zeros((0, 2)), np.zeros(0)), "shows 0 round holes"),
    ],
)
def test_what_seems_wrong_is_said(there: HoleSet, told: str) -> None:
    pairs = hole_pairs(DECAL, there)
    assert len(pairs) < 6  # the four corner holes match upside down, too
    with pytest.raises(ReadingsRefused, match=told):
        refuse_too_few(DECAL, there, pairs, "part.png")


def test_a_hole_of_another_size_is_not_taken() -> None:
    there = HoleSet(PLACES, np.array([4.4, 4.4, 4.4, 4.4, 4.4, 9.5]))
    assert sorted(hole_pairs(DECAL, there)) == [(0, 0), (1, 1), (2, 2), (3, 3), (5, 5)]


def test_a_plate_of_many_holes_is_matched_soon() -> None:
    places = np.array([(10.0 * x, 10.0 * y) for x in range(20) for y in range(20)])
    there = places @ np.array([[0.9994, 0.0349], [-0.0349, 0.9994]]) + (3.0, -41.0)
    sizes = np.full(400, 4.0)
    start = time.process_time()
    pairs = hole_pairs(HoleSet(places, sizes), HoleSet(there[::-1], sizes))
    assert pairs == [(k, 399 - k) for k in range(400)]
    assert time.process_time() - start < 10
