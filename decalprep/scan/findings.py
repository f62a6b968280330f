"""What a measured print is told by: decals as meant, decals as found, verdicts. True sheet mm."""

from dataclasses import dataclass, field
from enum import StrEnum

from decalprep.geometry import Affine
from decalprep.model import Drawing, Layer, Notice, StrokeMark

Point = tuple[float, float]


class Verdict(StrEnum):
    """Whether a decal is within the tolerance; what lies inside the uncertainty is open."""

    GOOD = "good"
    BAD = "bad"
    OPEN = "cannot tell"
    UNSEEN = "not seen"


@dataclass(frozen=True)
class SheetDecal:
    """One copy of a decal as it should have come out: its closed outline in true sheet mm."""

    name: str
    copy: int
    outline: tuple[Point, ...]


@dataclass(frozen=True)
class ExpectedPrint:
    """What a printed sheet should show: outlines and marks (ticks, check bars) in true sheet mm."""

    width_mm: float
    height_mm: float
    decals: tuple[SheetDecal, ...]
    marks: tuple[tuple[Point, ...], ...] = ()


@dataclass(frozen=True)
class ScannerScale:
    """True pixels per mm of a scanner at one resolution setting, with its standard uncertainty."""

    px_per_mm: float
    u: float


@dataclass(frozen=True)
class MeanScale:
    """How far a sheet as a whole is off (parts of one), its standard uncertainty, what to tell.

    ``absolute`` says that something other than the scans' dpi or the printer's record told it.
    """

    error: float = 0.0
    u: float = 0.0
    absolute: bool = False
    notices: tuple[Notice, ...] = ()


@dataclass(frozen=True)
class MeasuredDecal:
    """What a decal measures: true width and height, how far it is off, each with its 95 % range.

    ``lean_mm``: it is out of square by so much over its shorter side, the top to the right where it
    is positive. ``off_*`` is the shift of its middle
    from where it was meant, from the sheet's middle, and ``turn_mm`` how far its turn against the
    sheet's marks moves one end of its longest side against the other (counter-clockwise); None for
    a round outline, which shows no turn.
    ``verdict`` is on all of it, ``place`` on shift and turn alone; ``faults`` names what is beyond
    the tolerance.
    """

    name: str
    copy: int
    verdict: Verdict
    width_mm: float = 0.0
    height_mm: float = 0.0
    error_x_mm: float = 0.0
    error_y_mm: float = 0.0
    range_x_mm: float = 0.0
    range_y_mm: float = 0.0
    off_x_mm: float = 0.0
    off_y_mm: float = 0.0
    seen_share: float = 0.0
    lean_mm: float = 0.0
    range_lean_mm: float = 0.0
    range_off_x_mm: float = 0.0
    range_off_y_mm: float = 0.0
    turn_deg: float | None = None
    turn_mm: float | None = None
    range_turn_mm: float = 0.0
    place: Verdict = Verdict.OPEN
    faults: tuple[str, ...] = ()

    @property
    def title(self) -> str:
        """Name and copy, as the proof writes them."""
        return f"{self.name} #{self.copy}"

    @property
    def worst_mm(self) -> float:
        """The larger of the two size errors, without sign."""
        return max(abs(self.error_x_mm), abs(self.error_y_mm))


@dataclass(frozen=True)
class PrintFinding:
    """All decals of one sheet, what was found out on the way, and what to tell.

    ``image_from_mm`` takes sheet mm to px (column, row) of the first scan.
    """

    decals: tuple[MeasuredDecal, ...]
    ratio: float
    skew: float
    absolute: bool
    tolerance_mm: float
    notices: tuple[Notice, ...]
    image_from_mm: Affine = field(default_factory=Affine)


def expected_print(drawing: Drawing) -> ExpectedPrint:
    """Outlines and marks of a sheet from its drawing list, in true mm.

    The printer correction in the drawing is left out on purpose: what is printed should be true.
    """
    decals, marks = [], []
    for item in drawing.items:
        if not isinstance(item, StrokeMark):
            continue
        line = item.path.points(0.02)
        line = [*line, line[0]] if item.path.closed else line
        if item.layer is Layer.CUT_OUTLINE and item.path.closed:
            decals.append(SheetDecal(item.decal, item.copy, tuple(line)))
        elif item.layer in (Layer.REGISTRATION, Layer.CHECK_BAR):
            marks.append(tuple(line))
    return ExpectedPrint(
        drawing.sheet.width_mm, drawing.sheet.height_mm, tuple(decals), tuple(marks)
    )
