"""The checker finds each kind of fault that is put into a good layout."""

from dataclasses import replace

import pytest
from shapely.geometry import Point, box

from decalprep.geometry import Box
from decalprep.model import DieCutGrid, Margins, Placement, Sheet, Turns
from decalprep.nesting import Layout, NestPart, NestSettings, check_layout

A4 = Sheet("A4", 210, 297, Margins(5, 5, 5, 5))
RULES = NestSettings(gap_mm=2.0)
SQUARE = NestPart("square", 2, box(0, 0, 50, 50), Turns.NONE)


def layout(*placements, sheets=(A4,), unplaced=()):
    return Layout(tuple(placements), tuple(unplaced), tuple(sheets), 1, "test")


def at(x, y, copy=1, turn=0.0, sheet=0, key="square"):
    return Placement(key, copy, sheet, x, y, turn)


def faults(*placements, rules=RULES, parts=(SQUARE,), stock=(A4,), sheets=(A4,), unplaced=()):
    given = layout(*placements, sheets=sheets, unplaced=unplaced)
    return check_layout(parts, stock, rules, given)


GOOD = (at(5, 5), at(57, 5, 2))


def test_a_good_layout_has_no_fault():
    assert faults(*GOOD) == ()


@pytest.mark.parametrize(
    ("placements", "words"),
    [
        ((at(5, 5), at(56.99, 5, 2)), "1.990 mm apart"),
        ((at(5, 5), at(40, 5, 2)), "overlap by"),
        ((at(5, 5), at(5, 5, 2)), "overlap by 2500.000"),
        ((at(4.99, 5), at(57, 5, 2)), "0.010 mm into the margin"),
        ((at(5, 5), at(155.5, 5, 2)), "0.500 mm into the margin"),
        ((at(5, 5), at(57, 242.01, 2)), "into the margin"),
        ((at(5, 5),), "copy 2 appears 0 times"),
        ((at(5, 5), at(57, 5)), "copy 1 appears 2 times"),
        ((*GOOD, at(57, 57, 3)), "copy 3 appears 1 times, wanted 0"),
        ((*GOOD, at(57, 57, key="stranger")), "'stranger' copy 1 appears 1 times, wanted 0"),
        ((at(5, 5), at(107, 5, 2, turn=90)), "is turned 90 degrees; upright only"),
        ((at(5, 5), at(57, 5, 2, sheet=1)), "on sheet 1, which is none"),
    ],
)
def test_each_fault_is_found(placements, words):
    assert words in " | ".join(faults(*placements))


def test_a_micrometre_is_not_a_fault_but_a_hundredth_is():
    assert faults(at(5, 5), at(56.9995, 5, 2)) == ()
    assert faults(at(5, 5), at(56.99, 5, 2))


def test_turning_rules():
    half = replace(SQUARE, copies=1, turns=Turns.HALF)
    quarter = replace(half, turns=Turns.QUARTER)
    free = replace(half, turns=Turns.FREE)
    assert faults(at(100, 100, turn=180), parts=(half,)) == ()
    assert faults(at(100, 100, turn=90), parts=(half,))
    assert faults(at(100, 100, turn=270), parts=(quarter,)) == ()
    assert faults(at(100, 100, turn=45), parts=(quarter,))
    assert faults(at(100, 100, turn=45), parts=(free,)) == ()


def test_blocked_and_gone_areas():
    blocked = replace(RULES, blocked=(box(100, 0, 120, 300),))
    assert faults(at(5, 5), at(120.5, 5, 2), rules=blocked)
    assert faults(at(5, 5), at(121, 5, 2), rules=blocked) == ()
    used = replace(A4, gone=(Box(100, 0, 120, 297),), available=None)
    assert faults(at(5, 5), at(121, 5, 2), stock=(used,), sheets=(used,))
    assert faults(at(5, 5), at(122, 5, 2), stock=(used,), sheets=(used,)) == ()


def test_inside_a_ring_is_not_an_overlap():
    ring = NestPart("ring", 1, Point(0, 0).buffer(60).difference(Point(0, 0).buffer(45)))
    disc = NestPart("disc", 1, Point(0, 0).buffer(42))
    both = (at(100, 100, key="ring"), at(100, 100, key="disc"))
    assert faults(*both, parts=(ring, disc)) == ()
    assert faults(both[0], at(102, 100, key="disc"), parts=(ring, disc))


def test_supply_and_part_used_sheets():
    stock = replace(A4, available=1)
    assert (
        "2 of 'A4' used"
        in faults(at(5, 5), at(5, 5, 2, sheet=1), stock=(stock,), sheets=(A4, A4))[0]
    )
    used = replace(A4, gone=(Box(0, 0, 210, 150),), available=1)
    assert any("taken for a whole one" in f for f in faults(*GOOD, stock=(used,)))


def test_locked_pieces_must_stay():
    rules = replace(RULES, locked=(at(5, 5),), locked_sheets=(A4,))
    assert faults(*GOOD, rules=rules) == ()
    assert any("locked" in f for f in faults(at(6, 5), at(58, 5, 2), rules=rules))


LABELS = Sheet(
    "labels", 210, 297, Margins(0, 0, 0, 0), grid=DieCutGrid(2, 2, 98, 60, 5, 10, 102, 62, 3)
)


@pytest.mark.parametrize(
    ("x", "y", "words"),
    [
        (20, 230, ""),
        (6, 228, "not within label 1"),
        (75, 230, "not within label 1"),
        (5.5, 230, "not within label 1"),
        (20, 20, "lies on no label"),
        (130, 230, "label 2, which is gone"),
    ],
)
def test_die_lines(x, y, words):
    sheet = replace(LABELS, gone_labels=(2,))
    part = replace(SQUARE, copies=1)
    found = faults(at(x, y), parts=(part,), stock=(sheet,), sheets=(sheet,))
    assert words in " ".join(found)
    assert bool(found) == bool(words)


def test_the_checker_knows_nothing_of_the_engine():
    import subprocess
    import sys

    code = (
        "import sys, types, importlib.util as u;"
        "sys.modules['decalprep.nesting'] = types.ModuleType('decalprep.nesting');"
        "import decalprep.model;"
        "spec = u.find_spec('decalprep');"
        "path = spec.submodule_search_locations[0] + '/nesting/checker.py';"
        "s = u.spec_from_file_location('checker_alone', path);"
        "m = u.module_from_spec(s); s.loader.exec_module(m);"
        "bad = [n for n in sys.modules if n.startswith('decalprep.nesting.')];"
        "sys.exit(repr(bad) if bad else 0)"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr
