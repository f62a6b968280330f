"""Holes of the part against holes of the artwork."""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from decalprep.geometry import Box
from decalprep.model import Hole, Notice, Severity
from decalprep.outline.align import hole_centre, hole_size

FARTHEST_MM = 4.0
"""Holes farther apart than this are two different holes."""


@dataclass(frozen=True)
class HolePair:
    """One hole in both: indices, and the vector from the part's to the artwork's centre in mm."""

    part: int
    artwork: int
    dx_mm: float
    dy_mm: float
    diameter_difference_mm: float

    @property
    def misfit_mm(self) -> float:
        """Length of the vector."""
        return math.hypot(self.dx_mm, self.dy_mm)


@dataclass(frozen=True)
class HoleMatches:
    """Pairs, and the indices of holes present in only one of the two."""

    pairs: tuple[HolePair, ...]
    only_part: tuple[int, ...]
    only_artwork: tuple[int, ...]
    notices: tuple[Notice, ...]


def match_holes(
    part: Sequence[Hole], artwork: Sequence[Hole], *, misfit_mm: float = 0.3, subject: str = ""
) -> HoleMatches:
    """Holes of part and artwork paired (both in decal mm), misfits and lone holes told.

    The pairing makes the sum of distances smallest (assignment problem) among pairs within 4 mm.
    """
    pairs = _paired(part, artwork)
    only_part = tuple(i for i in range(len(part)) if i not in {p.part for p in pairs})
    only_artwork = tuple(j for j in range(len(artwork)) if j not in {p.artwork for p in pairs})
    notices = [n for p in pairs for n in _misfits(p, part[p.part], misfit_mm, subject)]
    for i in only_part:
        notices.append(_lone(part[i], "part", "artwork", subject))
    for j in only_artwork:
        notices.append(_lone(artwork[j], "artwork", "part", subject))
    return HoleMatches(tuple(pairs), only_part, only_artwork, tuple(notices))


def _paired(part: Sequence[Hole], artwork: Sequence[Hole]) -> list[HolePair]:
    from scipy.optimize import linear_sum_assignment

    if not part or not artwork:
        return []
    to = np.array([hole_centre(h) for h in part])
    at = np.array([hole_centre(h) for h in artwork])
    away = np.linalg.norm(to[:, None] - at[None], axis=2)
    # a pair out of reach costs more than any set of pairs within it
    rows, columns = linear_sum_assignment(np.where(away <= FARTHEST_MM, away, 1e6))
    return [
        HolePair(
            int(i),
            int(j),
            float(at[j, 0] - to[i, 0]),
            float(at[j, 1] - to[i, 1]),
            hole_size(artwork[j]) - hole_size(part[i]),
        )
        for i, j in zip(rows, columns, strict=True)
        if away[i, j] <= FARTHEST_MM
    ]


def _misfits(pair: HolePair, hole: Hole, misfit_mm: float, subject: str) -> list[Notice]:
    told = []
    name = f"hole {hole.label}" if hole.label else "a hole"
    x, y = hole_centre(hole)
    box = Box(x, y, x, y).grown(hole_size(hole) / 2)
    if pair.misfit_mm > misfit_mm:
        text = (
            f"{name} of the artwork lies {pair.misfit_mm:.2f} mm from the part's "
            f"({pair.dx_mm:+.2f} mm across, {pair.dy_mm:+.2f} mm up)"
        )
        numbers = (("dx_mm", pair.dx_mm), ("dy_mm", pair.dy_mm))
        told.append(Notice("hole-misfit", text, subject, Severity.DANGER, box, numbers))
    if abs(pair.diameter_difference_mm) > misfit_mm:
        text = (
            f"{name} is {hole_size(hole):.2f} mm wide in the part and "
            f"{hole_size(hole) + pair.diameter_difference_mm:.2f} mm in the artwork"
        )
        size = (("difference_mm", pair.diameter_difference_mm),)
        told.append(Notice("hole-size-differs", text, subject, Severity.WARNING, box, size))
    return told


def _lone(hole: Hole, there: str, missing: str, subject: str) -> Notice:
    x, y = hole_centre(hole)
    size = hole_size(hole)
    name = f"hole {hole.label}" if hole.label else "a hole"
    text = (
        f"{name} ({size:.2f} mm at {x:.2f}, {y:.2f} mm) is in the {there} but not in the {missing}"
    )
    box = Box(x, y, x, y).grown(size / 2)
    return Notice(f"hole-only-in-{there}", text, subject, Severity.WARNING, box)
