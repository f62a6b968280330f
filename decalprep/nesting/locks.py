"""Keeping what is printed already: locks for a further run, and one spoiled decal printed again."""

from __future__ import annotations

from collections import Counter
from collections.abc import Collection, Sequence
from dataclasses import replace

from decalprep.errors import DecalprepError
from decalprep.model import Placement
from decalprep.nesting.layout import Layout, NestPart, NestSettings


def keep(
    layout: Layout, settings: NestSettings, names: Collection[str] | None = None
) -> NestSettings:
    """Settings that keep the placements of an earlier layout (of the named decals, or all).

    Sheets that carry none of them are dropped, and the others renumbered in their order.

    Raises:
        DecalprepError: a name that the layout does not have.
    """
    known = {p.decal for p in layout.placements}
    unknown = sorted(set(names or ()) - known)
    if unknown:
        raise DecalprepError(
            f"nothing named {unknown[0]!r} lies on the earlier sheets",
            do="use one of: " + ", ".join(sorted(known)),
        )
    kept = [p for p in layout.placements if names is None or p.decal in names]
    indices = sorted({p.sheet_index for p in kept})
    moved = tuple(replace(p, sheet_index=indices.index(p.sheet_index)) for p in kept)
    sheets = tuple(layout.sheets[index] for index in indices)
    return replace(settings, locked=moved, locked_sheets=sheets)


def print_again(
    parts: Sequence[NestPart],
    layout: Layout,
    settings: NestSettings,
    spoiled: Sequence[tuple[str, int]],
) -> tuple[tuple[NestPart, ...], NestSettings]:
    """Parts and settings for a run that lays spoiled copies once more on the rest of the sheets.

    Every earlier placement stays, spoiled ones too (their paper is gone); each spoiled copy comes
    back as a further copy of its part, numbered after the last.

    Raises:
        DecalprepError: a copy that is not on the earlier sheets.
    """
    there = {(p.decal, p.copy) for p in layout.placements}
    for key, copy in spoiled:
        if (key, copy) not in there:
            raise DecalprepError(f"copy {copy} of {key!r} is not on the earlier sheets")
    more = Counter(key for key, _ in spoiled)
    again = tuple(replace(part, copies=part.copies + more[part.key]) for part in parts)
    return again, keep(layout, settings)


def placed_now(before: Layout, after: Layout) -> tuple[Placement, ...]:
    """Placements of ``after`` that ``before`` does not have: what is still to be printed."""
    old = {(p.decal, p.copy) for p in before.placements}
    return tuple(p for p in after.placements if (p.decal, p.copy) not in old)
