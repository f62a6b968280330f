"""Centres of filled discs in a grey picture by intensity centroid, to some thousandths of a mm."""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from decalprep.scan.images import Grey

Array = npt.NDArray[np.float64]

_RING_INNER, _RING_OUTER = 1.42, 1.68
"""The paper round a disc, in disc radii: beyond ink spread and blur, inside the quiet zone."""
_MASK = 1.36
_CORE = 0.6
_LEAST_CONTRAST = 40.0


@dataclass(frozen=True)
class FoundDisc:
    """Centre in px (column, row from the top, pixel centres at .5)."""

    column: float
    row: float


def disc_centre(
    grey: Grey, guess: tuple[float, float], inverse: Array, radius_mm: float
) -> FoundDisc | None:
    """The centre of the disc near ``guess`` (px), or None where there is no whole disc.

    ``inverse`` takes a step in px to a step in mm, so that the window is round on the page.
    """
    reach = radius_mm * _RING_OUTER / np.linalg.svd(inverse, compute_uv=False)[-1] + 2
    centre = np.array(guess)
    found = None
    for _ in range(6):
        c0, r0 = np.floor(centre - reach).astype(int)
        c1, r1 = np.ceil(centre + reach).astype(int) + 1
        if c0 < 0 or r0 < 0 or c1 > grey.shape[1] or r1 > grey.shape[0]:
            return None
        window = grey[r0:r1, c0:c1].astype(float)
        cols = np.arange(c0, c1) + 0.5 - centre[0]
        rows = np.arange(r0, r1) + 0.5 - centre[1]
        x = inverse[0, 0] * cols[None, :] + inverse[0, 1] * rows[:, None]
        y = inverse[1, 0] * cols[None, :] + inverse[1, 1] * rows[:, None]
        distance = np.hypot(x, y) / radius_mm
        found = _centroid(window, distance, cols, rows, inverse, radius_mm)
        if found is None:
            return None
        centre = centre + found
        if float(np.abs(found).max()) < 2e-4:
            break
    if found is None or float(np.hypot(*(inverse @ (centre - np.array(guess))))) > 2.5:
        return None
    return FoundDisc(float(centre[0]), float(centre[1]))


def _centroid(
    window: Array, distance: Array, cols: Array, rows: Array, inverse: Array, radius_mm: float
) -> Array | None:
    ring = window[(distance > _RING_INNER) & (distance < _RING_OUTER)]
    core = window[distance < _CORE]
    if len(ring) < 8 or len(core) < 4:
        return None
    paper, ink = float(np.median(ring)), float(np.median(core))
    if paper - ink < _LEAST_CONTRAST:
        return None
    dark = np.clip((paper - window) / (paper - ink), 0.0, 1.1)
    # Paper noise would pull the centroid to the window's middle; it is cut off softly.
    dark = np.where(dark < 0.12, 0.0, dark) * (distance < _MASK)
    total = float(dark.sum())
    area = total * abs(float(np.linalg.det(inverse))) / (np.pi * radius_mm**2)
    if not 0.6 < area < 1.5:
        return None
    step = np.array([float((dark * cols[None, :]).sum()), float((dark * rows[:, None]).sum())])
    return np.asarray(step / total)
