"""Sheets, stocks, and where decals lie on them."""

from dataclasses import dataclass
from enum import StrEnum

from decalprep.geometry import Affine, Box


class StockKind(StrEnum):
    """What the sheet is made of."""

    PLAIN = "plain paper"
    LABEL = "full-sheet label stock"
    DIE_CUT = "die-cut label stock"
    FILM = "film"


@dataclass(frozen=True)
class Margins:
    """Non-printable margins in mm."""

    left_mm: float = 6.35
    bottom_mm: float = 6.35
    right_mm: float = 6.35
    top_mm: float = 6.35


@dataclass(frozen=True)
class DieCutGrid:
    """Labels on a die-cut sheet: rows, columns, first offset from the sheet's top left, pitch."""

    rows: int
    columns: int
    label_width_mm: float
    label_height_mm: float
    first_left_mm: float
    first_top_mm: float
    pitch_x_mm: float
    pitch_y_mm: float
    corner_radius_mm: float = 0.0


@dataclass(frozen=True)
class Sheet:
    """One kind of sheet: size, margins, stock; ``gone`` are areas used up already (sheet frame).

    ``available`` is how many there are (None: as many as needed). ``gone_labels`` are 1-based
    label numbers, row by row from the top left. Only the first sheet of a kind is part-used.
    """

    name: str
    width_mm: float
    height_mm: float
    margins: Margins = Margins()
    stock: StockKind = StockKind.PLAIN
    grid: DieCutGrid | None = None
    gone: tuple[Box, ...] = ()
    gone_labels: tuple[int, ...] = ()
    available: int | None = None
    price: float | None = None

    @property
    def printable(self) -> Box:
        """The sheet less its margins."""
        m = self.margins
        return Box(m.left_mm, m.bottom_mm, self.width_mm - m.right_mm, self.height_mm - m.top_mm)


@dataclass(frozen=True)
class Placement:
    """One copy of one decal on one sheet: turned about the decal frame's origin, then shifted.

    ``copy`` is 1-based; ``sheet_index`` counts the sheets of the job from 0.
    """

    decal: str
    copy: int
    sheet_index: int
    x_mm: float
    y_mm: float
    turn_deg: float = 0.0

    @property
    def sheet_from_fitted(self) -> Affine:
        """True mm on the sheet from the (part-fitted) decal frame."""
        return Affine.translation(self.x_mm, self.y_mm) @ Affine.rotation(self.turn_deg)
