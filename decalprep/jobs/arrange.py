"""From panels to a layout: what is kept, which sheets are offered, what is printed again."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING

from decalprep.errors import UsageProblem
from decalprep.jobs.again import Again, again_of, kept_after, lay_again, named_piece, only
from decalprep.jobs.groups import Effort
from decalprep.jobs.lay import (
    Laid,
    kept_notice,
    lay_out,
    placement_file,
    placement_text,
    read_placements,
)
from decalprep.jobs.leftovers import leftover_notices, offer, planned, remember, used_of
from decalprep.jobs.placements import Kept, only_named
from decalprep.jobs.prepare import Prepared
from decalprep.jobs.spec import Job
from decalprep.jobs.tiling import Pieces, pieces_of
from decalprep.model import Decal, Drawing, Notice

if TYPE_CHECKING:
    from decalprep.jobs.finish import Finish
    from decalprep.jobs.make import MakeOptions


@dataclass(frozen=True)
class Start:
    """Where a run starts: its job (less what is not printed), and what earlier runs laid."""

    job: Job
    kept: Kept | None = None
    again: Again | None = None
    notices: tuple[Notice, ...] = ()


def started(job: Job, options: MakeOptions) -> Start:
    """What this run lays, and on which part-used sheets.

    Raises:
        UsageProblem: options that contradict each other, or ``again`` names no known piece.
    """
    if options.seconds is not None and not 0 < options.seconds <= 86400:
        raise UsageProblem("--seconds is out of range", do="choose from 1 to 86400")
    if options.again:
        if options.anew or options.keep:
            other = "--anew" if options.anew else "--keep"
            raise UsageProblem(f"--again and {other} contradict each other", do="give one of them")
        job, again = again_of(job, options.again, fresh=options.fresh_sheet)
        return Start(job, None, again)
    if options.fresh_sheet:
        raise UsageProblem("--fresh-sheet goes with --again", do="name what is printed again")
    anew = options.anew and not options.keep
    kept, notices = (None, ()) if anew else read_placements(job)
    if options.keep:
        kept = _only(options.keep, kept, job)
    job, told = offer(job, kept, options.records)
    return Start(job, kept, None, (*notices, *told))


def _only(words: Sequence[str], kept: Kept | None, job: Job) -> Kept:
    """The kept layout's pieces of these names; all others are laid anew."""
    if kept is None or not kept.placements:
        raise UsageProblem(
            f"--keep needs an earlier run: there is no {placement_file(job).name} to take from",
            do="make the job without --keep first",
        )
    return only_named(kept, [named_piece(word, job, kept) for word in words])


def arranged(
    start: Start,
    panels: tuple[Sequence[Prepared], Sequence[Finish]],
    options: MakeOptions,
    say: Callable[[str], None],
) -> tuple[Pieces, Laid]:
    """What is printed of the panels (decals, and what they are finished with), and where it lies.

    Raises:
        DoesNotFit: a decal fits no sheet, or there are not enough sheets.
    """
    prepared, finishes = panels
    pieces = pieces_of(prepared, start.job, finishes)
    effort = Effort(say, options.seconds, options.search_over)
    if start.again is not None:
        pieces = only(pieces, start.again)
        return pieces, lay_again(pieces.decals, start.job, start.again, effort)
    laid = lay_out(pieces.decals, start.job, start.kept, effort)
    told = (*start.notices, *kept_notice(laid, start.job), *laid.notices)
    return pieces, replace(laid, notices=(*told, *leftover_notices(laid, start.job.sheets)))


def with_used(
    laid: Laid, drawings: Sequence[Drawing], decals: Sequence[Decal], options: MakeOptions
) -> Laid:
    """The layout with what its sheets bear once printed, and names for the rests to remember."""
    used = tuple(
        before.with_more(used_of(drawing, k, laid, decals))
        for k, (before, drawing) in enumerate(zip(laid.used, drawings, strict=True))
    )
    laid = replace(laid, used=used)
    if not options.keep_leftovers:
        return laid
    laid, notices = planned(laid, options.records)
    return replace(laid, notices=(*laid.notices, *notices))


def layout_text(start: Start, laid: Laid, decals: Sequence[Decal]) -> bytes | None:
    """The placement file's text once the run is accepted; None where it stays as it is."""
    if start.again is not None:
        return kept_after(laid, start.again)
    return placement_text(laid, decals, start.job)


def keep_layout(laid: Laid, job: Job, text: bytes | None, records: Path) -> None:
    """Writes the placement file, and takes what was printed off the remembered sheets.

    Raises:
        OutputProblem: they cannot be written.
    """
    from decalprep.export import write_whole

    remember(laid, records)
    if text is not None:
        write_whole(placement_file(job), text)
