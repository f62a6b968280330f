"""Readings with a rule: known errors come back, intervals hold, slips are named."""

import math

import numpy as np
import pytest
from virtual.hand import A4_LINES, EIGHT, Press, draw_press, one_digit_wrong, read

from decalprep.calibration import (
    PLAIN,
    VERNIER,
    PageReadings,
    Reading,
    RuleClass,
    estimate_printer,
    is_printer_error,
    likely_causes,
    parse_readings,
    rule_uncertainty,
)
from decalprep.errors import ReadingsRefused
from decalprep.geometry import Affine
from decalprep.marks.calibration_page_layout import target_layout
from decalprep.model import Sheet

LAYOUT = target_layout(Sheet("A4", 210, 297), record_name="r", correction=Affine())


def page(read_off: list[tuple[str, float]], **more: object) -> PageReadings:
    lengths = tuple(Reading(n, v, f"{v:g} mm") for n, v in read_off)
    return PageReadings(lengths, **more)  # type: ignore[arg-type]


def test_the_hand_measures_the_lines_that_the_page_has() -> None:
    for b in LAYOUT.baselines:
        assert math.dist(*A4_LINES[b.name]) == pytest.approx(b.length_mm, abs=1e-9)
        ends = np.array(A4_LINES[b.name])
        own = np.array([b.start, b.end])
        assert np.abs(np.diff(ends, axis=0) - np.diff(own, axis=0)).max() < 1e-9


def test_exact_readings_give_the_exact_error() -> None:
    press = Press(scale_x=0.006, scale_y=-0.004, skew=0.003)
    got = estimate_printer(
        page(read(press, np.random.default_rng(1), sigma_mm=0, step_mm=1e-9)), LAYOUT
    )
    assert (got.scale_x, got.scale_y, got.skew) == pytest.approx((0.006, -0.004, 0.003), abs=2e-8)


def test_a_skew_leans_the_right_way() -> None:
    # Ink of the upper half falls to the right: the diagonal from lower left grows.
    press = Press(skew=0.003)
    readings = dict(read(press, np.random.default_rng(1), sigma_mm=0, step_mm=1e-6))
    assert readings["diag1"] > readings["diag2"]
    lengths = page([(n, readings[n]) for n in EIGHT])
    assert estimate_printer(lengths, LAYOUT).skew == pytest.approx(0.003, abs=1e-7)


@pytest.mark.parametrize(("hand", "sigma"), [(PLAIN, 0.2), (VERNIER, 0.07)])
def test_95_percent_intervals_hold_the_truth_in_92_to_98_of_100(hand: object, sigma: float) -> None:
    rng = np.random.default_rng(7)
    held = np.zeros(3)
    runs = 200
    for _ in range(runs):
        press = draw_press(rng)
        got = estimate_printer(
            page(read(press, rng, sigma_mm=sigma), hand=hand), LAYOUT, accept=ALL
        )
        truth = (press.scale_x, press.scale_y, press.skew)
        held += [low <= t <= high for (low, high), t in zip(got.intervals, truth, strict=True)]
    assert all(0.92 * runs <= h <= 0.985 * runs for h in held), held


ALL = frozenset({"misfit", "dialog-scaling"})


@pytest.mark.parametrize(("hand", "sigma", "goal"), [(PLAIN, 0.2, 800e-6), (VERNIER, 0.07, 320e-6)])
def test_eight_readings_reach_the_goal(hand: object, sigma: float, goal: float) -> None:
    rng = np.random.default_rng(3)
    errors = []
    for _ in range(200):
        press = draw_press(rng)
        got = estimate_printer(
            page(read(press, rng, sigma_mm=sigma), hand=hand), LAYOUT, accept=ALL
        )
        errors.append(
            (got.scale_x - press.scale_x, got.scale_y - press.scale_y, got.skew - press.skew)
        )
    spread = np.sqrt(np.mean(np.square(errors), axis=0))
    assert spread.max() < goal, spread
    assert np.all(spread > 0.6 * np.array(got.u))
    assert np.all(spread < 1.5 * np.array(got.u))


def named_by(rows: list[tuple[str, float]], hand: object) -> str:
    """What is said against the readings of a page: a refusal, a question, or nothing."""
    try:
        got = estimate_printer(page(rows, hand=hand), LAYOUT)
    except ReadingsRefused as refused:
        return "refused: " + str(refused)
    return " ".join("asked: " + n.text for n in got.notices if n.code == "reading-doubtful")


@pytest.mark.parametrize(("hand", "sigma"), [(PLAIN, 0.2), (VERNIER, 0.07)])
def test_a_mistyped_figure_is_named(hand: object, sigma: float) -> None:
    """One figure before the decimal point wrong, so 1 mm or more.

    A wrong tenth is within what a plain reading scatters by: nothing could tell it.
    """
    rng = np.random.default_rng(11)
    named = 0
    runs = 300
    for _ in range(runs):
        readings = read(draw_press(rng, 0.003), rng, sigma_mm=sigma)
        at = int(rng.integers(len(readings)))
        name, value = readings[at]
        wrong = one_digit_wrong(rng, value)
        readings[at] = (name, wrong)
        named += f"{name}={wrong:g}" in named_by(readings, hand)
    assert named >= 0.99 * runs, named


def test_honest_readings_are_seldom_accused_and_not_often_asked_about() -> None:
    rng = np.random.default_rng(5)
    said = [named_by(read(draw_press(rng, 0.003), rng), PLAIN) for _ in range(300)]
    assert sum(text.startswith("refused") for text in said) <= 0.02 * 300
    assert sum(text.startswith("asked") for text in said) <= 0.07 * 300
    fine = [named_by(read(draw_press(rng, 0.003), rng, sigma_mm=0.07), VERNIER) for _ in range(100)]
    assert not any(text.startswith("asked") for text in fine)


def test_the_rule_enters_as_a_common_scale_only() -> None:
    press = Press(scale_x=0.002, scale_y=-0.001, skew=0.001)
    rng = np.random.default_rng(2)
    plain = estimate_printer(page(read(press, rng, sigma_mm=0), rule=RuleClass.I), LAYOUT)
    assert plain.u_rule == pytest.approx(
        rule_uncertainty(RuleClass.I, LAYOUT.baselines[4].length_mm)
    )
    assert plain.u_with_rule[0] > plain.u[0]
    assert plain.u_with_rule[0] == pytest.approx(math.hypot(plain.u[0], plain.u_rule))
    assert plain.u_with_rule[2] == plain.u[2]
    long = read(press, np.random.default_rng(2), sigma_mm=0, step_mm=1e-6, rule_error=0.0005)
    off = estimate_printer(page(long), LAYOUT)
    assert off.scale_x - 0.002 == pytest.approx(-0.0005, abs=2e-6)
    assert off.scale_y - -0.001 == pytest.approx(-0.0005, abs=2e-6)
    assert off.skew == pytest.approx(0.001, abs=2e-6)
    worse = estimate_printer(page(long, rule=RuleClass.III), LAYOUT)
    assert worse.u_rule > 2 * plain.u_rule
    # What the rule can hide is inside the interval once the rule is in it.
    assert abs(off.scale_x - 0.002) < 2 * off.u_with_rule[0]


def test_fewer_readings_cost_uncertainty() -> None:
    rng = np.random.default_rng(9)
    press = Press(scale_x=0.002, scale_y=-0.001, skew=0.001)
    full = estimate_printer(page(read(press, rng)), LAYOUT)
    once = ("across1", "down1", "diag1", "diag2")
    four = estimate_printer(page(read(press, rng, lines=once)), LAYOUT)
    two = estimate_printer(page(read(press, rng, lines=("across1", "down1"))), LAYOUT)
    assert all(a > b for a, b in zip(four.u, full.u, strict=True))
    assert two.u[0] >= four.u[0]
    assert two.u[2] > 3 * full.u[2]
    assert two.skew == 0
    assert [n.code for n in two.notices] == ["skew-not-measured"]
    for lines in (("across1", "across2"), ("down1",), ("diag1", "diag1")):
        with pytest.raises(ReadingsRefused, match="both directions"):
            estimate_printer(page(read(press, rng, lines=lines)), LAYOUT)
    with pytest.raises(ReadingsRefused, match="both directions"):
        estimate_printer(PageReadings(()), LAYOUT)


def refusal(text: str) -> str:
    with pytest.raises(ReadingsRefused) as refused:
        estimate_printer(parse_readings(text, LAYOUT.baselines), LAYOUT)
    return str(refused.value)


def test_slips_are_recognised() -> None:
    good = "across1=170.1 across2=170.1 down1=254.8 down2=254.8"
    diags = " diag1=277.2 diag1=277.3 diag2=277.2 diag2=277.1"
    estimate_printer(parse_readings(good + diags, LAYOUT.baselines), LAYOUT)
    assert "exchanged" in refusal("across1=254.8 across2=254.8 down1=170.1 down2=170.1" + diags)
    assert "centimetres" in refusal("across1=17.01 across2=17.0 down1=25.48 down2=25.47")
    assert "inches" in refusal("across1=6.70 across2=6.69 down1=10.04 down2=10.03")
    assert "down1=25.4 mm looks like" in refusal(good.replace("254.8", "25.4", 1) + diags)
    assert "digit is missing" in refusal(good.replace("254.8", "24.8", 1) + diags)
    assert "lost decimal point" in refusal(good.replace("254.8", "2548", 1) + diags)
    assert "figures exchanged" in refusal(good.replace("254.8", "245.8", 1) + diags)
    assert "digit too many" in refusal(good.replace("170.1", "1170.1", 1) + diags)
    assert "across2=172.9 mm does not fit" in refusal(
        good.replace("170.1 down1", "172.9 down1") + diags
    )


def test_a_diagonal_that_disagrees_with_itself_is_named_as_such() -> None:
    text = refusal(
        "across1=170.0 across2=170.0 down1=255.0 down2=255.0 diag1=277.3 diag2=281.1 diag2=277.3"
    )
    assert "diag2=281.1" in text


def test_none_of_20000_scaled_pages_passes() -> None:
    # Ratios from the slip table of page sizes and margins; percentages a dialog offers.
    rng = np.random.default_rng(21)
    n = 20_000
    sizes = ((210.0, 297.0), (215.9, 279.4))
    ratios = []
    for w, h in sizes:
        ratios += [min((w - 2 * m) / w, (h - 2 * m) / h) for m in (3, 4, 4.233, 5, 6.35, 10, 12.7)]
    ratios += [0.940741, 0.972673, 0.91223, 0.89798, 0.93346, 0.91385, 1.414141, 0.707143]
    ratios += [0.75, 0.8, 0.9375, 0.984252 - 0.02, 1.0667, 0.97, 0.95, 0.9, 1.03]
    dialog = rng.choice(ratios, n)
    # The printer's own error, and reading errors of a plain hand over the across and down lines.
    sx = dialog * (1 + rng.normal(0, 0.003, n).clip(-0.009, 0.009)) - 1
    sy = dialog * (1 + rng.normal(0, 0.003, n).clip(-0.009, 0.009)) - 1
    sx += rng.normal(0, 0.2 / 170 / math.sqrt(2), n)
    sy += rng.normal(0, 0.2 / 255 / math.sqrt(2), n)
    passed = sum(is_printer_error(float(a), float(b)) for a, b in zip(sx, sy, strict=True))
    assert passed == 0


def test_a_scaled_page_is_refused_with_at_most_three_causes_and_what_to_do() -> None:
    press = Press(scale_x=0.9397 - 1, scale_y=0.9397 - 1)
    readings = page(read(press, np.random.default_rng(4)))
    with pytest.raises(ReadingsRefused) as refused:
        estimate_printer(readings, LAYOUT)
    text = str(refused.value)
    assert "margins of 6.35 mm" in text
    assert "actual size" in text
    assert "A4" in text
    kept = estimate_printer(readings, LAYOUT, accept=frozenset({"dialog-scaling"}))
    assert kept.scale_x == pytest.approx(-0.0603, abs=0.002)
    for ratio in np.linspace(0.7, 1.5, 400):
        assert len(likely_causes(float(ratio), "A4")) <= 3
    stretched = Press(scale_x=0.0115, scale_y=-0.0115)
    with pytest.raises(ReadingsRefused, match="dialog or driver"):
        estimate_printer(page(read(stretched, np.random.default_rng(4), sigma_mm=0)), LAYOUT)
