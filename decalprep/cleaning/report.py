"""What cleaning was asked for and what it did, as data."""

import math
from dataclasses import dataclass
from enum import StrEnum

from decalprep.errors import UsageProblem
from decalprep.model import Artwork, Notice

HAIRLINE_MM = 0.1
PRINTABLE_MM = 0.18


class LoneHairlines(StrEnum):
    """What becomes of a hairline that is the only ink of its shape."""

    KEEP = "keep"
    THICKEN = "thicken"
    DROP = "drop"


@dataclass(frozen=True)
class HairlineSettings:
    """``width_mm``: strokes at or under it are hairlines, width 0 always is.

    ``thicken_to_mm`` is used with LoneHairlines.THICKEN; 0.18 mm is 0.5 pt (common practice for
    desktop printers, no source). Widths are compared to the nearest micrometre.
    ``keep_fake_bold``: text filled and stroked in one colour by at least 1/40 of its size is
    taken as bold, as programs without a bold face draw it, and not as a hairline.

    Raises:
        UsageProblem: a width that is not a positive number, or thickening to a hairline.
    """

    width_mm: float = HAIRLINE_MM
    lone: LoneHairlines = LoneHairlines.KEEP
    thicken_to_mm: float = PRINTABLE_MM
    keep_fake_bold: bool = True

    def __post_init__(self) -> None:
        for what, value in (
            ("hairline width", self.width_mm),
            ("width to thicken to", self.thicken_to_mm),
        ):
            if not (math.isfinite(value) and value > 0):
                raise UsageProblem(f"{what} {value} mm is not a width", do="give one over 0 mm")
        if self.lone is LoneHairlines.THICKEN and self.thicken_to_mm <= self.width_mm:
            raise UsageProblem(
                f"thickening to {self.thicken_to_mm} mm would leave a hairline",
                do=f"give more than {self.width_mm} mm",
            )


@dataclass(frozen=True)
class StrokeRow:
    """Strokes of one width, in true mm: ``width_mm`` the largest on the page, rounded to 1 um.

    ``what`` is "line" (stroke only), "edge of a fill" or "text". ``before`` and ``after``
    count them; ``stripped``, ``thickened`` and ``kept_lone`` say what became of the hairlines.
    """

    width_mm: float
    smallest_mm: float
    what: str
    dashed: bool
    before: int
    after: int
    stripped: int = 0
    thickened: int = 0
    kept_lone: int = 0


@dataclass(frozen=True)
class Change:
    """One kind of thing that a step changed, how often, and details for the report."""

    what: str
    count: int
    detail: str = ""
    width_mm: float | None = None


@dataclass(frozen=True)
class Cleaned:
    """The new artwork, what changed, and warnings; ``strokes`` where strokes were looked at."""

    artwork: Artwork
    changes: tuple[Change, ...] = ()
    notices: tuple[Notice, ...] = ()
    strokes: tuple[StrokeRow, ...] = ()
