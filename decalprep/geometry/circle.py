"""Circles, and the circle that fits given points best."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np


@dataclass(frozen=True, slots=True)
class Circle:
    """Centre and diameter."""

    x: float
    y: float
    diameter: float

    @property
    def radius(self) -> float:
        """Half the diameter."""
        return self.diameter / 2


def fit_circle(points: Sequence[tuple[float, float]]) -> tuple[Circle, float]:
    """(circle, largest distance of a point from it), least squares on geometric distance.

    Starts from the algebraic fit (Kasa 1976: x^2 + y^2 + Dx + Ey + F = 0) and takes Gauss-Newton
    steps on the distances. Does not say whether the points go all the way round.

    Raises:
        ValueError: fewer than three points, or all on a line.

    >>> circle, error = fit_circle([(1, 0), (0, 1), (-1, 0), (0, -1)])
    >>> round(circle.diameter, 9), error < 1e-9
    (2.0, True)
    """
    xy = np.asarray(points, dtype=float)
    if len(xy) < 3:
        raise ValueError("a circle needs three points")
    middle = xy.mean(axis=0)
    size = float(np.ptp(xy, axis=0).max())
    if size == 0:
        raise ValueError("the points coincide")
    unit = (xy - middle) / size
    system = np.column_stack([unit, np.ones(len(unit))])
    solution, _, rank, _ = np.linalg.lstsq(system, -(unit**2).sum(axis=1), rcond=1e-10)
    if rank < 3:
        raise ValueError("the points lie on a line")
    centre = -solution[:2] / 2
    radius = float(np.sqrt(max(centre @ centre - solution[2], 0.0)))
    for _ in range(20):
        away = unit - centre
        distance = np.hypot(away[:, 0], away[:, 1])
        if np.any(distance == 0):
            break
        jacobian = np.column_stack([-away / distance[:, None], -np.ones(len(unit))])
        step = np.linalg.lstsq(jacobian, -(distance - radius), rcond=None)[0]
        centre = centre + step[:2]
        radius += float(step[2])
        if float(np.abs(step).max()) < 1e-14:
            break
    away = unit - centre
    error = float(np.abs(np.hypot(away[:, 0], away[:, 1]) - radius).max()) * size
    x, y = centre * size + middle
    return Circle(float(x), float(y), 2 * radius * size), error
