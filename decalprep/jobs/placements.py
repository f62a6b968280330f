"""The placement file: where an accepted run laid every piece, so that later runs move nothing."""

from __future__ import annotations

import hashlib
import json
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

from decalprep.geometry import Box
from decalprep.jobs.groups import Group, Lying
from decalprep.jobs.spec import Job, SheetSpec
from decalprep.model import Notice, Placement, Sheet

if TYPE_CHECKING:
    from decalprep.nesting import NestPart

VERSION = 1
FAR_MM = 1e5
_UNREADABLE = (
    OSError,
    ValueError,
    KeyError,
    TypeError,
    AttributeError,
    OverflowError,
    RecursionError,
)


@dataclass(frozen=True)
class Used:
    """What is printed on a sheet: boxes in sheet mm, and labels by number."""

    boxes: tuple[Box, ...] = ()
    labels: tuple[int, ...] = ()

    def with_more(self, other: Used) -> Used:
        """Both together."""
        boxes = tuple(dict.fromkeys((*self.boxes, *other.boxes)))
        return Used(boxes, tuple(sorted({*self.labels, *other.labels})))


@dataclass(frozen=True)
class KeptSheet:
    """One sheet as it was: its kind, a short name of its rules, what was gone before the run.

    ``leftover`` names the remembered part-used sheet that it is; ``used`` is what the run printed.
    """

    name: str
    rules: str
    gone: tuple[Box, ...] = ()
    gone_labels: tuple[int, ...] = ()
    leftover: str = ""
    used: Used = Used()


@dataclass(frozen=True)
class Kept:
    """What a placement file holds; ``shapes`` has the fingerprint of each placement's piece."""

    sheets: tuple[KeptSheet, ...]
    placements: tuple[Placement, ...]
    shapes: tuple[str, ...]


def fingerprint(part: NestPart) -> str:
    """A short name of a part's shape and rules, the same while they are the same to 0.1 um."""
    rings = [part.polygon.exterior, *part.polygon.interiors]
    turns = part.turns.value + (f" {part.turn_step_deg:g}" if part.turn_step_deg else "")
    text = json.dumps(
        [turns, [[[round(v, 4) + 0.0 for v in c[:2]] for c in r.coords] for r in rings]]
    )
    return hashlib.sha256(text.encode()).hexdigest()[:16]


def rules_of(sheet: Sheet, job: Job) -> str:
    """A short name of what must not change for a sheet's placements to stay valid."""
    text = repr((sheet.width_mm, sheet.height_mm, sheet.margins, sheet.grid, job["gap"]))
    return hashlib.sha256(text.encode()).hexdigest()[:16]


def kept_text(kept: Kept) -> bytes:
    """The text of a placement file."""
    data = {
        "decalprep placements": VERSION,
        "sheets": [
            {
                "name": s.name,
                "rules": s.rules,
                "gone": [[b.x0, b.y0, b.x1, b.y1] for b in s.gone],
                "gone_labels": list(s.gone_labels),
                "leftover": s.leftover,
                "used": [[b.x0, b.y0, b.x1, b.y1] for b in s.used.boxes],
                "used_labels": list(s.used.labels),
            }
            for s in kept.sheets
        ],
        "placements": [
            {
                "decal": p.decal,
                "copy": p.copy,
                "sheet": p.sheet_index + 1,
                "x_mm": p.x_mm,
                "y_mm": p.y_mm,
                "turn_deg": p.turn_deg,
                "shape": shape,
            }
            for p, shape in zip(kept.placements, kept.shapes, strict=True)
        ],
    }
    return (json.dumps(data, indent=1, ensure_ascii=False) + "\n").encode()


def read_kept(path: Path, subject: str) -> tuple[Kept | None, tuple[Notice, ...]]:
    """What a placement file holds, if it can be used; what is wrong with it is told."""
    try:
        return kept_from(json.loads(path.read_text(encoding="utf-8"))), ()
    except FileNotFoundError:
        return None, ()
    except _UNREADABLE as problem:
        words = f"{path.name} cannot be used ({problem}); the decals are nested anew"
        return None, (Notice("placements-unread", words, subject),)


def kept_from(data: dict[str, Any]) -> Kept:
    """The content of a placement file as values.

    Raises:
        ValueError: something in it cannot be; KeyError and TypeError where it is of another form.
    """
    if data.get("decalprep placements") != VERSION:
        raise ValueError("another version")
    sheets = tuple(
        KeptSheet(
            str(s["name"]),
            str(s["rules"]),
            tuple(Box(*_numbers(b, 4)) for b in s.get("gone", [])),
            tuple(int(n) for n in s.get("gone_labels", [])),
            str(s.get("leftover", "")),
            Used(
                tuple(Box(*_numbers(b, 4)) for b in s.get("used", [])),
                tuple(int(n) for n in s.get("used_labels", [])),
            ),
        )
        for s in data["sheets"]
    )
    rows = data["placements"]
    placements = tuple(
        Placement(
            str(p["decal"]),
            int(p["copy"]),
            int(p["sheet"]) - 1,
            *_numbers([p["x_mm"], p["y_mm"], p["turn_deg"]], 3),
        )
        for p in rows
    )
    if any(not 0 <= p.sheet_index < len(sheets) for p in placements):
        raise ValueError("a placement names no sheet")
    twice = [key for key, n in Counter((p.decal, p.copy) for p in placements).items() if n > 1]
    if twice:
        raise ValueError(f"{twice[0][0]} #{twice[0][1]} is laid twice")
    return Kept(sheets, placements, tuple(str(p["shape"]) for p in rows))


def only_named(kept: Kept, named: Sequence[tuple[str, int | None]]) -> Kept:
    """What a placement file holds of some pieces: (decal or panel, copy; None for all).

    Their sheets are printed anew, so nothing counts as printed on them.
    """

    def wanted(p: Placement) -> bool:
        return any(
            (name == p.decal or p.decal.startswith(f"{name} tile ")) and copy in (None, p.copy)
            for name, copy in named
        )

    pairs = [(p, s) for p, s in zip(kept.placements, kept.shapes, strict=True) if wanted(p)]
    sheets = tuple(replace(sheet, used=Used()) for sheet in kept.sheets)
    return Kept(sheets, tuple(p for p, _ in pairs), tuple(s for _, s in pairs))


def _numbers(given: Sequence[Any], count: int) -> tuple[float, ...]:
    values = tuple(float(v) for v in given)
    if len(values) != count or not all(abs(v) < FAR_MM for v in values):
        raise ValueError("a number is out of range")
    return values


def still_valid(
    kept: Kept, groups: Sequence[Group], job: Job
) -> tuple[Lying, tuple[KeptSheet, ...]]:
    """Kept places of pieces that are as they were, on sheets that are as they were, and those."""
    parts = {part.key: (part, group.names) for group in groups for part in group.parts}
    prints = {key: fingerprint(part) for key, (part, _) in parts.items()}
    sheets = _same_sheets(kept, job)
    placements = [
        p
        for p, shape in zip(kept.placements, kept.shapes, strict=True)
        if p.sheet_index in sheets
        and prints.get(p.decal) == shape
        and 1 <= p.copy <= parts[p.decal][0].copies
        and sheets[p.sheet_index].name in parts[p.decal][1]
    ]
    used = sorted({p.sheet_index for p in placements})
    again = {old: new for new, old in enumerate(used)}
    lying = Lying(
        tuple(sheets[k] for k in used),
        tuple(replace(p, sheet_index=again[p.sheet_index]) for p in placements),
    )
    return lying, tuple(kept.sheets[k] for k in used)


def _same_sheets(kept: Kept, job: Job) -> dict[int, Sheet]:
    """The kept sheets that the job still has, by their number, no more than there are."""
    by_name = {s.sheet.name: s for s in job.sheets}
    counts: Counter[str] = Counter()
    found = {}
    for number, given in enumerate(kept.sheets):
        spec = by_name.get(given.name)
        if spec is None or rules_of(spec.sheet, job) != given.rules:
            continue
        if not given.leftover and not _as_part_used(given, spec):
            continue
        counts[given.name] += not given.leftover
        if spec.sheet.available is not None and counts[given.name] > spec.sheet.available:
            continue
        found[number] = replace(spec.sheet, gone=given.gone, gone_labels=given.gone_labels)
    return found


def _as_part_used(given: KeptSheet, spec: SheetSpec) -> bool:
    """Whether a sheet was whole, or part-used just as the job file still has it."""
    if not given.gone and not given.gone_labels:
        return True
    return (given.gone, given.gone_labels) == (spec.sheet.gone, spec.sheet.gone_labels)
