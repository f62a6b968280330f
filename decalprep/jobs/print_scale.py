"""How large a scanned sheet is as a whole: everything that says so, weighed together.

Scans show the shape of a sheet, not its size. The size is told by a scanner's own record, by a
check bar read with a rule, by what the printer's record promises, and last by the dpi that the scan
file claims. What contradicts the rest is refused or dropped by name, never averaged in.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

from decalprep.calibration import PLAIN, Scanner, parse_readings
from decalprep.errors import ReadingsRefused
from decalprep.jobs.prints import PrintedSheet
from decalprep.model import Baseline, Notice, ScannerRecord
from decalprep.scan import FittedPrint, MeanScale, ScanImage
from decalprep.scan.sheet import SCANNER_SCALE_U, over_largest
from decalprep.units import MM_PER_IN

APART = 3.3
"""So many standard deviations apart, two claims contradict each other."""
SCALED = 0.012
"""Beyond this a sheet as a whole was scaled by the print dialog, as on the calibration page."""
NOTHING_U = 0.03
"""Standard uncertainty where nothing tells the size: dialogs scale by some percent (assumed)."""
_SAME_DPI = 0.005
_BAR_SLIP = 0.08


@dataclass(frozen=True)
class Claim:
    """One thing that tells how far the sheet as a whole is off (parts of one), how surely."""

    name: str
    error: float
    u: float
    measured: bool
    absolute: bool = False


@dataclass(frozen=True)
class BarReading:
    """One check bar read with a rule: parts of one it is too long, standard uncertainty, way."""

    typed: str
    error: float
    u: float
    upward: bool


def bar_readings(text: str, sheet: PrintedSheet) -> tuple[BarReading, ...]:
    """The check bars of a sheet as read, ``bar1`` across and ``bar2`` up.

    Raises:
        ReadingsRefused: a length that a check bar cannot have.
        UsageProblem: not readings of the bars that this sheet has.
    """
    if not text.strip():
        return ()
    bars = {f"bar{k}": bar for k, bar in enumerate(sheet.bars, 1)}
    lines = [Baseline(name, (0.0, 0.0), (length, 0.0)) for name, (length, _) in bars.items()]
    found = []
    for reading in parse_readings(text, lines).lengths:
        length, upward = bars[reading.line]
        error = reading.length_mm / length - 1
        if abs(error) > _BAR_SLIP:
            raise ReadingsRefused(
                f"{reading.line}={reading.typed} cannot be: the bar is {length:g} mm long",
                do="read it again, from edge to edge as its words say, and enter it in mm",
            )
        found.append(BarReading(f"{reading.line}={reading.typed}", error, _bar_u(length), upward))
    return tuple(found)


def _bar_u(length_mm: float) -> float:
    return PLAIN.sigma_mm / length_mm


def fitting_record(
    records: Sequence[ScannerRecord], claimed_dpi: tuple[float, float] | None
) -> ScannerRecord | None:
    """The record of a scanner at the resolution that a scan claims; None where there is none."""
    if claimed_dpi is None:
        return None
    dpi = math.sqrt(claimed_dpi[0] * claimed_dpi[1])
    return next((r for r in records if abs(r.dpi / dpi - 1) < _SAME_DPI), None)


def scanner_of(record: ScannerRecord) -> Scanner:
    """The scanner's own error as its record has it."""
    return Scanner(record.anisotropy, record.shear, record.lens2_mm, record.lens3_mm)


def mean_scale(
    fitted: FittedPrint,
    claimed_dpi: tuple[float, float] | None,
    sheet: PrintedSheet,
    *,
    record: ScannerRecord | None = None,
    bars: Sequence[BarReading] = (),
) -> MeanScale:
    """How far a sheet as a whole is off (parts of one) by all that tells it, and what to tell.

    Raises:
        ReadingsRefused: a check bar reading that the scans contradict.
    """
    measured = _measured_claims(fitted, claimed_dpi, record, bars)
    _refuse_contradiction(measured, sheet)
    notices: list[Notice] = []
    claims = list(measured)
    if sheet.mean_scale_u is not None:
        promise = Claim(f"the record of {sheet.printer}", 0.0, sheet.mean_scale_u, False)
        against = _weighed(measured) if measured else None
        if against is None or _agree(promise, against):
            claims.append(promise)
        else:
            notices.append(_broken_promise(promise, against, sheet))
    if not claims:
        text = (
            "nothing tells the size of the sheet as a whole: the scan says no dpi that can be, and "
            "there is no record of printer or scanner; read a check bar and add it, as in "
            "bar1=100.2"
        )
        notices.append(Notice("print-scale-open", text, sheet.name))
        return MeanScale(0.0, NOTHING_U, False, tuple(notices))
    found = _weighed(claims)
    notices += _told(found, claims, sheet)
    return MeanScale(found.error, found.u, found.absolute, tuple(notices))


def _measured_claims(
    fitted: FittedPrint,
    claimed_dpi: tuple[float, float] | None,
    record: ScannerRecord | None,
    bars: Sequence[BarReading],
) -> list[Claim]:
    half = fitted.fit.shape.ratio / 2
    u_half = math.sqrt(fitted.fit.shape.covariance[0][0]) / 2
    claims = [
        # A bar shows its own direction; the mean of both follows by the ratio that scans show.
        Claim(b.typed, b.error + (-half if b.upward else half), math.hypot(b.u, u_half), True, True)
        for b in bars
    ]
    if record is not None:
        error = fitted.px_per_mm / record.px_per_mm - 1
        claims.append(Claim(f"the scanner {record.scanner}", error, record.u, True, True))
    elif claimed_dpi is not None:
        px = math.sqrt(claimed_dpi[0] * claimed_dpi[1]) / MM_PER_IN
        error = fitted.px_per_mm / px - 1
        claims.append(Claim("the dpi that the scan claims", error, SCANNER_SCALE_U, True))
    return claims


def _agree(a: Claim, b: Claim) -> bool:
    return abs(a.error - b.error) <= APART * math.hypot(a.u, b.u)


def _refuse_contradiction(claims: Sequence[Claim], sheet: PrintedSheet) -> None:
    for i, a in enumerate(claims):
        for b in claims[:i]:
            if not _agree(a, b):
                raise ReadingsRefused(
                    f"{b.name} says that the sheet is {100 * b.error:+.2f} % off "
                    f"({_in_mm(b, sheet)}), {a.name} says {100 * a.error:+.2f} % "
                    f"({_in_mm(a, sheet)})",
                    do="read the check bar again, or leave out what does not belong to this scan",
                )


def _weighed(claims: Sequence[Claim]) -> Claim:
    """The mean by inverse variances, as uncertain as the surest claim.

    Records of printer and scanner may rest on the same readings, so one narrows not the other.
    """
    weights = [1 / c.u**2 for c in claims]
    error = sum(w * c.error for w, c in zip(weights, claims, strict=True)) / sum(weights)
    names = " and ".join(c.name for c in claims)
    u = min(c.u for c in claims)
    return Claim(names, error, u, True, any(c.absolute for c in claims))


def _in_mm(claim: Claim, sheet: PrintedSheet) -> str:
    return over_largest(claim.error, sheet.expected.decals, u=claim.u)


def _broken_promise(promise: Claim, against: Claim, sheet: PrintedSheet) -> Notice:
    text = (
        f"the sheet as a whole is {100 * against.error:+.2f} % off ({_in_mm(against, sheet)}) by "
        f"{against.name}, which {promise.name} does not explain: "
    )
    numbers = (("mean_scale_error", against.error),)
    if abs(against.error) > SCALED:
        text += "the print dialog has scaled it; print again at actual size, without fitting"
        return Notice("print-scaled", text, sheet.name, numbers=numbers)
    text += "another printer, stock or setting? Calibrate anew, or print again"
    return Notice("print-not-as-recorded", text, sheet.name, numbers=numbers)


def _told(found: Claim, claims: Sequence[Claim], sheet: PrintedSheet) -> list[Notice]:
    notices = []
    if abs(found.error) > SCALED and sheet.mean_scale_u is None:
        text = (
            f"the sheet as a whole came out {100 * found.error:+.1f} % off "
            f"({_in_mm(found, sheet)}), more than printers err: the print dialog has scaled it; "
            "print again at actual size, without fitting"
        )
        numbers = (("mean_scale_error", found.error),)
        notices.append(Notice("print-scaled", text, sheet.name, numbers=numbers))
    if not found.absolute:
        text = (
            f"the overall size rests on {' and '.join(c.name for c in claims)}: it is open by "
            f"{over_largest(2 * found.u, sheet.expected.decals)}; narrow it with --scanner (see "
            "'calibrate scan') or a check bar read with a rule, as in bar1=100.2"
        )
        notices.append(Notice("print-scale-open", text, sheet.name))
    return notices


def rescaled(scan: ScanImage, factor: float) -> ScanImage:
    """The scan as if its file claimed another resolution, to look for a sheet that was scaled."""
    if scan.claimed_dpi is None:
        return scan
    x, y = scan.claimed_dpi
    return replace(scan, claimed_dpi=(x * factor, y * factor))
