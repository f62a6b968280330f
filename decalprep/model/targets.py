"""What lies where on a calibration page: plain places in true sheet mm."""

import math
from dataclasses import dataclass

Point = tuple[float, float]


@dataclass(frozen=True)
class Baseline:
    """One line to lay a rule along: the distance from ``start`` to ``end`` is what is read.

    ``read`` says in plain words which edge of the two index lines to read;
    ``lay`` says where the rule goes.
    """

    name: str
    start: Point
    end: Point
    read: str = ""
    lay: str = ""

    @property
    def length_mm(self) -> float:
        """True length in mm."""
        return math.dist(self.start, self.end)

    @property
    def along(self) -> Point:
        """Unit vector from start to end."""
        length = self.length_mm
        return (self.end[0] - self.start[0]) / length, (self.end[1] - self.start[1]) / length


@dataclass(frozen=True)
class Marker:
    """One square code: its place on the page (0 to 5), its number, its middle, its side in mm."""

    place: int
    code: int
    x_mm: float
    y_mm: float
    side_mm: float

    @property
    def corners(self) -> tuple[Point, ...]:
        """Top left, top right, bottom right, bottom left of the black square, sheet mm."""
        h = self.side_mm / 2
        x, y = self.x_mm, self.y_mm
        return (x - h, y + h), (x + h, y + h), (x + h, y - h), (x - h, y - h)


@dataclass(frozen=True)
class TargetLayout:
    """Discs, markers and baselines of one calibration page; origin lower left, y up.

    ``disc_rows`` gives each disc's row (0 at the bottom): what the feed does to one row it does
    to all of it, so rows are the units that uncertainty is counted in.
    """

    page: str
    width_mm: float
    height_mm: float
    design: int
    discs: tuple[Point, ...]
    disc_rows: tuple[int, ...]
    disc_diameter_mm: float
    markers: tuple[Marker, ...]
    baselines: tuple[Baseline, ...]

    @property
    def centre(self) -> Point:
        """Middle of the sheet, about which a printer record is stated."""
        return self.width_mm / 2, self.height_mm / 2
