"""Measuring the prints of a job in scans: which sheet each scan shows, and each decal's true size.

Two scans of a sheet, upright and turned by 90 degrees, judge; one measures but leaves the
scanner's own error open. Nothing here corrects a printer.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Sequence
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
    MeasuredDecal,
    PlacedPrint,
    PrintFinding,
    ScanImage,
    Verdict,
    fit_placed,
    judge_print,
    place_print,
    print_picture,
    read_scan,
)
from decalprep.scan.lines import sample_lines
from decalprep.scan.photograph import photograph_reason
from decalprep.scan.picture import signed
from decalprep.scan.placing import Placed, place_sheet

_SCALED_BY = (0.97, 0.94, 1.03)
_WELL_SEEN = 0.97


@dataclass(frozen=True)
class MeasuredSheet:
    """One sheet of the job, number from 1, the scans that show it and what they say."""

    number: int
    sheet: PrintedSheet
    scans: tuple[PlacedPrint, ...]
    finding: PrintFinding

    @property
    def picture(self) -> bytes:
        """A PNG of the first scan, each decal's outline marked by its verdict, with a table."""
        title = f"Sheet {self.number} ({self.sheet.name})"
        return print_picture(self.scans[0], self.sheet.expected, self.finding, title=title)


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


def read_scans(
    paths: Sequence[Path], say: Callable[[str], None] = lambda _: None
) -> Iterator[ScanImage]:
    """All pictures of the files, one a page, read one file after the other.

    Raises:
        InputProblem: one cannot be read.
    """
    for path in paths:
        say(f"reading {path.name}")
        yield from read_scan(path)


@dataclass(frozen=True)
class MeasureOptions:
    """What the user adds: which sheet the scans show, the scanner's records, check bars as read."""

    only: int | None = None
    scanner: tuple[ScannerRecord, ...] = ()
    bars: str = ""


def measure_job(
    prints: Prints,
    scans: Iterable[ScanImage],
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
        say(f"looking which sheet {Path(scan.name).name} shows")
        shown = sheet_shown(prints, scan, o.only)
        # What is kept is small: the scan itself goes before the next one is read.
        del scan
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
    # A scan whose dpi can be believed goes first: by it the sheet's size is told.
    placed = tuple(sorted((s.placed for s in shown), key=lambda p: p.claimed_dpi is None))
    first = placed[0]
    record = fitting_record(o.scanner, first.claimed_dpi)
    known = scanner_of(record) if record is not None else None
    fitted = fit_placed(placed, sheet.expected, scanner=known)
    mean = mean_scale(fitted, first.claimed_dpi, sheet, record=record, bars=bars)
    finding = judge_print(fitted, mean, tolerance_mm=prints.tolerance_mm)
    more = [s.alike for s in shown if s.alike is not None]
    if o.scanner and record is None:
        more.append(_other_setting(o.scanner, first))
    if not sheet.marks:
        text = "the sheet bears no marks: places are told against the decals beside them"
        more.append(Notice("print-no-marks", text, sheet.name, Severity.NOTE))
    more += _told_of(finding)
    finding = replace(finding, notices=(*finding.notices, *more))
    return MeasuredSheet(shown[0].number, sheet, placed, finding)


def _told_of(finding: PrintFinding) -> list[Notice]:
    """What a place that is off, or that cannot be told, means for cutting."""
    notices = []
    off = [d for d in finding.decals if d.faults and set(d.faults) <= {"place", "turn"}]
    if off:
        text = (
            f"true in size but not in its place: {', '.join(d.title for d in off)}; cut by hand "
            "along its printed line it is good, a machine that follows the sheet's marks would "
            "cut beside the line"
        )
        notices.append(Notice("print-misplaced", text))
    unsure = [d for d in finding.decals if d.verdict is Verdict.GOOD and d.place is Verdict.OPEN]
    if unsure:
        text = (
            f"true in size, but its place on the sheet cannot be told to {finding.tolerance_mm:g} "
            f"mm: {', '.join(d.title for d in unsure)}; that matters only to a machine that cuts "
            "by the sheet's marks"
        )
        notices.append(Notice("print-place-open", text, severity=Severity.NOTE))
    return notices


def _other_setting(records: Sequence[ScannerRecord], scan: PlacedPrint) -> Notice:
    known = ", ".join(f"{r.dpi:.0f}" for r in records)
    text = (
        f"the scanner {records[0].scanner} is known at {known} dpi, this scan claims another "
        "setting or none: its record is not used"
    )
    return Notice("scanner-setting", text, scan.name)


@dataclass(frozen=True)
class Shown:
    """The sheet that a scan shows, number from 1, and how it lies in it.

    ``alike`` warns where another sheet would look the same.
    """

    number: int
    placed: PlacedPrint
    alike: Notice | None = None


def sheet_shown(prints: Prints, scan: ScanImage, only: int | None = None) -> Shown:
    """The sheet that a scan shows best, by trying each; ``only`` names it.

    Raises:
        InputProblem: none of them, with the reason where one can be seen.
        UsageProblem: the job has no such sheet.
    """
    if only is not None and not 1 <= only <= len(prints.sheets):
        raise UsageProblem(f"there is no sheet {only}", do=f"the job has {len(prints.sheets)}")
    for tried in _as_claimed(scan):
        found = _found(prints, tried, only)
        if not found:
            continue
        best = max(found, key=lambda n: found[n].share)
        if found[best].share < _WELL_SEEN:
            _refuse_mirrored(prints, tried, only, found[best])
        sheet = prints.sheets[best - 1].expected
        placed = place_print(scan, sheet, found[best].image_from_mm)
        return Shown(best, placed, _alike(prints, found, best, scan))
    raise _not_shown(prints, scan, only)


def _as_claimed(scan: ScanImage) -> Iterator[ScanImage]:
    """The scan at the resolution it claims, at some near it, and at none.

    A dialog that fits pages scales by some percent, and a file may claim anything.
    """
    yield scan
    if scan.claimed_dpi is not None:
        for factor in _SCALED_BY:
            yield rescaled(scan, factor)
        yield replace(scan, claimed_dpi=None)


def _found(prints: Prints, scan: ScanImage, only: int | None) -> dict[int, Placed]:
    """How each sheet that fits lies in the scan, by its number."""
    found = {}
    for number, sheet in enumerate(prints.sheets, 1):
        if only not in (None, number) or not sheet.decals:
            continue
        lines = sheet.lines
        size = (sheet.width_mm, sheet.height_mm)
        try:
            found[number] = place_sheet(scan, lines, sample_lines(lines), size)
        except InputProblem:
            continue
    return found


def _alike(prints: Prints, shares: Iterable[int], best: int, scan: ScanImage) -> Notice | None:
    mine = set(prints.sheets[best - 1].lines)
    same = [n for n in shares if n != best and set(prints.sheets[n - 1].lines) == mine]
    if not same:
        return None
    text = (
        f"sheets {', '.join(str(n) for n in sorted([best, *same]))} look alike; this is taken for "
        f"sheet {best}: say --sheet if it is another"
    )
    return Notice("sheets-alike", text, scan.name, Severity.NOTE)


def _refuse_mirrored(
    prints: Prints, scan: ScanImage, only: int | None, upright: Placed | None
) -> None:
    """Sheets of plain shapes look much the same mirrored; marks and holes then tell.

    Half off the picture, what is left of a sheet may match better, but not more of it.
    """
    share, count = (upright.share + 0.05, upright.count) if upright else (0.0, 0)
    mirrored = _found(prints, scan.mirrored, only).values()
    if any(m.share > share and m.count > count for m in mirrored):
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
    _refuse_mirrored(prints, scan, only, None)
    what = f"sheet {only}" if only else "any sheet of the job"
    return InputProblem(
        f"does not show {what}",
        where=scan.name,
        do="scan a whole printed sheet of this job on a flatbed at 300 dpi, the printed side on "
        "the glass (photographs will not do); if the job was made again since, print it again",
    )


def measured_lines(measured: Measured) -> list[str]:
    """Each decal's verdict, and by how many mm its size and place are off, with 95 % ranges."""
    lines = []
    for one in measured.sheets:
        scans = "one scan" if len(one.scans) == 1 else f"{len(one.scans)} scans"
        lines.append(
            f"Sheet {one.number} ({one.sheet.name}) in {scans}: mm off, 95 %; allowed are "
            f"{one.finding.tolerance_mm:g} mm"
        )
        for d in one.finding.decals:
            lines += _decal_lines(d)
    return lines


def _decal_lines(d: MeasuredDecal) -> list[str]:
    why = f" ({', '.join(d.faults)})" if d.faults else ""
    lines = [f"  {d.title}: {d.verdict.value}{why}"]
    if d.verdict is Verdict.UNSEEN:
        return lines
    across, up = (_off(d.error_x_mm, d.range_x_mm), _off(d.error_y_mm, d.range_y_mm))
    lines.append(f"    size   across {across}   up {up}   lean {_off(d.lean_mm, d.range_lean_mm)}")
    right, up = (_off(d.off_x_mm, d.range_off_x_mm), _off(d.off_y_mm, d.range_off_y_mm))
    turn = "not seen, it is round" if d.turn_mm is None else _off(d.turn_mm, d.range_turn_mm)
    lines.append(f"    place  right  {right}   up {up}   turn {turn}")
    return lines


def _off(value: float, uncertain: float) -> str:
    return f"{signed(value)} +/- {uncertain:.2f}"
