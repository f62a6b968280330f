"""The bound of jobs whose panels may go on some kinds of sheet only."""

from itertools import combinations
from types import SimpleNamespace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from lay_cases import decal, job, lay, panel

from decalprep.jobs.least import most_apart, unions
from decalprep.jobs.tell import _beside_the_count

A4, A5 = (f'[[sheet]]\nname = "{size}"\nsize = "{size}"\n' for size in ("A4", "A5"))


def test_kinds_that_only_a_shared_panel_joins_add_up(tmp_path):
    """Two plates that fill an A4 each, two that fill an A5 each, and a lamp that may go on both."""
    text = (
        "[job]\npasses = 2\n"
        + A4
        + A5
        + panel("chart table", 'sheets = ["A4"]')
        + panel("log book", 'sheets = ["A5"]')
        + panel("lamp", 'sheets = ["A4", "A5"]')
    )
    decals = [
        decal("chart table", 180, 250, 2),
        decal("log book", 125, 180, 2),
        decal("lamp", 20, 20, 1),
    ]
    laid = lay(job(tmp_path, text), decals)
    assert laid.lower_bound == 4
    assert len(laid.sheets) in (4, 5)


def test_no_choice_is_seen_twice():
    a, b, ab = frozenset("a"), frozenset("b"), frozenset("ab")
    assert unions([a, b, ab]) == {a, b, ab}
    assert most_apart({a: 1, b: 1, ab: 3}) == 3


needs = st.dictionaries(st.frozensets(st.sampled_from("abcd"), min_size=1), st.integers(0, 5))


@given(needs)
@settings(max_examples=60, deadline=None)
def test_the_largest_sum_of_sets_apart_is_that_of_all_families(found):
    """Against every family of sets, tried one by one."""
    best = 0
    for count in range(1, 5):
        for family in combinations(found, min(count, len(found))):
            if sum(map(len, family)) == len(frozenset().union(*family)):
                best = max(best, sum(found[names] for names in family))
    assert most_apart(found) == best


@pytest.mark.parametrize("count", [7, 60])
def test_many_choices_take_no_time(count):
    choices = [frozenset([f"stock {k}"]) for k in range(count)]
    assert len(unions(choices)) == count + 1
    assert most_apart(dict.fromkeys(unions(choices), 1)) == count


def test_a_near_miss_says_what_to_do_and_stands_beside_the_count(tmp_path):
    """Two plates leave a strip 31 mm high, a lamp of 33 mm has no room in it."""
    text = "[job]\npasses = 20\n" + A4
    decals = [decal("chart table", 190, 125, 2), decal("lamp", 33, 33)]
    laid = lay(job(tmp_path, text + panel("chart table") + panel("lamp")), decals)
    (notice,) = (n for n in laid.notices if n.code == "near-miss")
    assert "room for 2% of a sheet (lamp)" in notice.text
    assert notice.text.endswith("raise passes in [job] and run make --anew")
    told = _beside_the_count(SimpleNamespace(notices=laid.notices))
    assert " ".join(" ".join(told).split()) == notice.text
