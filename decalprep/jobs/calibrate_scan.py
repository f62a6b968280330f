"""Calibrating a printer by scans of its calibration page, the size from a reading or two.

Scans tell the page's shape to some hundredths of a millimetre once the same page has lain on the
glass upright and turned by 90 degrees; its size only a rule tells. The page says itself, by its
markers, how large it is, for which record it was printed and with which correction.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Protocol

from decalprep.calibration import (
    Estimate,
    PageReadings,
    ShapeFinding,
    ShapeFit,
    Updated,
    coverage_factor,
    estimate_printer,
    parse_readings,
    prompts_for,
    shape_from_scans,
    with_rules,
)
from decalprep.errors import ReadingsRefused, UsageProblem
from decalprep.jobs.calibrate import (
    PrinterKey,
    corrections_known,
    learned,
    page_sheet,
    told,
)
from decalprep.marks.calibration_page_codes import page_code, page_digits
from decalprep.model import PrinterRecord, ScannerRecord, TargetLayout
from decalprep.records import list_printers, save_scanner
from decalprep.scan import FoundPage, find_page, read_scan, scanner_scale
from decalprep.scan.rule_along import RuleSeen, read_rule
from decalprep.units import MM_PER_IN, format_turn

_HEAD = "From the scans, the scanner's own error taken out"
LONG_MM = 150.0
"""A reading at least this long gives the size; a shorter one only weakly."""
STEADY_U = 100e-6
"""Standard uncertainty of a scanner's scale from one day to another (assumed, no source)."""


class PageSeen(Protocol):
    """A calibration page as pictures show it: its layout, and its code, '' where not seen."""

    @property
    def layout(self) -> TargetLayout: ...

    @property
    def code(self) -> str: ...


@dataclass(frozen=True)
class PageScans:
    """The scans of one calibration page: where its discs lie in each, and what they say of it."""

    pages: tuple[FoundPage, ...]

    @property
    def code(self) -> str:
        """The page's code as its markers say it, '' where no scan shows all of them."""
        return next((p.points.code for p in self.pages if p.points.code), "")

    @property
    def layout(self) -> TargetLayout:
        """Where everything lies on the page."""
        return self.pages[0].layout

    @property
    def lines(self) -> tuple[str, ...]:
        """What each scan shows, one line each."""
        return tuple(_scan_line(page) for page in self.pages)


@dataclass(frozen=True)
class Scanned:
    """What the scans and readings did: shape, estimate, new record, lines to tell."""

    fit: ShapeFit
    estimate: Estimate
    updated: Updated
    lines: tuple[str, ...]
    scanner: ScannerRecord | None = None


def read_pages(paths: Sequence[Path]) -> PageScans:
    """The calibration page in every picture of the files.

    Raises:
        InputProblem: a file cannot be read or shows no calibration page.
        ReadingsRefused: a picture that is no flat scan, or scans of different pages.
    """
    pages = tuple(find_page(image) for path in paths for image in read_scan(path, colours=False))
    sizes = {p.layout.page for p in pages}
    codes = {p.points.code for p in pages if p.points.code}
    if len(sizes) > 1 or len(codes) > 1:
        shown = "; ".join(_scan_line(p) for p in pages)
        raise ReadingsRefused(
            f"the scans show different pages ({shown})",
            do="scan one and the same printed page each time",
        )
    return PageScans(pages)


def _scan_line(page: FoundPage) -> str:
    p = page.points
    dpi = MM_PER_IN * (p.px_per_mm[0] * p.px_per_mm[1]) ** 0.5
    code = f"code {p.code}" if p.code else "its code not seen whole"
    return (
        f"{p.source}: {page.layout.page} page, {code}, turned {format_turn(p.turn_deg)} degrees, "
        f"{len(p.page_mm)} of {len(page.layout.discs)} discs, about {dpi:.0f} dots an inch"
    )


def enter_scans(
    key: PrinterKey,
    scans: PageScans,
    text: str,
    folder: Path,
    *,
    size: str | None = None,
    scanner: str = "",
    rule_along: Sequence[Path] = (),
    measured_on: str,
    accept: frozenset[str] = frozenset(),
    instead: bool = False,
) -> Scanned:
    """The record with one more page in it, from scans at 0 and 90 degrees and a reading or more.

    ``size`` is what the user believes the page to be; ``scanner`` a name to keep what was found out
    about the scanner under; ``rule_along`` names the scans that show a rule beside the page, which
    then gives the size with no reading or besides them; ``instead`` takes back the page entered
    last. All or nothing.

    Raises:
        UsageProblem: the page belongs to another record, or the readings cannot be taken apart.
        ReadingsRefused: scans or readings that cannot be believed, or too few of them.
    """
    check_page(key, scans, size, folder)
    fit = shape_from_scans([p.points for p in scans.pages])
    rules = [_rule_in(path, scans, fit) for path in dict.fromkeys(rule_along)]
    fit = replace(fit, shape=with_rules(fit.shape, [(r.error, r.u) for r in rules]))
    readings = readings_with_page(scans, text, rule_seen=bool(rules))
    estimate = estimate_printer(readings, scans.layout, shape=fit.shape, accept=accept)
    updated = learned(
        key,
        page_sheet(scans.layout.page),
        estimate,
        folder,
        code=readings.code,
        measured_on=measured_on,
        instead=instead,
    )
    found = scanner_record(scanner, scans, fit, estimate, measured_on) if scanner else None
    if found is not None:
        save_scanner(folder, found)
    lines = (
        *told(estimate, updated),
        *shape_lines(fit.shape, _HEAD, fit.residual_rms_mm),
        *_rule_lines(rules),
        *_scanner_lines(found),
    )
    return Scanned(fit, estimate, updated, lines, found)


def check_page(key: PrinterKey, seen: PageSeen, size: str | None, folder: Path) -> None:
    """Passes pictures of a page that was printed for this printer, of the size that was said.

    Raises:
        UsageProblem: another size, or the page of another record, named where it is known here.
    """
    if size is not None and page_sheet(size).name.casefold() != seen.layout.page.casefold():
        raise UsageProblem(
            f"the page's markers say {seen.layout.page}, not {size}",
            do="leave --size out, or correct it",
        )
    if not seen.code or _belongs(seen, key.title, key.record(folder)):
        return
    for record in list_printers(folder):
        title = " / ".join(
            p for p in (record.printer, record.stock, record.tray, record.quality) if p
        )
        if _belongs(seen, title, record):
            raise UsageProblem(
                f"this page was printed for {title}, not for {key.title}",
                do="name that printer with --printer, --stock, --tray and --quality",
            )


def _belongs(seen: PageSeen, title: str, record: PrinterRecord) -> bool:
    known = corrections_known(record, page_sheet(seen.layout.page))
    return seen.code in {page_code(page_digits(title, c)) for c in known}


def readings_with_page(seen: PageSeen, text: str, *, rule_seen: bool = False) -> PageReadings:
    """The typed readings with the page's own code; none are needed where a rule was scanned along.

    Raises:
        ReadingsRefused: none long enough to give the size, or a code typed that is another page's.
    """
    baselines = seen.layout.baselines
    if rule_seen and not text.strip():
        return PageReadings((), code=seen.code)
    if not text.strip():
        first = next(p for p in prompts_for(baselines) if p.line.startswith("down"))
        raise ReadingsRefused(
            "pictures show the shape of the page, but not its size",
            do=f'read one long line with a rule, better two, and add them as "{first.line}=..." '
            f"({first.text})",
        )
    readings = parse_readings(text, baselines)
    if readings.code and seen.code and readings.code != seen.code:
        raise ReadingsRefused(
            f"the code typed is {readings.code}, the pictures show {seen.code}",
            do="read the lines of the page that they show",
        )
    longest = max((r.length_mm for r in readings.lengths), default=0.0)
    if longest < LONG_MM and not (rule_seen and not readings.lengths):
        raise ReadingsRefused(
            f"no reading is longer than {LONG_MM:.0f} mm, so nothing says the size well enough",
            do="read one of the lines down or across with a rule and add it",
        )
    return replace(readings, code=seen.code or readings.code)


def _rule_in(path: Path, scans: PageScans, fit: ShapeFit) -> RuleSeen:
    """The rule beside the page in one of the scans.

    Raises:
        UsageProblem: the file is not one of the scans.
        ReadingsRefused: no rule to be seen in it.
    """
    for number, page in enumerate(scans.pages):
        if page.points.source == str(path):
            (image, *_) = read_scan(path, colours=False)
            return read_rule(image, page.points, page.layout, fit, number=number)
    raise UsageProblem(
        f"--rule-along names {path}, which is not one of the scans",
        do="name the scan that shows the rule as it is named among the scans",
    )


def _rule_lines(rules: Sequence[RuleSeen]) -> list[str]:
    return [
        f"The rule in the scan, read over {r.length_mm:.0f} mm along the picture's "
        f"{'height' if r.upright else 'width'}, says that the page is {r.error * 250:+.2f} mm over "
        f"250 mm in the mean of both ways, give or take {2 * r.u * 250:.2f} mm (95 %, relative to "
        "that rule)."
        for r in rules
    ]


def shape_lines(shape: ShapeFinding, head: str, scatter_mm: float) -> list[str]:
    """What pictures tell of the page's shape, in mm with its 95 % range."""
    k = coverage_factor(shape.freedom)
    u_ratio, u_skew = (shape.covariance[i][i] ** 0.5 for i in (0, 1))
    return [
        "",
        f"{head} (95 %):",
        f"  up against across {shape.ratio * 250:+.3f} mm over 250 mm, give or take "
        f"{k * u_ratio * 250:.3f} mm",
        f"  lean              {shape.skew * 250:+.3f} mm over 250 mm, give or take "
        f"{k * u_skew * 250:.3f} mm",
        f"The discs lie within {scatter_mm:.3f} mm (rms) of that.",
    ]


# ---------------------------------------------------------------- the scanner


def scanner_record(
    name: str, scans: PageScans, fit: ShapeFit, estimate: Estimate, measured_on: str
) -> ScannerRecord:
    """What the scans tell of the scanner itself, at the resolution they were made with.

    Raises:
        ReadingsRefused: the scans are of different resolutions.
    """
    scale = scanner_scale(fit, estimate)
    settings = {round(nominal_dpi(p.points.claimed_dpi, scale.px_per_mm)) for p in scans.pages}
    if len(settings) > 1:
        raise ReadingsRefused(
            f"the scans have different resolutions ({', '.join(map(str, sorted(settings)))} dpi)",
            do="scan at one setting to keep a record of the scanner, or leave --scanner out",
        )
    own = fit.scanner
    return ScannerRecord(
        name.strip(),
        float(settings.pop()),
        scale.px_per_mm,
        (scale.u**2 + STEADY_U**2) ** 0.5,
        own.anisotropy,
        own.shear,
        own.lens2_mm,
        own.lens3_mm,
        measured_on,
    )


def nominal_dpi(claimed: tuple[float, float] | None, px_per_mm: float) -> float:
    """The resolution setting in dots an inch: what the file says, else what was measured."""
    if claimed is not None:
        return float((claimed[0] * claimed[1]) ** 0.5)
    return px_per_mm * MM_PER_IN


def _scanner_lines(record: ScannerRecord | None) -> list[str]:
    if record is None:
        return []
    dpi = record.px_per_mm * MM_PER_IN
    return [
        "",
        f"The scanner {record.scanner} makes {dpi:.2f} true dots an inch at its setting of "
        f"{record.dpi:.0f}, give or take {2 * record.u * dpi:.2f} (95 %, relative to your rule): "
        f"'decalprep measure --scanner' uses that.",
    ]
