"""Backlit decals in tiles: their underlay is cut along the same seams, and no seam is seen lit.

An underlay's lower tile reaches on below the upper one by the overlap, so at every place at least
one opaque field runs on unbroken and no light finds a gap. Where both layers are double an opening
would glow darker, so seams keep the whole shared strip off every opening; where that cannot be, the
panel is refused.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from itertools import combinations
from typing import TYPE_CHECKING

import shapely
from shapely.geometry import box

from decalprep.errors import InputProblem
from decalprep.outline import Underlay, paths_of, polygons_of

if TYPE_CHECKING:
    from decalprep.nesting import Ground, Tile, Tiling

FLAT_MM2 = 0.001


def off_openings(
    grounds: tuple[Ground, Ground], under: Underlay, overlap_mm: float
) -> tuple[Ground, Ground]:
    """The grounds of upright seams and those across, with the strips kept off every opening.

    A strip reaches from its seam to the right, or upwards, by the overlap.
    """
    bounds = [one.bounds for one in polygons_of(under.openings)]
    upright = [box(x0 - overlap_mm, y0, x1, y1) for x0, y0, x1, y1 in bounds]
    across = [box(x0, y0 - overlap_mm, x1, y1) for x0, y0, x1, y1 in bounds]
    first, second = grounds
    return (
        replace(first, legend=(*first.legend, *upright)),
        replace(second, legend=(*second.legend, *across)),
    )


def light_tiles(under: Underlay, tiling: Tiling, names: Sequence[str]) -> tuple[Underlay, ...]:
    """The underlay of each tile, by the tile's name; what is told of it is told of the whole.

    Raises:
        InputProblem: an opening lies in a strip that two tiles share.
    """
    for one, other in combinations(tiling.tiles, 2):
        shared = under.openings.intersection(one.cut.intersection(other.cut))
        if shared.area > FLAT_MM2:
            x, y = shared.representative_point().coords[0]
            raise InputProblem(
                f"the seam between tiles {one.number} and {other.number} would show in its light: "
                f"lit legend lies in the strip that they share (at {x:.0f} mm, {y:.0f} mm)",
                where=under.name,
                do="use a larger sheet, a shorter overlap or seam_sway, or move the legend apart",
            )
    return tuple(
        _light_tile(under, tile, name) for tile, name in zip(tiling.tiles, names, strict=True)
    )


def _light_tile(under: Underlay, tile: Tile, name: str) -> Underlay:
    field = shapely.union_all(polygons_of(under.field.intersection(tile.polygon)))
    openings = shapely.union_all(polygons_of(under.openings.intersection(tile.polygon)))
    return replace(
        under,
        name=name,
        paths=paths_of(field),
        field=field,
        openings=openings,
        ticks=(),
        notices=(),
    )
