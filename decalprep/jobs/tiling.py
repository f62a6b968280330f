"""Decals larger than a sheet, made into tiles that are decals of their own.

A tile lies in the frame of its whole decal, so part fit, artwork and bleed are those of the whole:
only what is cut and where ink may lie differ. Its outline is what the knife leaves of it before the
tiles are joined: the decal's own edge, the seam cut exactly, the overlap strip, and the tabs with
the match ticks. The tabs are cut away along the trim lines after joining.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import pairwise
from typing import TYPE_CHECKING

import shapely
from shapely.geometry import LineString, Polygon
from shapely.geometry.base import BaseGeometry

from decalprep.errors import DoesNotFit
from decalprep.geometry import Line, Path, path_from_ring
from decalprep.jobs.groups import nest_settings
from decalprep.jobs.lay import kinds_for, nest_part
from decalprep.jobs.light_tiles import light_tiles, off_openings
from decalprep.jobs.prepare import Prepared
from decalprep.jobs.seam_ground import seam_ground
from decalprep.jobs.spec import Job, PanelSpec
from decalprep.model import (
    Decal,
    Hole,
    Item,
    Layer,
    Notice,
    Severity,
    StrokeMark,
    Turns,
)
from decalprep.units import format_mm

if TYPE_CHECKING:
    from decalprep.jobs.finish import Finish
    from decalprep.nesting import Tile, Tiling
    from decalprep.outline import Underlay

TICK_LINE_MM = 0.1
TRIM_DASH_MM = (1.5, 1.0)
SEAM_BLEED_MM = 1.0
FLAT_MM = 0.002
SPECK_MM2 = 0.001


@dataclass(frozen=True)
class Pieces:
    """What is printed: one Prepared a decal or tile, and the tiles' marks by decal name.

    ``panels`` are the panels as they were, with what was told of their tiles. ``underlays`` are
    those of whole decals and of tiles, by the name of what they lie under.
    """

    panels: tuple[Prepared, ...]
    all: tuple[Prepared, ...]
    marks: tuple[tuple[str, tuple[Item, ...]], ...] = ()
    underlays: tuple[Underlay, ...] = ()

    @property
    def decals(self) -> tuple[Decal, ...]:
        """What is nested."""
        return tuple(one.decal for one in self.all)


def pieces_of(prepared: Sequence[Prepared], job: Job, finishes: Sequence[Finish] = ()) -> Pieces:
    """Every panel as what is printed of it: its decal, or its tiles where it is too large.

    Raises:
        DoesNotFit: it cannot be tiled onto these sheets.
        InputProblem: it is backlit, and a seam would show in the light.
    """
    panels: list[Prepared] = []
    every: list[Prepared] = []
    marks: list[tuple[str, tuple[Item, ...]]] = []
    whole = {f.underlay.name: f.underlay for f in finishes if f.underlay is not None}
    unders: list[Underlay] = []
    for panel, one in zip(job.panels, prepared, strict=True):
        if not panel["tile"] or fits_whole(one.decal, panel, job):
            panels.append(one)
            every.append(one)
            unders += [whole[one.decal.name]] if one.decal.name in whole else []
            continue
        under = whole.get(one.decal.name)
        tiling = tiling_of(one, panel, job, under)
        tiles = tuple(_tile(one, tile, tiling) for tile in tiling.tiles)
        if under is not None:
            unders += light_tiles(under, tiling, [t.prepared.decal.name for t in tiles])
        every += [t.prepared for t in tiles]
        marks += [(t.prepared.decal.name, t.marks) for t in tiles]
        panels.append(_told(one, tiling, tiles, panel))
    return Pieces(tuple(panels), tuple(every), tuple(marks), tuple(unders))


def fits_whole(decal: Decal, panel: PanelSpec, job: Job) -> bool:
    """Whether a sheet of the job can hold the decal in one piece."""
    from decalprep.nesting.prepare import check_fit
    from decalprep.nesting.prepare import pieces_of as nest_pieces
    from decalprep.nesting.regions import kinds_of

    kinds = kinds_for(panel, job)
    settings = nest_settings(kinds, job)
    part = replace(nest_part(decal), copies=1)
    try:
        sheets = kinds_of(tuple(s.sheet for s in kinds), settings)
        check_fit([part], sheets, nest_pieces([part], settings))
    except DoesNotFit:
        return False
    return True


def tiling_of(one: Prepared, panel: PanelSpec, job: Job, under: Underlay | None = None) -> Tiling:
    """The tiles of one panel: the kind of sheet that needs the fewest is taken.

    Raises:
        DoesNotFit: no kind of sheet will do.
    """
    from decalprep.nesting import TileSettings, tile_decal

    decal = one.decal
    settings = TileSettings(
        overlap_mm=panel["overlap"],
        seam_bleed_mm=SEAM_BLEED_MM,
        bleed_mm=decal.bleed_mm,
        follow_mm=panel["seam_sway"],
    )
    ground, across = seam_ground(decal)
    if under is not None:
        ground, across = off_openings((ground, across), under, panel["overlap"])
    found: list[Tiling] = []
    refused: DoesNotFit | None = None
    free = decal.turns is Turns.FREE and 90 % (decal.turn_step_deg or 90) == 0
    may_turn = free or decal.turns is Turns.QUARTER
    for room in _rooms(decal, panel, job):
        try:
            found.append(
                tile_decal(
                    decal.outline.polygon(FLAT_MM),
                    room,
                    settings,
                    ground,
                    across=across,
                    name=decal.name,
                    may_turn=may_turn,
                )
            )
        except DoesNotFit as problem:
            refused = problem
    if not found:
        raise refused or DoesNotFit("there is no room on any sheet", where=decal.name)
    return min(found, key=lambda t: (len(t.tiles), sum(s.crossing_mm for s in t.seams)))


def _rooms(decal: Decal, panel: PanelSpec, job: Job) -> list[tuple[float, float]]:
    """The largest free rectangle of each kind of sheet less gap and bleed, in decal mm."""
    from decalprep.nesting.objective import rest_rectangle_mm
    from decalprep.nesting.regions import kinds_of
    from decalprep.nesting.state import OpenSheet

    kinds = kinds_for(panel, job)
    settings = nest_settings(kinds, job)
    less = job["gap"] + 2 * decal.bleed_mm + 0.05
    m = decal.fitted_from_decal
    rooms = []
    for kind in kinds_of(tuple(s.sheet for s in kinds), settings):
        wide, high = rest_rectangle_mm(OpenSheet(kind), settings.grid_mm)
        wide, high = wide - less, high - less
        # the part's own size error makes tiles larger or leans them; turned, the other way round
        most = max(abs(m.a) + abs(m.c), abs(m.d) + abs(m.b), 1.0)
        rooms.append((wide / most, high / most))
    return sorted({room for room in rooms if min(room) > 0}, reverse=True)


# ---------------------------------------------------------------- one tile


@dataclass(frozen=True)
class _Made:
    """One tile as a decal, its marks in the decal frame, and the holes that a seam crosses."""

    prepared: Prepared
    marks: tuple[Item, ...]
    crossed: tuple[str, ...]
    over: tuple[int, ...]


def _tile(one: Prepared, tile: Tile, tiling: Tiling) -> _Made:
    decal = one.decal
    count = len(tiling.tiles)
    over = tuple(
        other.number
        for other in tiling.tiles
        if other.number < tile.number and other.cut.intersection(tile.cut).area > SPECK_MM2
    )
    inside = decal.outline.polygon(FLAT_MM)
    tabs = [t for t in _polygons(tile.cut.difference(inside.buffer(FLAT_MM))) if t.area > 0.5]
    holes, parts, crossed = _holes(decal, tile, inside)
    named = replace(
        decal,
        name=f"{decal.name} tile {tile.number}/{count}",
        label=_label(decal.name, tile.number, count, over),
        outline=_ring(tile.cut),
        holes=holes,
        ink=_ink(decal, tile, holes, parts),
        bleed_mm=decal.bleed_mm,
    )
    marks = [StrokeMark(Layer.TILE_MARK, tick, TICK_LINE_MM) for tick in tile.ticks]
    marks += [
        StrokeMark(Layer.TILE_MARK, path, TICK_LINE_MM, dash_mm=TRIM_DASH_MM)
        for path in _trim_lines(inside, tabs)
    ]
    marks += [
        StrokeMark(Layer.TILE_MARK, path, TICK_LINE_MM, dash_mm=TRIM_DASH_MM)
        for part in parts
        for path in _lines(part.boundary.intersection(tile.shown.buffer(-FLAT_MM)))
    ]
    bare = tuple(_ring(p) for p in (*tabs, *parts))
    prepared = replace(one, decal=named, bare=bare, ticks=tile.ticks, notices=())
    return _Made(prepared, tuple(marks), crossed, over)


def _label(name: str, number: int, count: int, over: tuple[int, ...]) -> str:
    """What is printed beside the tile.

    >>> _label("console top", 2, 3, (1,))
    'console top, tile 2 of 3, over tile 1'
    """
    words = f"{name}, tile {number} of {count}"
    if not over:
        return f"{words}, goes on first" if number == 1 else words
    which = ", ".join(map(str, over[:-1])) + " and " if len(over) > 1 else ""
    return f"{words}, over tile{'s' if len(over) > 1 else ''} {which}{over[-1]}"


def _holes(
    decal: Decal, tile: Tile, inside: Polygon
) -> tuple[tuple[Hole, ...], tuple[Polygon, ...], tuple[str, ...]]:
    """Holes whole on the tile, the parts of holes at its seams, and those that a seam crosses."""
    whole, parts, crossed = [], [], []
    own = tile.cut.intersection(inside)
    for hole in decal.holes:
        area = hole.contour.polygon(FLAT_MM)
        on = area.intersection(own).area
        if on <= SPECK_MM2:
            continue
        if on >= area.area - SPECK_MM2:
            whole.append(hole)
            continue
        parts += _polygons(area.buffer(FLAT_MM))
        in_view = area.intersection(tile.shown).area
        if SPECK_MM2 < in_view < area.area - SPECK_MM2:
            crossed.append(hole.label or "a hole")
    return tuple(whole), tuple(parts), tuple(crossed)


def _ink(
    decal: Decal, tile: Tile, holes: Sequence[Hole], parts: Sequence[Polygon]
) -> tuple[Path, ...]:
    """Where the tile's ink may lie: one outer path, then the bare parts of its holes."""
    from decalprep.compose.pieces import inked_shape

    outer = inked_shape(replace(decal, holes=()))
    area = outer.polygon.intersection(tile.band)
    if parts and not decal.bleed_into_holes:
        area = area.difference(shapely.union_all(list(parts)))
    mine = max(_polygons(area), key=lambda p: float(p.intersection(tile.shown).area))
    bare = inked_shape(replace(decal, holes=tuple(holes))).paths[1:]
    rings = [mine.exterior, *mine.interiors]
    return (*(path_from_ring(ring.coords) for ring in rings), *bare)


def _ring(polygon: Polygon) -> Path:
    """The outer edge; the joins of tabs are smoothed by a micrometre."""
    return path_from_ring(polygon.simplify(0.0015).exterior.coords)


def _polygons(shape: BaseGeometry) -> list[Polygon]:
    return [p for p in shapely.get_parts(shape) if isinstance(p, Polygon) and p.area > SPECK_MM2]


def _lines(shape: BaseGeometry) -> list[Path]:
    merged = shapely.line_merge(shape)
    found = [p for p in shapely.get_parts(merged) if isinstance(p, LineString) and p.length > 0.1]
    return [_open(line) for line in found]


def _open(line: LineString) -> Path:
    points = [(float(x), float(y)) for x, y in line.coords]
    return Path(tuple(Line(a, b) for a, b in pairwise(points)), closed=False)


def _trim_lines(inside: Polygon, tabs: Sequence[Polygon]) -> list[Path]:
    """The decal's own edge along the tabs, where they are cut away after joining."""
    return [
        line
        for tab in tabs
        for line in _lines(inside.exterior.intersection(tab.buffer(4 * FLAT_MM)))
    ]


# ---------------------------------------------------------------- what is told


def _told(one: Prepared, tiling: Tiling, tiles: Sequence[_Made], panel: PanelSpec) -> Prepared:
    """The panel with its tiles told: in the report's lines and as notices."""
    count = len(tiles)
    order = "; ".join(
        f"{number} over {' and '.join(map(str, made.over))}"
        for number, made in enumerate(tiles, 1)
        if made.over
    )
    words = (
        f"tiles: {count}, sharing strips of {format_mm(panel['overlap'])}. Cut them out with their "
        f"tabs, the seams exactly; lay them down in the order of their numbers ({order}), so that "
        "the ticks of the lower tile run on straight in those of the upper; then cut the tabs away "
        "along the dashed lines"
    )
    if panel["backlit"]:
        words += "; lay each tile on its own underlay first"
    notices = [*tiling.notices, Notice("tiled", words, panel.name, Severity.NOTE)]
    crossed = dict.fromkeys(label for made in tiles for label in made.crossed)
    if crossed:
        text = (
            f"a seam runs through {', '.join(crossed)}: there is no other way with these sheets; "
            "cut the opening after sticking, with the part as the guide"
        )
        notices.append(Notice("seam-through-hole", text, panel.name))
    names = tuple(made.prepared.decal.name for made in tiles)
    return replace(
        one,
        notices=(*one.notices, *notices),
        sources=(*one.sources, words),
        tiles=names,
    )
