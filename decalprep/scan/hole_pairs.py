"""Which hole of a part is which hole of its decal, and why too few are, where they are not.

A decal laid on a part that is turned, mirrored or another one altogether often finds a few holes by
chance; so most holes must match, in place and about in size.
"""

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
import numpy.typing as npt

from decalprep.errors import ReadingsRefused

if TYPE_CHECKING:
    from scipy.spatial import cKDTree

Array = npt.NDArray[np.float64]
Pairs = list[tuple[int, int]]

LEAST_SHARE = 0.6
"""Of the decal's holes, or of those that the part has where it has fewer."""
_MATCH_MM = 3.0
_SIZE_MM = 1.5
_SIZE_SHARE = 0.4
_ANCHORS = 60
_FULLEST, _NEAREST = 6, 4
_TURNS = np.radians(np.linspace(-5, 5, 21))


@dataclass(frozen=True)
class HoleSet:
    """Places and diameters of holes, in mm."""

    places: Array
    diameters: Array


def hole_pairs(decal: HoleSet, part: HoleSet) -> Pairs:
    """Pairs (number of the decal's hole, number of the part's), nearest after a common shift."""
    if len(decal.places) == 0 or len(part.places) == 0:
        return []
    alike = np.abs(decal.diameters[:, None] - part.diameters) < np.maximum(
        _SIZE_MM, _SIZE_SHARE * decal.diameters[:, None]
    )
    from scipy.spatial import cKDTree  # slow to load, and making sheets needs the room but not it

    tree = cKDTree(part.places)
    best: Pairs = []
    spread = math.inf
    for turn in _TURNS:
        c, s = math.cos(turn), math.sin(turn)
        laid = (decal.places - decal.places.mean(axis=0)) @ np.array([[c, s], [-s, c]])
        for shift in _shifts(laid, part.places, alike):
            found, total = _agreeing(laid + shift, tree, alike)
            if (len(found), -total) > (len(best), -spread):
                best, spread = found, total
    return best


def _shifts(laid: Array, there: Array, alike: npt.NDArray[np.bool_]) -> list[Array]:
    """Shifts that lay the most holes on others, by where the steps between all of them gather."""
    every = max(1, math.ceil(len(laid) / _ANCHORS))
    steps = (there[None] - laid[::every, None])[alike[::every]]
    found = []
    # Four grids, half a cell apart: what gathers on the border of one lies within another's cell.
    for offset in ((0.0, 0.0), (0.5, 0.0), (0.0, 0.5), (0.5, 0.5)):
        cells = np.floor(steps / _MATCH_MM + offset)
        _, cell, counts = np.unique(cells, axis=0, return_inverse=True, return_counts=True)
        fullest = np.argsort(-counts, kind="stable")[:_FULLEST]
        found += [np.median(steps[cell.reshape(-1) == k], axis=0) for k in fullest]
    return found


def _agreeing(laid: Array, tree: "cKDTree", alike: npt.NDArray[np.bool_]) -> tuple[Pairs, float]:
    """The pairs that lie near each other, and their gaps' sum; none where two share one."""
    gaps, near = tree.query(laid, k=min(_NEAREST, tree.n), distance_upper_bound=_MATCH_MM)
    gaps, near = gaps.reshape(len(laid), -1), near.reshape(len(laid), -1)
    rows = np.arange(len(laid))
    fits = np.isfinite(gaps) & alike[rows[:, None], np.minimum(near, tree.n - 1)]
    first = np.argmax(fits, axis=1)
    there = np.flatnonzero(fits[rows, first])
    pairs = [(int(a), int(near[a, first[a]])) for a in there]
    if len({b for _, b in pairs}) < len(pairs):
        return [], math.inf
    return pairs, float(gaps[there, first[there]].sum())


def refuse_too_few(decal: HoleSet, part: HoleSet, pairs: Pairs, where: str) -> None:
    """Say what seems to be wrong where most of the holes do not match, or more would otherwise.

    Four corner holes match upside down as well, so other ways of laying the part are tried as soon
    as one hole is missing.

    Raises:
        ReadingsRefused: too few match.
    """
    wanted = len(decal.places)
    if len(pairs) == wanted:
        return
    counted = f"{len(pairs)} of {wanted} holes match"
    how, better = _lies(decal, part)
    if better > len(pairs) and better >= max(2, LEAST_SHARE * wanted):
        raise ReadingsRefused(
            f"shows the part {how} ({counted}, so turned {better})",
            where=where,
            do="lay it face down the same way round as the sheet",
        )
    if len(pairs) >= max(2, LEAST_SHARE * wanted):
        return
    if len(part.places) < max(2, LEAST_SHARE * wanted):
        raise ReadingsRefused(
            f"shows {len(part.places)} round holes, the decal has {wanted}",
            where=where,
            do="scan the whole bare part, a dark sheet of paper behind a light one",
        )
    raise ReadingsRefused(
        f"shows another part ({counted})",
        where=where,
        do="scan the bare part of this panel, whole and face down",
    )


def _lies(decal: HoleSet, part: HoleSet) -> tuple[str, int]:
    """(in words, another way the part may lie; how many holes match then): the best of them."""
    tries = [(f"turned by {90 * k} degrees", _turned(part, k)) for k in (1, 2, 3)]
    mirrored = HoleSet(part.places * (-1, 1), part.diameters)
    tries += [("mirrored, as from its other side", _turned(mirrored, k)) for k in range(4)]
    counts = [(len(hole_pairs(decal, tried)), words) for words, tried in tries]
    best, words = max(counts, key=lambda c: c[0])
    return words, best


def _turned(part: HoleSet, quarters: int) -> HoleSet:
    c, s = ((1, 0), (0, 1), (-1, 0), (0, -1))[quarters]
    # Turned back by so much it would match.
    return HoleSet(part.places @ np.array([[c, -s], [s, c]]), part.diameters)
