"""What a proof says: numbers by decal, marks, structure, and whether it all holds."""

from __future__ import annotations

import math
from dataclasses import dataclass

from decalprep.model import Notice
from decalprep.proof.structure import Finding

TOLERANCE_MM = 0.02
"""How far a decal may be off in the file; a printer adds far more."""


@dataclass(frozen=True)
class Part:
    """One thing measured: ``error_mm`` is its worst error, infinite where it is missing.

    ``found`` says in words what was measured.
    """

    what: str
    error_mm: float
    found: str = ""


@dataclass(frozen=True)
class ProofRow:
    """One copy of one decal: intended and measured true size, and its worst error.

    ``measured_mm`` comes from the cut outline, ``artwork_mm`` from the picture, both mapped back
    to true mm by the placement and the printer correction; NaN where there is nothing to measure.
    ``faults`` are plain sentences; a row without faults and within tolerance has passed.
    """

    decal: str
    copy: int
    sheet: int
    intended_mm: tuple[float, float]
    measured_mm: tuple[float, float]
    artwork_mm: tuple[float, float]
    error_mm: float
    parts: tuple[Part, ...] = ()
    faults: tuple[str, ...] = ()

    @property
    def passed(self) -> bool:
        """Whether nothing is wrong with it."""
        return not self.faults


@dataclass(frozen=True)
class MarkRow:
    """One mark of a sheet: a check bar (lengths in true mm) or a line (no lengths)."""

    name: str
    sheet: int
    error_mm: float
    intended_mm: float | None = None
    measured_mm: float | None = None
    fault: str = ""


@dataclass(frozen=True)
class Proof:
    """The whole proof of one file."""

    rows: tuple[ProofRow, ...]
    marks: tuple[MarkRow, ...]
    structure: tuple[Finding, ...]
    notices: tuple[Notice, ...]
    tolerance_mm: float = TOLERANCE_MM

    @property
    def worst_mm(self) -> float:
        """Largest error of any decal or mark in mm; NaN where nothing was measured."""
        errors = [row.error_mm for row in self.rows] + [mark.error_mm for mark in self.marks]
        return max(errors, default=math.nan)

    @property
    def faults(self) -> tuple[str, ...]:
        """Everything that is wrong, as plain sentences."""
        found = [
            (f"sheet {f.sheet + 1}: " if f.sheet is not None else "") + f"{f.what}: {f.found}"
            for f in self.structure
            if not f.ok
        ]
        for row in self.rows:
            found += [f"{row.decal} #{row.copy} on sheet {row.sheet + 1}: {t}" for t in row.faults]
        found += [f"{m.name} on sheet {m.sheet + 1}: {m.fault}" for m in self.marks if m.fault]
        found += [n.text for n in self.notices if n.severity == "danger"]
        return tuple(found)

    @property
    def passed(self) -> bool:
        """Whether the file measures true: no fault, and something was measured."""
        return not self.faults and bool(self.rows or self.marks)
