"""What tiles have beyond the ends of a seam: tabs, and the match ticks on them.

Worked out for an upright seam and turned over for one that lies across (x and y exchanged).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from shapely.affinity import affine_transform
from shapely.geometry import LineString, Polygon, box
from shapely.geometry.base import BaseGeometry

from decalprep.geometry import Line, Path
from decalprep.nesting.raster import polygons_of

FAR_MM = 1e5
FREE_MM = 0.5
"""So far ticks keep off the edges of their tabs."""
Point = tuple[float, float]


@dataclass(frozen=True)
class TileSettings:
    """How tiles are cut; mm. ``follow_mm`` > 0 lets a seam leave the straight line by so much.

    ``seam_bleed_mm`` is printed beyond a seam that is cut, so that no bare paper shows there;
    ``clear_mm`` is kept between a seam and legend or holes; ``tab_mm`` is the length of an upper
    tile's tabs beyond the decal's own ``bleed_mm``, ``show_mm`` how far those of a lower one reach
    beyond them. No tile is narrower than ``least_mm`` where that can be.
    """

    overlap_mm: float = 10.0
    seam_bleed_mm: float = 1.0
    clear_mm: float = 1.5
    tab_mm: float = 5.0
    show_mm: float = 4.0
    bleed_mm: float = 0.0
    least_mm: float = 25.0
    follow_mm: float = 0.0
    step_mm: float = 1.0


@dataclass(frozen=True)
class Ends:
    """What one of the two tiles has beyond the ends of a seam: its tabs and the ticks on them."""

    tabs: tuple[Polygon, ...] = ()
    ticks: tuple[Path, ...] = ()


def ends_of(decal: Polygon, points: Sequence[Point], settings: TileSettings) -> tuple[Ends, Ends]:
    """Tabs and ticks beyond both ends of an upright seam: of the lower tile, of the upper one."""
    lower, upper = Ends(), Ends()
    over, show = settings.overlap_mm, settings.show_mm
    for x, sign in ((points[0][0], -1), (points[-1][0], 1)):
        level = _level(decal, x, sign, settings)
        if level is None:
            continue
        long = settings.bleed_mm + settings.tab_mm
        for_upper, for_lower = (x, x + over, long), (x - show, x + over, long + show)
        y = level[1] + sign * settings.bleed_mm
        upper = _more(upper, _tabs(decal, for_upper, level), _upper_ticks(x, y, sign, settings))
        ticks = [t for t in _lower_ticks(x, y, sign, settings) if not _crosses(t, decal)]
        lower = _more(lower, _tabs(decal, for_lower, level), ticks)
    return lower, upper


def _level(
    decal: Polygon, x: float, sign: int, settings: TileSettings
) -> tuple[float, float] | None:
    """Where the decal ends beside a seam: its inner level, and the outer one that tabs stand on.

    The lower tile's side of the seam counts where the decal's edge slopes, not where it steps away.
    """
    over, show = settings.overlap_mm, settings.show_mm
    strip, wide = (decal.intersection(box(x - d, -FAR_MM, x + over, FAR_MM)) for d in (0.0, show))
    if strip.is_empty:
        return None
    inner, y = strip.bounds[1::2][::sign]
    outer = wide.bounds[1::2][::sign][1]
    return inner, outer if abs(outer - y) <= settings.tab_mm else y


def _crosses(tick: Path, decal: Polygon) -> bool:
    return bool(LineString(tick.points()).distance(decal) < FREE_MM / 2)


def _more(ends: Ends, tabs: Sequence[Polygon], ticks: Sequence[Path]) -> Ends:
    return Ends((*ends.tabs, *tabs), (*ends.ticks, *ticks))


def _tabs(
    decal: Polygon, reach: tuple[float, float, float], level: tuple[float, float]
) -> list[Polygon]:
    """A tab from x0 to x1, so long beyond the decal's end, and what joins it to a sloping edge."""
    x0, x1, length = reach
    inner, y = level
    end = y + math.copysign(length, y - inner)
    whole = box(x0, min(inner, end), x1, max(inner, end))
    return polygons_of(whole.difference(Polygon(decal.exterior)))


def _levels(y: float, sign: int, settings: TileSettings) -> list[tuple[float, float]]:
    """Level of each tick across a seam, and how far it runs into the upper tile.

    Here and below ``y`` is where the bleed ends.
    """
    tab, over = settings.tab_mm, settings.overlap_mm
    return [(y + sign * tab * 0.25, over * 0.3), (y + sign * tab * 0.75, over * 0.7)]


def _upper_ticks(x: float, y: float, sign: int, settings: TileSettings) -> list[Path]:
    middle = x + settings.overlap_mm / 2
    across = [_stroke((x, at), (x + far, at)) for at, far in _levels(y, sign, settings)]
    outer = y + sign * settings.tab_mm
    return [*across, _stroke((middle, y + sign * FREE_MM), (middle, outer))]


def _lower_ticks(x: float, y: float, sign: int, settings: TileSettings) -> list[Path]:
    """Those of the upper tile run on; a little of them lies below it, so that none ends short."""
    middle, under = x + settings.overlap_mm / 2, 2 * FREE_MM
    left = x - settings.show_mm + FREE_MM
    edge = y + sign * settings.tab_mm
    end = edge + sign * (settings.show_mm - FREE_MM)
    across = [_stroke((left, at), (x + under, at)) for at, _ in _levels(y, sign, settings)]
    along = [_stroke((x, y + sign * FREE_MM), (x, end))]
    return [*across, *along, _stroke((middle, edge - sign * under), (middle, end))]


def _stroke(a: Point, b: Point) -> Path:
    return Path((Line(a, b),), closed=False)


def swap(shape: BaseGeometry) -> BaseGeometry:
    """The shape with x and y exchanged, in mm."""
    return affine_transform(shape, [0, 1, 1, 0, 0, 0])


def swap_path(path: Path) -> Path:
    """The lines of a path with x and y exchanged, in mm; does not keep arcs."""
    pieces = [s for s in path.segments if isinstance(s, Line)]
    return Path(tuple(Line(s.start[::-1], s.end[::-1]) for s in pieces), path.closed)


def swap_ends(ends: Ends) -> Ends:
    """Tabs and ticks with x and y exchanged, in mm."""
    return Ends(tuple(swap(t) for t in ends.tabs), tuple(swap_path(t) for t in ends.ticks))
