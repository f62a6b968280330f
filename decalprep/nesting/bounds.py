"""How few sheets could ever do: lower bounds that no layout can beat."""

from __future__ import annotations

from collections.abc import Sequence

from decalprep.nesting.layout import NestPart, NestSettings
from decalprep.nesting.regions import Kind


def capacities(kinds: Sequence[Kind], values: Sequence[float], most: int) -> list[float]:
    """The value of each sheet that could be had, largest first, at most ``most`` of a kind."""
    every: list[float] = []
    for kind, value in zip(kinds, values, strict=True):
        every += [value] * (most if kind.available is None else min(kind.available, most))
    return sorted(every, reverse=True)


def sheets_for(total: float, each: Sequence[float]) -> int:
    """How many of the largest sheets add up to ``total``."""
    count, held = 0, 0.0
    for value in each:
        if held >= total - 1e-6 * max(total, 1.0):
            return count
        held += value
        count += 1
    return count


def area_bound(parts: Sequence[NestPart], kinds: Sequence[Kind], settings: NestSettings) -> int:
    """Sheets needed by area alone, each piece with its share of the gap."""
    half = settings.gap_mm / 2
    total = sum(part.copies * part.polygon.buffer(half, quad_segs=4).area for part in parts)
    areas = [_usable_mm2(kind, settings) for kind in kinds]
    most = sum(part.copies for part in parts)
    return sheets_for(total, capacities(kinds, areas, most))


def _usable_mm2(kind: Kind, settings: NestSettings) -> float:
    """Area that grown pieces could cover: free cells, those cut by the edge counted whole."""
    return kind.free_cells * settings.grid_mm**2


def lower_bound(parts: Sequence[NestPart], kinds: Sequence[Kind], settings: NestSettings) -> int:
    """The best lower bound on the number of sheets."""
    return max(1 if any(part.copies for part in parts) else 0, area_bound(parts, kinds, settings))
