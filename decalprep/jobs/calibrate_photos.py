"""Calibrating a printer by photographs of its calibration page, the size from a reading or two."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from decalprep.calibration import (
    Estimate,
    PhotoFit,
    Updated,
    estimate_printer,
    plain_rule_u,
    shape_from_photos,
)
from decalprep.errors import ReadingsRefused
from decalprep.jobs.calibrate import PrinterKey, learned, page_sheet, told
from decalprep.jobs.calibrate_scan import check_page, readings_with_page, shape_lines
from decalprep.model import TargetLayout
from decalprep.scan import FoundPhoto, find_page_in_photo, read_scan


@dataclass(frozen=True)
class PagePhotos:
    """The photographs of one calibration page: where its discs lie in each."""

    photos: tuple[FoundPhoto, ...]

    @property
    def layout(self) -> TargetLayout:
        """Where everything lies on the page."""
        return self.photos[0].layout

    @property
    def code(self) -> str:
        """The page's code as its markers say it, '' where no photograph shows all of them."""
        return next((p.points.code for p in self.photos if p.points.code), "")


@dataclass(frozen=True)
class Photographed:
    """What photographs and readings did: shape, estimate, new record, lines to tell."""

    fit: PhotoFit
    estimate: Estimate
    updated: Updated
    lines: tuple[str, ...]


def read_photos(paths: Sequence[Path]) -> PagePhotos:
    """The calibration page in every photograph.

    Raises:
        InputProblem: a file cannot be read or shows no calibration page.
        ReadingsRefused: too little of the page to be seen.
    """
    found = (find_page_in_photo(i) for path in paths for i in read_scan(path, colours=False))
    return PagePhotos(tuple(found))


def enter_photos(
    key: PrinterKey,
    seen: PagePhotos,
    text: str,
    folder: Path,
    *,
    size: str | None = None,
    measured_on: str,
    accept: frozenset[str] = frozenset(),
    instead: bool = False,
) -> Photographed:
    """The record with one more page in it, from photographs and a reading or more; all or nothing.

    ``instead`` takes back the page that was entered last.

    Raises:
        UsageProblem: the page belongs to another record, or the readings cannot be taken apart.
        ReadingsRefused: photographs or readings that cannot be believed, or too few of them.
    """
    check_page(key, seen, size, folder)
    layout = seen.layout
    if len({p.layout.page for p in seen.photos}) > 1:
        raise ReadingsRefused(
            "the photographs show different pages", do="photograph one and the same printed page"
        )
    points = [p.points for p in seen.photos]
    fit = shape_from_photos(points, disc_mm=layout.disc_diameter_mm, rule_u=plain_rule_u(layout))
    readings = readings_with_page(seen, text)
    estimate = estimate_printer(readings, layout, shape=fit.shape, accept=accept)
    updated = learned(
        key,
        page_sheet(layout.page),
        estimate,
        folder,
        code=readings.code,
        measured_on=measured_on,
        instead=instead,
    )
    lines = (*told(estimate, updated), *_photo_lines(seen, fit))
    return Photographed(fit, estimate, updated, lines)


def _photo_lines(seen: PagePhotos, fit: PhotoFit) -> list[str]:
    u = [fit.shape.covariance[i][i] ** 0.5 for i in (0, 1)]
    rules = plain_rule_u(seen.layout)
    tilts = ", ".join(f"{t:.0f}" for t in fit.tilts_deg)
    better = min(r / mine for r, mine in zip(rules, u, strict=True))
    return [
        *shape_lines(fit.shape, "From the photographs, camera and lens taken out", fit.scatter_mm),
        f"They are tilted by {tilts} degrees; the page is flat to {fit.bend_mm:.1f} mm. A plain "
        f"rule alone would know the shape {better:.1f} times less well.",
    ]
