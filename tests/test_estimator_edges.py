"""The estimator's less travelled ways, each against numbers worked out here."""

import math
from dataclasses import replace

import numpy as np
import pytest
from virtual.hand import A4_LINES, EIGHT, Press, true_length

from decalprep.calibration import PLAIN, VERNIER, PageReadings, Reading, estimate_printer
from decalprep.calibration.estimate import (
    UNMEASURED,
    ShapeFinding,
    _solve,
    offset_of,
    plain_rule_u,
    with_rules,
)
from decalprep.calibration.leastsquares import coverage_factor, rank_of, standardised, weighted_fit
from decalprep.errors import ReadingsRefused
from decalprep.geometry import Affine
from decalprep.marks.calibration_page_layout import target_layout
from decalprep.model import Sheet

LAYOUT = target_layout(Sheet("A4", 210, 297), record_name="r", correction=Affine())
ALL = frozenset({"dialog-scaling", "misfit"})
PRESS = Press(scale_x=0.006, scale_y=-0.004, skew=0.003)
TRUTH = (0.006, -0.004, 0.003)
SURE = ((1e-10, 0.0), (0.0, 1e-10))


def page(names=EIGHT, press=PRESS, slips=None, **more) -> PageReadings:
    off = slips or [0.0] * len(names)
    drawn = [true_length(press, A4_LINES[n], np.eye(2)) for n in names]
    values = [length + slip for length, slip in zip(drawn, off, strict=True)]
    return PageReadings(
        tuple(Reading(n, v, f"{v:g}") for n, v in zip(names, values, strict=True)), **more
    )


def shape(e=TRUTH, covariance=SURE, freedom=9.0) -> ShapeFinding:
    """What perfect scans of such a page find: y over x, and the lean over the mean scale."""
    mean = 1 + (e[0] + e[1]) / 2
    return ShapeFinding((1 + e[1]) / (1 + e[0]) - 1, e[2] / mean, covariance, freedom)


@pytest.mark.parametrize("line", ["across1", "down1", "diag1"])
def test_scans_and_one_reading_give_everything(line):
    got = estimate_printer(page((line,)), LAYOUT, shape=shape(), accept=ALL)
    assert (got.scale_x, got.scale_y, got.skew) == pytest.approx(TRUTH, abs=2e-6)
    assert got.method == "scan and rule"
    assert got.u[2] == pytest.approx(1e-5, rel=0.05)
    # the size rests on the one reading: its scatter over its length
    assert got.u[0] == pytest.approx(PLAIN.sigma_mm / math.dist(*A4_LINES[line]), rel=0.05)


def test_scans_that_know_little_leave_it_to_the_readings():
    wrong = shape((0.001, 0.001, 0.0), ((1.0, 0.0), (0.0, 1.0)))
    got = estimate_printer(page(), LAYOUT, shape=wrong, accept=ALL)
    assert (got.scale_x, got.scale_y, got.skew) == pytest.approx(TRUTH, abs=1e-6)
    alone = estimate_printer(page(), LAYOUT, accept=ALL)
    assert alone.method == "rule"
    assert got.freedom <= 9.0


def test_scans_tie_their_errors_together():
    """Covariance of the scans: a ratio and a lean that err together move together."""
    tied = ((4e-8, 3e-8), (3e-8, 4e-8))
    free = ((4e-8, 0.0), (0.0, 4e-8))
    one, other = (
        estimate_printer(page(("across1",)), LAYOUT, shape=shape(covariance=c), accept=ALL)
        for c in (tied, free)
    )
    assert one.covariance[1][2] == pytest.approx(3e-8, rel=0.05)
    assert other.covariance[1][2] == pytest.approx(0.0, abs=1e-10)


def test_scans_without_a_reading_are_refused():
    with pytest.raises(ReadingsRefused, match="not the size"):
        estimate_printer(PageReadings(()), LAYOUT, shape=shape())


@pytest.mark.parametrize("names", [("across1",), ("down1", "down2"), ("diag1", "diag1"), ()])
def test_one_direction_alone_is_refused(names):
    with pytest.raises(ReadingsRefused):
        estimate_printer(page(names), LAYOUT, accept=ALL)


def test_without_diagonals_the_lean_is_unmeasured_and_says_so():
    press = Press(scale_x=0.002, scale_y=-0.001)
    got = estimate_printer(page(("across1", "down1"), press), LAYOUT, accept=ALL)
    assert (got.scale_x, got.scale_y, got.skew) == pytest.approx((0.002, -0.001, 0.0), abs=1e-7)
    assert got.u[2] == pytest.approx(UNMEASURED)
    assert [n.code for n in got.notices] == ["skew-not-measured"]
    assert "give or take 0.8 mm over 200 mm" in got.notices[0].text
    full = estimate_printer(page(press=press), LAYOUT, accept=ALL)
    assert full.notices == ()


def test_diagonals_alone_do_not_tell_width_from_height():
    """They tell their mean and the lean: two things, of which neither is a direction's size."""
    with pytest.raises(ReadingsRefused, match="do not give both directions"):
        estimate_printer(page(("diag1", "diag2")), LAYOUT, accept=ALL)


def test_a_slip_shows_in_its_own_residual_and_in_the_scatter():
    slips = [0.0] * 8
    exact = estimate_printer(page(), LAYOUT, accept=ALL)
    slips[0] = 1.0
    got = estimate_printer(page(slips=slips), LAYOUT, accept=ALL)
    sizes = [abs(r.residual_mm) for r in got.residuals]
    assert sizes.index(max(sizes)) == 0
    assert exact.sigma_mm < PLAIN.sigma_mm < got.sigma_mm
    # prior of the hand with its worth, and the residuals with their freedom (GUM, pooled)
    own = sum((r.residual_mm / PLAIN.sigma_mm) ** 2 for r in got.residuals)
    pooled = (PLAIN.worth + own) / (PLAIN.worth + 5)
    assert got.sigma_mm == pytest.approx(PLAIN.sigma_mm * math.sqrt(pooled), rel=1e-9)
    assert got.freedom == pytest.approx(PLAIN.worth + 5)
    grown = np.array(got.covariance) / np.array(exact.covariance)
    assert grown == pytest.approx(pooled / (PLAIN.worth / (PLAIN.worth + 5)), rel=0.01)


def test_a_finer_hand_gives_smaller_uncertainty_in_proportion():
    plain, fine = (
        estimate_printer(page(hand=hand), LAYOUT, accept=ALL) for hand in (PLAIN, VERNIER)
    )
    worth = [math.sqrt(h.worth / (h.worth + 5)) * h.sigma_mm for h in (PLAIN, VERNIER)]
    assert fine.u[0] / plain.u[0] == pytest.approx(worth[1] / worth[0], rel=1e-6)


def test_intervals_and_maps_follow_from_the_values():
    got = estimate_printer(page(), LAYOUT, accept=ALL)
    k = coverage_factor(got.freedom)
    for (low, high), value, u in zip(got.intervals, TRUTH, got.u, strict=True):
        assert (low, high) == pytest.approx((value - k * u, value + k * u), abs=1e-7)
    assert got.printed_from_true.apply(100.0, 200.0) == pytest.approx(
        (100 * 1.006 + 200 * 0.003, 200 * 0.996), abs=1e-4
    )
    ux, uy, us = got.u_with_rule
    assert ux == pytest.approx(math.hypot(got.u[0], got.u_rule))
    assert uy == pytest.approx(math.hypot(got.u[1], got.u_rule))
    assert us == got.u[2]


@pytest.mark.parametrize(
    ("edges", "shift"),
    [
        ((), None),
        ((("left", 10.4), ("right", 9.8)), (0.3, 0.0)),
        ((("left", 10.4),), (0.4, 0.0)),
        ((("right", 9.8),), (0.2, 0.0)),
        ((("bottom", 9.5), ("top", 10.7)), (0.0, -0.6)),
        ((("top", 10.7),), (0.0, -0.7)),
        ((("left", 10.1), ("bottom", 10.2)), (0.1, 0.2)),
    ],
)
def test_the_offset_from_the_papers_edges(edges, shift):
    found = offset_of(PageReadings((), edges_mm=edges))
    assert found == (None if shift is None else pytest.approx(shift))


# ---------------------------------------------------------------- least squares


def test_leverages_add_up_to_the_unknowns_and_standardise_the_residuals():
    rng = np.random.default_rng(3)
    design, sigmas = rng.normal(size=(9, 3)), rng.uniform(0.5, 2, 9)
    observed = rng.normal(size=9)
    fit = weighted_fit(design, observed, sigmas)
    scaled = design / sigmas[:, None]
    hat = scaled @ np.linalg.inv(scaled.T @ scaled) @ scaled.T
    assert fit.leverages == pytest.approx(np.diag(hat))
    assert fit.leverages.sum() == pytest.approx(3)
    expected = (observed - design @ fit.values) / (sigmas * np.sqrt(1 - np.diag(hat)))
    assert standardised(fit, sigmas) == pytest.approx(expected)
    assert fit.residual_sd == pytest.approx(math.sqrt(fit.chi_square / 6))


def test_rank_and_coverage():
    assert rank_of([[1, 0], [0, 1], [1, 1]]) == 2
    assert rank_of([[1, 2], [2, 4]]) == 1
    assert rank_of([[1, 0], [1, 1e-12]]) == 1
    assert rank_of([[1, 0], [1, 1e-6]]) == 2
    # Student's t at 95 %, two sides (GUM, table G.2): 12.71, 2.57, 2.23, 2.01
    for freedom, t in ((1, 12.71), (5, 2.57), (10, 2.23), (50, 2.01)):
        assert coverage_factor(freedom) == pytest.approx(t, abs=0.006)
    # and at 99 % with 5: 4.03
    assert coverage_factor(5, 0.99) == pytest.approx(4.03, abs=0.006)


def test_what_the_others_say_of_a_reading_is_their_fit_without_it():
    slips = [0.3, -0.1, 0.05, 0.2, -0.15, 0.1, 0.0, -0.2]
    whole = page(slips=slips)
    lines = {b.name: b for b in LAYOUT.baselines}
    expected = _solve(whole.lengths, lines, PLAIN, None).expected
    for k, reading in enumerate(whole.lengths):
        rest = PageReadings((*whole.lengths[:k], *whole.lengths[k + 1 :]))
        got = estimate_printer(rest, LAYOUT, accept=ALL)
        (x0, y0), (x1, y1) = A4_LINES[reading.line]
        dx, dy = x1 - x0, y1 - y0
        across = dx * (1 + got.scale_x) + dy * got.skew
        assert expected[k] == pytest.approx(math.hypot(across, dy * (1 + got.scale_y)), abs=2e-3)


def test_the_freedom_is_the_hands_or_the_scans_whichever_is_less():
    much = estimate_printer(page(), LAYOUT, shape=shape(freedom=500.0), accept=ALL)
    assert much.freedom == pytest.approx(PLAIN.worth + 7)  # 8 readings, 2 of the scans, 3 unknown
    little = estimate_printer(page(), LAYOUT, shape=shape(freedom=2.5), accept=ALL)
    assert little.freedom == 2.5


def sized(size: tuple[float, float]) -> ShapeFinding:
    return replace(shape(), size=size)


def test_a_rule_scanned_along_gives_the_size_without_a_reading():
    got = estimate_printer(page(()), LAYOUT, shape=sized((0.001, 5e-5)), accept=ALL)
    assert (got.scale_x, got.scale_y, got.skew) == pytest.approx(TRUTH, abs=2e-6)
    assert got.u[0] == pytest.approx(5e-5, rel=0.05)


def test_a_rule_and_readings_are_weighed_by_their_uncertainties():
    """As the weighted mean (GUM 2008, F.1.2.4, from memory): a sharp rule leads a loose hand."""
    truth = page(("down1",))
    loose = estimate_printer(truth, LAYOUT, shape=sized((0.002, 1.0)), accept=ALL)
    sharp = estimate_printer(truth, LAYOUT, shape=sized((0.002, 1e-7)), accept=ALL)
    assert (loose.scale_x + loose.scale_y) / 2 == pytest.approx(0.001, abs=3e-6)
    assert (sharp.scale_x + sharp.scale_y) / 2 == pytest.approx(0.002, abs=3e-6)
    alike = loose.u[1]
    both = estimate_printer(truth, LAYOUT, shape=sized((0.002, alike)), accept=ALL)
    assert (both.scale_x + both.scale_y) / 2 == pytest.approx(0.0015, abs=2e-5)


def test_rules_are_weighed_together_or_refused():
    found = with_rules(shape(), [(0.001, 1e-4), (0.0013, 2e-4)])
    assert found.size is not None
    assert found.size[0] == pytest.approx((4 * 0.001 + 0.0013) / 5)
    assert found.size[1] == pytest.approx(2e-4 / math.sqrt(5))
    assert with_rules(shape(), []) == shape()
    limit = 3.3 * math.hypot(1e-4, 2e-4)
    with_rules(shape(), [(0.0, 1e-4), (0.99 * limit, 2e-4)])
    with pytest.raises(ReadingsRefused, match=r"differ by 0\.19 mm over 250 mm"):
        with_rules(shape(), [(0.0, 1e-4), (1.01 * limit, 2e-4)])


def test_what_a_plain_rule_tells_of_the_shape():
    """Against many drawn pages read by a hand of that scatter, none of the estimator's formulas."""
    names = [b.name for b in LAYOUT.baselines]
    names += [n for n in names if n.startswith("diag")]
    lines = {b.name: b for b in LAYOUT.baselines}
    away = np.array([np.subtract(lines[n].end, lines[n].start) for n in names])
    length = np.hypot(*away.T)
    # error of each length for a unit of scale_x, scale_y and skew
    slopes = np.column_stack([away[:, 0] ** 2, away[:, 1] ** 2, away[:, 0] * away[:, 1]])
    slopes /= length[:, None]
    errors = np.random.default_rng(5).normal(0, PLAIN.sigma_mm, (4000, len(names)))
    found = np.linalg.lstsq(slopes, errors.T, rcond=None)[0]
    ratio, skew = plain_rule_u(LAYOUT)
    assert ratio == pytest.approx(float(np.std(found[1] - found[0])), rel=0.05)
    assert skew == pytest.approx(float(np.std(found[2])), rel=0.05)
