"""The part's edge against the decal's, point by point: how far outside or inside it lies, in mm.

Sheet mm, as the print has them. Positive: the part reaches beyond the decal there. Corners are left
out: a scan rounds them.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from decalprep.scan.lines import sample_lines

Array = npt.NDArray[np.float64]
Point = tuple[float, float]

EDGE_U_MM = 0.05
"""Standard uncertainty of a part's edge in a scan (assumed, no source: chamfers, shadows)."""
REACH_MM = 3.0
_BESIDE_MM = 0.3
_LEAST_SHARE = 0.5
_LEAST_POINTS = 12
_ROUNDS = 12


@dataclass(frozen=True)
class EdgeDeviation:
    """Places along the decal's edge, their outward directions, and the part's edge there, mm.

    ``off_mm``: how far the part's edge lies outside the decal's. ``left_mm``: the same for a decal
    fitted to the part's holes, None where they do not determine one. ``share`` of the edge is seen,
    ``range_mm`` the 95 % range of each place.
    """

    places_mm: tuple[Point, ...]
    outward: tuple[Point, ...]
    off_mm: tuple[float, ...]
    left_mm: tuple[float, ...] | None
    share: float
    range_mm: float = 2 * EDGE_U_MM

    @property
    def mean_mm(self) -> float:
        """The mean along the edge."""
        return float(np.mean(self.off_mm))

    @property
    def overhang_mm(self) -> float:
        """How far the decal reaches beyond the part where it does so most; 0 where nowhere."""
        return max(0.0, -min(self.off_mm))

    @property
    def uneven_mm(self) -> float:
        """The largest difference from the mean."""
        return float(np.max(np.abs(np.array(self.off_mm) - self.mean_mm)))

    @property
    def worst(self) -> int:
        """Number of the place that is furthest off."""
        return int(np.argmax(np.abs(self.off_mm)))


def edge_deviation(
    outline: Sequence[Point], part: Array, fitted: Array | None
) -> EdgeDeviation | None:
    """The part's edge (points, laid on the decal) against the decal's; None where little is near.

    ``fitted`` (2 x 3) takes the decal to the one that fits the part's holes.
    """
    places, outward, off, seen = _distances(outline, part)
    share = float(seen.mean()) if len(seen) else 0.0
    if share < _LEAST_SHARE or int(seen.sum()) < _LEAST_POINTS:
        return None
    left = None
    if fitted is not None:
        moved = places @ fitted[:, :2].T + fitted[:, 2] - places
        left = off - np.sum(moved * outward, axis=1)
    return EdgeDeviation(
        tuple((float(x), float(y)) for x, y in places[seen]),
        tuple((float(x), float(y)) for x, y in outward[seen]),
        tuple(float(v) for v in off[seen]),
        None if left is None else tuple(float(v) for v in left[seen]),
        share,
    )


def _distances(
    outline: Sequence[Point], part: Array
) -> tuple[Array, Array, Array, npt.NDArray[np.bool_]]:
    """(places, outward directions, distance of the part's edge along them, where it was met)."""
    from scipy.spatial import cKDTree  # slow to load, and making sheets needs the room but not it

    samples = sample_lines([outline])
    ring = np.asarray(outline, dtype=np.float64)
    x, y = ring.T
    area = float(np.sum(x * np.roll(y, -1) - np.roll(x, -1) * y))
    # A sample's normal points to its left: inward where the ring runs counter-clockwise.
    outward = -samples.normals if area > 0 else samples.normals
    near = cKDTree(part).query_ball_point(samples.points, REACH_MM)
    off, seen = np.zeros(len(near)), np.zeros(len(near), bool)
    for k, found in enumerate(near):
        away = part[found] - samples.points[k]
        across = away @ outward[k]
        beside = np.abs(away[:, 0] * outward[k, 1] - away[:, 1] * outward[k, 0])
        across = across[beside < _BESIDE_MM]
        if len(across):
            nearest = across[np.argmin(np.abs(across))]
            off[k] = float(np.median(across[np.abs(across - nearest) < _BESIDE_MM]))
            seen[k] = True
    return samples.points, outward, off, seen


def laid_by_edge(outline: Sequence[Point], part: Array) -> tuple[float, Array] | None:
    """(turn in radians, shift in mm) about the decal's middle that lay a part on it by its edge.

    For decals with too few holes. Does not match parts that are turned by more than some degrees.
    """
    ring = np.asarray(outline, dtype=np.float64)
    middle = (ring.min(axis=0) + ring.max(axis=0)) / 2
    turn, shift = 0.0, middle - (part.min(axis=0) + part.max(axis=0)) / 2
    for _ in range(_ROUNDS):
        places, outward, off, seen = _distances(outline, turned(part, middle, turn, shift))
        if seen.sum() < _LEAST_POINTS or seen.mean() < _LEAST_SHARE:
            return None
        q, n = places[seen] - middle, outward[seen]
        # A common gap all round is no shift; it is let free and not used.
        design = np.column_stack([n, n[:, 1] * q[:, 0] - n[:, 0] * q[:, 1], np.ones(len(n))])
        step = np.linalg.lstsq(design, -off[seen], rcond=1e-9)[0]
        turn, shift = turn + float(step[2]), shift + step[:2]
        if float(np.abs(step[:3]).max()) < 1e-5:
            break
    return turn, np.asarray(shift, dtype=np.float64)


def turned(part: Array, middle: Array, turn: float, shift: Array) -> Array:
    """The part's points shifted, then turned about the decal's middle."""
    c, s = np.cos(turn), np.sin(turn)
    moved: Array = (part + shift - middle) @ np.array([[c, s], [-s, c]]) + middle
    return moved
