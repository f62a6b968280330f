"""Decals larger than a sheet: tiles, seams where they show least, match ticks, assembly order.

Frame: the decal's own, mm, y up. Tiles are stuck in the order of their numbers, from the lower
left; each later tile covers the overlap strip of those before it and is cut exactly on its seam.
At both ends of a seam the tiles have a tab outside the outline. That of the lower tile reaches
further, beside the seam and outwards, so that its match ticks stay in view when the upper one lies
on it: two ticks run across the seam from one tile into the other, one runs outwards over the end
of the upper tab, and the upper tile's cut edge lies on a tick along the seam. Where the ticks run
on straight the tiles meet, both ways; the tabs are cut away with the outline, so nothing of them
stays in view. Paper edges are never used to align: no printer places a picture on the paper to a
tenth of a millimetre.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from itertools import pairwise

import numpy as np
import numpy.typing as npt
from shapely import union_all
from shapely.geometry import LineString, Polygon, box
from shapely.geometry.base import BaseGeometry

from decalprep.errors import DoesNotFit
from decalprep.geometry import Box, Line, Path
from decalprep.model import Notice
from decalprep.nesting.raster import polygons_of
from decalprep.nesting.seams import (
    CostMap,
    Costs,
    best_lines,
    column_costs,
    cost_map,
    following,
    swayed,
)
from decalprep.nesting.tile_ends import (
    FAR_MM,
    Ends,
    Point,
    TileSettings,
    ends_of,
    swap,
    swap_ends,
    swap_path,
)
from decalprep.units import format_mm

AVOID = 1e9
FUSE_MM = 0.01
"""A tab is grown by a tenth of this, so that it joins its tile for certain."""


@dataclass(frozen=True)
class Ground:
    """What a seam should avoid or seek, in decal mm; ``cost`` is an array over the decal's box."""

    legend: Sequence[BaseGeometry] = ()
    holes: Sequence[BaseGeometry] = ()
    edges: Sequence[BaseGeometry] = ()
    cost: Costs | None = None


@dataclass(frozen=True)
class Seam:
    """One seam: its line, whether it runs up, and how many mm of it cross legend or holes.

    ``lower`` is what the tile below has at its ends, ``upper`` what the one laid on top has.
    """

    line: Path
    upright: bool
    crossing_mm: float
    lower: Ends = field(default=Ends(), compare=False)
    upper: Ends = field(default=Ends(), compare=False)


@dataclass(frozen=True)
class Tile:
    """One piece to print: ``polygon`` (all its ink, tabs included) is nested.

    ``band`` is where it has ink, without the decal's own edge: from the seam bleed to the end of
    the overlap strip. ``cut`` is what the knife leaves of it before assembly (tabs and overlap
    strips kept, seams cut exactly), ``shown`` what stays in view. ``number`` is its place in the
    assembly order, from 1.
    """

    number: int
    polygon: Polygon
    cut: Polygon
    shown: Polygon
    ticks: tuple[Path, ...]
    band: Polygon


@dataclass(frozen=True)
class Tiling:
    """Tiles in assembly order, the seams between them, and what could not be avoided."""

    tiles: tuple[Tile, ...]
    seams: tuple[Seam, ...]
    notices: tuple[Notice, ...] = ()


def _choose(field_: CostMap, room_mm: float, settings: TileSettings) -> list[int]:
    """Lines of the upright seams so that no tile is wider than the room, nor a sliver.

    Where the fewest tiles must cross legend or holes, one tile more is taken if that avoids it.
    """
    step, over = field_.step_mm, settings.overlap_mm
    costs, crossed = _line_costs(field_, settings)
    bleed = settings.seam_bleed_mm
    last = room_mm - bleed + (len(costs) + 1) * step - field_.box.width
    rooms = (room_mm - over, room_mm - over - bleed, last)
    least = settings.least_mm
    few = best_lines(costs, step, *rooms, least=least) or best_lines(costs, step, *rooms)
    if not few or not crossed[few].any():
        return few
    clean = np.where(crossed, np.inf, costs)
    more = best_lines(clean, step, *rooms, least=least)
    return more if more and len(more) <= len(few) + 1 else few


def _line_costs(field_: CostMap, settings: TileSettings) -> tuple[Costs, npt.NDArray[np.bool_]]:
    """For each line: what a seam there costs, and whether it must cross legend or holes."""
    crossed = field_.avoided[:, :-1] | field_.avoided[:, 1:]
    away = int(settings.follow_mm / field_.step_mm)
    if not away:
        return column_costs(field_), np.asarray(crossed.any(axis=0))
    between = np.maximum(field_.costs[:, :-1], field_.costs[:, 1:])
    # counted so high that a step sideways is nothing beside a cell crossed
    crossing = swayed(crossed.astype(np.float64) * AVOID, away) >= AVOID
    return swayed(between, away) * field_.step_mm, crossing


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


def _seam(
    decal: Polygon, field_: CostMap, points: list[Point], upright: bool, settings: TileSettings
) -> Seam:
    lower, upper = ends_of(decal, points, settings)
    line = Path(tuple(Line(a, b) for a, b in pairwise(points)), closed=False)
    seam = Seam(line, upright, _crossing_mm(field_, points), lower, upper)
    if upright:
        return seam
    return replace(seam, line=swap_path(line), lower=swap_ends(lower), upper=swap_ends(upper))


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
    number: int,
    parts: Sequence[BaseGeometry],
    ends: Sequence[Ends],
    band: BaseGeometry,
    settings: TileSettings,
) -> Tile:
    """One tile from its (printed, cut, shown) areas, with those tabs and ticks that touch it."""
    printed, cut, shown = parts
    near = printed.buffer(0.01, join_style="mitre")
    tabs = [
        tab.buffer(FUSE_MM / 10, join_style="mitre")
        for end in ends
        for tab in end.tabs
        if tab.intersection(near).area > 0.002 * settings.overlap_mm
    ]
    whole = union_all([printed, *tabs])
    reach = whole.buffer(0.01)
    ticks = [t for end in ends for t in end.ticks if reach.covers(LineString(t.points()))]
    return Tile(
        number,
        _largest(whole),
        _largest(union_all([cut, *tabs])),
        _largest(shown),
        tuple(ticks),
        _largest(band),
    )


def _sides(seams: Sequence[Seam], number: int) -> list[Ends]:
    """What the band of this number has at the seams before and after it."""
    return [
        *(seam.upper for seam in seams[max(0, number - 1) : number]),
        *(seam.lower for seam in seams[number : number + 1]),
    ]


def _cut(decal: Polygon, seams: Sequence[Seam], settings: TileSettings) -> tuple[Tile, ...]:
    upright, across = ([s for s in seams if s.upright is way] for way in (True, False))
    columns = _bands([s.line.points() for s in upright], settings)
    turned = _bands([swap_path(s.line).points() for s in across], settings)
    rows = [tuple(swap(area) for area in band) for band in turned]
    tiles: list[Tile] = []
    for i, row in enumerate(rows):
        for k, column in enumerate(columns):
            ends = [*_sides(upright, k), *_sides(across, i)]
            for piece in polygons_of(decal.intersection(row[0]).intersection(column[0])):
                parts = [
                    piece.intersection(a).intersection(b) for a, b in zip(row, column, strict=True)
                ]
                if parts[2].area > 1e-6 * decal.area:
                    band = row[0].intersection(column[0])
                    tiles.append(_tile(len(tiles) + 1, parts, ends, band, settings))
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
    across: Ground | None = None,
    name: str = "",
    may_turn: bool = True,
) -> Tiling:
    """Tiles of a decal in mm, each no larger than ``room_mm`` (width, height) with its tabs.

    The way round of the sheet with fewer tiles is taken, then the one with the cheaper seams.
    A decal that fits whole comes back as one tile without seams. ``across`` is the ground of seams
    that lie across, where it is another.
    Does not bend seams round legend unless ``follow_mm`` allows it.

    Raises:
        DoesNotFit: the room is too small for overlap and tabs.

    >>> tiling = tile_decal(box(0, 0, 300, 100), (200.0, 150.0), name="wheelhouse strip")
    >>> [round(t.shown.bounds[2] - t.shown.bounds[0]) for t in tiling.tiles], len(tiling.seams)
    ([102, 198], 1)
    """
    settings, ground = settings or TileSettings(), ground or Ground()
    fields = (
        _field(decal, ground, settings),
        _field(decal, across or ground, settings).turned(),
    )
    ways = [room_mm, room_mm[::-1]] if may_turn else [room_mm]
    found = [t for room in ways if (t := _one_way(decal, fields, room, settings)) is not None]
    if not found:
        raise DoesNotFit(
            f"it cannot be tiled onto {format_mm(room_mm[0])} x {format_mm(room_mm[1])} with an "
            f"overlap of {format_mm(settings.overlap_mm)}",
            where=name,
            do="use a larger sheet or a shorter overlap",
        )
    best = min(found, key=lambda t: (len(t.tiles), sum(s.crossing_mm for s in t.seams)))
    return replace(best, notices=_notices(best.seams, name))


def _field(decal: Polygon, ground: Ground, settings: TileSettings) -> CostMap:
    return cost_map(
        decal,
        settings.step_mm,
        legend=ground.legend,
        holes=ground.holes,
        edges=ground.edges,
        clear_mm=settings.clear_mm,
        extra=ground.cost,
    )


def _one_way(
    decal: Polygon,
    fields: tuple[CostMap, CostMap],
    room_mm: tuple[float, float],
    settings: TileSettings,
) -> Tiling | None:
    """The tiling for one way round of the sheet; None where a tile would not fit."""
    field_, turned = fields
    width, height = field_.box.width, field_.box.height
    if width <= room_mm[0] + 1e-9 and height <= room_mm[1] + 1e-9:
        everything = box(-FAR_MM, -FAR_MM, FAR_MM, FAR_MM)
        return Tiling((Tile(1, decal, decal, decal, (), everything),), ())
    wide, high = width > room_mm[0] + 1e-9, height > room_mm[1] + 1e-9
    tab = settings.bleed_mm + settings.tab_mm + settings.show_mm
    tabs = 2 * tab + FUSE_MM
    high = high or (wide and height + tabs > room_mm[1])
    wide = wide or (high and width + tabs > room_mm[0])
    sway = 2 * settings.follow_mm + FUSE_MM
    seams = []
    if wide:
        room = room_mm[0] - (tab if high else 0.0) - sway
        lines = _lines(field_, _choose(field_, room, settings), settings)
        seams += [_seam(decal, field_, points, True, settings) for points in lines]
    if high:
        flipped = swap(decal)
        room = room_mm[1] - (tab if wide else 0.0) - sway
        lines = _lines(turned, _choose(turned, room, settings), settings)
        seams += [_seam(flipped, turned, points, False, settings) for points in lines]
    tiles = _cut(decal, seams, settings)
    fits = all(_within(tile.polygon, room_mm) for tile in tiles)
    return Tiling(tiles, tuple(seams)) if seams and fits else None


def _within(polygon: Polygon, room_mm: tuple[float, float]) -> bool:
    b = Box(*polygon.bounds)
    return b.width <= room_mm[0] + 1e-6 and b.height <= room_mm[1] + 1e-6
