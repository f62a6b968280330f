"""Measuring the prints of a job in scans: which sheet each scan shows, and each decal's true size.

Two scans of a sheet, upright and turned by 90 degrees, judge; one measures but leaves the
scanner's own error open. Nothing here corrects a printer.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path

from decalprep.errors import ExitCode, InputProblem
from decalprep.jobs.prints import PrintedSheet, Prints
from decalprep.model import Notice
from decalprep.scan import (
    PrintFinding,
    ScanImage,
    Verdict,
    measure_print,
    print_picture,
    read_scan,
)
from decalprep.scan.sheet import SCANNER_SCALE_U


@dataclass(frozen=True)
class MeasuredSheet:
    """One sheet of the job, number from 1, the scans that show it and what they say."""

    number: int
    sheet: PrintedSheet
    scans: tuple[ScanImage, ...]
    finding: PrintFinding

    @property
    def picture(self) -> bytes:
        """A PNG of the first scan with each decal's verdict."""
        return print_picture(self.scans[0], self.sheet.expected, self.finding)


@dataclass(frozen=True)
class Measured:
    """All sheets that the scans show."""

    sheets: tuple[MeasuredSheet, ...]

    @property
    def verdicts(self) -> tuple[Verdict, ...]:
        """The verdict of every decal measured."""
        return tuple(d.verdict for s in self.sheets for d in s.finding.decals)

    @property
    def exit_code(self) -> ExitCode:
        """OK where all are good, PROOF where one is not, READINGS where some cannot be told."""
        if Verdict.BAD in self.verdicts:
            return ExitCode.PROOF
        if all(v is Verdict.GOOD for v in self.verdicts):
            return ExitCode.OK
        return ExitCode.READINGS

    @property
    def notices(self) -> tuple[Notice, ...]:
        """What was noticed on all sheets."""
        return tuple(n for s in self.sheets for n in s.finding.notices)


def read_scans(paths: Sequence[Path]) -> tuple[ScanImage, ...]:
    """All pictures of the files, one a page.

    Raises:
        InputProblem: one cannot be read.
    """
    return tuple(image for path in paths for image in read_scan(path))


def measure_job(
    prints: Prints,
    scans: Sequence[ScanImage],
    *,
    only: int | None = None,
    say: Callable[[str], None] = lambda _: None,
) -> Measured:
    """Every decal of the sheets that the scans show, judged against the job's tolerance.

    ``only`` names the sheet, from 1, where the scans are all of one.

    Raises:
        InputProblem: a scan shows none of the sheets.
        ReadingsRefused: two scans of a sheet that cannot be told apart.
    """
    groups: dict[int, list[ScanImage]] = {}
    for scan in scans:
        say(f"looking which sheet {scan.name} shows")
        groups.setdefault(sheet_shown(prints, scan, only), []).append(scan)
    found = []
    for number in sorted(groups):
        say(f"measuring sheet {number}")
        sheet = prints.sheets[number - 1]
        u = SCANNER_SCALE_U if sheet.mean_scale_u is None else sheet.mean_scale_u
        finding = measure_print(
            groups[number], sheet.expected, tolerance_mm=prints.tolerance_mm, mean_scale_u=u
        )
        found.append(MeasuredSheet(number, sheet, tuple(groups[number]), finding))
    return Measured(tuple(found))


def sheet_shown(prints: Prints, scan: ScanImage, only: int | None = None) -> int:
    """The number, from 1, of the sheet that a scan shows best.

    Raises:
        InputProblem: none of them.
    """
    from decalprep.scan.lines import sample_lines
    from decalprep.scan.placing import place_sheet

    best, share, refusals = 0, 0.0, []
    for number, sheet in enumerate(prints.sheets, 1):
        if only not in (None, number) or not sheet.decals:
            continue
        lines = [*(d.outline for d in sheet.decals), *sheet.marks]
        try:
            placed = place_sheet(
                scan, lines, sample_lines(lines), (sheet.width_mm, sheet.height_mm)
            )
        except InputProblem as refused:
            refusals.append(refused)
            continue
        seen = float(placed.across.seen.mean())
        if seen > share:
            best, share = number, seen
    if best:
        return best
    if len(refusals) == 1:
        raise refusals[0]
    raise InputProblem(
        f"shows none of the job's {len(prints.sheets)} sheets",
        where=scan.name,
        do="scan a whole printed sheet at 300 dpi, the printed side on the glass, not mirrored",
    )


def measured_lines(measured: Measured) -> list[str]:
    """The table: each decal's size and how far it is off, mm, with its 95 % range and verdict."""
    lines = []
    for one in measured.sheets:
        lines.append(f"Sheet {one.number} ({one.sheet.name}), {len(one.scans)} scan(s)")
        lines.append(f"  {'decal':<24}{'across mm':>18}{'up mm':>18}  verdict")
        for d in one.finding.decals:
            title = f"{d.name} #{d.copy}"[:23]
            if d.verdict is Verdict.UNSEEN:
                lines.append(f"  {title:<24}{'':>36}  {d.verdict.value}")
                continue
            across = f"{d.error_x_mm:+.2f} +/- {d.range_x_mm:.2f}"
            up = f"{d.error_y_mm:+.2f} +/- {d.range_y_mm:.2f}"
            lines.append(f"  {title:<24}{across:>18}{up:>18}  {d.verdict.value}")
    return lines
