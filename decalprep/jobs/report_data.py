"""Everything one run found, as plain data: what ``result.json`` holds and the report is made from.

The schema is ``decalprep/data/result.schema.json``. Lengths in mm; places of a panel in its decal
frame, layout in the sheet frame, both from the lower left, y up.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import asdict
from typing import TYPE_CHECKING, Any

import decalprep
from decalprep.calibration import expected_error
from decalprep.geometry import Affine, Box
from decalprep.jobs.lay import sheet_from_decal
from decalprep.jobs.prepare import Prepared
from decalprep.jobs.stroke_effects import PanelEffect
from decalprep.model import (
    Decal,
    Notice,
    PartRecord,
    Placement,
    PrinterRecord,
    Severity,
    StockKind,
)

if TYPE_CHECKING:
    from decalprep.jobs.make import Made

SCHEMA = "decalprep result 1"


def result_data(made: Made) -> dict[str, Any]:
    """The whole result as plain data; numbers that JSON cannot hold are None."""
    from decalprep.proof import proof_data

    effects = {effect.panel: effect for effect in made.effects}
    data = {
        "schema": SCHEMA,
        "version": decalprep.__version__,
        "title": made.job["title"],
        "sheets": _sheets_data(made),
        "panels": [
            _panel_data(one, panel["artwork"], effects.get(one.decal.name))
            for one, panel in zip(made.prepared, made.job.panels, strict=True)
        ],
        "placements": _placements_data(made),
        "ink": [
            {"sheet": k, "inks": dict(i.inks), "printed_share": i.printed_share}
            for k, i in enumerate(made.ink, 1)
        ],
        "currency": made.job["currency"],
        "costs": [{"panel": c.panel, "sheets": c.sheets, "cost": c.cost} for c in made.costs],
        "proof": proof_data(made.proof),
        "notices": [notice_data(n) for n in distinct(made.notices)],
        "steps": steps_data(made),
        "cautions": cautions_data(made),
    }
    found: dict[str, Any] = finite(data)
    return found


def _sheets_data(made: Made) -> dict[str, Any]:
    return {
        "count": len(made.laid.sheets),
        "lower_bound": made.laid.lower_bound,
        "told": made.laid.bound_text,
        "kinds": [sheet.name for sheet in made.laid.sheets],
        "stocks": [sheet.stock.value for sheet in made.laid.sheets],
        "sizes_mm": [[sheet.width_mm, sheet.height_mm] for sheet in made.laid.sheets],
        "printers": [record.printer if record else None for record in made.records],
        "corrections": [list(d.page_from_sheet.as_tuple()) for d in made.drawings],
    }


def _panel_data(one: Prepared, artwork: str, effect: PanelEffect | None) -> dict[str, Any]:
    decal = one.decal
    box = decal.outline.box
    fitted = decal.outline.mapped(decal.fitted_from_decal).box
    return {
        "name": decal.name,
        "artwork": artwork,
        "artwork_mm": [decal.artwork.width_mm, decal.artwork.height_mm],
        "outline_mm": [box.width, box.height],
        "fitted_mm": [fitted.width, fitted.height],
        "outline_from": decal.outline_from,
        "copies": decal.copies,
        "tiles": list(one.tiles),
        "bleed_mm": decal.bleed_mm,
        "evidence": [
            {"width_mm": e.width_mm, "height_mm": e.height_mm, "reason": e.reason}
            for e in decal.artwork.evidence
        ],
        "sources": list(one.sources),
        "holes": [
            {
                "label": h.label,
                "kind": h.kind.value,
                "classed_by": h.classed_by,
                "centre_mm": list(h.contour.box.centre),
                "diameter_mm": h.circle.diameter if h.circle else None,
            }
            for h in decal.holes
        ],
        "changes": list(one.changes),
        "strokes": [asdict(row) for row in one.strokes],
        "stroke_effect": _effect_data(effect) if effect else None,
    }


def _effect_data(effect: PanelEffect) -> dict[str, Any]:
    return {
        "looked_at": not effect.not_looked_at,
        "box_mm": _sides(effect.box_mm),
        "stems": [
            {
                "text": stem.text,
                "box_mm": _sides(stem.box_mm),
                "before_mm": stem.before_mm,
                "after_mm": stem.after_mm,
            }
            for stem in effect.stems
        ],
    }


def _sides(box: Box | None) -> list[float] | None:
    return None if box is None else [box.x0, box.y0, box.x1, box.y1]


def _placements_data(made: Made) -> list[dict[str, Any]]:
    decals = {decal.name: decal for decal in made.pieces.decals}
    panels = (one.decal.panel for one in made.prepared)
    parts = dict(zip(panels, made.part_records, strict=True))
    return [
        _placement_data(p, decals[p.decal], parts[decals[p.decal].panel], made)
        for p in made.laid.placements
    ]


def _placement_data(
    p: Placement, decal: Decal, part: PartRecord | None, made: Made
) -> dict[str, Any]:
    """Where one copy lies, how large it is on the page, and how true its print should be."""
    record = made.records[p.sheet_index]
    box, m = decal.outline.box, page_from_decal(decal, p, made)
    return {
        "decal": p.decal,
        "copy": p.copy,
        "sheet": p.sheet_index + 1,
        "x_mm": p.x_mm,
        "y_mm": p.y_mm,
        "turn_deg": p.turn_deg,
        "on_page_mm": [box.width * math.hypot(m.a, m.b), box.height * math.hypot(m.c, m.d)],
        "printer": record.printer if record else None,
        "expected_error_mm": _expected(record, part, p, (box.width, box.height)),
    }


def page_from_decal(decal: Decal, placement: Placement, made: Made) -> Affine:
    """Page mm (as in the file, corrected for the printer) from the decal frame of one copy."""
    correction = made.drawings[placement.sheet_index].page_from_sheet
    return correction @ sheet_from_decal(decal, placement)


def _expected(
    record: PrinterRecord | None,
    part: PartRecord | None,
    placement: Placement,
    size_mm: tuple[float, float],
) -> list[float] | None:
    """Error (95 %) to expect of the print along the decal's own width and height, in mm.

    The scale along a direction is the axes' scales by the squares of its parts, and the lean by
    their product; independent errors add by squares (GUM 5.1.2). The rule's own is the same
    both ways.
    """
    if record is None:
        return None
    same_rule = part is not None and part.same_rule_as_printer
    turn = math.radians(placement.turn_deg)
    found = []
    for length, along, across in (
        (size_mm[0], math.cos(turn), math.sin(turn)),
        (size_mm[1], math.sin(turn), math.cos(turn)),
    ):
        error = expected_error(record, length, length, same_rule=same_rule)
        x_mm = math.hypot(error.mean_x_mm, error.sheet_x_mm) * along**2
        y_mm = math.hypot(error.mean_y_mm, error.sheet_y_mm) * across**2
        found.append(math.hypot(x_mm, y_mm, error.skew_mm * along * across, error.rule_x_mm))
    return found


# ---------------------------------------------------------------- notices


def distinct(notices: Sequence[Notice]) -> list[Notice]:
    """The notices, worst first, each text once."""
    order = [Severity.DANGER, Severity.WARNING, Severity.NOTE]
    seen: dict[tuple[str, str], Notice] = {}
    for notice in sorted(notices, key=lambda n: order.index(n.severity)):
        seen.setdefault((notice.subject, notice.text), notice)
    return list(seen.values())


def notice_data(notice: Notice) -> dict[str, Any]:
    """One notice as plain data."""
    return {
        "code": notice.code,
        "severity": notice.severity.value,
        "subject": notice.subject,
        "text": notice.text,
        "box_mm": _sides(notice.box_mm),
        "numbers": dict(notice.numbers),
    }


# ---------------------------------------------------------------- what to do next


def steps_data(made: Made) -> list[dict[str, Any]]:
    """What to do next, in order: for all sheets first, then for each panel."""
    from decalprep.export.buildsheet_words import checks_for, order_of_work
    from decalprep.jobs.finish import build_choices

    chosen = build_choices(made.prepared, made.finishes, made.laid, made.job)
    found = [{"subject": "All sheets", "steps": list(_sheet_steps(made)), "checks": []}]
    for one, choices in zip(made.prepared, chosen, strict=True):
        found.append(
            {
                "subject": one.decal.name,
                "steps": list(order_of_work(one.decal, choices)),
                "checks": list(checks_for(one.decal)[1:]),  # the first is about the whole sheet
            }
        )
    return found


def _sheet_steps(made: Made) -> list[str]:
    count = len(made.laid.sheets)
    stocks = " and ".join(dict.fromkeys(sheet.stock.value for sheet in made.laid.sheets))
    steps = []
    if not all(made.records):
        steps.append(
            "Calibrate your printer if you have not ('decalprep calibrate page'): without it the "
            "sheets are true in the file, and the print is as true as the printer happens to be."
        )
    steps.append(
        f'Print sheets.pdf ({count} sheet{"" if count == 1 else "s"}, {stocks}) at "actual size" '
        "or 100 %, one side only, with no fitting or enlarging."
    )
    if any(f.underlay for f in made.finishes):
        steps.append("Print underlays.pdf at the same settings; its title says how many layers.")
    if any(f.masks for f in made.finishes):
        steps.append("Print paint-masks.pdf at the same settings, on plain paper or mask stock.")
    largest = max(max(d.outline.box.width, d.outline.box.height) for d in made.pieces.decals)
    allowed = made.job["print_tolerance"]
    steps.append(
        "When the prints are cool and dry, measure both 100 mm check bars of each sheet with the "
        f"rule you calibrate with. For the largest decal ({largest:.0f} mm) to be within "
        f"{allowed:g} mm, each bar must be within {100 * allowed / largest:.2f} mm; if one is not, "
        "stop here and calibrate."
    )
    return steps


def cautions_data(made: Made) -> list[dict[str, str]]:
    """Every caution that the work of any panel calls for, once."""
    from decalprep.export.buildsheet_words import cautions_for
    from decalprep.jobs.finish import build_choices

    chosen = build_choices(made.prepared, made.finishes, made.laid, made.job)
    found = dict(pair for choices in chosen for pair in cautions_for(choices))
    last = found.pop("All of it", None)
    gone = any(s.gone or s.gone_labels for s in made.laid.sheets if s.stock is not StockKind.PLAIN)
    if gone:
        found["Part-used sheets"] = (
            "Never through a laser printer's hot fuser: labels and adhesive may come off in it. "
            "In an inkjet printer only, if its maker allows it."
        )
    if last is not None:
        found["All of it"] = last
    return [{"about": about, "words": words} for about, words in found.items()]


def finite(value: Any) -> Any:
    """The same data with None for numbers that JSON cannot hold."""
    if isinstance(value, float):
        return value if math.isfinite(value) else None
    if isinstance(value, dict):
        return {k: finite(v) for k, v in value.items()}
    if isinstance(value, list | tuple):
        return [finite(v) for v in value]
    return value
