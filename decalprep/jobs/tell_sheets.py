"""What is told of each kind of sheet: which sheets they are, whose errors they make up for."""

from __future__ import annotations

import textwrap
from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from decalprep.calibration import expected_error
from decalprep.compose import correction_note
from decalprep.jobs.spec import Job
from decalprep.model import PrinterRecord

if TYPE_CHECKING:
    from decalprep.jobs.make import Made

WIDTH = 80


@dataclass(frozen=True)
class SheetRun:
    """The sheets of one kind: their numbers from 1, and the record that corrects them."""

    kind: str
    """Its name in the job; where it has none, which [[sheet]] it is, or "" if there is one only."""
    numbers: tuple[int, ...]
    record: PrinterRecord | None

    @property
    def title(self) -> str:
        """Which sheets they are, such as "sheets 1, 2 (A4 label)"."""
        word = "sheet" if len(self.numbers) == 1 else "sheets"
        which = f"{word} {', '.join(map(str, self.numbers))}"
        return f"{which} ({self.kind})" if self.kind else which

    @property
    def correction(self) -> str:
        """In words, what the sheets are corrected for, and by how much."""
        return (correction_note(self.record) if self.record else "").replace("\u2212", "-")


def sheet_runs(made: Made) -> tuple[SheetRun, ...]:
    """The kinds of sheet that are used, in the order of their first sheet."""
    found: dict[str, SheetRun] = {}
    kinds = kind_names(made.job)
    for number, (sheet, record) in enumerate(zip(made.laid.sheets, made.records, strict=True), 1):
        before = found.get(sheet.name)
        numbers = (*before.numbers, number) if before else (number,)
        found[sheet.name] = SheetRun(kinds.get(sheet.name, sheet.name), numbers, record)
    return tuple(found.values())


def kind_names(job: Job) -> dict[str, str]:
    """What each kind of sheet is called where sheets are told by number.

    A kind without a name of its own is called by its place in the job file, for "sheet 2 (sheet 1)"
    would confuse; the only one is not called anything.
    """
    names = {}
    for k, spec in enumerate(job.sheets, 1):
        bare = spec.sheet.name == f"sheet {k}"
        names[spec.sheet.name] = spec.sheet.name
        if bare:
            names[spec.sheet.name] = f"[[sheet]] {k}" if len(job.sheets) > 1 else ""
    return names


def expectation_lines(made: Made) -> list[str]:
    """How true each kind of sheet can be expected to print, in mm over its largest decal."""
    runs = sheet_runs(made)
    lines = []
    for run in runs:
        lines += _wrapped(f"{run.title}: {_expected(run, made)}")
    if any(run.record is None for run in runs):
        lines += _wrapped(
            "Where it is not corrected, measure the 100 mm check bars on the cooled print; "
            "'decalprep calibrate' makes the prints true."
        )
    return lines


def _expected(run: SheetRun, made: Made) -> str:
    if run.record is None:
        return "not corrected for a printer."
    width, height = _largest(run.numbers, made)
    error = expected_error(run.record, width, height, same_rule=True)
    longest = max(width, height)
    return (
        f"{run.correction}. Over {width:.0f} x {height:.0f} mm expect the print within "
        f"{error.x_mm:.2f} mm across and {error.y_mm:.2f} mm up (95 %, relative to your rule); the "
        f"rule itself may add {2 * run.record.u_rule * longest:.2f} mm over {longest:.0f} mm, "
        "unless it measured the part as well."
    )


def _largest(numbers: Sequence[int], made: Made) -> tuple[float, float]:
    """Greatest width and height in mm of the decals on these sheets."""
    there = {p.decal for p in made.laid.placements if p.sheet_index + 1 in numbers}
    boxes = [d.outline.box for d in made.pieces.decals if d.name in there]
    return max(b.width for b in boxes), max(b.height for b in boxes)


def _wrapped(words: str) -> list[str]:
    return textwrap.wrap(words, WIDTH, subsequent_indent="  ", break_on_hyphens=False)
