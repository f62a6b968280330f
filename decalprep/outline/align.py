"""How the artwork lies on the part: turned by quarters and shifted, never scaled or mirrored."""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from decalprep.geometry import Affine, Box, Path
from decalprep.model import Hole

TURNS_DEG = (0, 90, 180, 270)
ALIKE_HOLES_MM = 1.0
"""Holes may differ this much in diameter and still be the same hole (drawn guide, printed part)."""
MOST_PAIRS = 400
UPRIGHT_MM = 0.5
"""An upright outline this near is not turned in the hope of a better fit."""
NEAR_MM = 1.0
"""Holes this near after the shift count for the alignment; the misfit proper is told later."""


@dataclass(frozen=True)
class Alignment:
    """``decal_from_artwork``, what it rests on, and the largest distance left in mm."""

    decal_from_artwork: Affine
    by: str
    left_mm: float


def align_outlines(target: Path, moving: Path) -> Alignment:
    """Quarter turn and shift in mm that lay one outline on another, by area centroid.

    ``left_mm`` is the largest distance between the two (Hausdorff). Upright is kept unless it is
    off by more than 0.5 mm and another turn by less than half of that.
    """
    whole = target.polygon(0.01)
    best: Alignment | None = None
    for turn in TURNS_DEG:
        turned = moving.mapped(Affine.rotation(turn)).polygon(0.01)
        shift = Affine.translation(
            whole.centroid.x - turned.centroid.x, whole.centroid.y - turned.centroid.y
        )
        m = shift @ Affine.rotation(turn)
        left = float(whole.boundary.hausdorff_distance(moving.mapped(m).polygon(0.01).boundary))
        if best is None or (best.left_mm > UPRIGHT_MM and left < best.left_mm / 2):
            best = Alignment(m, "outline", left)
    assert best is not None
    return best


def align_holes(target: Sequence[Hole], moving: Sequence[Hole]) -> Alignment | None:
    """Quarter turn and shift in mm that bring most holes together; None with fewer than two pairs.

    Every pair of alike holes proposes a shift; the one under which most holes meet wins, upright
    before turned: a turn needs more meeting holes, so a symmetric pattern is never turned by noise.
    The shift is then the mean over the pairs that meet.
    """
    if len(target) < 2 or len(moving) < 2:
        return None
    to = np.array([hole_centre(h) for h in target])
    sizes = np.array([hole_size(h) for h in target])
    alike = np.abs(sizes[:, None] - np.array([hole_size(h) for h in moving])) <= ALIKE_HOLES_MM
    pairs = _telling(alike)
    best: tuple[int, float, Affine] | None = None
    for turn in TURNS_DEG:
        m = Affine.rotation(turn)
        at = np.array([m.apply(*hole_centre(h)) for h in moving])
        here: tuple[int, float, Affine] | None = None
        for i, j in pairs:
            count, error, shift = _meeting(to, at, alike, to[i] - at[j])
            if here is None or (count, -error) > (here[0], -here[1]):
                here = (count, error, Affine.translation(*shift) @ m)
        if here is not None and (best is None or here[0] > best[0]):
            best = here
    if best is None or best[0] < 2:
        return None
    return Alignment(best[2], f"{best[0]} holes", best[1])


def _telling(alike: np.ndarray) -> list[tuple[int, int]]:
    """Pairs to try, those of holes with few like them first, at most 400: enough to find it."""
    rows, columns = np.nonzero(alike)
    common = alike.sum(axis=1)[rows] * alike.sum(axis=0)[columns]
    order = np.argsort(common, kind="stable")[:MOST_PAIRS]
    return [(int(rows[k]), int(columns[k])) for k in order]


def _meeting(
    to: np.ndarray, at: np.ndarray, alike: np.ndarray, shift: np.ndarray
) -> tuple[int, float, tuple[float, float]]:
    order = np.arange(len(to))
    for _ in range(2):
        away = np.hypot(*np.moveaxis(to[:, None] - (at + shift)[None], 2, 0))
        away = np.where(alike, away, math.inf)
        nearest = away.argmin(axis=1)
        mutual = away.argmin(axis=0)[nearest] == order
        met = mutual & (away[order, nearest] <= NEAR_MM)
        if not met.any():
            return 0, math.inf, (0.0, 0.0)
        shift = (to[met] - at[nearest[met]]).mean(axis=0)
    left = to[met] - at[nearest[met]] - shift
    worst = float(np.hypot(left[:, 0], left[:, 1]).max())
    return int(met.sum()), worst, (float(shift[0]), float(shift[1]))


def align_boxes(target: Box, moving: Box) -> Alignment:
    """Shift in mm that lays box centre on box centre; ``left_mm`` is half the size difference."""
    (x, y), (u, v) = target.centre, moving.centre
    left = max(abs(target.width - moving.width), abs(target.height - moving.height)) / 2
    return Alignment(Affine.translation(x - u, y - v), "box centres", left)


def hole_centre(hole: Hole) -> tuple[float, float]:
    """Centre in mm: of the fitted circle, else of the contour's area."""
    if hole.circle is not None:
        return hole.circle.x, hole.circle.y
    centroid = hole.contour.polygon(0.02).centroid
    return float(centroid.x), float(centroid.y)


def hole_size(hole: Hole) -> float:
    """Diameter in mm: of the fitted circle, else of the circle of equal area."""
    if hole.circle is not None:
        return hole.circle.diameter
    return 2 * math.sqrt(float(hole.contour.polygon(0.02).area) / math.pi)
