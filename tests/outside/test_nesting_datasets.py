"""Nesting against sets whose best answer is known from outside, and bounds against brute force.

Sources, beside each test. The set "fu" (Fujita and others, 1993, from memory) is copied from the
ESICUP data sets, CC0-1.0, in the form of the jagua-rs assets; larger sets are not shipped: lay the
files under a path of your own and run the benchmark with DECALPREP_NEST_DATA.
The guillotine sets are cut by a rule of our own from whole sheets, so their optimum is known by
construction, not published. The random classes follow the published rule of Berkey and Wang, Two
dimensional finite bin packing algorithms, J. Oper. Res. Soc. 38 (1987), classes I to VI (rule from
memory); only bound <= answer is tested on them, which holds whatever the rule.
"""

import itertools
import random

import pytest
from shapely.geometry import Polygon, box

from decalprep.model import Margins, Sheet, Turns
from decalprep.nesting import NestPart, NestSettings, check_layout, nest
from decalprep.nesting.bounds import clique_bound, rectangle_bound

WHOLE = Margins(0, 0, 0, 0)


def guillotine_cut(rng, width, height, pieces):
    """Whole-mm rectangles cut from one sheet by straight cuts from edge to edge."""
    parts = [(width, height)]
    while len(parts) < pieces:
        parts.sort(key=lambda p: p[0] * p[1])
        w, h = parts.pop()
        if w >= h:
            cut = rng.randint(max(1, w // 4), max(1, 3 * w // 4))
            parts += [(cut, h), (w - cut, h)]
        else:
            cut = rng.randint(max(1, h // 4), max(1, 3 * h // 4))
            parts += [(w, cut), (w, h - cut)]
    return parts


@pytest.mark.parametrize("seed", range(4))
def test_cut_up_sheet_goes_back_on_one_sheet(seed):
    """Optimum 1 by construction: seven pieces cut from one A5 sheet, no gap, no waste at all."""
    rng = random.Random(seed)
    sheet = Sheet("A5", 148, 210, WHOLE)
    sizes = guillotine_cut(rng, 148, 210, 7)
    parts = [NestPart(f"p{k}", 1, box(0, 0, *size), Turns.NONE) for k, size in enumerate(sizes)]
    rules = NestSettings(gap_mm=0.0, budget=400, seed=seed)
    layout = nest(parts, [sheet], rules)
    assert check_layout(parts, [sheet], rules, layout) == ()
    assert layout.bound_text == "1 sheet, proved fewest"


def test_the_checker_accepts_the_known_optimum_of_a_jigsaw():
    """A square cut into eight pieces that share edges: areas sum exactly, nothing overlaps."""
    cuts = [(0, 0), (50, 0), (100, 0), (100, 50), (100, 100), (50, 100), (0, 100), (0, 50)]
    ring = [*cuts, cuts[0]]
    parts = [
        NestPart(f"p{k}", 1, Polygon([(37, 61), a, b]), Turns.NONE)
        for k, (a, b) in enumerate(itertools.pairwise(ring))
    ]
    assert sum(p.polygon.area for p in parts) == pytest.approx(10_000)
    rules = NestSettings(gap_mm=0.0, budget=1)
    sheet = Sheet("square", 100, 100, WHOLE)
    from decalprep.model import Placement
    from decalprep.nesting import Layout

    known = Layout(tuple(Placement(p.key, 1, 0, 0, 0) for p in parts), (), (sheet,), 1, "known")
    assert check_layout(parts, [sheet], rules, known) == ()


def test_six_large_squares_need_six_sheets():
    """Two squares of 145 mm cannot share A4: 290 + 2 > 287 mm, while area alone says three."""
    parts = [NestPart("square", 6, box(0, 0, 145, 145))]
    layout = nest(parts, [Sheet("A4", 210, 297, Margins(5, 5, 5, 5))], NestSettings(budget=10))
    assert layout.bound_text == "6 sheets, proved fewest"


FU = [
    [(0, 0), (10, 0), (10, 10), (0, 10)],
    [(0, 0), (10, 0), (10, 10), (0, 10)],
    [(0, 0), (14, 0), (14, 9), (0, 9)],
    [(0, 0), (14, 0), (7, 7)],
    [(0, 9), (0, 0), (14, 9)],
    [(0, 0), (14, 0), (14, 14), (0, 14)],
    [(0, 0), (10, 4), (10, 9), (0, 9)],
    [(0, 0), (5, 0), (5, 9), (0, 9)],
    [(0, 0), (14, 0), (14, 14)],
    [(0, 0), (10, 0), (10, 10), (0, 14)],
    [(0, 8), (4, 0), (8, 8)],
    [(0, 0), (14, 0), (7, 12)],
]


def fu_parts():
    """The twelve pieces at ten times their size, in mm."""
    return [
        NestPart(f"fu {k}", 1, Polygon([(10 * x, 10 * y) for x, y in p])) for k, p in enumerate(FU)
    ]


def test_the_published_set_fu_has_its_published_area():
    """12 pieces, 1083 square units; strip 38 high, so no strip is shorter than 28.5."""
    assert sum(Polygon(p).area for p in FU) == pytest.approx(1083.0)


def test_fu_fits_one_sheet_of_84_percent_density():
    """Published medians reach 92.4 % (strip 30.8); 34.0 is well within reach of any good search."""
    sheet, rules = Sheet("strip", 380, 340, WHOLE), NestSettings(gap_mm=0.0, budget=300)
    layout = nest(fu_parts(), [sheet], rules)
    assert layout.bound_text == "1 sheet, proved fewest"


def test_fu_does_not_fit_where_nobody_has_packed_it():
    """At 28.6 the density would be 99.7 %, far above the best published: one sheet is a fault."""
    sheet, rules = Sheet("strip", 380, 286, WHOLE), NestSettings(gap_mm=0.0, budget=30)
    layout = nest(fu_parts(), [sheet], rules)
    assert check_layout(fu_parts(), [sheet], rules, layout) == ()
    assert (layout.lower_bound, len(layout.sheets)) == (1, 2)


CLASSES = [(10, 10), (10, 30), (35, 40), (35, 100), (100, 100), (100, 300)]


@pytest.mark.parametrize(("largest", "side"), CLASSES)
def test_bound_never_exceeds_the_answer_on_the_random_classes(largest, side):
    rng = random.Random(largest * side)
    parts = [
        NestPart(f"p{k}", 1, box(0, 0, rng.randint(1, largest), rng.randint(1, largest)))
        for k in range(12)
    ]
    sheet = Sheet("bin", side, side, WHOLE)
    layout = nest(parts, [sheet], NestSettings(gap_mm=0.0, budget=20))
    assert layout.unplaced == ()
    assert layout.lower_bound <= len(layout.sheets) <= layout.lower_bound + 2


def fits_together(sizes):
    """Brute force: can these few upright rectangles lie in the unit square, corner-placed?"""

    def lay(left, done):
        if not left:
            return True
        corners = {(0.0, 0.0)} | {
            (x, y) for a in done for b in done for x in (a[2], 0.0) for y in (b[3], 0.0)
        }
        for k, turned in itertools.product(range(len(left)), range(2)):
            w, h = left[k][::-1] if turned else left[k]
            for x, y in corners:
                if x + w > 1 + 1e-9 or y + h > 1 + 1e-9:
                    continue
                if all(
                    x + w <= a[0] + 1e-9
                    or a[2] <= x + 1e-9
                    or y + h <= a[1] + 1e-9
                    or a[3] <= y + 1e-9
                    for a in done
                ) and lay(left[:k] + left[k + 1 :], [*done, (x, y, x + w, y + h)]):
                    return True
        return False

    return lay(list(sizes), [])


@pytest.mark.parametrize("seed", range(60))
def test_bounds_never_refuse_what_brute_force_lays(seed):
    rng = random.Random(seed)
    sizes = [(rng.uniform(0.1, 0.8), rng.uniform(0.1, 0.8)) for _ in range(rng.randint(2, 4))]
    items = [((w, h), (h, w)) for w, h in sizes]
    if fits_together(sizes):
        assert rectangle_bound(items) <= 1
        assert clique_bound(items) <= 1
