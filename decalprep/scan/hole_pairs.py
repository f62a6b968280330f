"""Which hole of a part is which hole of its decal, and why too few are, where they are not.

A decal laid on a part that is turned, mirrored or another one altogether often finds a few holes by
chance; so most holes must match, in place and about in size.
"""

import math
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from decalprep.errors import ReadingsRefused

Array = npt.NDArray[np.float64]
Pairs = list[tuple[int, int]]

LEAST_SHARE = 0.6
"""Of the decal's holes, or of those that the part has where it has fewer."""
_MATCH_MM = 3.0
_SIZE_MM = 1.5
_SIZE_SHARE = 0.4
_ANCHORS = 8
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
    best: Pairs = []
    spread = math.inf
    every = max(1, math.ceil(len(decal.places) / _ANCHORS))
    for i in range(0, len(decal.places), every):
        for j in np.flatnonzero(alike[i]):
            # One pair of holes fixes the shift, a small turn is tried; the others must agree.
            for turn in _TURNS:
                found, total = _agreeing(decal, part, alike, (i, int(j)), float(turn))
                if (len(found), -total) > (len(best), -spread):
                    best, spread = found, total
    return best


def _agreeing(
    decal: HoleSet,
    part: HoleSet,
    alike: npt.NDArray[np.bool_],
    anchor: tuple[int, int],
    turn: float,
) -> tuple[Pairs, float]:
    """The pairs that lie near each other with one pair laid on each other; their gaps' sum."""
    c, s = math.cos(turn), math.sin(turn)
    about = part.places[anchor[1]]
    laid = (decal.places - decal.places[anchor[0]]) @ np.array([[c, s], [-s, c]]) + about
    gaps = np.hypot(*(laid[:, None, :] - part.places[None, :, :]).transpose(2, 0, 1))
    gaps = np.where(alike, gaps, np.inf)
    nearest = np.argmin(gaps, axis=1)
    close = gaps[np.arange(len(laid)), nearest]
    near = np.flatnonzero(close < _MATCH_MM)
    pairs = [(int(a), int(nearest[a])) for a in near]
    if len({b for _, b in pairs}) < len(pairs):
        return [], math.inf
    return pairs, float(close[near].sum())


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
