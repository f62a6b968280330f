"""Decals larger than a sheet: tiles, seams where they show least, match ticks, assembly order.

Frame: the decal's own, mm, y up. Tiles are stuck in the order of their numbers, from the lower
left; each later tile covers the overlap strip of those before it and is cut exactly on its seam.
At both ends of a seam the tiles have a tab outside the outline. Both tabs carry the same match
ticks: one on the seam, two across it. Laid tick on tick the tiles meet; the tabs are cut away with
the outline, so nothing of the ticks stays in view. Paper edges are never used to align: no printer
places a picture on the paper to a tenth of a millimetre.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from itertools import pairwise

import numpy as np
from shapely import union_all
from shapely.affinity import affine_transform
from shapely.geometry import LineString, Polygon, box
from shapely.geometry.base import BaseGeometry

from decalprep.errors import DoesNotFit
from decalprep.geometry import Box, Line, Path
from decalprep.model import Notice
from decalprep.nesting.raster import polygons_of
from decalprep.nesting.seams import CostMap, Costs, best_lines, column_costs, cost_map, following
from decalprep.units import format_mm

FAR_MM = 1e5
FUSE_MM = 0.01
"""A tab is grown by a tenth of this, so that it joins its tile for certain."""
Point = tuple[float, float]


@dataclass(frozen=True)
class TileSettings:
    """How tiles are cut; mm. ``follow_mm`` > 0 lets a seam leave the straight line by so much.

    ``seam_bleed_mm`` is printed beyond a seam that is cut, so that no bare paper shows there;
    ``clear_mm`` is kept between a seam and legend or holes; ``tab_mm`` is the length of the tabs.
    """

    overlap_mm: float = 10.0
    seam_bleed_mm: float = 1.0
    clear_mm: float = 1.5
    tab_mm: float = 8.0
    follow_mm: float = 0.0
    step_mm: float = 1.0


@dataclass(frozen=True)
class Ground:
    """What a seam should avoid or seek, in decal mm; ``cost`` is an array over the decal's box."""

    legend: Sequence[BaseGeometry] = ()
    holes: Sequence[BaseGeometry] = ()
    edges: Sequence[BaseGeometry] = ()
    cost: Costs | None = None


@dataclass(frozen=True)
class Seam:
    """One seam: its line, whether it runs up, and how many mm of it cross legend or holes."""

    line: Path
    upright: bool
    crossing_mm: float
    ticks: tuple[Path, ...] = ()
    tabs: tuple[Polygon, ...] = field(default=(), compare=False)


@dataclass(frozen=True)
class Tile:
    """One piece to print: ``polygon`` (all its ink, tabs included) is nested.

    ``cut`` is what the knife leaves of it before assembly (tabs and overlap strips kept, seams cut
    exactly), ``shown`` what stays in view. ``number`` is its place in the assembly order, from 1.
    """

    number: int
    polygon: Polygon
    cut: Polygon
    shown: Polygon
    ticks: tuple[Path, ...]


@dataclass(frozen=True)
class Tiling:
    """Tiles in assembly order, the seams between them, and what could not be avoided."""

    tiles: tuple[Tile, ...]
    seams: tuple[Seam, ...]
    notices: tuple[Notice, ...] = ()


def _swap(shape: BaseGeometry) -> BaseGeometry:
    return affine_transform(shape, [0, 1, 1, 0, 0, 0])


def _choose(field_: CostMap, room_mm: float, settings: TileSettings) -> list[int]:
    """Lines of the upright seams so that no tile is wider than the room.

    Where the fewest tiles must cross legend or holes, one tile more is taken if that avoids it.
    """
    step, over = field_.step_mm, settings.overlap_mm
    costs = column_costs(field_)
    crossed = field_.avoided[:, :-1] | field_.avoided[:, 1:]
    bleed = settings.seam_bleed_mm
    last = room_mm - bleed + (len(costs) + 1) * step - field_.box.width
    rooms = (room_mm - over, room_mm - over - bleed, last)
    few = best_lines(costs, step, *rooms)
    if not few or not crossed[:, few].any():
        return few
    clean = np.where(crossed.any(axis=0), np.inf, costs)
    more = best_lines(clean, step, *rooms)
    return more if more and len(more) <= len(few) + 1 else few


def _lines(field_: CostMap, chosen: Sequence[int], settings: TileSettings) -> list[list[Point]]:
    """Each seam as points from the bottom to the top of the decal's box."""
    b, step = field_.box, field_.step_mm
    found = []
    for line in chosen:
        x = b.x0 + (line + 1) * step
        points = [(x, b.y0), (x, b.y1)]
        if settings.follow_mm > 0:
            rows = following(field_, line, settings.follow_mm)
            rough = [(b.x0 + (k + 1) * step, b.y0 + (i + 0.5) * step) for i, k in enumerate(rows)]
            rough = [(rough[0][0], b.y0), *rough, (rough[-1][0], b.y1)]
            points = list(LineString(rough).simplify(step * 0.51).coords)
        found.append(points)
    return found


def _crossing_mm(field_: CostMap, points: Sequence[Point]) -> float:
    line = LineString(points)
    count = max(2, math.ceil(line.length / field_.step_mm * 2))
    crossed = 0
    for k in range(count):
        p = line.interpolate((k + 0.5) / count, normalized=True)
        i = min(int((p.y - field_.box.y0) / field_.step_mm), field_.avoided.shape[0] - 1)
        j = min(int((p.x - field_.box.x0) / field_.step_mm), field_.avoided.shape[1] - 1)
        crossed += bool(field_.avoided[i, j])
    return float(line.length * crossed / count)


def _right_of(points: Sequence[Point], shift_mm: float) -> Polygon:
    """Everything to the right of a seam moved right by ``shift_mm``."""
    moved = [(x + shift_mm, y) for x, y in points]
    low, high = moved[0], moved[-1]
    return Polygon(
        [(low[0], -FAR_MM), *moved, (high[0], FAR_MM), (FAR_MM, FAR_MM), (FAR_MM, -FAR_MM)]
    )


def _stroke(a: Point, b: Point) -> Path:
    return Path((Line(a, b),), closed=False)


def _ends(
    decal: Polygon, points: Sequence[Point], settings: TileSettings
) -> tuple[list[Polygon], list[Path]]:
    """Tabs beyond both ends of an upright seam, and the match ticks on them."""
    tabs, ticks = [], []
    over, length = settings.overlap_mm, settings.tab_mm
    for x, sign in ((points[0][0], -1), (points[-1][0], 1)):
        strip = decal.intersection(box(x, -FAR_MM, x + over, FAR_MM))
        if strip.is_empty:
            continue
        y = strip.bounds[1] if sign < 0 else strip.bounds[3]
        inner = strip.bounds[3] if sign < 0 else strip.bounds[1]
        tab = box(x, min(y, y + sign * length), x + over, max(y, y + sign * length))
        column = box(x, min(inner, y), x + over, max(inner, y))
        tabs += polygons_of(tab.union(column).difference(Polygon(decal.exterior)))
        ticks.append(_stroke((x, y + sign * 1.0), (x, y + sign * length)))
        for share in (0.4, 0.8):
            level = y + sign * length * share
            ticks.append(_stroke((x, level), (x + over * share, level)))
    return tabs, ticks


def _swap_path(path: Path) -> Path:
    pieces = [s for s in path.segments if isinstance(s, Line)]
    return Path(tuple(Line(s.start[::-1], s.end[::-1]) for s in pieces), path.closed)


def _seam(
    decal: Polygon, field_: CostMap, points: list[Point], upright: bool, settings: TileSettings
) -> Seam:
    tabs, ticks = _ends(decal, points, settings)
    line = Path(tuple(Line(a, b) for a, b in pairwise(points)), closed=False)
    seam = Seam(line, upright, _crossing_mm(field_, points), tuple(ticks), tuple(tabs))
    if upright:
        return seam
    return replace(
        seam,
        line=_swap_path(line),
        ticks=tuple(_swap_path(t) for t in ticks),
        tabs=tuple(_swap(t) for t in tabs),
    )


def _bands(lines: Sequence[list[Point]], settings: TileSettings) -> list[tuple[BaseGeometry, ...]]:
    """(printed, cut, in view) of each band between upright seams, left to right."""
    everything = box(-FAR_MM, -FAR_MM, FAR_MM, FAR_MM)
    bands = []
    for k in range(len(lines) + 1):
        inked = _right_of(lines[k - 1], -settings.seam_bleed_mm) if k else everything
        start = _right_of(lines[k - 1], 0.0) if k else everything
        beyond = _right_of(lines[k], settings.overlap_mm) if k < len(lines) else Polygon()
        hidden = _right_of(lines[k], 0.0) if k < len(lines) else Polygon()
        bands.append((inked.difference(beyond), start.difference(beyond), start.difference(hidden)))
    return bands


def _largest(shape: BaseGeometry) -> Polygon:
    return max(polygons_of(shape), key=lambda p: p.area)


def _tile(
    number: int, parts: Sequence[BaseGeometry], seams: Sequence[Seam], settings: TileSettings
) -> Tile:
    """One tile from its (printed, cut, shown) areas, with the tabs and ticks of its seams."""
    printed, cut, shown = parts
    near = printed.buffer(0.01, join_style="mitre")
    tabs = [
        tab.buffer(FUSE_MM / 10, join_style="mitre")
        for seam in seams
        for tab in seam.tabs
        if tab.intersection(near).area > 0.002 * settings.overlap_mm
    ]
    whole = union_all([printed, *tabs])
    reach = whole.buffer(0.01)
    ticks = [t for seam in seams for t in seam.ticks if reach.covers(LineString(t.points()))]
    return Tile(
        number,
        _largest(whole),
        _largest(union_all([cut, *tabs])),
        _largest(shown),
        tuple(ticks),
    )


def _cut(decal: Polygon, seams: Sequence[Seam], settings: TileSettings) -> tuple[Tile, ...]:
    up = [s.line.points() for s in seams if s.upright]
    across = [_swap_path(s.line).points() for s in seams if not s.upright]
    rows = [tuple(_swap(area) for area in band) for band in _bands(across, settings)]
    tiles: list[Tile] = []
    for row in rows:
        for column in _bands(up, settings):
            for piece in polygons_of(decal.intersection(row[0]).intersection(column[0])):
                parts = [
                    piece.intersection(a).intersection(b) for a, b in zip(row, column, strict=True)
                ]
                if parts[2].area > 1e-6 * decal.area:
                    tiles.append(_tile(len(tiles) + 1, parts, seams, settings))
    return tuple(tiles)


def _notices(seams: Sequence[Seam], name: str) -> tuple[Notice, ...]:
    crossing = sum(seam.crossing_mm for seam in seams)
    if crossing <= 0:
        return ()
    text = (
        f"a seam runs {format_mm(crossing, 1)} through or close to legend or holes: there is no "
        "other way with these sheets; a larger sheet or a shorter overlap may avoid it"
    )
    return (Notice("seam-through-legend", text, name, numbers=(("crossing_mm", crossing),)),)


def tile_decal(
    decal: Polygon,
    room_mm: tuple[float, float],
    settings: TileSettings | None = None,
    ground: Ground | None = None,
    *,
    name: str = "",
    may_turn: bool = True,
) -> Tiling:
    """Tiles of a decal in mm, each no larger than ``room_mm`` (width, height) with its tabs.

    The way round of the sheet with fewer tiles is taken, then the one with the cheaper seams.
    A decal that fits whole comes back as one tile without seams.
    Does not bend seams round legend unless ``follow_mm`` allows it.

    Raises:
        DoesNotFit: the room is too small for overlap and tabs.

    >>> tiling = tile_decal(box(0, 0, 300, 100), (200.0, 150.0), name="wheelhouse strip")
    >>> [round(t.shown.bounds[2] - t.shown.bounds[0]) for t in tiling.tiles], len(tiling.seams)
    ([102, 198], 1)
    """
    settings, ground = settings or TileSettings(), ground or Ground()
    field_ = cost_map(
        decal,
        settings.step_mm,
        legend=ground.legend,
        holes=ground.holes,
        edges=ground.edges,
        clear_mm=settings.clear_mm,
        extra=ground.cost,
    )
    ways = [room_mm, room_mm[::-1]] if may_turn else [room_mm]
    found = [t for room in ways if (t := _one_way(decal, field_, room, settings)) is not None]
    if not found:
        raise DoesNotFit(
            f"it cannot be tiled onto {format_mm(room_mm[0])} x {format_mm(room_mm[1])} with an "
            f"overlap of {format_mm(settings.overlap_mm)}",
            where=name,
            do="use a larger sheet or a shorter overlap",
        )
    best = min(found, key=lambda t: (len(t.tiles), sum(s.crossing_mm for s in t.seams)))
    return replace(best, notices=_notices(best.seams, name))


def _one_way(
    decal: Polygon, field_: CostMap, room_mm: tuple[float, float], settings: TileSettings
) -> Tiling | None:
    """The tiling for one way round of the sheet; None where a tile would not fit."""
    width, height = field_.box.width, field_.box.height
    if width <= room_mm[0] + 1e-9 and height <= room_mm[1] + 1e-9:
        return Tiling((Tile(1, decal, decal, decal, ()),), ())
    wide, high = width > room_mm[0] + 1e-9, height > room_mm[1] + 1e-9
    tabs = 2 * settings.tab_mm + FUSE_MM
    high = high or (wide and height + tabs > room_mm[1])
    wide = wide or (high and width + tabs > room_mm[0])
    sway = 2 * settings.follow_mm + FUSE_MM
    seams = []
    if wide:
        room = room_mm[0] - (settings.tab_mm if high else 0.0) - sway
        lines = _lines(field_, _choose(field_, room, settings), settings)
        seams += [_seam(decal, field_, points, True, settings) for points in lines]
    if high:
        turned, flipped = field_.turned(), _swap(decal)
        room = room_mm[1] - (settings.tab_mm if wide else 0.0) - sway
        lines = _lines(turned, _choose(turned, room, settings), settings)
        seams += [_seam(flipped, turned, points, False, settings) for points in lines]
    tiles = _cut(decal, seams, settings)
    fits = all(_within(tile.polygon, room_mm) for tile in tiles)
    return Tiling(tiles, tuple(seams)) if seams and fits else None


def _within(polygon: Polygon, room_mm: tuple[float, float]) -> bool:
    b = Box(*polygon.bounds)
    return b.width <= room_mm[0] + 1e-6 and b.height <= room_mm[1] + 1e-6
