"""Laws that the estimator and the checker keep whatever the numbers are."""

import math
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from shapely.geometry import box
from virtual.hand import A4_LINES, EIGHT, Press, true_length

from decalprep.calibration import PageReadings, Reading, estimate_printer
from decalprep.calibration.leastsquares import weighted_fit
from decalprep.geometry import Affine
from decalprep.marks.calibration_page_layout import target_layout
from decalprep.model import Placement, Sheet, Turns
from decalprep.nesting import Layout, NestPart, NestSettings, check_layout

LAYOUT = target_layout(Sheet("A4", 210, 297), record_name="r", correction=Affine())
ALL = frozenset({"dialog-scaling", "misfit"})
small = st.floats(-0.009, 0.009)
errors = st.tuples(small, small, st.floats(-0.004, 0.004))


def lengths(press: Press, names: tuple[str, ...], slips: list[float] | None = None) -> PageReadings:
    """What an exact hand reads, each with a slip in mm."""
    off = slips or [0.0] * len(names)
    values = [
        true_length(press, A4_LINES[n], np.eye(2)) + s for n, s in zip(names, off, strict=True)
    ]
    return PageReadings(
        tuple(Reading(n, v, f"{v:.9f} mm") for n, v in zip(names, values, strict=True))
    )


def three(press: Press, names: tuple[str, ...] = EIGHT, slips: list[float] | None = None):
    got = estimate_printer(lengths(press, names, slips), LAYOUT, accept=ALL)
    return np.array([got.scale_x, got.scale_y, got.skew]), got


@settings(max_examples=40, deadline=None)
@given(errors)
def test_an_exact_hand_gives_the_press_back(e):
    found, got = three(Press(*e))
    assert found == pytest.approx(e, abs=2e-7)
    assert max(abs(r.residual_mm) for r in got.residuals) < 1e-4


@settings(max_examples=20, deadline=None)
@given(errors, st.permutations(range(8)), st.lists(st.floats(-0.2, 0.2), min_size=8, max_size=8))
def test_the_order_of_the_readings_does_not_matter(e, order, slips):
    one, first = three(Press(*e), EIGHT, slips)
    names = tuple(EIGHT[k] for k in order)
    other, second = three(Press(*e), names, [slips[k] for k in order])
    assert one == pytest.approx(other, abs=1e-9)
    assert first.u == pytest.approx(second.u, rel=1e-6)


@settings(max_examples=20, deadline=None)
@given(errors, st.lists(st.floats(-0.1, 0.1), min_size=8, max_size=8))
def test_twice_the_slips_are_twice_the_residuals_and_never_a_smaller_scatter(e, slips):
    exact, _ = three(Press(*e))
    one, first = three(Press(*e), EIGHT, slips)
    two, second = three(Press(*e), EIGHT, [2 * s for s in slips])
    assert two - exact == pytest.approx(2 * (one - exact), abs=3e-6)
    for a, b in zip(first.residuals, second.residuals, strict=True):
        assert b.residual_mm == pytest.approx(2 * a.residual_mm, abs=3e-4)
    assert second.sigma_mm >= first.sigma_mm - 1e-9


@settings(max_examples=20, deadline=None)
@given(errors)
def test_reading_all_lines_twice_more_never_widens_the_uncertainty(e):
    _, once = three(Press(*e))
    _, thrice = three(Press(*e), EIGHT * 3)
    assert all(b <= a for a, b in zip(once.u, thrice.u, strict=True))
    assert all(u > 0 for u in thrice.u)


@settings(max_examples=20, deadline=None)
@given(errors)
def test_a_page_seen_in_a_mirror_leans_the_other_way(e):
    """Swapping both diagonals' readings is a mirror: the scales stay, the skew turns its sign."""
    press = Press(*e)
    swapped = {"diag1": "diag2", "diag2": "diag1"}
    values = {n: true_length(press, A4_LINES[swapped.get(n, n)], np.eye(2)) for n in EIGHT}
    got = estimate_printer(
        PageReadings(tuple(Reading(n, values[n], "x") for n in EIGHT)), LAYOUT, accept=ALL
    )
    # the diagonals of the page mirror each other, and so do both pairs of straight lines
    assert got.skew == pytest.approx(-e[2], abs=3e-5)
    assert (got.scale_x, got.scale_y) == pytest.approx(e[:2], abs=3e-5)


@settings(max_examples=40, deadline=None)
@given(st.integers(1, 4), st.integers(0, 5), st.integers(0, 10_000), st.floats(0.01, 10))
def test_weighted_fits_agree_with_another_library(unknowns, spare, seed, spread):
    """Values and covariance against numpy's pseudo-inverse of the weighted normal equations."""
    rng = np.random.default_rng(seed)
    rows = unknowns + spare
    design = rng.normal(size=(rows, unknowns)) + 3 * np.eye(rows, unknowns)
    sigmas = rng.uniform(0.1, 1.0, rows) * spread
    truth = rng.normal(size=unknowns)
    observed = design @ truth + rng.normal(size=rows) * sigmas
    fit = weighted_fit(design, observed, sigmas)
    weights = np.diag(1 / sigmas**2)
    covariance = np.linalg.inv(design.T @ weights @ design)
    assert fit.values == pytest.approx(
        covariance @ design.T @ weights @ observed, rel=1e-6, abs=1e-9
    )
    assert np.asarray(fit.covariance) == pytest.approx(covariance, rel=1e-6, abs=1e-12)
    assert fit.freedom == rows - unknowns
    left = (observed - design @ np.asarray(fit.values)) / sigmas
    assert fit.chi_square == pytest.approx(float(left @ left), rel=1e-6, abs=1e-9)


# ---------------------------------------------------------------- the checker

A4 = Sheet("A4", 210, 297)
sides = st.floats(5, 40)
places = st.tuples(st.floats(20, 140), st.floats(20, 220), st.sampled_from([0, 90, 180, 270]))


def corners(w, h, x, y, turn):
    """Bounds of a rectangle turned about its lower left corner, by hand."""
    a, b = {0: (w, h), 90: (-h, w), 180: (-w, -h), 270: (h, -w)}[turn]
    return min(x, x + a), min(y, y + b), max(x, x + a), max(y, y + b)


@settings(max_examples=80, deadline=None)
@given(sides, sides, places, sides, sides, places, st.floats(0, 8))
def test_the_checker_sees_two_rectangles_as_hands_do(w1, h1, p1, w2, h2, p2, gap):
    one, two = corners(w1, h1, *p1), corners(w2, h2, *p2)
    dx = max(one[0] - two[2], two[0] - one[2], 0.0)
    dy = max(one[1] - two[3], two[1] - one[3], 0.0)
    apart = math.hypot(dx, dy)
    wide = min(one[2], two[2]) - max(one[0], two[0])
    high = min(one[3], two[3]) - max(one[1], two[1])
    over = wide > 1e-2 and high > 1e-2
    m = A4.margins
    inside = all(
        b[0] >= m.left_mm - 5e-4
        and b[1] >= m.bottom_mm - 5e-4
        and b[2] <= 210 - m.right_mm + 5e-4
        and b[3] <= 297 - m.top_mm + 5e-4
        for b in (one, two)
    )
    parts = tuple(
        NestPart(name, 1, box(0, 0, w, h), Turns.QUARTER)
        for name, w, h in (("a", w1, h1), ("b", w2, h2))
    )
    laid = tuple(Placement(n, 1, 0, *p) for n, p in (("a", p1), ("b", p2)))
    rules = replace(NestSettings(), gap_mm=gap)
    told = check_layout(parts, (A4,), rules, Layout(laid, (), (A4,), 1, "test"))
    if abs(apart - gap) < 2e-3 or (apart == 0 and not over):
        return  # on the edge itself either answer will do
    assert (told == ()) == (inside and not over and apart >= gap), told
