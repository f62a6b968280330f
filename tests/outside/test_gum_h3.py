"""JCGM 100:2008 (GUM), example H.3: calibration of a thermometer, a straight line with covariance.

Source: JCGM 100:2008, H.3, tables H.6 (data) and results in H.3.3 to H.3.5, as rounded there.
"""

import numpy as np
import pytest

from decalprep.calibration import weighted_fit

T_C = [21.521, 22.012, 22.512, 23.003, 23.507, 23.999, 24.513, 25.002, 25.503, 26.010, 26.511]
B_C = [-0.171, -0.169, -0.166, -0.159, -0.164, -0.165, -0.156, -0.157, -0.159, -0.161, -0.160]


def test_line_covariance_and_prediction() -> None:
    t = np.array(T_C) - 20.0
    fit = weighted_fit(np.column_stack([np.ones(11), t]), B_C, np.ones(11))
    s = fit.residual_sd
    covariance = fit.covariance * s**2
    sd = np.sqrt(np.diag(covariance))
    assert round(float(fit.values[0]), 4) == -0.1712
    assert round(float(fit.values[1]), 5) == 0.00218
    assert round(float(sd[0]), 4) == 0.0029
    assert round(float(sd[1]), 5) == 0.00067
    assert round(float(covariance[0, 1] / sd[0] / sd[1]), 3) == -0.930
    assert round(s, 4) == 0.0035
    at_30 = np.array([1.0, 10.0])
    assert round(float(at_30 @ fit.values), 4) == -0.1494
    assert float(np.sqrt(at_30 @ covariance @ at_30)) == pytest.approx(0.0041, abs=5e-5)
