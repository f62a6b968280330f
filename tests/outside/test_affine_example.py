"""A published-style affine example and two other estimators: numpy and scikit-image.

Four fiducials, inches to millimetres; data as remembered from C. D. Ghilani, Adjustment
Computations, ch. 18 (from memory; the book's printed solution is weighted and is not used here).
Expected values computed with numpy.linalg.lstsq; scikit-image is the second estimator.
"""

import math

import numpy as np
import pytest
from skimage.transform import AffineTransform

from decalprep.scan import fit_affine

FROM_IN = np.array(
    [(0.7637, 5.9603), (5.0620, 10.5407), (9.6627, 6.2430), (5.3500, 1.6540)], dtype=float
)
TO_MM = np.array(
    [(-113.000, 0.003), (0.001, 112.993), (112.998, 0.003), (0.001, -112.999)], dtype=float
)


def test_unweighted_affine() -> None:
    got = fit_affine(FROM_IN, TO_MM)
    assert got[0] == pytest.approx([25.369734, 0.822162, -137.180947], abs=5e-7)
    assert got[1] == pytest.approx([-0.807049, 25.404197, -150.748501], abs=5e-7)
    assert math.hypot(got[0, 0], got[1, 0]) == pytest.approx(25.382568, abs=5e-7)
    assert math.hypot(got[0, 1], got[1, 1]) == pytest.approx(25.417498, abs=5e-7)


def test_against_scikit_image() -> None:
    # Not ordinary least squares: agrees to 1e-5 on this example, not better.
    other = AffineTransform.from_estimate(FROM_IN, TO_MM).params
    assert np.abs(other[:2] - fit_affine(FROM_IN, TO_MM)).max() < 2e-4
    rng = np.random.default_rng(1)
    points = rng.uniform(0, 200, (60, 2))
    mapped = points @ np.array([[1.003, -0.02], [0.021, 0.998]]) + (3.0, -4.0)
    noisy = mapped + rng.normal(0, 0.005, mapped.shape)
    other = AffineTransform.from_estimate(points, noisy).params
    assert np.abs(other[:2, :2] - fit_affine(points, noisy)[:, :2]).max() < 1e-6


def test_points_on_a_line_do_not_determine_it() -> None:
    with pytest.raises(ValueError, match="not on a line"):
        fit_affine(np.array([(0, 0), (1, 1), (2, 2)], float), np.zeros((3, 2)))
