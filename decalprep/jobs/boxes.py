"""What pieces take of a sheet, as boxes."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import shapely
from shapely.affinity import affine_transform
from shapely.geometry import Polygon
from shapely.geometry.base import BaseGeometry

from decalprep.geometry import Box
from decalprep.model import Placement

if TYPE_CHECKING:
    from decalprep.nesting import NestPart

STRIP_MM = 2.0
"""Height of a box, so that what lies beside a round piece is not taken with it."""


def whole_shape(part: NestPart, placement: Placement) -> Polygon:
    """Where a piece lies on its sheet, its openings filled, in sheet mm."""
    m = placement.sheet_from_fitted
    outer = Polygon(part.polygon.exterior)
    placed: Polygon = affine_transform(outer, [m.a, m.c, m.b, m.d, m.e, m.f])
    return placed


def boxes_over(shape: BaseGeometry) -> list[Box]:
    """Boxes that cover a shape: strips across it, equal ones above each other joined.

    >>> boxes_over(shapely.box(10, 10, 50, 40))
    [Box(x0=10.0, y0=10.0, x1=50.0, y1=40.0)]
    """
    x0, y0, x1, y1 = shape.bounds
    edges = np.append(np.arange(y0, y1 - 1e-9, STRIP_MM), y1)
    found: list[Box] = []
    strips = shapely.intersection(shape, shapely.box(x0 - 1, edges[:-1], x1 + 1, edges[1:]))
    parts, which = shapely.get_parts(strips, return_index=True)
    solid = shapely.area(parts) > 0
    for k, (left, _, right, _) in zip(which[solid], shapely.bounds(parts[solid]), strict=True):
        low, high = (round(float(y), 3) for y in edges[k : k + 2])
        one = Box(round(float(left), 3), low, round(float(right), 3), high)
        below = next((b for b in found if b.y1 == one.y0 and _same_width(b, one)), None)
        if below is not None:
            found.remove(below)
            one = Box(below.x0, below.y0, below.x1, one.y1)
        found.append(one)
    return found


def _same_width(a: Box, b: Box) -> bool:
    return abs(a.x0 - b.x0) < 1e-6 and abs(a.x1 - b.x1) < 1e-6
