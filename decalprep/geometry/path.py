"""Paths of lines, arcs and cubic curves; arcs stay arcs until somebody asks for points."""

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from functools import cached_property

from shapely.geometry import Polygon
from shapely.geometry.polygon import orient

from decalprep.geometry.affine import Affine
from decalprep.geometry.box import Box

Point = tuple[float, float]
FLATTEN_MM = 0.002


@dataclass(frozen=True, slots=True)
class Line:
    """A straight piece."""

    start: Point
    end: Point

    def flattened(self, tolerance: float) -> list[Point]:  # noqa: ARG002
        """Points after the start."""
        return [self.end]

    def extremes(self) -> list[Point]:
        """The points whose box is that of the piece."""
        return [self.start, self.end]

    def mapped(self, m: Affine) -> list["Segment"]:
        """The piece under an affine map."""
        return [Line(m.apply(*self.start), m.apply(*self.end))]

    def reversed(self) -> "Line":
        """The same piece walked the other way."""
        return Line(self.end, self.start)


@dataclass(frozen=True, slots=True)
class Cubic:
    """A cubic Bezier piece."""

    start: Point
    control1: Point
    control2: Point
    end: Point

    def flattened(self, tolerance: float) -> list[Point]:
        """Points after the start; n = ceil(sqrt(0.75 M / tol)), M the largest second difference."""
        p = (self.start, self.control1, self.control2, self.end)
        bend = max(
            math.hypot(q[0] - 2 * r[0] + s[0], q[1] - 2 * r[1] + s[1]) for q, r, s in (p[:3], p[1:])
        )
        count = min(max(1, math.ceil(math.sqrt(0.75 * bend / tolerance))), 10_000)
        points = [self.at(k / count) for k in range(1, count)]
        return [*points, self.end]

    def at(self, t: float) -> Point:
        """The point at parameter t in 0..1."""
        s = 1 - t
        w = (s * s * s, 3 * s * s * t, 3 * s * t * t, t * t * t)
        p = (self.start, self.control1, self.control2, self.end)
        return sum(wi * pi[0] for wi, pi in zip(w, p, strict=True)), sum(
            wi * pi[1] for wi, pi in zip(w, p, strict=True)
        )

    def extremes(self) -> list[Point]:
        """The ends, and where the piece turns round across or up: the derivative's roots."""
        turns = [
            self.at(t)
            for k in (0, 1)
            for t in _turns(self.start[k], self.control1[k], self.control2[k], self.end[k])
        ]
        return [self.start, *turns, self.end]

    def mapped(self, m: Affine) -> list["Segment"]:
        """The piece under an affine map."""
        ends = (self.start, self.control1, self.control2, self.end)
        start, control1, control2, end = m.apply_all(ends)
        return [Cubic(start, control1, control2, end)]

    def reversed(self) -> "Cubic":
        """The same piece walked the other way."""
        return Cubic(self.end, self.control2, self.control1, self.start)


def _turns(p0: float, p1: float, p2: float, p3: float) -> list[float]:
    """Parameters between 0 and 1 at which a cubic in one direction turns round.

    A third of its derivative is a t2 + 2 b t + c; the roots by the form that cancels nothing.
    """
    low, high = min(p0, p3), max(p0, p3)
    if low <= p1 <= high and low <= p2 <= high:
        return []  # it stays between its ends, as its controls do
    a, b, c = p3 - 3 * p2 + 3 * p1 - p0, p2 - 2 * p1 + p0, p1 - p0
    square = b * b - a * c
    if square < 0:
        return []
    q = -(b + math.copysign(math.sqrt(square), b))
    roots = ([q / a] if a else []) + ([c / q] if q else [])
    return [t for t in roots if 0 < t < 1]


@dataclass(frozen=True, slots=True)
class Arc:
    """Part of a circle from ``start_deg`` through ``sweep_deg`` (positive: counter-clockwise)."""

    centre: Point
    radius: float
    start_deg: float
    sweep_deg: float

    def at(self, fraction: float) -> Point:
        """The point a fraction 0..1 of the way along."""
        angle = math.radians(self.start_deg + fraction * self.sweep_deg)
        return (
            self.centre[0] + self.radius * math.cos(angle),
            self.centre[1] + self.radius * math.sin(angle),
        )

    @property
    def start(self) -> Point:
        """First point."""
        return self.at(0.0)

    @property
    def end(self) -> Point:
        """Last point."""
        return self.at(1.0)

    def flattened(self, tolerance: float) -> list[Point]:
        """Points after the start, on the circle, chords within ``tolerance`` of it."""
        ratio = min(max(1 - tolerance / self.radius, -1.0), 1.0) if self.radius > 0 else 1.0
        step = 2 * math.acos(ratio) if ratio < 1 else math.pi / 2
        count = min(max(2, math.ceil(abs(math.radians(self.sweep_deg)) / max(step, 1e-4))), 100_000)
        first, step = math.radians(self.start_deg), math.radians(self.sweep_deg) / count
        (x, y), r, cos, sin = self.centre, self.radius, math.cos, math.sin
        points = [
            (x + r * cos(first + k * step), y + r * sin(first + k * step)) for k in range(1, count)
        ]
        return [*points, self.end]

    def extremes(self) -> list[Point]:
        """The ends, and the rightmost, top, leftmost and lowest points that lie between them."""
        (x, y), r = self.centre, self.radius
        low, high = sorted((self.start_deg, self.start_deg + self.sweep_deg))
        if not math.isfinite(high - low):
            return [self.start, self.end]  # of an arc that is nowhere; who writes it refuses it
        first = math.ceil(low / 90)
        last = min(math.floor(high / 90), first + 3)
        round_it = ((x + r, y), (x, y + r), (x - r, y), (x, y - r))
        return [self.start, *(round_it[k % 4] for k in range(first, last + 1)), self.end]

    def cubics(self) -> list[Cubic]:
        """Cubic pieces of at most 30 degrees; within 1.2e-7 of the radius."""
        count = max(1, math.ceil(abs(self.sweep_deg) / 30))
        step = math.radians(self.sweep_deg / count)
        reach = 4 / 3 * math.tan(step / 4) * self.radius
        pieces = []
        for k in range(count):
            a0 = math.radians(self.start_deg) + k * step
            a1 = a0 + step
            p0, p1 = self.at(k / count), self.at((k + 1) / count)
            pieces.append(
                Cubic(
                    p0,
                    (p0[0] - reach * math.sin(a0), p0[1] + reach * math.cos(a0)),
                    (p1[0] + reach * math.sin(a1), p1[1] - reach * math.cos(a1)),
                    p1,
                )
            )
        return pieces

    def mapped(self, m: Affine) -> list["Segment"]:
        """An arc under a similarity, cubic pieces under any other affine map."""
        if not m.is_similarity:
            return [piece for cubic in self.cubics() for piece in cubic.mapped(m)]
        centre = m.apply(*self.centre)
        start = m.apply(*self.start)
        sweep = self.sweep_deg if m.determinant > 0 else -self.sweep_deg
        angle = math.degrees(math.atan2(start[1] - centre[1], start[0] - centre[0]))
        return [Arc(centre, self.radius * m.stretch[0], angle, sweep)]

    def reversed(self) -> "Arc":
        """The same piece walked the other way."""
        return Arc(self.centre, self.radius, self.start_deg + self.sweep_deg, -self.sweep_deg)


Segment = Line | Arc | Cubic


@dataclass(frozen=True)
class Path:
    """One closed or open run of pieces, each starting where the one before ended."""

    segments: tuple[Segment, ...]
    closed: bool = True

    def points(self, tolerance: float = FLATTEN_MM) -> list[Point]:
        """Points within ``tolerance``; a closed path does not repeat its first point."""
        if not self.segments:
            return []
        points = [self.segments[0].start]
        for segment in self.segments:
            points.extend(segment.flattened(tolerance))
        if self.closed and len(points) > 1 and math.dist(points[0], points[-1]) <= 1e-9:
            points.pop()
        return points

    def mapped(self, m: Affine) -> "Path":
        """The path under an affine map; arcs stay arcs under similarities."""
        return Path(tuple(s for segment in self.segments for s in segment.mapped(m)), self.closed)

    def reversed(self) -> "Path":
        """The same path walked the other way."""
        return Path(tuple(s.reversed() for s in reversed(self.segments)), self.closed)

    @cached_property
    def box(self) -> Box:
        """Bounding box, exact: of the curves themselves, not of points along them."""
        return Box.around(p for segment in self.segments for p in segment.extremes())

    def polygon(self, tolerance: float = FLATTEN_MM) -> Polygon:
        """The inside as a shapely polygon, counter-clockwise.

        Raises:
            ValueError: open, or fewer than three distinct points.
        """
        points = self.points(tolerance)
        if not self.closed or len(set(points)) < 3:
            raise ValueError("only a closed path with three points has an inside")
        return orient(Polygon(points))


def polygon_path(points: Sequence[Point]) -> Path:
    """A closed path of straight lines through the points."""
    ring = list(points)
    return Path(tuple(Line(ring[i], ring[(i + 1) % len(ring)]) for i in range(len(ring))))


def path_from_ring(coordinates: Iterable[Sequence[float]]) -> Path:
    """A closed path from a shapely ring (whose last point repeats the first)."""
    points = [(float(c[0]), float(c[1])) for c in coordinates]
    if len(points) > 1 and points[0] == points[-1]:
        points.pop()
    return polygon_path(points)


def rectangle_path(box: Box, corner_radius: float = 0.0) -> Path:
    """A rectangle, counter-clockwise from the lower left, its corners rounded by true arcs."""
    r = min(corner_radius, box.width / 2, box.height / 2)
    if r <= 0:
        return polygon_path(box.corners)
    x0, y0, x1, y1 = box.x0, box.y0, box.x1, box.y1
    pieces: list[Segment] = [
        Line((x0 + r, y0), (x1 - r, y0)),
        Arc((x1 - r, y0 + r), r, -90, 90),
        Line((x1, y0 + r), (x1, y1 - r)),
        Arc((x1 - r, y1 - r), r, 0, 90),
        Line((x1 - r, y1), (x0 + r, y1)),
        Arc((x0 + r, y1 - r), r, 90, 90),
        Line((x0, y1 - r), (x0, y0 + r)),
        Arc((x0 + r, y0 + r), r, 180, 90),
    ]
    return Path(tuple(p for p in pieces if not (isinstance(p, Line) and p.start == p.end)))


def circle_path(x: float, y: float, diameter: float) -> Path:
    """A whole circle as two half-turn arcs, counter-clockwise."""
    return Path((Arc((x, y), diameter / 2, 0, 180), Arc((x, y), diameter / 2, 180, 180)))


def polygon_with_holes(
    outline: Path, holes: Iterable[Path] = (), tolerance: float = FLATTEN_MM
) -> Polygon:
    """The inside of ``outline`` less the insides of ``holes``, as a shapely polygon.

    Raises:
        ValueError: a path is open or has no inside.
    """
    return orient(Polygon(outline.points(tolerance), [hole.points(tolerance) for hole in holes]))
