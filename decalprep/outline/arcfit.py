"""Noisy traced points as few lines and arcs, each fitted to all its points by least squares."""

import math
from dataclasses import dataclass

import numpy as np

from decalprep.geometry import Circle, Line, Path, Point, Segment, fit_circle
from decalprep.outline.arcs import arc_through
from decalprep.outline.picture import Numbers

SHORTEST = 4
LARGEST_TURN = math.radians(200)


@dataclass(frozen=True)
class _Fit:
    """A line (through ``at`` along ``along``) or, where ``circle`` is given, an arc of it."""

    first: int
    last: int
    at: Point
    along: Point
    circle: Circle | None = None

    def nearest(self, p: Point) -> Point:
        if self.circle is None:
            t = (p[0] - self.at[0]) * self.along[0] + (p[1] - self.at[1]) * self.along[1]
            return self.at[0] + t * self.along[0], self.at[1] + t * self.along[1]
        dx, dy = p[0] - self.circle.x, p[1] - self.circle.y
        k = self.circle.radius / max(math.hypot(dx, dy), 1e-12)
        return self.circle.x + k * dx, self.circle.y + k * dy


def smoothed(points: list[Point], tolerance: float) -> Path:
    """A closed path of lines and arcs that passes all the points within about ``tolerance``.

    Greedy: from the start of the longest straight side, each piece reaches as far as a line or a
    circle fits. Does not keep corners nearer together than four points.
    """
    start = _start(points, tolerance)
    ring = [*points[start:], *points[:start], points[start]]
    xy = np.asarray(ring, dtype=float)
    fits: list[_Fit] = []
    at = 0
    while at < len(ring) - 1:
        line = _reach(xy, at, tolerance, round_=False)
        arc = _reach(xy, at, tolerance, round_=True)
        best = line if arc is None or line.last - at >= 0.9 * (arc.last - at) else arc
        fits.append(best)
        at = best.last
    return _joined(ring, [_refined(xy, fit) for fit in fits], tolerance)


def _refined(xy: Numbers, fit: _Fit) -> _Fit:
    """The piece fitted again without its ends, where it ran a little into its neighbours."""
    count = fit.last - fit.first
    trim = max(2, count // 8)
    if count < 20:
        return fit
    make = _line_fit if fit.circle is None else _circle_fit
    core = make(xy, fit.first + trim, fit.last - trim, math.inf)
    if core is None:
        return fit
    return _Fit(fit.first, fit.last, core.at, core.along, core.circle)


def _start(points: list[Point], tolerance: float) -> int:
    from shapely.geometry import Polygon

    corners = np.asarray(Polygon(points).simplify(1.5 * tolerance).exterior.coords)
    sides = np.hypot(*(corners[1:] - corners[:-1]).T)
    corner = corners[int(sides.argmax())]
    return int(np.hypot(*(np.asarray(points) - corner).T).argmin())


def _reach(xy: Numbers, first: int, tolerance: float, *, round_: bool) -> _Fit:
    """The longest piece from ``first`` that fits; two points always do."""
    make = _circle_fit if round_ else _line_fit
    last = min(first + SHORTEST, len(xy) - 1)
    best = make(xy, first, last, tolerance)
    if best is None:
        end = min(first + 1, len(xy) - 1)
        found = _line_fit(xy, first, end, math.inf)
        assert found is not None
        return found
    step = SHORTEST
    while best.last < len(xy) - 1:
        last = min(first + 2 * step, len(xy) - 1)
        longer = make(xy, first, last, tolerance)
        if longer is None:
            break
        best, step = longer, 2 * step
    low, high = best.last, min(first + 2 * step, len(xy) - 1)
    while high - low > 1:
        middle = (low + high) // 2
        longer = make(xy, first, middle, tolerance)
        if longer is None:
            high = middle
        else:
            low, best = middle, longer
    return best


def _line_fit(xy: Numbers, first: int, last: int, tolerance: float) -> _Fit | None:
    run = xy[first : last + 1]
    middle = run.mean(axis=0)
    along = np.linalg.svd(run - middle, full_matrices=False)[2][0]
    away = np.abs((run[:, 0] - middle[0]) * along[1] - (run[:, 1] - middle[1]) * along[0])
    if float(away.max()) > tolerance:
        return None
    at, direction = (float(middle[0]), float(middle[1])), (float(along[0]), float(along[1]))
    return _Fit(first, last, at, direction)


def _circle_fit(xy: Numbers, first: int, last: int, tolerance: float) -> _Fit | None:
    run = xy[first : last + 1]
    if len(run) > 200:  # enough to judge by, and quick
        run = run[np.linspace(0, len(run) - 1, 200).astype(int)]
    try:
        circle, error = fit_circle([(float(x), float(y)) for x, y in run])
    except ValueError:
        return None
    length = float(np.hypot(*(run[1:] - run[:-1]).T).sum())
    if error > tolerance or length > LARGEST_TURN * circle.radius:
        return None
    return _Fit(first, last, (0.0, 0.0), (1.0, 0.0), circle)


def _joined(ring: list[Point], fits: list[_Fit], tolerance: float) -> Path:
    """The pieces with common ends: crossings, touching points, else midway between the two."""
    nodes = [_node(ring[fit.first], fits[k - 1], fit, tolerance) for k, fit in enumerate(fits)]
    pieces: list[Segment] = []
    for k, fit in enumerate(fits):
        start, end = nodes[k], nodes[(k + 1) % len(nodes)]
        if math.dist(start, end) < 1e-9:
            continue
        arc = None
        if fit.circle is not None:
            arc = arc_through(start, fit.nearest(ring[(fit.first + fit.last) // 2]), end)
        pieces.append(arc or Line(start, end))
    return Path(tuple(pieces))


def _node(p: Point, before: _Fit, after: _Fit, tolerance: float) -> Point:
    if before.circle is None and after.circle is None:
        (ux, uy), (vx, vy) = before.along, after.along
        cross = ux * vy - uy * vx
        if abs(cross) > 0.1:
            wx, wy = after.at[0] - before.at[0], after.at[1] - before.at[1]
            t = (wx * vy - wy * vx) / cross
            return before.at[0] + t * ux, before.at[1] + t * uy
    if (before.circle is None) != (after.circle is None):
        line, arc = (before, after) if before.circle is None else (after, before)
        assert arc.circle is not None
        foot = line.nearest((arc.circle.x, arc.circle.y))
        inset = arc.circle.radius - math.dist(foot, (arc.circle.x, arc.circle.y))
        if abs(inset) <= 2 * tolerance and math.dist(foot, p) <= arc.circle.radius:
            return foot  # the line touches the circle there
    (ax, ay), (bx, by) = before.nearest(p), after.nearest(p)
    return (ax + bx) / 2, (ay + by) / 2
