"""Locks: what is printed stays where it is; what is spoiled is printed again beside it."""

from dataclasses import replace

from shapely.geometry import box

from decalprep.model import Margins, Sheet
from decalprep.nesting import Layout, NestPart, NestSettings, check_layout, nest

A4 = Sheet("A4", 210, 297, Margins(5, 5, 5, 5))
RULES = NestSettings(budget=12)
PARTS = (
    NestPart("throttle plate", 2, box(0, 0, 120, 90)),
    NestPart("horn label", 3, box(0, 0, 60, 25)),
    NestPart("wiper panel", 1, box(0, 0, 190, 200)),
)


def keep(layout: Layout, rules: NestSettings, names: tuple[str, ...] = ()) -> NestSettings:
    """Rules that lock an earlier layout, or the named decals of it, and their sheets."""
    kept = [p for p in layout.placements if not names or p.decal in names]
    indices = sorted({p.sheet_index for p in kept})
    moved = tuple(replace(p, sheet_index=indices.index(p.sheet_index)) for p in kept)
    return replace(rules, locked=moved, locked_sheets=tuple(layout.sheets[k] for k in indices))


def test_one_spoiled_copy_goes_on_the_rest_of_a_sheet():
    """As one copy more: what lies there already stays, the spoiled one too, its paper is gone."""
    first = nest(PARTS, [A4], RULES)
    parts = [replace(p, copies=p.copies + (p.key == "horn label")) for p in PARTS]
    rules = keep(first, RULES)
    second = nest(parts, [A4], rules)
    assert check_layout(parts, [A4], rules, second) == ()
    assert len(second.sheets) == len(first.sheets)
    new = set(second.placements) - set(first.placements)
    assert [(p.decal, p.copy) for p in new] == [("horn label", 4)]


def test_named_decals_stay_and_the_others_are_laid_anew():
    first = nest(PARTS, [A4], RULES)
    rules = keep(first, RULES, ("wiper panel",))
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


def test_locked_sheets_count_among_those_there_are():
    two = replace(A4, available=2)
    first = nest(PARTS, [two], RULES)
    assert len(first.sheets) == 2
    more = (*PARTS, NestPart("new panel", 1, box(0, 0, 190, 270)))
    second = nest(more, [two], keep(first, RULES))
    assert second.unplaced == (("new panel", 1),)


def test_a_part_used_sheet_is_not_offered_twice():
    from decalprep.geometry import Box

    used = replace(A4, gone=(Box(0, 150, 210, 297),), available=1)
    parts = (NestPart("horn label", 3, box(0, 0, 60, 25)),)
    first = nest(parts, [used], RULES)
    assert [s.gone for s in first.sheets] == [used.gone]
    more = (*parts, NestPart("wiper panel", 1, box(0, 0, 120, 60)))
    second = nest(more, [used], keep(first, RULES))
    assert second.unplaced == ()
    assert len(second.sheets) == 1
