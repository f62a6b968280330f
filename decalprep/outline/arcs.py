"""Arcs found again in curves and point lists, so that a knife follows arcs and not facets."""

import itertools
import math
from collections.abc import Sequence

import numpy as np

from decalprep.geometry import (
    Arc,
    Cubic,
    Line,
    Path,
    Point,
    Segment,
    circle_path,
    fit_circle,
)

KAPPA_ERROR = 3e-4
"""A quarter circle drawn as one cubic is off by up to 2.7e-4 of its radius (computed)."""
LARGEST_RADIUS_MM = 5000.0


def arc_through(start: Point, middle: Point, end: Point) -> Arc | None:
    """The arc from ``start`` over ``middle`` to ``end``; None where the three lie on a line.

    >>> arc = arc_through((1, 0), (0, 1), (-1, 0))
    >>> round(arc.radius, 9), round(arc.sweep_deg, 9)
    (1.0, 180.0)
    """
    (ax, ay), (bx, by), (cx, cy) = start, middle, end
    bx, by, cx, cy = bx - ax, by - ay, cx - ax, cy - ay
    cross = 2 * (bx * cy - by * cx)
    size = math.hypot(cx, cy) + math.hypot(bx, by)
    if abs(cross) <= 1e-12 * size * size:
        return None
    b2, c2 = bx * bx + by * by, cx * cx + cy * cy
    ux, uy = (cy * b2 - by * c2) / cross, (bx * c2 - cx * b2) / cross
    radius = math.hypot(ux, uy)
    if radius > LARGEST_RADIUS_MM:
        return None
    centre = (ax + ux, ay + uy)
    first = math.degrees(math.atan2(-uy, -ux))
    last = math.degrees(math.atan2(end[1] - centre[1], end[0] - centre[0]))
    sweep = (last - first) % 360
    if cross < 0:
        sweep -= 360
    return Arc(centre, radius, first, sweep)


def _off_circle(points: Sequence[Point], arc: Arc) -> float:
    xy = np.asarray(points, dtype=float)
    away = np.hypot(xy[:, 0] - arc.centre[0], xy[:, 1] - arc.centre[1])
    return float(np.abs(away - arc.radius).max())


def _straight(points: Sequence[Point], tolerance: float) -> bool:
    xy = np.asarray(points, dtype=float)
    along = xy[-1] - xy[0]
    length = math.hypot(*along)
    if length <= tolerance:
        return False
    away = (xy[:, 0] - xy[0, 0]) * along[1] - (xy[:, 1] - xy[0, 1]) * along[0]
    return bool(np.abs(away).max() <= tolerance * length)


def _arc_of_cubic(cubic: Cubic, tolerance: float) -> Segment:
    samples = [cubic.at(k / 8) for k in range(9)]
    if _straight(samples, 1e-6):
        return Line(cubic.start, cubic.end)
    arc = arc_through(samples[0], samples[4], samples[8])
    if arc is None or abs(arc.sweep_deg) > 200:
        return cubic
    return arc if _off_circle(samples, arc) <= max(tolerance, KAPPA_ERROR * arc.radius) else cubic


def _merged(first: Segment, second: Segment, tolerance: float) -> Segment | None:
    """Two arcs of one circle as one arc, two lines on one line as one line."""
    if isinstance(first, Line) and isinstance(second, Line):
        same = _straight([first.start, first.end, second.end], 1e-6)
        forward = math.dist(first.start, second.end) >= max(
            math.dist(first.start, first.end), math.dist(second.start, second.end)
        )
        return Line(first.start, second.end) if same and forward else None
    if not (isinstance(first, Arc) and isinstance(second, Arc)):
        return None
    slack = max(tolerance, KAPPA_ERROR * first.radius)
    same = (
        math.dist(first.centre, second.centre) <= 2 * slack
        and abs(first.radius - second.radius) <= 2 * slack
        and first.sweep_deg * second.sweep_deg > 0
        and abs(first.sweep_deg + second.sweep_deg) < 330
    )
    if not same:
        return None
    arc = arc_through(first.start, first.end, second.end)
    samples = [a.at(k / 4) for a in (first, second) for k in range(5)]
    return arc if arc is not None and _off_circle(samples, arc) <= 2 * slack else None


def _whole_circle(segments: Sequence[Segment], tolerance: float) -> Path | None:
    if not segments or not all(isinstance(s, Arc) for s in segments):
        return None
    arcs = [s for s in segments if isinstance(s, Arc)]
    if abs(abs(sum(a.sweep_deg for a in arcs)) - 360) > 1:
        return None
    samples = [a.at(k / 8) for a in arcs for k in range(8)]
    circle, error = fit_circle(samples)
    if error > max(tolerance, KAPPA_ERROR * circle.radius):
        return None
    return circle_path(circle.x, circle.y, circle.diameter)


def arcs_restored(path: Path, tolerance: float = 0.002) -> Path:
    """The path with cubics that draw arcs turned back into arcs, in mm within ``tolerance``.

    The tolerance grows to 3e-4 of the radius, the error of a quarter circle drawn as a cubic.
    Does not touch curves that are no arcs.

    >>> quarter = Path(tuple(Arc((0, 0), 5, 90 * k, 90).cubics()[0] for k in range(1)), False)
    >>> type(arcs_restored(quarter).segments[0]).__name__
    'Arc'
    """
    found: list[Segment] = []
    for segment in path.segments:
        if isinstance(segment, Line) and math.dist(segment.start, segment.end) <= 1e-9:
            continue
        piece = _arc_of_cubic(segment, tolerance) if isinstance(segment, Cubic) else segment
        joined = _merged(found[-1], piece, tolerance) if found else None
        if joined is None:
            found.append(piece)
        else:
            found[-1] = joined
    if path.closed:
        circle = _whole_circle(found, tolerance)
        if circle is not None:
            return circle
        if len(found) > 2:
            joined = _merged(found[-1], found[0], tolerance)
            if joined is not None:
                found = [joined, *found[1:-1]]
    return Path(tuple(found), path.closed)


def _longest_run(
    points: list[Point], start: int, tolerance: float, facet: float
) -> tuple[int, Segment]:
    """(index of the last point, piece) of the longest line or arc that starts at ``start``."""

    def piece_to(last: int) -> Segment | None:
        run = points[start : last + 1]
        if len(run) == 2:
            return Line(run[0], run[1])
        if _straight(run, tolerance):
            return Line(run[0], run[-1])
        if len(run) < 4:
            return None
        arc = arc_through(run[0], run[len(run) // 2], run[-1])
        if arc is None or abs(arc.sweep_deg) > 330:
            return None
        middles = [((p[0] + q[0]) / 2, (p[1] + q[1]) / 2) for p, q in itertools.pairwise(run)]
        off = _off_circle(run, arc) > tolerance or _off_circle(middles, arc) > facet
        return None if off else arc

    best, piece = start + 1, piece_to(start + 1)
    step = 2
    # four points make the first arc, so look that far even when three fail
    while start + step < len(points):
        found = piece_to(start + step)
        if found is not None:
            best, piece = start + step, found
        elif step > 3:
            break
        step = step + 1 if step < 4 else step * 2
    low, high = best, min(start + step, len(points) - 1)
    while high - low > 1:
        middle = (low + high) // 2
        found = piece_to(middle)
        if found is not None:
            low, best, piece = middle, middle, found
        else:
            high = middle
    last = piece_to(high) if high > best else None
    if last is not None:
        best, piece = high, last
    assert piece is not None
    return best, piece


def arcs_from_points(
    points: Sequence[Point], tolerance: float = 0.002, *, facet: float | None = None
) -> Path:
    """A closed path of lines and arcs in mm through a ring of points, within ``tolerance``.

    A run of four or more points becomes an arc only where its chords are within ``facet`` too (the
    tolerance, if not given), so a hexagon stays a hexagon.

    Raises:
        ValueError: fewer than three points.

    >>> ring = circle_path(0, 0, 20).points(0.0005)
    >>> len(arcs_from_points(ring).segments)
    2
    """
    ring = [p for k, p in enumerate(points) if math.dist(p, points[k - 1]) > 1e-7]
    if len(ring) < 3:
        raise ValueError("a closed path needs three points")
    middles = [
        ((p[0] + q[0]) / 2, (p[1] + q[1]) / 2)
        for p, q in zip(ring, ring[1:] + ring[:1], strict=True)
    ]
    chord = tolerance if facet is None else max(facet, tolerance)
    if len(ring) >= 8:
        whole = _circle_through(ring, middles, tolerance, chord)
        if whole is not None:
            return whole
    start = _sharpest(ring)
    ring = ring[start:] + ring[:start]
    ring.append(ring[0])
    pieces: list[Segment] = []
    at = 0
    while at < len(ring) - 1:
        at, piece = _longest_run(ring, at, tolerance, chord)
        pieces.append(piece)
    return Path(tuple(pieces))


def _circle_through(
    ring: Sequence[Point], middles: Sequence[Point], tolerance: float, chord: float
) -> Path | None:
    """The whole circle that the ring is, walked the same way round, or None."""
    try:
        circle, error = fit_circle(ring)
    except ValueError:
        return None
    sag = max(abs(math.dist(p, (circle.x, circle.y)) - circle.radius) for p in middles)
    if error > tolerance or sag > chord:
        return None
    path = circle_path(circle.x, circle.y, circle.diameter)
    return path if _signed_area(ring) > 0 else path.reversed()


def _signed_area(ring: Sequence[Point]) -> float:
    return (
        sum(p[0] * q[1] - q[0] * p[1] for p, q in zip(ring, [*ring[1:], ring[0]], strict=True)) / 2
    )


def _sharpest(ring: Sequence[Point]) -> int:
    """Index of the sharpest corner, or else of an end of the longest side."""
    xy = np.asarray(ring, dtype=float)
    before = xy - np.roll(xy, 1, axis=0)
    after = np.roll(xy, -1, axis=0) - xy
    cross = before[:, 0] * after[:, 1] - before[:, 1] * after[:, 0]
    dot = (before * after).sum(axis=1)
    turn = np.abs(np.arctan2(cross, dot))
    if float(turn.max()) > 0.6:
        return int(turn.argmax())
    return int(np.hypot(after[:, 0], after[:, 1]).argmax())
