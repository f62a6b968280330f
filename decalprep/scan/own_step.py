"""One decal's own shift, stretch and turn from how far its lines lie across themselves, in mm."""

import math

import numpy as np
import numpy.typing as npt

Array = npt.NDArray[np.float64]

LINE_U_MM = 0.01
_PIECE_MM = 10.0


def own_step(
    points: Array, normals: Array, offsets_mm: Array, *, side_mm: float, known: Array
) -> tuple[Array, Array]:
    """(step, covariance): shift in mm and the gradient row by row (parts of one) of a decal.

    ``points`` are from its middle. ``known`` (6 x 6) is what is known before, as the inverse of a
    covariance, the gradient's parts as mm over half a side of ``side_mm``: what the lines do not
    show, a side off the glass or the turn of a circle, stays as open as that says.
    """
    design = design_of(points, normals)
    groups = np.floor(points / _PIECE_MM) @ np.array([1.0, 1000.0])
    # Lines err together over about 10 mm: each such piece counts once.
    piece = np.unique(groups, return_inverse=True)[1]
    # In units of the decal's size, so that all unknowns weigh alike.
    unit = units_of(side_mm)
    scaled = design * unit
    step, inverse = np.zeros(6), np.linalg.inv(known)
    for _ in range(8):
        left = offsets_mm - scaled @ step
        spread = max(1.5 * float(np.median(np.abs(left))), 0.005)
        weight = np.clip(1 - (left / (4 * spread)) ** 2, 0, None)
        variance = _variance(left, weight, piece, spread)
        normal = (scaled * weight[:, None]).T @ scaled / variance + known
        inverse = np.linalg.inv(normal)
        step = inverse @ (scaled.T @ (offsets_mm * weight)) / variance
    return step * unit, inverse * np.outer(unit, unit)


def units_of(side_mm: float) -> Array:
    """Shift in mm, gradient in mm over half a side."""
    return np.array([1, 1, *(2 / side_mm,) * 4])


def design_of(points: Array, normals: Array) -> Array:
    """How far each unknown moves each line across itself."""
    (x, y), (nx, ny) = points.T, normals.T
    return np.column_stack([nx, ny, nx * x, nx * y, ny * x, ny * y])


def _variance(left: Array, weight: Array, piece: npt.NDArray[np.int64], spread: float) -> float:
    """Variance (mm2) that makes a fit to all samples as uncertain as one to their pieces' means."""
    total = np.bincount(piece, weight)
    means = np.bincount(piece, weight * left)[total > 0] / total[total > 0]
    count = len(means)
    # Six unknowns were fitted: what is left over is that much too small. Lines at the edge of ink
    # err alike all along, which pieces do not show: so no less than the spread.
    apart = math.sqrt(float(np.sum(means**2)) / max(count - 6, count / 3))
    u = math.hypot(max(apart, spread), LINE_U_MM)
    return u**2 * max(len(left) / max(count, 4), 1.0)
