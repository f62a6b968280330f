"""Laying a job's decals on its sheets, and keeping what was laid."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

from shapely.geometry import Polygon

from decalprep.errors import DoesNotFit
from decalprep.geometry import Affine
from decalprep.jobs.spec import Job, PanelSpec, SheetSpec
from decalprep.model import Decal, Notice, Placement, Severity, Sheet

if TYPE_CHECKING:
    from decalprep.nesting import Layout, NestPart, NestSettings

VERSION = 1


@dataclass(frozen=True)
class Laid:
    """The layout of a whole job: ``layouts`` has one entry a group of sheet kinds."""

    placements: tuple[Placement, ...]
    sheets: tuple[Sheet, ...]
    layouts: tuple[Layout, ...]
    notices: tuple[Notice, ...]
    kept: int

    @property
    def lower_bound(self) -> int:
        """A number of sheets that no layout can beat."""
        return sum(layout.lower_bound for layout in self.layouts)

    @property
    def bound_text(self) -> str:
        """How the number of sheets compares with the proved least."""
        if len(self.layouts) == 1:
            return self.layouts[0].bound_text
        count, least = len(self.sheets), self.lower_bound
        head = f"{count} sheets"
        return f"{head}, proved fewest" if count <= least else f"{head}, at least {least} needed"


def nest_part(decal: Decal) -> NestPart:
    """The decal's printed area in fitted-decal mm: outline grown by the bleed, large holes kept."""
    from decalprep.compose import ComposeSettings
    from decalprep.compose.pieces import Piece
    from decalprep.nesting import NestPart

    piece = Piece(decal, Placement(decal.name, 1, 0, 0.0, 0.0), ComposeSettings())
    area = piece.area
    if not isinstance(area, Polygon):
        area = max(area.geoms, key=lambda part: part.area)
    return NestPart(decal.name, decal.copies, area, decal.turns, decal.panel)


def lay_out(
    decals: Sequence[Decal],
    job: Job,
    kept: dict[str, Any] | None,
    on_progress: Callable[[str], None],
) -> Laid:
    """Where every copy goes, on as few sheets as can be found.

    ``kept`` is the content of a placement file: decals that have not changed stay where they are.

    Raises:
        DoesNotFit: a decal fits no sheet, or there are not enough sheets.
    """
    from decalprep.nesting import nest

    panels = {panel.name: panel for panel in job.panels}
    groups: dict[tuple[str, ...], list[Decal]] = {}
    for decal in decals:
        groups.setdefault(tuple(panels[decal.panel]["sheets"]), []).append(decal)
    placements: list[Placement] = []
    sheets: list[Sheet] = []
    layouts: list[Layout] = []
    notices: list[Notice] = []
    kept_count = 0
    for names, mine in groups.items():
        kinds = [s for s in job.sheets if not names or s.sheet.name in names]
        parts = [nest_part(decal) for decal in mine]
        settings = nest_settings(kinds, job)
        locked = _locked(parts, kinds, kept, job) if kept else None
        if locked:
            settings = replace(settings, locked=locked[0], locked_sheets=locked[1])
            kept_count += len(locked[0])
        layout = nest(
            parts,
            [s.sheet for s in kinds],
            settings,
            lambda count, least, step: on_progress(
                f"nesting: {count} sheets, at least {least}, pass {step}"
            ),
        )
        _all_placed(layout, kinds)
        placements += [
            replace(p, sheet_index=p.sheet_index + len(sheets)) for p in layout.placements
        ]
        sheets += layout.sheets
        layouts.append(layout)
        notices += layout.notices
    return Laid(tuple(placements), tuple(sheets), tuple(layouts), tuple(notices), kept_count)


def kinds_for(panel: PanelSpec, job: Job) -> list[SheetSpec]:
    """The kinds of sheet that a panel may go on."""
    return [s for s in job.sheets if not panel["sheets"] or s.sheet.name in panel["sheets"]]


def nest_settings(kinds: Sequence[SheetSpec], job: Job) -> NestSettings:
    """The rules of nesting on these kinds of sheet, in mm."""
    from decalprep.marks import reserved_zones
    from decalprep.nesting import NestSettings

    return NestSettings(
        gap_mm=job["gap"],
        blocked_on={s.sheet.name: reserved_zones(s.sheet) for s in kinds},
        budget=job["passes"],
        seed=job["seed"],
    )


def _all_placed(layout: Layout, kinds: Sequence[SheetSpec]) -> None:
    if layout.unplaced:
        name, copy = layout.unplaced[0]
        more = f" and {len(layout.unplaced) - 1} more" if len(layout.unplaced) > 1 else ""
        counts = ", ".join(f"{s.sheet.name}: {s.sheet.available}" for s in kinds)
        raise DoesNotFit(
            f"the sheets run out: {name} (copy {copy}){more} found no place",
            do=f'raise "available" ({counts}), add a [[sheet]] or drop some copies',
        )


# ---------------------------------------------------------------- the placement file


def fingerprint(part: NestPart) -> str:
    """A short name of a part's shape and rules, the same while they are the same to 0.1 um."""
    rings = [part.polygon.exterior, *part.polygon.interiors]
    text = json.dumps(
        [part.turns.value, [[[round(v, 4) + 0.0 for v in c[:2]] for c in r.coords] for r in rings]]
    )
    return hashlib.sha256(text.encode()).hexdigest()[:16]


def _rules(sheet: Sheet, job: Job) -> str:
    text = repr((sheet.width_mm, sheet.height_mm, sheet.margins, sheet.grid, job["gap"]))
    return hashlib.sha256(text.encode()).hexdigest()[:16]


def placement_file(job: Job) -> Path:
    """Where the accepted layout of a job is kept: beside the job file."""
    return job.source.with_suffix(".placements.json")


def placement_text(laid: Laid, decals: Sequence[Decal], job: Job) -> bytes:
    """The accepted layout as the text of its file."""
    prints = {d.name: fingerprint(nest_part(d)) for d in decals}
    data = {
        "decalprep placements": VERSION,
        "sheets": [{"name": s.name, "rules": _rules(s, job)} for s in laid.sheets],
        "placements": [
            {
                "decal": p.decal,
                "copy": p.copy,
                "sheet": p.sheet_index + 1,
                "x_mm": p.x_mm,
                "y_mm": p.y_mm,
                "turn_deg": p.turn_deg,
                "shape": prints[p.decal],
            }
            for p in laid.placements
        ],
    }
    return (json.dumps(data, indent=1, ensure_ascii=False) + "\n").encode()


def read_placements(job: Job) -> tuple[dict[str, Any] | None, tuple[Notice, ...]]:
    """The kept layout of a job if there is a readable one; what is wrong with it is told."""
    path = placement_file(job)
    try:
        data = json.loads(path.read_text(encoding="utf-8"))
        if data.get("decalprep placements") != VERSION:
            raise ValueError("another version")
        for p in data["placements"]:
            Placement(p["decal"], int(p["copy"]), int(p["sheet"]), *_numbers(p))
        return data, ()
    except FileNotFoundError:
        return None, ()
    except (OSError, ValueError, KeyError, TypeError, AttributeError) as problem:
        words = f"{path.name} cannot be used ({problem}); the decals are nested anew"
        return None, (Notice("placements-unread", words, job.source.name),)


def _numbers(p: dict[str, Any]) -> tuple[float, float, float]:
    values = float(p["x_mm"]), float(p["y_mm"]), float(p["turn_deg"])
    if not all(abs(v) < 1e5 for v in values):
        raise ValueError("a number is out of range")
    return values


def _locked(
    parts: Sequence[NestPart], kinds: Sequence[SheetSpec], kept: dict[str, Any], job: Job
) -> tuple[tuple[Placement, ...], tuple[Sheet, ...]] | None:
    """Kept placements of parts that are as they were, on sheets that are as they were."""
    prints = {part.key: fingerprint(part) for part in parts}
    copies = {part.key: part.copies for part in parts}
    by_rules = {(s.sheet.name, _rules(s.sheet, job)): s.sheet for s in kinds}
    index: dict[int, int] = {}
    sheets: list[Sheet] = []
    for number, given in enumerate(kept["sheets"], 1):
        sheet = by_rules.get((given["name"], given["rules"]))
        if sheet is not None:
            index[number] = len(sheets)
            sheets.append(sheet)
    placements = tuple(
        Placement(p["decal"], int(p["copy"]), index[int(p["sheet"])], *_numbers(p))
        for p in kept["placements"]
        if prints.get(p["decal"]) == p["shape"]
        and int(p["sheet"]) in index
        and 1 <= int(p["copy"]) <= copies.get(p["decal"], 0)
    )
    used = sorted({p.sheet_index for p in placements})
    if not used:
        return None
    again = {old: new for new, old in enumerate(used)}
    return (
        tuple(replace(p, sheet_index=again[p.sheet_index]) for p in placements),
        tuple(sheets[k] for k in used),
    )


def kept_notice(laid: Laid, job: Job) -> tuple[Notice, ...]:
    """Says how many placements were taken from the placement file."""
    if not laid.kept:
        return ()
    words = (
        f"{laid.kept} of {len(laid.placements)} pieces stay where {placement_file(job).name} has "
        "them; --anew nests all again"
    )
    return (Notice("placements-kept", words, "nesting", Severity.NOTE),)


def sheet_from_decal(decal: Decal, placement: Placement) -> Affine:
    """True sheet mm from the decal frame: placement after part fit."""
    return placement.sheet_from_fitted @ decal.fitted_from_decal
