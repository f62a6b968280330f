"""Letter height and angle against published tables."""

import math

import pytest

from decalprep.cleaning import height_mm_for_angle, visual_angle_arcmin

# NUREG-0700 rev. 2, 1.3.1-4: H = 6.283 D MA / 21600, MA in arc minutes. It takes the arc for the
# chord: for such angles the same within 1 part in 100,000.
NUREG = [(700.0, 16.0), (700.0, 20.0), (700.0, 22.0), (500.0, 20.0), (2000.0, 24.0)]


@pytest.mark.parametrize(("distance_mm", "arcmin"), NUREG)
def test_nureg_0700_formula(distance_mm: float, arcmin: float) -> None:
    published = 6.283 * distance_mm * arcmin / 21600
    assert height_mm_for_angle(arcmin, distance_mm) == pytest.approx(published, rel=1e-4)


# Ratios h / D worked out from the definition h = 2 D tan(angle / 2) (computed, four digits).
RATIOS = {15: 0.004363, 16: 0.004654, 18: 0.005236, 20: 0.005818, 22: 0.006400, 24: 0.006981}


@pytest.mark.parametrize(("arcmin", "ratio"), RATIOS.items())
def test_ratio_table(arcmin: int, ratio: float) -> None:
    assert height_mm_for_angle(arcmin, 1.0) == pytest.approx(ratio, abs=5e-7)


def test_faa_rule_of_a_two_hundredth() -> None:
    """Height = distance / 200 (FAA human factors design guidance, by its abstract): 17.19'."""
    assert visual_angle_arcmin(3.5, 700) == pytest.approx(17.19, abs=0.005)


def test_snellen_normal_letter_is_five_minutes() -> None:
    """A 20/20 letter fills 5' (Snellen's definition): 8.73 mm at 6 m, as eye charts have it."""
    assert height_mm_for_angle(5, 6000) == pytest.approx(8.73, abs=0.005)


@pytest.mark.parametrize("height_mm", [0.5, 2.0, 4.0, 50.0])
def test_angle_and_height_undo_each_other(height_mm: float) -> None:
    angle = visual_angle_arcmin(height_mm, 700)
    assert math.isclose(height_mm_for_angle(angle, 700), height_mm, rel_tol=1e-12)
