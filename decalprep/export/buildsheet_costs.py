"""Counts and costs: how much ink a sheet takes by colour, and what stock a panel costs."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from decalprep.errors import UsageProblem
from decalprep.model import Placement, Sheet

INKS = ("cyan", "magenta", "yellow", "black")


@dataclass(frozen=True)
class InkCoverage:
    """Ink of one sheet: mean cover of the whole sheet by each ink (0 to 1), and by colour.

    ``total`` is the sum over the inks. ``colours`` are the largest printed colours as (red, green,
    blue 0-255, area in mm2), bare paper left out. The split into inks is the plain one,
    black = least of (1 - red, 1 - green, 1 - blue) and the rest of each to its ink; a driver's own
    differs, so compare sheets by it, do not buy by it.
    """

    inks: tuple[tuple[str, float], ...]
    total: float
    printed_share: float
    colours: tuple[tuple[tuple[int, int, int], float], ...]


def ink_coverage(
    pixels: NDArray[np.uint8], *, width_mm: float, height_mm: float, colours: int = 6
) -> InkCoverage:
    """Ink of one sheet from its picture (rows, columns, RGB) and its size in mm.

    Raises:
        UsageProblem: not an RGB picture.

    >>> black_half = np.full((10, 10, 3), 255, np.uint8)
    >>> black_half[:5] = 0
    >>> ink_coverage(black_half, width_mm=100, height_mm=100).inks[3]
    ('black', 0.5)
    """
    if pixels.ndim != 3 or pixels.shape[2] != 3 or pixels.size == 0:
        raise UsageProblem("ink is counted on an RGB picture of the sheet")
    values, lengths = _runs(pixels)
    count = int(lengths.sum())
    short = 255 - values
    black = short.min(axis=1)
    total_black = int(black @ lengths)
    shares = [(int(short[:, k] @ lengths) - total_black) / 255 / count for k in range(3)]
    shares.append(total_black / 255 / count)
    printed = short.max(axis=1) >= 8  # 247 and lighter is taken for paper
    mm2_per_px = width_mm * height_mm / count
    return InkCoverage(
        tuple(zip(INKS, shares, strict=True)),
        sum(shares),
        float(lengths[printed].sum() / count),
        _largest(values[printed], lengths[printed], mm2_per_px, colours),
    )


def _runs(pixels: NDArray[np.uint8]) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """RGB of each run of equal pixels, row after row, and its length: sheets are mostly plain."""
    flat = pixels.reshape(-1, 3)
    packed = np.zeros(len(flat), np.uint32)
    for k in range(3):
        packed <<= 8
        packed |= flat[:, k]
    starts = np.append(0, np.flatnonzero(packed[1:] != packed[:-1]) + 1)
    return flat[starts].astype(np.int64), np.diff(starts, append=len(flat))


def _largest(
    printed: NDArray[np.int64], lengths: NDArray[np.int64], mm2_per_px: float, colours: int
) -> tuple[tuple[tuple[int, int, int], float], ...]:
    """The commonest colours, alike ones (16 steps a channel) counted together."""
    keys = (printed >> 4) @ np.array([256, 16, 1])
    counts = np.bincount(keys, lengths, 4096)
    sums = np.stack([np.bincount(keys, printed[:, k] * lengths, 4096) for k in range(3)], axis=1)
    order = [k for k in np.argsort(-counts, kind="stable")[:colours] if counts[k]]
    result = []
    for k in order:
        red, green, blue = np.rint(sums[k] / counts[k]).astype(int)
        result.append(((int(red), int(green), int(blue)), float(counts[k] * mm2_per_px)))
    return tuple(result)


@dataclass(frozen=True)
class PanelCost:
    """Sheets a panel takes (by its share of their decals' area) and their cost; None: no price."""

    panel: str
    sheets: float
    cost: float | None


def stock_costs(
    placements: Sequence[Placement],
    sheets: Sequence[Sheet],
    *,
    panel_of: Mapping[str, str],
    area_mm2: Mapping[str, float],
) -> tuple[PanelCost, ...]:
    """What stock each panel costs: each sheet's price shared by the area of the decals on it.

    ``sheets`` holds one entry per used sheet, in order of ``sheet_index``. The shares of one sheet
    add up to the whole sheet, waste included. A panel with any sheet of unknown price has no cost.
    """
    taken: dict[str, float] = {}
    cost: dict[str, float | None] = {}
    for index, sheet in enumerate(sheets):
        on_sheet = [p for p in placements if p.sheet_index == index]
        whole = sum(area_mm2[p.decal] for p in on_sheet)
        for p in on_sheet:
            panel, share = panel_of[p.decal], area_mm2[p.decal] / whole
            taken[panel] = taken.get(panel, 0.0) + share
            before = cost.get(panel, 0.0)
            known = sheet.price is not None and before is not None
            cost[panel] = before + share * sheet.price if known else None  # type: ignore[operator]
    return tuple(PanelCost(p, taken[p], cost[p]) for p in sorted(taken))
