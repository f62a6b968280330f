"""Comparing a bare part with its printed decal, both scanned on one scanner the same way round.

The scanner's error falls on both and cancels; what differs is real. Offsets are told in the decal's
own directions, whichever way it lies on the sheet.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

from decalprep.errors import ExitCode, InputProblem, ReadingsRefused, UsageProblem
from decalprep.geometry import Affine
from decalprep.jobs.measure import sheet_shown
from decalprep.jobs.prints import PrintedDecal, PrintedSheet, Prints
from decalprep.model import PartRecord
from decalprep.scan import PartComparison, ScanImage, SheetDecal, compare_with_part, read_scan

_SAME_DPI = 0.005


@dataclass(frozen=True)
class LegendOffset:
    """How far the legend lies from one hole of the part, mm to the right and up on the decal."""

    name: str
    right_mm: float
    up_mm: float
    range_mm: float
    diameter_mm: float

    @property
    def distance_mm(self) -> float:
        """Length of the offset."""
        return math.hypot(self.right_mm, self.up_mm)


@dataclass(frozen=True)
class Compared:
    """What the comparison found: the decal, its sheet's number, offsets, the record that fits it.

    ``record`` replaces the part record that the decal was made with; None where the holes do not
    determine one.
    """

    decal: PrintedDecal
    number: int
    tolerance_mm: float
    offsets: tuple[LegendOffset, ...]
    found: PartComparison
    record: PartRecord | None

    @property
    def exit_code(self) -> ExitCode:
        """PROOF where the legend is off by more than the tolerance beyond doubt, else OK."""
        off = any(o.distance_mm - o.range_mm > self.tolerance_mm for o in self.offsets)
        return ExitCode.PROOF if off else ExitCode.OK


def compare_job(
    prints: Prints, panel: str, part: Path, sheet: Path, *, copy: int | None = None
) -> Compared:
    """How far the legend of a printed decal will be off on its part, hole by hole, in mm.

    Raises:
        InputProblem: a scan cannot be read or does not show what it should.
        ReadingsRefused: they lie differently on the glass, or too few holes match.
        UsageProblem: no such panel, or its decal has no round holes.
    """
    part_scan, sheet_scan = _single(part), _single(sheet)
    _same_setting(part_scan, sheet_scan)
    number, printed, decal = _decal_shown(prints, panel, sheet_scan, copy)
    holes = printed.holes_of(decal)
    if len(holes) < 2:
        raise UsageProblem(
            f"{decal.title} has {len(holes)} round holes: part and decal are compared by two or "
            "more",
            do="measure the part with a caliper and 'decalprep part enter'",
        )
    try:
        found = compare_with_part(
            part_scan,
            sheet_scan,
            printed.expected,
            SheetDecal(decal.name, decal.copy, decal.outline),
            holes,
            part=panel,
        )
    except ReadingsRefused as refused:
        raise ReadingsRefused(
            refused.found, where=refused.where, do=f"{refused.do}; {_way_round(decal)}"
        ) from None
    record = fitted_record(found.fitted, decal) if found.fitted is not None else None
    return Compared(decal, number, prints.tolerance_mm, legend_offsets(found, decal), found, record)


def _single(path: Path) -> ScanImage:
    pages = read_scan(path)
    if len(pages) != 1:
        raise InputProblem(
            f"holds {len(pages)} pages, one is compared", where=str(path), do="save it alone"
        )
    return pages[0]


def _same_setting(part: ScanImage, sheet: ScanImage) -> None:
    if part.claimed_dpi is None or sheet.claimed_dpi is None:
        return
    for one, two in zip(part.claimed_dpi, sheet.claimed_dpi, strict=True):
        if abs(one / two - 1) > _SAME_DPI:
            raise ReadingsRefused(
                f"the part was scanned at {one:.0f} dpi, the sheet at {two:.0f}",
                do="scan both at the same setting: only then the scanner's error cancels",
            )


def _decal_shown(
    prints: Prints, panel: str, scan: ScanImage, copy: int | None
) -> tuple[int, PrintedSheet, PrintedDecal]:
    """The sheet in the scan and the decal of the panel on it.

    Raises:
        UsageProblem: the job has no such panel, or the sheet in the scan does not bear it.
    """
    wanted = panel.strip().casefold()
    names = {d.panel for s in prints.sheets for d in s.decals}
    if wanted not in {n.casefold() for n in names} | {
        d.name.casefold() for s in prints.sheets for d in s.decals
    }:
        raise UsageProblem(
            f"the job has no panel {panel!r}", do=f"its panels are: {', '.join(sorted(names))}"
        )
    number = sheet_shown(prints, scan).number
    sheet = prints.sheets[number - 1]
    mine = [d for d in sheet.decals if wanted in (d.panel.casefold(), d.name.casefold())]
    mine = [d for d in mine if copy in (None, d.copy)]
    if not mine:
        copies = "" if copy is None else f", copy {copy}"
        raise UsageProblem(
            f"{scan.name} shows sheet {number}, which does not bear {panel}{copies}",
            do="scan the sheet that does",
        )
    return number, sheet, mine[0]


def _way_round(decal: PrintedDecal) -> str:
    turn = round(decal.turn_deg) % 360
    if turn == 0:
        return "the decal lies upright on its sheet, so lay the part upright too"
    return (
        f"the decal lies turned by {turn} degrees (counter-clockwise) on its sheet, so lay the "
        "part turned the same way"
    )


def legend_offsets(found: PartComparison, decal: PrintedDecal) -> tuple[LegendOffset, ...]:
    """The offsets in the decal's own directions."""
    back = Affine.rotation(-decal.turn_deg)
    offsets = []
    for hole in found.holes:
        right, up = back.apply(hole.dx_mm, hole.dy_mm)
        offsets.append(LegendOffset(hole.name, right, up, hole.range_mm, hole.part_diameter_mm))
    return tuple(offsets)


def fitted_record(on_sheet: PartRecord, decal: PrintedDecal) -> PartRecord:
    """The part record that makes the decal fit: what was found, turned into the decal's frame, on
    top of the fit that the print has already. The turn that is left goes into laying it.
    """
    turn = math.radians(decal.turn_deg)
    c, s = math.cos(turn), math.sin(turn)
    t = np.array([[c, -s], [s, c]])
    more = np.array([[1 + on_sheet.scale_x, on_sheet.skew], [0.0, 1 + on_sheet.scale_y]])
    scale_x, scale_y, skew = decal.fit
    before = np.array([[1 + scale_x, skew], [0.0, 1 + scale_y]])
    r = np.linalg.qr(t.T @ more @ t @ before)[1]
    upper = r * np.sign(np.diag(r))[:, None]
    ux, uy = on_sheet.u_scale_x, on_sheet.u_scale_y
    return replace(
        on_sheet,
        scale_x=float(upper[0, 0] - 1),
        scale_y=float(upper[1, 1] - 1),
        skew=float(upper[0, 1]),
        u_scale_x=math.hypot(c * c * ux, s * s * uy),
        u_scale_y=math.hypot(s * s * ux, c * c * uy),
    )


def compared_lines(compared: Compared) -> list[str]:
    """The offsets hole by hole, mm with their 95 % range, and what would be left after fitting."""
    decal, worst = compared.decal, max(o.distance_mm for o in compared.offsets)
    lines = [
        f"{decal.title} on sheet {compared.number}, laid on its part as well as it can be.",
        f"  {'hole':<10}{'legend off by':>14}{'to the right':>14}{'up':>8}{'hole across':>13}",
    ]
    for o in compared.offsets:
        lines.append(
            f"  {o.name:<10}{o.distance_mm:>7.2f} +/- {o.range_mm:.2f}{o.right_mm:>+12.2f}"
            f"{o.up_mm:>+10.2f}{o.diameter_mm:>11.2f}"
        )
    verdict = "off by more than" if compared.exit_code else "within"
    lines.append(
        f"At worst {worst:.2f} mm: {verdict} the {compared.tolerance_mm:g} mm that the job allows."
    )
    if compared.record is None:
        lines.append("Three holes that are not in one line are needed to offer a fitted decal.")
    else:
        lines.append(
            f"A decal fitted to this part would leave {compared.found.left_mm:.2f} mm (rms), give "
            f"or take {compared.offsets[0].range_mm:.2f}."
        )
    return lines
