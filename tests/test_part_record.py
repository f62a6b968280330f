"""The part measured with a caliper: hole pairs, outer edges, skew, slips."""

import numpy as np
import pytest

from decalprep.calibration import (
    PartReading,
    estimate_part,
    hole_pair,
    parse_part_readings,
    part_record,
)
from decalprep.errors import ReadingsRefused, UsageProblem

HOLES = {"h1": (8.0, 8.0), "h2": (172.0, 8.0), "h3": (172.0, 92.0), "h4": (8.0, 92.0)}
SIX = (("h1", "h2"), ("h4", "h3"), ("h1", "h4"), ("h2", "h3"), ("h1", "h3"), ("h2", "h4"))


def caliper(
    truth: tuple[float, float, float],
    rng: np.random.Generator,
    pairs: tuple[tuple[str, str], ...] = SIX,
    *,
    sigma_mm: float = 0.05,
    shrink_mm: float = 0.15,
    hole_mm: float = 6.4,
) -> tuple[PartReading, ...]:
    """Near and far readings of holes that came out too small, each with its own error."""
    sx, sy, k = truth
    found = []
    for a, b in pairs:
        dx, dy = np.subtract(HOLES[b], HOLES[a])
        centre = float(np.hypot(dx * (1 + sx) + k * dy, dy * (1 + sy)))
        near = centre - (hole_mm - shrink_mm) + rng.normal(0, sigma_mm)
        far = centre + (hole_mm - shrink_mm) + rng.normal(0, sigma_mm)
        found.append(hole_pair(f"{a}-{b}", HOLES[a], HOLES[b], near_mm=near, far_mm=far))
    return tuple(found)


def test_exact_readings_come_back_and_hole_shrink_cancels() -> None:
    truth = (-0.0031, 0.0022, 0.0015)
    got = estimate_part(caliper(truth, np.random.default_rng(0), sigma_mm=0, shrink_mm=0.4))
    assert (got.scale_x, got.scale_y, got.skew) == pytest.approx(truth, abs=1e-9)


def test_centres_off_by_a_hair_do_not_make_diagonals_of_pairs_along_the_axes() -> None:
    """Circles fitted to a drawing have centres off by micrometres."""
    holes = {
        "h1": (5.0, 35.0),
        "h2": (45.0, 35.0 + 3e-6),
        "h4": (5.0 + 2e-6, 5.0),
        "h5": (45.0, 5.0),
    }
    line = "h1-h2=37.0/43.4 h4-h5=37.0/43.4 h1-h4=26.68/33.08 h2-h5=26.68/33.08"
    got = estimate_part(parse_part_readings(line, holes))
    assert (got.scale_x, got.scale_y, got.skew) == pytest.approx((0.005, -0.004, 0.0), abs=1e-6)
    assert "part-skew-not-measured" in [n.code for n in got.notices]
    with pytest.raises(ReadingsRefused, match="one direction only"):
        estimate_part(parse_part_readings("h1-h2=37.0/43.4 h4-h5=37.0/43.4", holes))


def test_the_fit_maps_the_model_onto_the_part() -> None:
    truth = (-0.0031, 0.0022, 0.0015)
    readings = caliper(truth, np.random.default_rng(0), sigma_mm=0)
    record = part_record(
        "p", estimate_part(readings), readings, measured_on="2026-01-01", same_rule=True
    )
    a, b = (record.fitted_from_decal.apply(*HOLES[h]) for h in ("h1", "h3"))
    assert np.hypot(*np.subtract(b, a)) == pytest.approx(readings[4].distance_mm, abs=1e-9)
    assert record.same_rule_as_printer
    assert record.readings[0] == ("h1-h2", 164.0, readings[0].distance_mm)


def test_goal_and_intervals() -> None:
    rng = np.random.default_rng(12)
    runs, errors, held = 200, [], np.zeros(3)
    for _ in range(runs):
        truth = rng.normal(0, (0.003, 0.003, 0.001))
        got = estimate_part(caliper(tuple(truth), rng, sigma_mm=0.05 * np.sqrt(2)))
        errors.append(np.array([got.scale_x, got.scale_y, got.skew]) - truth)
        held += [low <= t <= high for (low, high), t in zip(got.intervals, truth, strict=True)]
    spread = np.sqrt(np.mean(np.square(errors), axis=0))
    assert spread[0] < 350e-6
    assert all(0.92 * runs <= h <= 0.985 * runs for h in held), held


def test_outer_edges_are_taken_and_called_weak() -> None:
    readings = parse_part_readings("width=180.3, height=100,2 mm", HOLES, size_mm=(180, 100))
    got = estimate_part(readings)
    holes = estimate_part(caliper((0, 0, 0), np.random.default_rng(3)))
    assert got.u[0] > 3 * holes.u[0]
    assert [n.code for n in got.notices][:2] == ["outer-edges-weak", "part-skew-not-measured"]
    assert got.scale_x == pytest.approx(0.3 / 180)


def test_the_same_rule_is_told() -> None:
    readings = caliper((0, 0, 0), np.random.default_rng(3))
    same = estimate_part(readings, same_rule=True).notices[-1]
    other = estimate_part(readings).notices[-1]
    assert "cancels" in same.text
    assert other.code == "different-rules"


def test_slips_are_named() -> None:
    good = list(caliper((0.001, 0.001, 0), np.random.default_rng(4)))
    wrong = [*good[:2], PartReading("h1-h4", HOLES["h1"], HOLES["h4"], 84.9), *good[3:]]
    with pytest.raises(ReadingsRefused, match="h1-h4: 84.90 mm does not fit"):
        estimate_part(wrong)
    with pytest.raises(ReadingsRefused, match="measured 8.40 mm, the model has 84.00 mm"):
        estimate_part([PartReading("h1-h4", HOLES["h1"], HOLES["h4"], 8.4), *good])
    with pytest.raises(ReadingsRefused, match="one direction only"):
        estimate_part(good[:2])
    with pytest.raises(ReadingsRefused, match="no readings"):
        estimate_part([])
    with pytest.raises(UsageProblem, match="near is over the gap"):
        hole_pair("h1-h2", (0, 0), (1, 0), near_mm=5, far_mm=4)


def test_one_line_form() -> None:
    got = parse_part_readings("h1-h2=157.5/170.5 h1-h4 = 77,6/90,4 mm", HOLES)
    assert [r.distance_mm for r in got] == [164.0, 84.0]
    for text in ("h1-h2=157.5", "width=3", "nonsense"):
        with pytest.raises(UsageProblem, match="cannot read"):
            parse_part_readings(text, HOLES)
    with pytest.raises(UsageProblem, match="no hole called 'h9'"):
        parse_part_readings("h1-h9=1/2", HOLES)
