"""Locks: what is printed stays where it is; what is spoiled is printed again beside it."""

import pytest
from shapely.geometry import box

from decalprep.errors import DecalprepError
from decalprep.model import Margins, Sheet
from decalprep.nesting import NestPart, NestSettings, check_layout, keep, nest, print_again
from decalprep.nesting.locks import placed_now

A4 = Sheet("A4", 210, 297, Margins(5, 5, 5, 5))
RULES = NestSettings(budget=12)
PARTS = (
    NestPart("throttle plate", 2, box(0, 0, 120, 90)),
    NestPart("horn label", 3, box(0, 0, 60, 25)),
    NestPart("wiper panel", 1, box(0, 0, 190, 200)),
)


def test_one_spoiled_copy_goes_on_the_rest_of_a_sheet():
    first = nest(PARTS, [A4], RULES)
    parts, rules = print_again(PARTS, first, RULES, [("horn label", 2)])
    second = nest(parts, [A4], rules)
    assert check_layout(parts, [A4], rules, second) == ()
    assert len(second.sheets) == len(first.sheets)
    assert [(p.decal, p.copy) for p in placed_now(first, second)] == [("horn label", 4)]


def test_named_decals_stay_and_the_others_are_laid_anew():
    first = nest(PARTS, [A4], RULES)
    rules = keep(first, RULES, ["wiper panel"])
    assert len(rules.locked) == 1
    assert len(rules.locked_sheets) == 1
    second = nest(PARTS, [A4], rules)
    assert check_layout(PARTS, [A4], rules, second) == ()
    assert len(second.sheets) == len(first.sheets)


def test_locks_hold_when_the_run_is_stopped_at_once():
    first = nest(PARTS, [A4], RULES)
    rules = keep(first, RULES)
    more = (*PARTS, NestPart("new panel", 2, box(0, 0, 100, 100)))
    second = nest(more, [A4], rules, cancel=lambda: True)
    assert check_layout(more, [A4], rules, second) == ()
    assert set(first.placements) <= set(second.placements)


def test_what_is_not_there_is_refused_by_name():
    first = nest(PARTS, [A4], RULES)
    with pytest.raises(DecalprepError, match="rudder gauge"):
        keep(first, RULES, ["rudder gauge"])
    with pytest.raises(DecalprepError, match="copy 9 of 'horn label'"):
        print_again(PARTS, first, RULES, [("horn label", 9)])


def test_locked_sheets_count_among_those_there_are():
    from dataclasses import replace

    two = replace(A4, available=2)
    first = nest(PARTS, [two], RULES)
    assert len(first.sheets) == 2
    more = (*PARTS, NestPart("new panel", 1, box(0, 0, 190, 270)))
    second = nest(more, [two], keep(first, RULES))
    assert second.unplaced == (("new panel", 1),)


def test_a_part_used_sheet_is_not_offered_twice():
    from dataclasses import replace

    from decalprep.geometry import Box

    used = replace(A4, gone=(Box(0, 150, 210, 297),), available=1)
    parts = (NestPart("horn label", 3, box(0, 0, 60, 25)),)
    first = nest(parts, [used], RULES)
    assert [s.gone for s in first.sheets] == [used.gone]
    more = (*parts, NestPart("wiper panel", 1, box(0, 0, 120, 60)))
    second = nest(more, [used], keep(first, RULES))
    assert second.unplaced == ()
    assert len(second.sheets) == 1
