"""Part records: caliper readings of one printed part against the decal's own holes."""

from __future__ import annotations

import textwrap
from dataclasses import dataclass
from pathlib import Path

from decalprep.calibration import PartEstimate, estimate_part, parse_part_readings, part_record
from decalprep.errors import UsageProblem
from decalprep.jobs.prepare import prepare_panel
from decalprep.jobs.spec import Job, PanelSpec
from decalprep.model import Decal, PartRecord
from decalprep.records import save_part


@dataclass(frozen=True)
class PartEntered:
    """The estimate, the saved record, and lines to tell."""

    estimate: PartEstimate
    record: PartRecord
    lines: tuple[str, ...]


def panel_called(job: Job, name: str) -> PanelSpec:
    """The panel of that name, in any case.

    Raises:
        UsageProblem: the job has none.
    """
    for panel in job.panels:
        if panel.name.casefold() == name.strip().casefold():
            return panel
    known = ", ".join(p.name for p in job.panels)
    raise UsageProblem(f"the job has no panel {name!r}", do=f"its panels are: {known}")


def decal_of(job: Job, name: str) -> Decal:
    """The decal of one panel, its holes labelled."""
    return prepare_panel(panel_called(job, name), job, None, lambda _: None).decal


def hole_lines(decal: Decal) -> tuple[str, ...]:
    """The holes by label with centre and diameter, for finding them on the part."""
    box = decal.outline.box
    words = (
        f"{decal.name}: hole centres in mm, x to the right and y up from the lower left corner of "
        f"the box round its cut outline, which is {box.width:.2f} x {box.height:.2f} mm."
    )
    lines = [
        *textwrap.wrap(words, 80, break_on_hyphens=False),
        "",
        f"  {'hole':<10} {'x':>8} {'y':>8}   size and use",
    ]
    for hole in decal.holes:
        x, y = hole.contour.box.centre
        x, y = x - box.x0, y - box.y0
        size = f"{hole.circle.diameter:.2f} across" if hole.circle else "not round"
        lines.append(f"  {hole.label:<10} {x:8.2f} {y:8.2f}   {size}, {hole.kind.value}")
    return tuple(lines)


def enter_part(
    job: Job,
    panel: str,
    text: str,
    folder: Path,
    *,
    record_name: str,
    same_rule: bool,
    measured_on: str,
) -> PartEntered:
    """The record of one part from hole-to-hole readings, saved.

    Raises:
        UsageProblem: a reading that names no hole of the panel.
        ReadingsRefused: readings that cannot be believed.
    """
    decal = decal_of(job, panel)
    box = decal.outline.box
    holes = {h.label.lower(): h.contour.box.centre for h in decal.holes}
    readings = parse_part_readings(text.lower(), holes, size_mm=(box.width, box.height))
    estimate = estimate_part(readings, same_rule=same_rule)
    record = part_record(
        record_name, estimate, readings, measured_on=measured_on, same_rule=same_rule
    )
    save_part(folder, record)
    ux, uy, us = estimate.u
    lines = [
        f"{record_name}, against the drawing of {decal.name} (95 %):",
        f"  across {estimate.scale_x * box.width:+.2f} mm over {box.width:.0f} mm, give or take "
        f"{2 * ux * box.width:.2f} mm",
        f"  up     {estimate.scale_y * box.height:+.2f} mm over {box.height:.0f} mm, give or take "
        f"{2 * uy * box.height:.2f} mm",
        f"  lean   {estimate.skew * box.height:+.2f} mm over {box.height:.0f} mm, give or take "
        f"{2 * us * box.height:.2f} mm",
    ]
    return PartEntered(estimate, record, tuple(lines))
