"""Loose lines and arcs joined into closed loops; arcs stay arcs."""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from scipy.spatial import cKDTree

from decalprep.geometry import Line, Path, Point, Segment


@dataclass(frozen=True)
class Chained:
    """Closed loops; how many pieces stayed open; where pieces branch; largest gap bridged in mm."""

    loops: tuple[Path, ...]
    open_ends: tuple[Point, ...] = ()
    branches: tuple[Point, ...] = ()
    largest_gap_mm: float = 0.0


@dataclass
class _Piece:
    path: Path
    a: int
    b: int


def chained(paths: Sequence[Path], tolerance_mm: float) -> Chained:
    """The closed loops that paths make, ends within ``tolerance_mm`` counting as one point.

    Pieces drawn twice count once. Pieces with a loose end are left out, and so are nets whose
    lines branch: which way such an outline goes is not guessed.
    """
    closed = [p for p in paths if p.closed and p.segments]
    loose = _once([p for p in paths if not p.closed and p.segments], tolerance_mm)
    pieces, places = _joined_ends(loose, tolerance_mm)
    gaps: list[float] = []
    for piece in pieces:
        if piece.a == piece.b and _length(piece.path) > 4 * tolerance_mm:
            closed.append(_bridged([piece.path], gaps))
    pieces = [p for p in pieces if p.a != p.b]
    ends = _prune(pieces)
    branches: list[Point] = []
    for group in _groups(pieces):
        loop = _walk(group)
        if loop is None:
            branches.append(_branch_of(group, places))
        else:
            closed.append(_bridged(loop, gaps))
    loops = tuple(_distinct(closed, tolerance_mm))
    return Chained(loops, tuple(places[k] for k in ends), tuple(branches), max(gaps, default=0.0))


def _length(path: Path) -> float:
    points = path.points(0.01)
    return sum(math.dist(p, q) for p, q in pairwise(points))


def _once(paths: list[Path], tolerance: float) -> list[Path]:
    """Pieces without those drawn twice, in either direction."""
    grid = max(tolerance, 1e-9)
    seen: dict[tuple[object, ...], Path] = {}
    for path in paths:
        ends = sorted(
            (round(p[0] / grid), round(p[1] / grid))
            for p in (path.segments[0].start, path.segments[-1].end)
        )
        box = path.box
        size = (round(box.width / grid), round(box.height / grid))
        low = (round(box.x0 / grid), round(box.y0 / grid))
        seen.setdefault((*ends, size, low), path)
    return list(seen.values())


def _joined_ends(paths: list[Path], tolerance: float) -> tuple[list[_Piece], list[Point]]:
    """(pieces between numbered places, the places); ends in a chain of near ends share a place."""
    if not paths:
        return [], []
    ends = [e for p in paths for e in (p.segments[0].start, p.segments[-1].end)]
    parent = list(range(len(ends)))

    def root(k: int) -> int:
        while parent[k] != k:
            parent[k] = parent[parent[k]]
            k = parent[k]
        return k

    for i, j in cKDTree(np.asarray(ends)).query_pairs(tolerance):
        parent[root(i)] = root(j)
    pieces = [_Piece(p, root(2 * k), root(2 * k + 1)) for k, p in enumerate(paths)]
    return pieces, ends


def _prune(pieces: list[_Piece]) -> list[int]:
    """Take out, again and again, pieces with an end that nothing else meets; those ends."""
    loose: list[int] = []
    at: dict[int, list[_Piece]] = defaultdict(list)
    for piece in pieces:
        at[piece.a].append(piece)
        at[piece.b].append(piece)
    waiting = [place for place, there in at.items() if len(there) == 1]
    loose.extend(waiting)
    gone: set[int] = set()
    while waiting:
        place = waiting.pop()
        for piece in at[place]:
            gone.add(id(piece))
            other = piece.b if piece.a == place else piece.a
            at[other] = [p for p in at[other] if p is not piece]
            if len(at[other]) == 1:
                waiting.append(other)
        at[place] = []
    pieces[:] = [p for p in pieces if id(p) not in gone]
    return loose


def _groups(pieces: list[_Piece]) -> list[list[_Piece]]:
    """Pieces that hang together."""
    at: dict[int, list[_Piece]] = defaultdict(list)
    for piece in pieces:
        at[piece.a].append(piece)
        at[piece.b].append(piece)
    groups, seen = [], set[int]()
    for piece in pieces:
        if id(piece) in seen:
            continue
        group, waiting = [], [piece]
        seen.add(id(piece))
        while waiting:
            one = waiting.pop()
            group.append(one)
            for other in (*at[one.a], *at[one.b]):
                if id(other) not in seen:
                    seen.add(id(other))
                    waiting.append(other)
        groups.append(group)
    return groups


def _walk(group: list[_Piece]) -> list[Path] | None:
    """The pieces in order round one loop, turned to run on; None where they branch."""
    at: dict[int, list[_Piece]] = defaultdict(list)
    for piece in group:
        at[piece.a].append(piece)
        at[piece.b].append(piece)
    if any(len(there) != 2 for there in at.values()):
        return None
    piece, place = group[0], group[0].b
    run = [piece.path]
    while len(run) < len(group):
        piece = next(p for p in at[place] if p is not piece)
        forward = piece.a == place
        run.append(piece.path if forward else piece.path.reversed())
        place = piece.b if forward else piece.a
    return run


def _branch_of(group: list[_Piece], places: list[Point]) -> Point:
    count: dict[int, int] = defaultdict(int)
    for piece in group:
        count[piece.a] += 1
        count[piece.b] += 1
    return places[max(count, key=lambda place: count[place])]


def _bridged(run: list[Path], gaps: list[float]) -> Path:
    """One closed path; a gap between ends becomes a short line, and is noted in ``gaps``."""
    segments: list[Segment] = []
    pieces = [s for path in run for s in path.segments]
    for k, segment in enumerate(pieces):
        segments.append(segment)
        following = pieces[(k + 1) % len(pieces)]
        gap = math.dist(segment.end, following.start)
        if gap > 1e-9:
            gaps.append(gap)
            segments.append(Line(segment.end, following.start))
    return Path(tuple(segments))


def _distinct(loops: list[Path], tolerance: float) -> list[Path]:
    """Loops without those drawn twice."""
    grid = max(tolerance, 1e-9)
    seen: dict[tuple[int, ...], Path] = {}
    for loop in loops:
        box = loop.box
        numbers = (box.x0, box.y0, box.x1, box.y1, *_middle_of_ring(loop))
        seen.setdefault(tuple(round(v / grid) for v in numbers), loop)
    return list(seen.values())


def _middle_of_ring(loop: Path) -> Point:
    points = loop.points(0.01)
    return sum(p[0] for p in points) / len(points), sum(p[1] for p in points) / len(points)
