"""What goes into nesting and what comes out: plain values, no engine."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from shapely.geometry import Polygon

from decalprep.model import Notice, Placement, Sheet, Turns


@dataclass(frozen=True)
class NestPart:
    """One decal to lay on sheets, ``copies`` times.

    ``key`` is the decal's name; ``polygon`` its printed area in mm in the fitted-decal frame,
    bleed included, holes kept (another decal may lie inside a hole that is large enough).
    ``turn_step_deg`` holds ``Turns.FREE`` to steps of so many degrees; 0 leaves it free.
    """

    key: str
    copies: int
    polygon: Polygon
    turns: Turns = Turns.QUARTER
    panel: str = ""
    turn_step_deg: float = 0.0


@dataclass(frozen=True)
class NestSettings:
    """Rules and effort of one nesting, lengths in mm.

    Rules: ``gap_mm`` between any two pieces, and from areas that are gone; half of it from
    ``blocked`` areas (every sheet, sheet frame) and ``blocked_on`` (by sheet name);
    ``die_margin_mm`` from every die line.
    Effort: ``budget`` is in passes of the improver, not in seconds, so that the same ``seed``
    gives the same layout; ``grid_mm`` is the step of the positions tried; ``angle_step_deg`` the
    step for pieces that may be turned freely. ``rows`` asks for straight long cuts.
    Locks: ``locked`` placements keep their place on ``locked_sheets`` (the sheets of the earlier
    layout, in its order); other pieces use the rest of these sheets if ``fill_locked``. Locked
    sheets count among those ``available``.
    """

    gap_mm: float = 2.0
    blocked: tuple[Polygon, ...] = ()
    blocked_on: Mapping[str, tuple[Polygon, ...]] = field(default_factory=dict)
    die_margin_mm: float = 1.0
    budget: int = 2000
    seed: int = 0
    grid_mm: float = 1.0
    angle_step_deg: float = 15.0
    rows: bool = False
    locked: tuple[Placement, ...] = ()
    locked_sheets: tuple[Sheet, ...] = ()
    fill_locked: bool = True

    def blocked_of(self, sheet: Sheet) -> tuple[Polygon, ...]:
        """The areas kept free on one sheet (sheet frame, mm)."""
        return (*self.blocked, *self.blocked_on.get(sheet.name, ()))


@dataclass(frozen=True)
class Layout:
    """Where every copy lies, and how good that is.

    ``sheets`` has one entry a used sheet, so ``placements[k].sheet_index`` is its index;
    ``unplaced`` are (key, copy) for which no sheet was left. ``lower_bound`` is a number of
    sheets that no layout can beat; ``stopped`` says why the search ended. ``rest_mm`` is the
    (width, height) of the largest rectangle that the last sheet still has room for, gap kept.
    """

    placements: tuple[Placement, ...]
    unplaced: tuple[tuple[str, int], ...]
    sheets: tuple[Sheet, ...]
    lower_bound: int
    stopped: str
    notices: tuple[Notice, ...] = ()
    rest_mm: tuple[float, float] = (0.0, 0.0)
    straight_cuts: int = 0

    @property
    def bound_text(self) -> str:
        """How the number of sheets compares with the proved least, as text.

        >>> Layout((), (), (), 0, "done").bound_text
        '0 sheets, proved fewest'
        """
        count = len(self.sheets)
        head = f"{count} sheet" + ("" if count == 1 else "s")
        if self.unplaced:
            return f"{head}, {len(self.unplaced)} left over; at least {self.lower_bound} needed"
        if count <= self.lower_bound:
            return f"{head}, proved fewest"
        return f"{head}, at most {count - self.lower_bound} above the fewest possible"
