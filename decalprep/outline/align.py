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

    ``left_mm`` is the largest distance between the two (Hausdorff). Upright is kept unless another
    turn is better by more than 0.05 mm, so symmetric outlines are not turned.
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
        if best is None or left < best.left_mm - 0.05:
            best = Alignment(m, "outline", left)
    assert best is not None
    return best


def align_holes(target: Sequence[Hole], moving: Sequence[Hole]) -> Alignment | None:
    """Quarter turn and shift in mm that bring most holes together; None with fewer than two pairs.

    Every pair of alike holes proposes a shift; the one under which most holes meet wins, upright
    before turned. The shift is then the mean over the pairs that meet.
    """
    if len(target) < 2 or len(moving) < 2:
        return None
    to = np.array([hole_centre(h) for h in target])
    sizes = np.array([hole_size(h) for h in target])
    best: tuple[int, float, Affine, float] | None = None
    for turn in TURNS_DEG:
        m = Affine.rotation(turn)
        at = np.array([m.apply(*hole_centre(h)) for h in moving])
        alike = np.abs(sizes[:, None] - np.array([hole_size(h) for h in moving])) <= ALIKE_HOLES_MM
        for i, j in zip(*np.nonzero(alike), strict=True):
            count, error, shift = _meeting(to, at, alike, to[i] - at[j])
            if best is None or (count, -error) > (best[0], -best[1] + (1e-6 if turn else 0)):
                found = Affine.translation(*shift) @ m
                best = (count, error, found, error)
    if best is None or best[0] < 2:
        return None
    return Alignment(best[2], f"{best[0]} holes", best[3])


def _meeting(
    to: np.ndarray, at: np.ndarray, alike: np.ndarray, shift: np.ndarray
) -> tuple[int, float, tuple[float, float]]:
    for _ in range(2):
        away = np.linalg.norm(to[:, None] - (at + shift)[None], axis=2)
        away = np.where(alike, away, math.inf)
        nearest = away.argmin(axis=1)
        rows = [
            i
            for i in range(len(to))
            if away[i, nearest[i]] <= NEAR_MM and away[:, nearest[i]].argmin() == i
        ]
        if not rows:
            return 0, math.inf, (0.0, 0.0)
        shift = np.mean([to[i] - at[nearest[i]] for i in rows], axis=0)
    worst = max(float(np.linalg.norm(to[i] - at[nearest[i]] - shift)) for i in rows)
    return len(rows), worst, (float(shift[0]), float(shift[1]))


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
