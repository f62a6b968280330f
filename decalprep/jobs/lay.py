"""Laying a job's decals on its sheets, and keeping what was laid."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING

from shapely.geometry import Polygon

from decalprep.errors import DecalprepError, DoesNotFit
from decalprep.geometry import Affine
from decalprep.jobs.boxes import boxes_over, whole_shape
from decalprep.jobs.groups import Effort, Group, Lying, Nested, nest_groups
from decalprep.jobs.placements import (
    Kept,
    KeptSheet,
    Used,
    fingerprint,
    kept_text,
    read_kept,
    rules_of,
    still_valid,
)
from decalprep.jobs.spec import Job, PanelSpec, SheetSpec
from decalprep.model import Decal, Notice, Placement, Severity, Sheet

if TYPE_CHECKING:
    from decalprep.nesting import NestPart


@dataclass(frozen=True)
class Laid:
    """The layout of a whole job.

    ``lower_bound`` is a number of sheets that no layout can beat; ``kept`` how many pieces stayed
    where an earlier run had them; ``leftovers`` the name of the remembered part-used sheet that
    each sheet is, or "". ``rest_mm`` is the largest rectangle that fits on the last sheet laid.
    ``used`` is what is printed on each sheet, as far as is known: of kept sheets from before.
    ``sheets`` are the sheets to draw: on part-used ones the pieces count as gone too, so that the
    marks keep off them; ``before`` are the sheets as they were.
    """

    placements: tuple[Placement, ...]
    sheets: tuple[Sheet, ...]
    lower_bound: int
    notices: tuple[Notice, ...]
    kept: int
    leftovers: tuple[str, ...] = ()
    rest_mm: tuple[float, float] = (0.0, 0.0)
    used: tuple[Used, ...] = ()
    before: tuple[Sheet, ...] = ()

    @property
    def bound_text(self) -> str:
        """How the number of sheets compares with the proved least."""
        count = len(self.sheets)
        head = f"{count} sheet" + ("" if count == 1 else "s")
        if count <= self.lower_bound:
            return f"{head}, proved fewest"
        return f"{head}, at most {count - self.lower_bound} above the fewest possible"


def nest_part(decal: Decal) -> NestPart:
    """The decal's printed area in fitted-decal mm: outline grown by the bleed, large holes kept."""
    from decalprep.compose import ComposeSettings
    from decalprep.compose.pieces import Piece
    from decalprep.nesting import NestPart

    piece = Piece(decal, Placement(decal.name, 1, 0, 0.0, 0.0), ComposeSettings())
    area = piece.area
    if not isinstance(area, Polygon):
        area = max(area.geoms, key=lambda part: part.area)
    return NestPart(decal.name, decal.copies, area, decal.turns, decal.panel, decal.turn_step_deg)


def kinds_for(panel: PanelSpec, job: Job) -> list[SheetSpec]:
    """The kinds of sheet that a panel may go on."""
    return [s for s in job.sheets if not panel["sheets"] or s.sheet.name in panel["sheets"]]


def lay_out(
    decals: Sequence[Decal],
    job: Job,
    kept: Kept | None,
    effort: Effort,
) -> Laid:
    """Where every copy goes, on as few sheets as can be found.

    ``kept`` is what a placement file holds: decals that have not changed stay where they are.
    ``effort`` says how long to search; one that ends before the job's passes does not repeat.

    Raises:
        DoesNotFit: a decal fits no sheet, or there are not enough sheets.
    """
    panels = {panel.name: panel for panel in job.panels}
    parts = [nest_part(decal) for decal in decals]
    choices: dict[tuple[str, ...], list[NestPart]] = {}
    for part in parts:
        names = tuple(s.sheet.name for s in kinds_for(panels[part.panel], job))
        choices.setdefault(names, []).append(part)
    groups = [
        Group(tuple(mine), tuple(s for s in job.sheets if s.sheet.name in names))
        for names, mine in choices.items()
    ]
    start, before = still_valid(kept, groups, job) if kept else (Lying(), ())
    told: tuple[Notice, ...] = ()
    try:
        nested = nest_groups(groups, start, job, effort)
    except DoesNotFit:
        raise
    except DecalprepError as problem:
        if not start.placements:
            raise
        words = f"the kept places cannot be used ({problem.found}); the decals are nested anew"
        told = (Notice("placements-unused", words, job.source.name),)
        start, before = Lying(), ()
        nested = nest_groups(groups, start, job, effort)
    laid = laid_of(nested, parts, before, job)
    return replace(laid, kept=len(start.placements), notices=(*told, *laid.notices))


def laid_of(
    nested: Nested, parts: Sequence[NestPart], before: Sequence[KeptSheet], job: Job
) -> Laid:
    """The layout; each sheet is the remembered one as kept, or the one that was offered."""
    lying = nested.lying
    order = sorted(lying.placements, key=lambda p: (p.sheet_index, p.decal, p.copy))
    offered = {s.sheet.name: s.leftover for s in job.sheets}
    fresh = lying.sheets[len(before) :]
    leftovers = [sheet.leftover for sheet in before]
    leftovers += [offered[s.name] if s.gone or s.gone_labels else "" for s in fresh]
    return Laid(
        tuple(order),
        _drawn(lying, parts),
        nested.lower_bound,
        nested.notices,
        0,
        tuple(leftovers),
        nested.rest_mm,
        (*(sheet.used for sheet in before), *(Used() for _ in fresh)),
        lying.sheets,
    )


def _drawn(lying: Lying, parts: Sequence[NestPart]) -> tuple[Sheet, ...]:
    """The sheets with the pieces of part-used ones counted as gone."""
    by_key = {part.key: part for part in parts}
    found = []
    for index, sheet in enumerate(lying.sheets):
        mine = [p for p in lying.placements if p.sheet_index == index and sheet.gone]
        boxes = [b for p in mine for b in boxes_over(whole_shape(by_key[p.decal], p))]
        found.append(replace(sheet, gone=(*sheet.gone, *boxes)))
    return tuple(found)


# ---------------------------------------------------------------- the placement file


def placement_file(job: Job) -> Path:
    """Where the accepted layout of a job is kept: beside the job file."""
    return job.source.with_suffix(".placements.json")


def placement_text(laid: Laid, decals: Sequence[Decal], job: Job) -> bytes:
    """The accepted layout as the text of its file."""
    prints = {d.name: fingerprint(nest_part(d)) for d in decals}
    names = laid.leftovers or ("",) * len(laid.sheets)
    used = laid.used or (Used(),) * len(laid.sheets)
    sheets = tuple(
        KeptSheet(s.name, rules_of(s, job), s.gone, s.gone_labels, leftover, mine)
        for s, leftover, mine in zip(laid.before, names, used, strict=True)
    )
    return kept_text(Kept(sheets, laid.placements, tuple(prints[p.decal] for p in laid.placements)))


def read_placements(job: Job) -> tuple[Kept | None, tuple[Notice, ...]]:
    """The kept layout of a job if there is a readable one; what is wrong with it is told."""
    return read_kept(placement_file(job), job.source.name)


def kept_notice(laid: Laid, job: Job) -> tuple[Notice, ...]:
    """Says how many placements were taken from the placement file."""
    if not laid.kept:
        return ()
    words = (
        f"{laid.kept} of {len(laid.placements)} pieces stay where {placement_file(job).name} has "
        "them; --anew nests all again"
    )
    return (Notice("placements-kept", words, "nesting", Severity.NOTE),)


def sheet_from_decal(decal: Decal, placement: Placement) -> Affine:
    """True sheet mm from the decal frame: placement after part fit."""
    return placement.sheet_from_fitted @ decal.fitted_from_decal
