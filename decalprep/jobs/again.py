"""Printing single pieces again, on the free rest of a sheet that has been printed."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

from decalprep.errors import DoesNotFit, UsageProblem
from decalprep.jobs.groups import Effort, Group, Lying, nest_groups
from decalprep.jobs.lay import (
    Laid,
    kinds_for,
    laid_of,
    nest_part,
    placement_file,
    read_placements,
)
from decalprep.jobs.leftovers import free_mm2
from decalprep.jobs.placements import Kept, kept_text, rules_of
from decalprep.jobs.spec import Job, PanelSpec, SheetSpec
from decalprep.jobs.tiling import Pieces
from decalprep.model import Decal, Notice, Severity, Sheet


@dataclass(frozen=True)
class Again:
    """What is printed again: (decal, copy; None for all copies), and on which sheet.

    ``number`` is the sheet of the earlier run, from 0; None for a fresh one.
    """

    wanted: tuple[tuple[str, int | None], ...]
    spec: SheetSpec
    number: int | None
    kept: Kept

    def copies(self, decal: Decal) -> tuple[int, ...]:
        """The copies of a decal that are printed again."""
        mine = [copy for name, copy in self.wanted if name in (decal.name, decal.panel)]
        if None in mine:
            return tuple(range(1, decal.copies + 1))
        return tuple(sorted({copy for copy in mine if copy is not None}))


def again_of(job: Job, words: Sequence[str], *, fresh: bool) -> tuple[Job, Again]:
    """The job less the panels that are not printed again, and what of it is.

    Raises:
        UsageProblem: a name is not known, or nothing is known of the sheets printed before.
    """
    kept, notices = read_placements(job)
    if kept is None or not kept.placements:
        found = notices[0].text if notices else f"there is no {placement_file(job).name}"
        raise UsageProblem(
            f"--again needs an earlier run: {found}", do="make the job without --again first"
        )
    wanted = tuple(named_piece(word, job, kept) for word in words)
    panels = tuple(p for p in job.panels if any(is_of(name, p) for name, _ in wanted))
    spec, number = _sheet_for(panels, job, kept, fresh=fresh)
    return replace(job, panels=panels, sheets=(spec,)), Again(wanted, spec, number, kept)


def is_of(name: str, panel: PanelSpec) -> bool:
    """Whether a name is that of a panel or of one of its tiles."""
    return name == panel.name or name.startswith(f"{panel.name} tile ")


def named_piece(word: str, job: Job, kept: Kept) -> tuple[str, int | None]:
    """The decal or panel and the copy (None: all) that a word such as "bezel#2" names.

    Raises:
        UsageProblem: nothing laid before is called so.
    """
    name, cross, number = word.rpartition("#")
    copy = int(number) if cross and number.strip().isdecimal() else None
    name = name.strip() if cross and copy is not None else word.strip()
    there = {(p.decal, p.copy) for p in kept.placements}
    names = {decal for decal, _ in there} | {p.name for p in job.panels}
    if name not in names or (copy is not None and (name, copy) not in there):
        known = sorted(f"{decal}#{k}" for decal, k in there)
        more = f" and {len(known) - 12} more" if len(known) > 12 else ""
        raise UsageProblem(
            f"no piece is called {word!r}", do=f"choose from {', '.join(known[:12])}{more}"
        )
    return name, copy


def _sheet_for(
    panels: Sequence[PanelSpec], job: Job, kept: Kept, *, fresh: bool
) -> tuple[SheetSpec, int | None]:
    """The sheet to print on: a fresh one, or the one of the earlier run with most room."""
    allowed = set.intersection(*({s.sheet.name for s in kinds_for(p, job)} for p in panels))
    if not allowed:
        raise UsageProblem(
            "these pieces may go on no common kind of sheet", do="print them one after the other"
        )
    specs = {s.sheet.name: s for s in job.sheets if s.sheet.name in allowed}
    if fresh:
        spec = next(iter(specs.values()))
        return replace(spec, sheet=_plain(spec.sheet)), None
    found: list[tuple[float, int, SheetSpec]] = []
    for number, one in enumerate(kept.sheets):
        if one.name not in specs or one.rules != rules_of(specs[one.name].sheet, job):
            continue
        if not one.used.boxes:
            continue
        sheet = replace(
            _plain(specs[one.name].sheet),
            gone=(*one.gone, *one.used.boxes),
            gone_labels=tuple(sorted({*one.gone_labels, *one.used.labels})),
        )
        spec = replace(specs[one.name], sheet=sheet, leftover=one.leftover)
        found.append((free_mm2(sheet), number, spec))
    if not found:
        raise UsageProblem(
            "no sheet of the earlier run is known that these pieces may go on",
            do="use --fresh-sheet, or make the job once more",
        )
    _, number, spec = max(found, key=lambda f: f[:2])
    return spec, number


def _plain(sheet: Sheet) -> Sheet:
    return replace(sheet, gone=(), gone_labels=(), available=1)


def only(pieces: Pieces, again: Again) -> Pieces:
    """The pieces that are printed again."""
    every = tuple(one for one in pieces.all if again.copies(one.decal))
    names = {one.decal.name for one in every}
    panels = tuple(
        replace(p, tiles=tuple(t for t in p.tiles if t in names)) if p.tiles else p
        for p in pieces.panels
    )
    marks = tuple(m for m in pieces.marks if m[0] in names)
    return Pieces(panels, every, marks, tuple(u for u in pieces.underlays if u.name in names))


def lay_again(decals: Sequence[Decal], job: Job, again: Again, effort: Effort) -> Laid:
    """The pieces on the free rest of the sheet.

    Raises:
        DoesNotFit: there is no room left for them.
    """
    copies = {d.name: again.copies(d) for d in decals}
    parts = [replace(nest_part(d), copies=len(copies[d.name])) for d in decals]
    group = Group(tuple(parts), (again.spec,))
    try:
        nested = nest_groups([group], Lying(), job, effort)
    except DoesNotFit:
        names = [f"{name}#{k}" for name, mine in copies.items() for k in mine]
        raise no_room(names, again) from None
    laid = laid_of(nested, parts, (), job)
    placed = [replace(p, copy=copies[p.decal][p.copy - 1]) for p in laid.placements]
    notices = (*laid.notices, _told(again, len(placed)))
    return replace(
        laid, placements=tuple(placed), notices=notices, leftovers=(again.spec.leftover,)
    )


def no_room(names: Sequence[str], again: Again) -> DoesNotFit:
    """Why the pieces do not go on the sheet; of one alone, fewer cannot be printed."""
    told = ", ".join(names)
    several = len(names) > 1
    if again.number is not None:
        do = "add --fresh-sheet to print on a new sheet"
        do += ", or print fewer at once" if several else ""
        return DoesNotFit(f"the rest of sheet {again.number + 1} has no room for {told}", do=do)
    do = (
        "print fewer at once"
        if several
        else "name a larger sheet in the job file, or let tile = true cut the panel into tiles"
    )
    return DoesNotFit(f"one sheet has no room for {told}", do=do)


def _told(again: Again, count: int) -> Notice:
    pieces = "1 piece" if count == 1 else f"{count} pieces"
    if again.number is None:
        return Notice("printed-again", f"{pieces} again, on a fresh sheet", "", Severity.NOTE)
    words = (
        f"{pieces} again, on what is free of sheet {again.number + 1} of the earlier run: put that "
        "sheet in the same way up, the same edge first"
    )
    return Notice("printed-again", words, again.spec.sheet.name, Severity.WARNING)


def kept_after(laid: Laid, again: Again) -> bytes | None:
    """The placement file with what is printed now taken off its sheet; None for a fresh sheet."""
    if again.number is None:
        return None
    before = again.kept.sheets[again.number]
    used, leftover = before.used.with_more(laid.used[0]), laid.leftovers[0] or before.leftover
    sheets = [*again.kept.sheets]
    sheets[again.number] = replace(before, used=used, leftover=leftover)
    return kept_text(replace(again.kept, sheets=tuple(sheets)))
