"""Nesting a job whose panels may go on different kinds of sheet.

Panels with the same choice of sheets are nested together, those with the least choice first; what
is laid already stays where it is, and the rest of its sheets is filled by those that come after.
"""

from __future__ import annotations

import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from decalprep.errors import DoesNotFit
from decalprep.jobs.spec import Job, SheetSpec
from decalprep.model import Notice, Placement, Severity, Sheet

if TYPE_CHECKING:
    from decalprep.nesting import Layout, NestPart, NestSettings

Say = Callable[[str], None]
STRIP_SECONDS = 2
LEAST_REST_MM = 20.0
"""A rest that is narrower is not worth telling."""
ENGINE_TELLS = "part-used-stock"
"""Told of the whole job at once, with what prints it (``jobs.make.stock_notices``)."""
NEAR_MISS = "near-miss"


@dataclass(frozen=True)
class Group:
    """Pieces that may go on the same kinds of sheet."""

    parts: tuple[NestPart, ...]
    kinds: tuple[SheetSpec, ...]

    @property
    def names(self) -> frozenset[str]:
        """The kinds' names."""
        return frozenset(spec.sheet.name for spec in self.kinds)


@dataclass(frozen=True)
class Lying:
    """What is laid so far: sheets in use, and placements by their index."""

    sheets: tuple[Sheet, ...] = ()
    placements: tuple[Placement, ...] = ()


@dataclass(frozen=True)
class Nested:
    """A whole job's layout and how good it is."""

    lying: Lying
    lower_bound: int
    notices: tuple[Notice, ...]
    rest_mm: tuple[float, float]


def never() -> bool:
    """The answer where nobody ends the search early."""
    return False


class Effort:
    """How long to search: the job's passes, a wall-clock limit where one is set, or until ``stop``.

    Both hold from the first whole answer on, so that there always is one.
    """

    def __init__(
        self, say: Say, seconds: float | None = None, stop: Callable[[], bool] = never
    ) -> None:
        self.say, self.seconds, self.stop = say, seconds, stop
        self.end = None if seconds is None else time.monotonic() + seconds
        self.answered = self.cut_short = self.stopped = False

    def over(self) -> bool:
        """Whether the time is up, or the search is to stop."""
        if not self.answered:
            return False
        if self.stop():
            self.stopped = True
        elif self.end is not None and time.monotonic() >= self.end:
            self.cut_short = True
        return self.stopped or self.cut_short

    def notices(self) -> tuple[Notice, ...]:
        """Says that a run under a clock, or one that was stopped, does not repeat."""
        other = "another run may lay the pieces otherwise, unless it keeps these places"
        if self.stopped:
            words = (
                f"the search was ended before its passes were done; {other} (--anew searches again)"
            )
            return (Notice("nesting-ended-early", words, "nesting", Severity.WARNING),)
        if self.seconds is None:
            return ()
        how = "was stopped by" if self.cut_short else "ended within"
        words = f"the search {how} its limit of {self.seconds:g} s; {other}"
        return (Notice("nested-by-the-clock", words, "nesting", Severity.NOTE),)


def nest_groups(groups: Sequence[Group], start: Lying, job: Job, effort: Effort) -> Nested:
    """All groups laid, around what lies there at the start.

    Raises:
        DoesNotFit: a piece fits no sheet, or the sheets run out.
        DecalprepError: what lies there at the start breaks the rules.
    """
    from decalprep.jobs.least import least_sheets

    known = {part.key: part for group in groups for part in group.parts}
    lying, notices, bounds = start, list[Notice](), list[int]()
    rest, number = (0.0, 0.0), 0
    for group in sorted(groups, key=lambda g: len(g.kinds)):
        layout, own = _nest(group, lying, known, job, effort)
        bounds.append(layout.lower_bound)
        notices += [n for n in layout.notices if n.code != ENGINE_TELLS]
        rest = layout.rest_mm
        lying = _joined(group, lying, layout, own)
        number = own[-1] if len(layout.sheets) == len(own) else len(lying.sheets) - 1
    notices += _rest_told(rest, number, lying)
    bound = bounds[0] if len(groups) == 1 else least_sheets(groups, job)
    notices = _near_misses(notices, proved=len(lying.sheets) <= bound)
    return Nested(lying, bound, (*dict.fromkeys(notices), *effort.notices()), rest)


def _near_misses(notices: Sequence[Notice], *, proved: bool) -> list[Notice]:
    """The notices, near misses with what to do, or none where the whole job is proved fewest."""
    kept = [n for n in notices if not (proved and n.code == NEAR_MISS)]
    do = ": raise passes in [job] and run make --anew"
    return [replace(n, text=n.text + do) if n.code == NEAR_MISS else n for n in kept]


def _rest_told(rest_mm: tuple[float, float], number: int, lying: Lying) -> list[Notice]:
    """Says what a later piece may measure on the sheet laid last, where that is worth telling."""
    if min(rest_mm) < LEAST_REST_MM or lying.sheets[number].grid is not None:
        return []
    words = f"sheet {number + 1} has room left for {rest_mm[0]:.0f} x {rest_mm[1]:.0f} mm more"
    size = (("width_mm", rest_mm[0]), ("height_mm", rest_mm[1]))
    return [Notice("room-left", words, lying.sheets[number].name, Severity.NOTE, numbers=size)]


def nest_settings(kinds: Sequence[SheetSpec], job: Job) -> NestSettings:
    """The rules of nesting on these kinds of sheet, in mm.

    Pieces keep off the usual places of the marks; on a part-used sheet where these are gone, the
    marks take what the pieces leave.
    """
    from decalprep.marks import mark_zones
    from decalprep.nesting import NestSettings

    whole = [replace(s.sheet, gone=(), gone_labels=()) for s in kinds]
    return NestSettings(
        gap_mm=job["gap"],
        blocked_on={sheet.name: mark_zones(sheet) for sheet in whole},
        budget=job["passes"],
        seed=job["seed"],
        rows=job["rows"],
    )


def _nest(
    group: Group, lying: Lying, known: dict[str, NestPart], job: Job, effort: Effort
) -> tuple[Layout, list[int]]:
    """The group's layout, and which of the sheets in use it was given."""
    from decalprep.nesting import nest
    from decalprep.nesting.strip import child_packer, strip_packer_there

    own = [k for k, sheet in enumerate(lying.sheets) if sheet.name in group.names]
    locked, extra = _locked(group, lying, known, own)
    stock = [_left(spec.sheet, lying.sheets) for spec in group.kinds]
    settings = nest_settings(group.kinds, job)
    if locked:
        settings = replace(
            settings, locked=tuple(locked), locked_sheets=tuple(lying.sheets[k] for k in own)
        )
    others = len(lying.sheets) - len(own)

    effort.answered = False  # each group needs a first answer of its own

    def tell(count: int, least: int, step: int) -> None:
        effort.answered = True
        effort.say(f"nesting: {count + others} sheets, at least {least}, pass {step}")

    packer = None
    if effort.seconds is not None and strip_packer_there():
        packer = child_packer(STRIP_SECONDS, effort.over)
    try:
        layout = nest([*group.parts, *extra], stock, settings, tell, effort.over, packer)
    except DoesNotFit as problem:
        raise DoesNotFit(
            problem.found,
            where=problem.where,
            do="add tile = true to the panel, allow more turns, or use a larger sheet",
        ) from None
    if layout.unplaced:
        raise _run_out(group, layout.unplaced)
    return layout, own if locked else []


def _locked(
    group: Group, lying: Lying, known: dict[str, NestPart], own: Sequence[int]
) -> tuple[list[Placement], list[NestPart]]:
    """What lies on the group's sheets; other groups' pieces under names of their own."""
    mine = {part.key for part in group.parts}
    locked, extra = [], []
    for placement in lying.placements:
        if placement.sheet_index not in own:
            continue
        moved = replace(placement, sheet_index=own.index(placement.sheet_index))
        if placement.decal not in mine:
            key = f"{placement.decal}\n{placement.copy}"
            moved = replace(moved, decal=key, copy=1)
            extra.append(replace(known[placement.decal], key=key, copies=1))
        locked.append(moved)
    return locked, extra


def _left(sheet: Sheet, used: Sequence[Sheet]) -> Sheet:
    """The kind of sheet, as a whole one if its part-used one is in use already."""
    taken = any(one.name == sheet.name and (one.gone or one.gone_labels) for one in used)
    return replace(sheet, gone=(), gone_labels=()) if taken else sheet


def _joined(group: Group, lying: Lying, layout: Layout, own: Sequence[int]) -> Lying:
    """Everything laid, the group's new sheets at the end."""
    mine = {part.key for part in group.parts}
    index = [*own]
    sheets = [*lying.sheets]
    for sheet in layout.sheets[len(own) :]:
        index.append(len(sheets))
        sheets.append(sheet)
    kept = [p for p in lying.placements if p.decal not in mine]
    new = [
        replace(p, sheet_index=index[p.sheet_index]) for p in layout.placements if p.decal in mine
    ]
    return Lying(tuple(sheets), (*kept, *new))


def _run_out(group: Group, unplaced: Sequence[tuple[str, int]]) -> DoesNotFit:
    name, copy = unplaced[0]
    more = f" and {len(unplaced) - 1} more" if len(unplaced) > 1 else ""
    counts = ", ".join(f"{s.sheet.name}: {s.sheet.available}" for s in group.kinds)
    return DoesNotFit(
        f"the sheets run out: {name} (copy {copy}){more} found no place",
        do=f'raise "available" ({counts}), add a [[sheet]], drop some copies, or nest all again '
        "with --anew",
    )
