"""Measuring the prints of a job in scans: which sheet each scan shows, and each decal's true size.

Two scans of a sheet, upright and turned by 90 degrees, judge; one measures but leaves the
scanner's own error open. Nothing here corrects a printer.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

from decalprep.errors import ExitCode, InputProblem, UsageProblem
from decalprep.jobs.print_scale import (
    bar_readings,
    fitting_record,
    mean_scale,
    rescaled,
    scanner_of,
)
from decalprep.jobs.prints import PrintedSheet, Prints
from decalprep.model import Notice, ScannerRecord, Severity
from decalprep.scan import (
    PrintFinding,
    ScanImage,
    Verdict,
    fit_print,
    judge_print,
    print_picture,
    read_scan,
)
from decalprep.scan.lines import sample_lines
from decalprep.scan.photograph import photograph_reason
from decalprep.scan.placing import place_sheet

_SCALED_BY = (0.97, 0.94, 1.03)
_WELL_SEEN = 0.97


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


@dataclass(frozen=True)
class MeasureOptions:
    """What the user adds: which sheet the scans show, the scanner's records, check bars as read."""

    only: int | None = None
    scanner: tuple[ScannerRecord, ...] = ()
    bars: str = ""


def measure_job(
    prints: Prints,
    scans: Sequence[ScanImage],
    options: MeasureOptions | None = None,
    *,
    say: Callable[[str], None] = lambda _: None,
) -> Measured:
    """Every decal of the sheets that the scans show, judged against the job's tolerance.

    Raises:
        InputProblem: a scan shows none of the sheets.
        ReadingsRefused: two scans of a sheet that cannot be told apart, or a check bar reading
            that cannot be.
    """
    o = options or MeasureOptions()
    groups: dict[int, list[Shown]] = {}
    for scan in scans:
        say(f"looking which sheet {scan.name} shows")
        shown = sheet_shown(prints, scan, o.only)
        groups.setdefault(shown.number, []).append(shown)
    if o.bars and len(groups) > 1:
        raise UsageProblem(
            f"check bars were read, but the scans show {len(groups)} sheets",
            do="measure one sheet at a time",
        )
    found = []
    for number in sorted(groups):
        say(f"measuring sheet {number}")
        found.append(_measured(prints, groups[number], o))
    return Measured(tuple(found))


def _measured(prints: Prints, shown: Sequence[Shown], o: MeasureOptions) -> MeasuredSheet:
    sheet = prints.sheets[shown[0].number - 1]
    bars = bar_readings(o.bars, sheet)
    record = fitting_record(o.scanner, shown[0].scan)
    known = scanner_of(record) if record is not None else None
    fitted = fit_print([s.placed_as for s in shown], sheet.expected, scanner=known)
    mean = mean_scale(fitted, shown[0].scan, sheet, record=record, bars=bars)
    finding = judge_print(fitted, mean, tolerance_mm=prints.tolerance_mm)
    more = [s.alike for s in shown if s.alike is not None]
    if o.scanner and record is None:
        more.append(_other_setting(o.scanner, shown[0].scan))
    finding = replace(finding, notices=(*finding.notices, *more))
    return MeasuredSheet(shown[0].number, sheet, tuple(s.scan for s in shown), finding)


def _other_setting(records: Sequence[ScannerRecord], scan: ScanImage) -> Notice:
    known = ", ".join(f"{r.dpi:.0f}" for r in records)
    text = (
        f"the scanner {records[0].scanner} is known at {known} dpi, this scan claims another "
        "setting or none: its record is not used"
    )
    return Notice("scanner-setting", text, scan.name)


@dataclass(frozen=True)
class Shown:
    """The sheet that a scan shows, number from 1; the scan as it is and as it was found.

    ``alike`` warns where another sheet would look the same.
    """

    number: int
    scan: ScanImage
    placed_as: ScanImage
    alike: Notice | None = None


def sheet_shown(prints: Prints, scan: ScanImage, only: int | None = None) -> Shown:
    """The sheet that a scan shows best, by trying each; ``only`` names it.

    Raises:
        InputProblem: none of them, with the reason where one can be seen.
        UsageProblem: the job has no such sheet.
    """
    if only is not None and not 1 <= only <= len(prints.sheets):
        raise UsageProblem(f"there is no sheet {only}", do=f"the job has {len(prints.sheets)}")
    # A dialog that fits pages scales by some percent: then the claimed resolution misleads.
    for factor in (1.0, *_SCALED_BY):
        as_claimed = rescaled(scan, factor)
        shares = _shares(prints, as_claimed, only)
        if shares:
            best = max(shares, key=lambda n: shares[n])
            if shares[best] < _WELL_SEEN:
                _refuse_mirrored(prints, as_claimed, only, shares[best])
            return Shown(best, scan, as_claimed, _alike(prints, shares, best, scan))
        if scan.claimed_dpi is None:
            break
    raise _not_shown(prints, scan, only)


def _shares(prints: Prints, scan: ScanImage, only: int | None) -> dict[int, float]:
    """Share of the lines found, by the number of each sheet that fits."""
    found = {}
    for number, sheet in enumerate(prints.sheets, 1):
        if only not in (None, number) or not sheet.decals:
            continue
        lines = sheet.lines
        size = (sheet.width_mm, sheet.height_mm)
        try:
            found[number] = place_sheet(scan, lines, sample_lines(lines), size).share
        except InputProblem:
            continue
    return found


def _alike(prints: Prints, shares: dict[int, float], best: int, scan: ScanImage) -> Notice | None:
    mine = set(prints.sheets[best - 1].lines)
    same = [n for n in shares if n != best and set(prints.sheets[n - 1].lines) == mine]
    if not same:
        return None
    text = (
        f"sheets {', '.join(str(n) for n in sorted([best, *same]))} look alike; this is taken for "
        f"sheet {best}: say --sheet if it is another"
    )
    return Notice("sheets-alike", text, scan.name, Severity.NOTE)


def _refuse_mirrored(prints: Prints, scan: ScanImage, only: int | None, share: float) -> None:
    """Sheets of plain shapes look much the same mirrored; marks and holes then tell."""
    mirrored = _shares(prints, scan.mirrored, only)
    if mirrored and max(mirrored.values()) > share + 0.05:
        raise InputProblem(
            "shows the sheet mirrored",
            where=scan.name,
            do="switch off mirroring in print dialog and scan program, lay the printed side on "
            "the glass",
        )


def _not_shown(prints: Prints, scan: ScanImage, only: int | None) -> InputProblem:
    """Why a scan shows none of the sheets, as far as that can be seen."""
    reason = photograph_reason(scan.grey)
    if reason is not None:
        return InputProblem(
            reason,
            where=scan.name,
            do="use a flatbed scanner, the sheet flat under the lid: a photograph is not accurate "
            "enough to judge a print",
        )
    _refuse_mirrored(prints, scan, only, 0.0)
    what = f"sheet {only}" if only else f"any of the job's {len(prints.sheets)} sheet(s)"
    return InputProblem(
        f"does not show {what}",
        where=scan.name,
        do="scan a whole printed sheet of this job on a flatbed at 300 dpi, the printed side on "
        "the glass; if the job was made again since, print it again",
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
