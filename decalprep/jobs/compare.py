"""Comparing a bare part with its printed decal, both scanned on one scanner the same way round.

The scanner's error falls on both and cancels; what differs is real. Offsets are told in the decal's
own directions, whichever way it lies on the sheet.
"""

from __future__ import annotations

import math
import re
from collections.abc import Callable
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

from decalprep.errors import ExitCode, InputProblem, ReadingsRefused, UsageProblem
from decalprep.geometry import Affine
from decalprep.jobs.measure import sheet_shown
from decalprep.jobs.prints import PrintedDecal, PrintedSheet, Prints
from decalprep.model import Notice, PartRecord
from decalprep.scan import (
    PartComparison,
    ScanImage,
    SheetDecal,
    compare_with_part,
    part_picture,
    read_scan,
)
from decalprep.scan.part_ranges import UNEVEN_MM
from decalprep.scan.picture import signed

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
    def holes_off(self) -> bool:
        """Whether the legend is off at a hole by more than the tolerance beyond doubt."""
        return any(o.distance_mm - o.range_mm > self.tolerance_mm for o in self.offsets)

    @property
    def edge_off(self) -> bool:
        """Whether the decal hangs over the part, or its rim is uneven, by more than that."""
        edge = self.found.edge
        if edge is None:
            return False
        return max(edge.overhang_mm, edge.uneven_mm) - edge.range_mm > self.tolerance_mm

    @property
    def uncertain(self) -> bool:
        """Whether holes or edge, ranges added, may be off by more than the tolerance."""
        most = [o.distance_mm + o.range_mm for o in self.offsets]
        if self.found.edge is not None:
            edge = self.found.edge
            most.append(max(edge.overhang_mm, edge.uneven_mm) + edge.range_mm)
        return any(m > self.tolerance_mm for m in most)

    @property
    def exit_code(self) -> ExitCode:
        """PROOF where holes or edge are off beyond doubt, READINGS where that cannot be told."""
        if self.holes_off or self.edge_off:
            return ExitCode.PROOF
        return ExitCode.READINGS if self.uncertain else ExitCode.OK

    @property
    def picture_name(self) -> str:
        """A file name for the picture that every system takes."""
        return f"compared-{re.sub(r'[^A-Za-z0-9]+', '-', self.decal.title).strip('-')}.png"

    @property
    def picture(self) -> bytes:
        """A PNG of decal and part, what is off drawn many times too large."""
        return part_picture(
            self.found,
            self.decal.outline,
            decal_from_sheet(self.decal),
            title=f"{self.decal.title} on its part",
            tolerance_mm=self.tolerance_mm,
        )


def decal_from_sheet(decal: PrintedDecal) -> Affine:
    """Sheet mm to mm from the decal's left and lower edge, as it is read."""
    back = Affine.rotation(-decal.turn_deg)
    left, low = np.array(back.apply_all(decal.outline)).min(axis=0).tolist()
    return Affine.translation(-left, -low) @ back


def compare_job(
    prints: Prints,
    panel: str,
    part: Path,
    sheet: Path,
    *,
    copy: int | None = None,
    uneven_mm: float = UNEVEN_MM,
    say: Callable[[str], None] = lambda _: None,
) -> Compared:
    """How far the legend of a printed decal will be off on its part, in mm: holes and edge.

    ``uneven_mm``: so far 100 mm differ between places of the glass that are 100 mm apart.

    Raises:
        InputProblem: a scan cannot be read or does not show what it should.
        ReadingsRefused: they lie differently on the glass, or too few holes match.
        UsageProblem: no such panel.
    """
    say(f"reading {part.name}")
    part_scan = _single(part)
    say(f"reading {sheet.name}")
    sheet_scan = _single(sheet)
    unsure = _same_setting(part_scan, sheet_scan)
    say(f"looking which sheet {sheet.name} shows")
    number, printed, decal = _decal_shown(prints, panel, sheet_scan, copy)
    holes = printed.holes_of(decal)
    say(f"comparing {decal.title} with its part")
    try:
        found = compare_with_part(
            part_scan,
            sheet_scan,
            printed.expected,
            SheetDecal(decal.name, decal.copy, decal.outline),
            holes,
            part=panel,
            uneven_mm=uneven_mm,
        )
    except ReadingsRefused as refused:
        raise ReadingsRefused(
            refused.found, where=refused.where, do=f"{refused.do}; {_way_round(decal)}"
        ) from None
    found = replace(found, notices=(*found.notices, *unsure))
    record = fitted_record(found.fitted, decal) if found.fitted is not None else None
    return Compared(decal, number, prints.tolerance_mm, legend_offsets(found, decal), found, record)


def _single(path: Path) -> ScanImage:
    pages = read_scan(path)
    if len(pages) != 1:
        raise InputProblem(
            f"holds {len(pages)} pages, one is compared", where=str(path), do="save it alone"
        )
    return pages[0]


def _same_setting(part: ScanImage, sheet: ScanImage) -> tuple[Notice, ...]:
    """Nothing where both files claim the same resolution, a warning where one claims none.

    Raises:
        ReadingsRefused: they claim different ones.
    """
    silent = [Path(s.name).name for s in (part, sheet) if s.claimed_dpi is None]
    if silent or part.claimed_dpi is None or sheet.claimed_dpi is None:
        both = len(silent) == 2
        text = (
            f"{' and '.join(silent)} {'do' if both else 'does'} not say at how many dots an inch "
            f"{'they were' if both else 'it was'} scanned: whether part and sheet were scanned at "
            "the same setting, as they must be, was not checked"
        )
        return (Notice("scan-setting-unknown", text, part.name),)
    for one, two in zip(part.claimed_dpi, sheet.claimed_dpi, strict=True):
        if abs(one / two - 1) > _SAME_DPI:
            raise ReadingsRefused(
                f"the part was scanned at {one:.0f} dpi, the sheet at {two:.0f}",
                do="scan both at the same setting: only then the scanner's error cancels",
            )
    return ()


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
    """Holes and edge, mm with their 95 % ranges, and what would be left after fitting."""
    how = "" if len(compared.offsets) > 1 else ", by its edge"
    lines = [
        f"{compared.decal.title} on sheet {compared.number}, laid on its part as well as it can "
        f"be{how}."
    ]
    lines += _hole_lines(compared) + _edge_lines(compared)
    if compared.record is None:
        lines.append("Three holes that are not in one line are needed to offer a fitted decal.")
        return lines
    uncertain = max(o.range_mm for o in compared.offsets)
    text = (
        f"A decal fitted to this part would leave {compared.found.left_mm:.2f} mm (rms), give or "
        f"take {uncertain:.2f}, at the holes"
    )
    edge = compared.found.edge
    if edge is not None and edge.left_mm is not None:
        worst = max(edge.left_mm, key=abs)
        text += f", and {signed(worst)} at worst, give or take {edge.range_mm:.2f}, at the edge"
    keep = " (--save NAME keeps that fit)"
    lines.append(f"{text}{keep}.")
    return lines


def _hole_lines(compared: Compared) -> list[str]:
    if not compared.offsets:
        return ["No round holes to compare."]
    worst = max(compared.offsets, key=lambda o: o.distance_mm)
    head = f"  {'hole':<10}{'legend off by':>14}{'to the right':>14}{'up':>8}{'hole across':>13}"
    lines = [head]
    for o in compared.offsets:
        lines.append(
            f"  {o.name:<10}{o.distance_mm:>7.2f} +/- {o.range_mm:.2f}{signed(o.right_mm):>12}"
            f"{signed(o.up_mm):>10}{o.diameter_mm:>11.2f}"
        )
    most = max(o.distance_mm + o.range_mm for o in compared.offsets)
    verdict = _verdict(compared.holes_off, most, compared.tolerance_mm)
    lines.append(
        f"At worst {worst.distance_mm:.2f} mm, give or take {worst.range_mm:.2f}, at {worst.name}: "
        f"{verdict} the {compared.tolerance_mm:g} mm that the job allows."
    )
    return lines


def _edge_lines(compared: Compared) -> list[str]:
    edge = compared.found.edge
    if edge is None:
        return []
    to_decal = decal_from_sheet(compared.decal)
    x, y = to_decal.apply(*edge.places_mm[edge.worst])
    off = edge.off_mm[edge.worst]
    way = _way_words(compared.decal, edge.outward[edge.worst])
    what = "the part reaches beyond the decal" if off > 0 else "the decal hangs over the part"
    most = max(edge.overhang_mm, edge.uneven_mm) + edge.range_mm
    verdict = _verdict(compared.edge_off, most, compared.tolerance_mm)
    low, high = signed(min(edge.off_mm)), signed(max(edge.off_mm))
    return [
        f"Edge, by {len(edge.off_mm)} places: the part's lies {signed(edge.mean_mm)} mm outside "
        f"the decal's on average, from {low} to {high}, give or take "
        f"{edge.range_mm:.2f}.",
        f"Worst {x:.0f} mm from the decal's left and {y:.0f} mm from its lower edge: {what} by "
        f"{abs(off):.2f} mm {way}. Overhang and unevenness are {verdict} the "
        f"{compared.tolerance_mm:g} mm; a rim that is even all round is as meant if the job makes "
        "the decal smaller (offset).",
    ]


def _verdict(off: bool, most_mm: float, tolerance_mm: float) -> str:
    """What can be told, in words before the tolerance; ``most_mm`` has its range added."""
    if off:
        return "off by more than"
    return "within" if most_mm <= tolerance_mm else "too uncertain to judge by"


def _way_words(decal: PrintedDecal, outward: tuple[float, float]) -> str:
    """The direction, as the decal is read."""
    x, y = Affine.rotation(-decal.turn_deg).apply(*outward)
    names = (
        "to the right",
        "up and to the right",
        "upward",
        "up and to the left",
        "to the left",
        "down and to the left",
        "downward",
        "down and to the right",
    )
    return names[round(math.degrees(math.atan2(y, x)) / 45) % 8]
