"""Upright boxes."""

from collections.abc import Iterable
from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Box:
    """(x0, y0) lower left, (x1, y1) upper right.

    >>> Box(1, 2, 4, 6).width, Box(1, 2, 4, 6).height, Box(1, 2, 4, 6).centre
    (3, 4, (2.5, 4.0))
    """

    x0: float
    y0: float
    x1: float
    y1: float

    @staticmethod
    def around(points: Iterable[tuple[float, float]]) -> "Box":
        """The smallest box round the points.

        Raises:
            ValueError: there are no points.
        """
        all_points = list(points)
        if not all_points:
            raise ValueError("no points to put a box round")
        xs = [p[0] for p in all_points]
        ys = [p[1] for p in all_points]
        return Box(min(xs), min(ys), max(xs), max(ys))

    @property
    def width(self) -> float:
        """x1 - x0."""
        return self.x1 - self.x0

    @property
    def height(self) -> float:
        """y1 - y0."""
        return self.y1 - self.y0

    @property
    def area(self) -> float:
        """width x height."""
        return self.width * self.height

    @property
    def centre(self) -> tuple[float, float]:
        """The middle point."""
        return (self.x0 + self.x1) / 2, (self.y0 + self.y1) / 2

    @property
    def corners(self) -> tuple[tuple[float, float], ...]:
        """The four corners, counter-clockwise from the lower left."""
        return (self.x0, self.y0), (self.x1, self.y0), (self.x1, self.y1), (self.x0, self.y1)

    def grown(self, by: float) -> "Box":
        """The box moved outward by ``by`` on every side (inward if negative)."""
        return Box(self.x0 - by, self.y0 - by, self.x1 + by, self.y1 + by)

    def union(self, other: "Box") -> "Box":
        """The smallest box round both."""
        return Box(
            min(self.x0, other.x0),
            min(self.y0, other.y0),
            max(self.x1, other.x1),
            max(self.y1, other.y1),
        )

    def contains(self, other: "Box", slack: float = 0.0) -> bool:
        """Whether the other box lies inside, give or take ``slack``."""
        return (
            other.x0 >= self.x0 - slack
            and other.y0 >= self.y0 - slack
            and other.x1 <= self.x1 + slack
            and other.y1 <= self.y1 + slack
        )
