"""Weighted least squares with its covariance, and the test for one reading that does not fit.

Covariance (A'WA)^-1 by QR; the residual of reading i has variance s_i^2 (1 - h_i), h its leverage.
The straight line of JCGM 100:2008 H.3 is the two-column case. The test of one reading is
w = e / (s sqrt(1 - h)) with s known beforehand (W. Baarda, 1968).
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

Array = npt.NDArray[np.float64]


@dataclass(frozen=True)
class Fit:
    """Values and covariance for the sigmas given; residual = observed - fitted."""

    values: Array
    covariance: Array
    residuals: Array
    leverages: Array
    chi_square: float
    freedom: int

    @property
    def residual_sd(self) -> float:
        """Root of chi square over degrees of freedom: 1 where the sigmas were right.

        Raises:
            ValueError: no degrees of freedom.
        """
        if self.freedom <= 0:
            raise ValueError("as many unknowns as observations: no scatter to see")
        return float(np.sqrt(self.chi_square / self.freedom))


def weighted_fit(
    design: Sequence[Sequence[float]] | Array,
    observed: Sequence[float] | Array,
    sigmas: Sequence[float] | Array,
) -> Fit:
    """Least squares of ``observed`` = ``design`` @ values, weights 1 / sigma^2.

    Raises:
        ValueError: the design does not determine the values.

    >>> fit = weighted_fit([[1, 0], [1, 1], [1, 2]], [1.0, 3.0, 5.0], [0.1, 0.1, 0.1])
    >>> [round(float(v), 9) for v in fit.values]
    [1.0, 2.0]
    """
    a = np.asarray(design, dtype=float)
    y = np.asarray(observed, dtype=float)
    s = np.asarray(sigmas, dtype=float)
    scaled, target = a / s[:, None], y / s
    size = np.linalg.norm(scaled, axis=0)
    if np.any(size == 0) or a.shape[0] < a.shape[1]:
        raise ValueError("the observations do not determine the values")
    q, r = np.linalg.qr(scaled / size)
    if float(np.abs(np.diag(r)).min()) < 1e-9:
        raise ValueError("the observations do not determine the values")
    values = np.linalg.solve(r, q.T @ target) / size
    inverse = np.linalg.solve(r, np.eye(len(size))) / size[:, None]
    residuals = y - a @ values
    return Fit(
        values,
        inverse @ inverse.T,
        residuals,
        np.sum(q**2, axis=1),
        float(np.sum((residuals / s) ** 2)),
        a.shape[0] - a.shape[1],
    )


def rank_of(design: Sequence[Sequence[float]] | Array, *, least: float = 1e-9) -> int:
    """How many combinations of unknowns the design determines, by ``least`` of its largest."""
    a = np.asarray(design, dtype=float)
    return int(np.linalg.matrix_rank(a, tol=least * float(np.abs(a).max(initial=1e-300))))


def standardised(fit: Fit, sigmas: Sequence[float] | Array) -> Array:
    """w of each reading; 0 where a reading is not checked by any other."""
    s = np.asarray(sigmas, dtype=float)
    free = 1 - fit.leverages
    with np.errstate(divide="ignore", invalid="ignore"):
        w = fit.residuals / (s * np.sqrt(np.maximum(free, 0)))
    return np.where(free > 1e-6, w, 0.0)


def coverage_factor(freedom: float, share: float = 0.95) -> float:
    """Student's factor for a two-sided interval (JCGM 100:2008, G.3).

    >>> round(coverage_factor(8), 3), round(coverage_factor(1e9), 3)
    (2.306, 1.96)
    """
    from scipy.special import stdtrit  # scipy only when an interval is asked for

    return float(stdtrit(freedom, 0.5 + share / 2))
