"""Nesting: every answer keeps the rules, is repeatable, and says what it could not do."""

import random
from dataclasses import replace

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from shapely.geometry import Point, Polygon, box

from decalprep.errors import DecalprepError, DoesNotFit
from decalprep.geometry import Box
from decalprep.model import Margins, Sheet, StockKind, Turns
from decalprep.nesting import (
    Layout,
    NestPart,
    NestSettings,
    check_layout,
    even_grid,
    nest,
    placed_polygon,
    start_at,
)

A4 = Sheet("A4", 210, 297, Margins(5, 5, 5, 5))
A5 = Sheet("A5", 148, 210, Margins(5, 5, 5, 5))
QUICK = NestSettings(budget=12)


def part(name, shape, copies=1, turns=Turns.QUARTER, panel=""):
    return NestPart(name, copies, shape, turns, panel)


@st.composite
def shapes(draw):
    w, h = draw(st.floats(8, 120)), draw(st.floats(8, 90))
    kind = draw(st.sampled_from(["box", "ell", "disc", "ring", "kite"]))
    if kind == "box":
        return box(3, -7, 3 + w, -7 + h)
    if kind == "ell":
        return box(0, 0, w, h).difference(box(w * 0.4, h * 0.5, w, h))
    if kind == "disc":
        return Point(w, h).buffer(min(w, h) / 2)
    if kind == "ring":
        r = min(w, h) / 2
        return Point(0, 0).buffer(r).difference(Point(0, 0).buffer(r * 0.7))
    return Polygon([(0, 0), (w, h * 0.3), (w * 0.8, h), (w * 0.1, h * 0.7)])


jobs = st.lists(
    st.tuples(shapes(), st.integers(1, 3), st.sampled_from(list(Turns))), min_size=1, max_size=6
)


@settings(max_examples=14, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(jobs, st.floats(0, 6), st.integers(0, 3))
def test_any_answer_passes_the_checker(drawn, gap, seed):
    parts = [part(f"p{k}", s, n, t) for k, (s, n, t) in enumerate(drawn)]
    rules = NestSettings(gap_mm=gap, budget=10, seed=seed, angle_step_deg=45)
    layout = nest(parts, [A4], rules)
    assert check_layout(parts, [A4], rules, layout) == ()
    assert layout.lower_bound <= len(layout.sheets)


@settings(max_examples=15, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(jobs, st.integers(0, 60))
def test_cancelled_at_any_moment_still_passes(drawn, after):
    parts = [part(f"p{k}", s, n, t) for k, (s, n, t) in enumerate(drawn)]
    asked = iter(range(10_000))
    rules = replace(QUICK, angle_step_deg=45)
    layout = nest(parts, [A4], rules, cancel=lambda: next(asked) >= after)
    assert check_layout(parts, [A4], rules, layout) == ()
    assert len(layout.placements) + len(layout.unplaced) == sum(p.copies for p in parts)


@settings(max_examples=6, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(jobs, st.integers(1, 12))
def test_cancelled_after_any_pass_keeps_the_best_so_far(drawn, last):
    """From the first pass on there is a whole answer; a later stop never has more sheets."""
    parts = [part(f"p{k}", s, n, t) for k, (s, n, t) in enumerate(drawn)]
    rules, told = replace(QUICK, angle_step_deg=90), [0]
    counts = []

    def tell(sheets, bound, number):
        told[0] = number
        counts.append(sheets)

    layout = nest(parts, [A4], rules, tell, lambda: told[0] >= last)
    assert check_layout(parts, [A4], rules, layout) == ()
    assert layout.unplaced == ()
    assert counts == sorted(counts, reverse=True)
    assert len(layout.sheets) <= counts[-1]


def test_same_seed_same_layout():
    parts = [part("a", box(0, 0, 70, 50), 7), part("b", Point(0, 0).buffer(30), 5)]
    assert nest(parts, [A4], QUICK) == nest(parts, [A4], QUICK)


def test_a_small_decal_goes_into_the_cut_out_of_a_bezel():
    frame = box(0, 0, 190, 280).difference(box(10, 10, 180, 270))
    layout = nest([part("bezel", frame), part("gauge", box(0, 0, 100, 100))], [A4], QUICK)
    assert len(layout.sheets) == 1


def test_exact_fit_is_placed():
    layout = nest([part("whole", box(0, 0, 200, 287))], [A4], QUICK)
    assert len(layout.placements) == 1


def test_exact_fit_of_odd_sizes_with_a_turn():
    sheet = Sheet("odd", 101.37, 77.77, Margins(1.3, 1.3, 1.3, 1.3))
    shape = box(4.1, 5.2, 4.1 + 77.77 - 2.6, 5.2 + 101.37 - 2.6)
    layout = nest([part("odd", shape)], [sheet], QUICK)
    assert layout.placements[0].turn_deg in (90.0, 270.0)


def test_too_large_is_refused_by_name_with_sizes_and_a_way_out():
    with pytest.raises(DoesNotFit) as caught:
        nest([part("wheelhouse strip", box(0, 0, 320, 40))], [A4], QUICK)
    text = str(caught.value)
    assert "wheelhouse strip" in text
    assert "320.00 mm x 40.00 mm" in text
    assert "200.00 mm x 287.00 mm" in text
    assert "tile it" in text


def test_upright_part_that_only_fits_turned_is_refused():
    with pytest.raises(DoesNotFit):
        nest([part("strip", box(0, 0, 250, 40), turns=Turns.NONE)], [A4], QUICK)


def test_free_angle_fits_a_strip_across_the_diagonal():
    strip = box(0, 0, 300, 5)
    layout = nest([part("strip", strip, turns=Turns.FREE)], [A4], QUICK)
    assert layout.placements[0].turn_deg % 90 != 0


def test_free_turns_in_steps_of_their_own_for_each_piece():
    """A 300 mm strip lies in A4 at 45 degrees or so, not at 0, 30 or 90; 30 and 45 differ."""
    strip = box(0, 0, 290, 8)
    stepped = NestPart("strip", 1, strip, Turns.FREE, turn_step_deg=45.0)
    square = Sheet("square", 230, 230, Margins(5, 5, 5, 5))
    layout = nest([stepped], [square], QUICK)
    assert layout.placements[0].turn_deg % 90 == 45
    with pytest.raises(DoesNotFit):
        nest([replace(stepped, turn_step_deg=30.0)], [square], QUICK)
    with pytest.raises(DecalprepError, match="do not make a whole turn"):
        nest([replace(stepped, turn_step_deg=50.0)], [square], QUICK)


def test_limited_sheets_leave_pieces_over_and_say_so():
    layout = nest([part("big", box(0, 0, 150, 200), 3)], [replace(A4, available=2)], QUICK)
    assert len(layout.sheets) == 2
    assert len(layout.unplaced) == 1
    assert [n.code for n in layout.notices] == ["pieces-left-over"]


def test_mixed_sizes_use_the_larger_sheet_where_needed():
    parts = [part("big", box(0, 0, 190, 280)), part("small", box(0, 0, 130, 190))]
    layout = nest(parts, [A5, A4], QUICK)
    assert sorted(s.name for s in layout.sheets) == ["A4", "A5"]


def test_blocked_areas_stay_free():
    zone = box(5, 5, 205, 20)
    rules = replace(QUICK, blocked=(zone,), blocked_on={"A4": (box(0, 250, 210, 297),)})
    parts = [part("p", box(0, 0, 60, 60), 9)]
    layout = nest(parts, [A4], rules)
    assert all(p.y_mm >= 20 and p.y_mm + 60 <= 250 for p in layout.placements if p.turn_deg == 0)


def test_part_used_sheet_is_used_first_and_warned_about():
    used = replace(A4, gone=(Box(0, 100, 210, 297),), stock=StockKind.LABEL)
    layout = nest([part("p", box(0, 0, 90, 90), 8)], [used], QUICK)
    assert len(layout.sheets) == 2
    assert [s.gone for s in layout.sheets].count(()) == 1
    assert "part-used-stock" in [n.code for n in layout.notices]


def test_labels_are_never_crossed_and_start_at_the_nth():
    sheet = start_at(even_grid("A4", 4, 2, (98.0, 67.0), 2.0), 3)
    parts = [part("p", box(0, 0, 90, 60), 7)]
    layout = nest(parts, [sheet], QUICK)
    assert check_layout(parts, [sheet], QUICK, layout) == ()
    assert [p.sheet_index for p in layout.placements].count(0) == 6
    tops = [placed_polygon(parts[0].polygon, p).bounds[3] for p in layout.placements[:6]]
    assert max(tops) < 297 - 67


def test_locked_pieces_do_not_move_when_a_panel_is_added():
    first = nest([part("a", box(0, 0, 80, 80), 3)], [A4], QUICK)
    parts = [part("a", box(0, 0, 80, 80), 3), part("b", box(0, 0, 50, 50), 2)]
    rules = replace(QUICK, locked=first.placements, locked_sheets=first.sheets)
    second = nest(parts, [A4], rules)
    assert set(first.placements) <= set(second.placements)
    assert len(second.sheets) == 1
    apart = nest(parts, [A4], replace(rules, fill_locked=False))
    assert len(apart.sheets) == 2


def test_bad_parts_are_refused_in_one_line():
    with pytest.raises(DecalprepError, match="two parts are named 'a'"):
        nest([part("a", box(0, 0, 1, 1)), part("a", box(0, 0, 2, 2))], [A4])
    bow_tie = Polygon([(0, 0), (1, 1), (1, 0), (0, 1)])
    with pytest.raises(DecalprepError, match="no clean inside"):
        nest([part("knot", bow_tie)], [A4])


def test_bound_text():
    assert Layout((), (), (A4, A4), 1, "x").bound_text == (
        "2 sheets, at most 1 above the fewest possible"
    )


def test_rectangles_that_fill_a_sheet_to_the_tenth_are_laid_exactly():
    """Three strips of 65.3 and two gaps of 2 make 199.9 of 200 mm; whole cells would need 201.3."""
    layout = nest([part("strip", box(0, 0, 65.3, 280), 3, Turns.NONE)], [A4], QUICK)
    assert layout.bound_text == "1 sheet, proved fewest"


def test_a_rounded_label_corner_is_not_crossed_by_a_box():
    sheet = even_grid("A4", 2, 2, (90.0, 120.0), 20.0)
    rules = replace(QUICK, die_margin_mm=1.0)
    with pytest.raises(DoesNotFit):
        nest([part("p", box(0, 0, 88, 118))], [sheet], rules)


def test_every_decal_that_is_too_large_is_named():
    with pytest.raises(DoesNotFit, match=r"aft rail.*nor do long strip, wide plate"):
        nest(
            [
                part("wide plate", box(0, 0, 300, 300)),
                part("aft rail", box(0, 0, 400, 10)),
                part("long strip", box(0, 0, 500, 10)),
                part("small", box(0, 0, 10, 10)),
            ],
            [A4],
        )


def test_two_sheets_of_one_name_are_refused():
    with pytest.raises(DecalprepError, match="two sheets are named 'A4'"):
        nest([part("a", box(0, 0, 10, 10))], [A4, A4])


def test_a_full_part_used_sheet_leaves_pieces_over_not_an_error():
    used = replace(A4, gone=(Box(0, 50, 210, 297),), available=1)
    layout = nest([part("p", box(0, 0, 100, 100))], [used], QUICK)
    assert layout.unplaced == (("p", 1),)


def test_progress_tells_sheets_bound_and_pass():
    seen = []
    parts = [part("a", box(0, 0, 120, 120), 5)]
    nest(parts, [A4], QUICK, on_progress=lambda *told: seen.append(told))
    assert [told[2] for told in seen] == list(range(1, len(seen) + 1))
    assert all(told[0] >= told[1] for told in seen)


@pytest.mark.parametrize("seed", range(3))
def test_rows_are_laid_where_they_cost_no_sheet(seed):
    rng = random.Random(seed)
    parts = [
        part(f"p{k}", box(0, 0, rng.uniform(30, 60), rng.uniform(20, 40)), 2) for k in range(8)
    ]
    plain = nest(parts, [A4], replace(QUICK, seed=seed))
    rows = nest(parts, [A4], replace(QUICK, seed=seed, rows=True))
    assert len(rows.sheets) == len(plain.sheets)
    assert rows.straight_cuts >= plain.straight_cuts
    assert check_layout(parts, [A4], QUICK, rows) == ()
