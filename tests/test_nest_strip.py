"""The strip packer as a helper: kept in a child, checked exactly, and never needed."""

import threading

import pytest
from shapely.geometry import Point, Polygon, box

from decalprep.model import Margins, Sheet, Turns
from decalprep.nesting import NestPart, NestSettings, check_layout, nest, strip
from decalprep.nesting.poses import Posed
from decalprep.nesting.strip import StripItem, child_packer, strip_packer_there

A5 = Sheet("A5", 148, 210, Margins(5, 5, 5, 5))
CORNERS = [NestPart("corner plate", 2, Polygon([(0, 0), (135.4, 0), (0, 199.5)]), Turns.HALF)]
DISCS = [NestPart("disc", 9, Point(0, 0).buffer(31))]


def hexagonal(height_mm, items, gap_mm, seed, enough_mm):
    """A packer by rule: discs in two columns, half a disc shifted; its answer is off the grid."""
    radius = 31 + gap_mm / 2 + 0.02
    poses = []
    for k, item in enumerate(items):
        column, row = divmod(k, 3)
        poses.append(
            Posed(
                item.name,
                0.0,
                radius + column * radius * 3**0.5,
                radius + (2 * row + column % 2) * radius,
            )
        )
    columns = -(-len(items) // 3)
    return radius * (2 + (columns - 1) * 3**0.5), poses


def broken(height_mm, items, gap_mm, seed, enough_mm):
    """A packer that lays everything on one spot and calls it short."""
    return 1.0, [Posed(item.name, 0.0, 40.0, 40.0) for item in items]


@pytest.mark.parametrize("pack", [hexagonal, broken, lambda *a: None])
def test_whatever_the_packer_says_the_layout_passes(pack):
    rules = NestSettings(budget=30)
    layout = nest(DISCS, [A5], rules, strip=pack)
    assert check_layout(DISCS, [A5], rules, layout) == ()
    assert layout.unplaced == ()


@pytest.mark.skipif(not strip_packer_there(), reason="spyrrow is not installed")
def test_the_child_answers_and_keeps_the_gap():
    items = [StripItem(str(k), box(0, 0, 60, 40), Turns.QUARTER) for k in range(4)]
    length, poses = child_packer(1)(130.0, items, 2.0, 1, 0.0)
    assert len(poses) == 4
    assert 80 <= length < 200


@pytest.mark.skipif(not strip_packer_there(), reason="spyrrow is not installed")
def test_the_child_answers_early_where_the_strip_is_short_enough():
    items = [StripItem(str(k), box(0, 0, 60, 40), Turns.QUARTER) for k in range(4)]
    length, poses = child_packer(600)(130.0, items, 2.0, 1, 250.0)
    assert length <= 250.0
    assert len(poses) == 4
    length, poses = child_packer(600, processor_s=0.1)(130.0, items, 2.0, 1, 0.0)
    assert len(poses) == 4


@pytest.mark.skipif(not strip_packer_there(), reason="spyrrow is not installed")
def test_the_child_is_killed_on_cancel_and_on_nonsense_gives_none():
    items = [StripItem("0", box(0, 0, 60, 40), Turns.NONE)]
    assert child_packer(30, cancel=lambda: True)(130.0, items, 2.0, 1, 0.0) is None
    assert child_packer(1)(10.0, items, 2.0, 1, 0.0) is None


@pytest.mark.skipif(not strip_packer_there(), reason="spyrrow is not installed")
@pytest.mark.parametrize("after_s", [0.0, 0.15])
def test_a_child_that_is_killed_from_outside_costs_only_its_answer(monkeypatch, after_s):
    """Killed as it starts, and while it works: the layout is what it was without it."""
    start = strip.subprocess.Popen
    killed = []

    def start_and_kill(*args, **more):
        child = start(*args, **more)
        timer = threading.Timer(after_s, child.kill)
        timer.start()
        killed.append(timer)
        return child

    monkeypatch.setattr(strip.subprocess, "Popen", start_and_kill)
    rules = NestSettings(budget=12)
    layout = nest(CORNERS, [A5], rules, strip=child_packer(1))
    for timer in killed:
        timer.join()
    assert killed
    assert check_layout(CORNERS, [A5], rules, layout) == ()
    assert layout == nest(CORNERS, [A5], rules)


def two_triangles(height_mm, items, gap_mm, seed, enough_mm):
    """A packer by rule: one triangle as it is, one half turned, hypotenuse on hypotenuse."""
    assert height_mm == pytest.approx(202.0)
    edge = gap_mm / 2
    return 139.9, [
        Posed(items[0].name, 0.0, edge, edge),
        Posed(items[1].name, 180.0, edge + 137.9, edge + 199.5),
    ]


def test_an_answer_between_the_cells_is_taken_as_it_is():
    """The gap between the hypotenuses is 2.1 mm; whole cells would ask for more than there is."""
    rules = NestSettings(budget=30)
    assert len(nest(CORNERS, [A5], rules).sheets) == 2
    layout = nest(CORNERS, [A5], rules, strip=two_triangles)
    assert layout.bound_text == "1 sheet, proved fewest"
    assert check_layout(CORNERS, [A5], rules, layout) == ()
