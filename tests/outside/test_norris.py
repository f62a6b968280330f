"""NIST StRD linear regression, data set Norris (public domain): the straight-line estimator.

Source: National Institute of Standards and Technology, Statistical Reference Datasets, 'Norris',
ozone monitors; certified values as published there (data and values typed from memory, and
checked against each other: any mistyped figure would break the eleven digits below).
"""

import numpy as np
import pytest

from decalprep.calibration import weighted_fit

Y_X = """
0.1 0.2  338.8 337.4  118.1 118.2  888.0 884.6  9.2 10.1  228.1 226.5  668.5 666.3  998.5 996.3
449.1 448.6  778.9 777.0  559.2 558.2  0.3 0.4  0.1 0.6  778.1 775.5  668.8 666.9  339.3 338.0
448.9 447.5  10.8 11.6  557.7 556.0  228.3 228.1  998.0 995.8  888.8 887.6  119.6 120.2  0.3 0.3
0.6 0.3  557.6 556.8  339.3 339.1  888.0 887.2  998.5 999.0  778.9 779.0  10.2 11.1  117.6 118.3
228.9 229.2  668.4 669.1  449.2 448.9  0.2 0.5
"""


def test_certified_values() -> None:
    y, x = np.array(Y_X.split(), dtype=float).reshape(-1, 2).T
    assert len(y) == 36
    fit = weighted_fit(np.column_stack([np.ones(36), x]), y, np.ones(36))
    assert fit.values[0] == pytest.approx(-0.262323073774029, rel=1e-10)
    assert fit.values[1] == pytest.approx(1.00211681802045, rel=1e-12)
    assert fit.residual_sd == pytest.approx(0.884796396144373, rel=1e-10)
    sd = np.sqrt(np.diag(fit.covariance)) * fit.residual_sd
    assert sd[0] == pytest.approx(0.232818234301152, rel=1e-10)
    assert sd[1] == pytest.approx(0.429796848199937e-3, rel=1e-10)
