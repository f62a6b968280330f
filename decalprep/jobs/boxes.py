"""What pieces take of a sheet, as boxes."""

from __future__ import annotations

from itertools import pairwise
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
    for low, high in pairwise(edges):
        strip = shapely.intersection(shape, shapely.box(x0 - 1, low, x1 + 1, high))
        for part in shapely.get_parts(strip):
            if part.area <= 0:
                continue
            left, _, right, _ = (round(v, 3) for v in part.bounds)
            one = Box(left, round(float(low), 3), right, round(float(high), 3))
            below = next((b for b in found if b.y1 == one.y0 and _same_width(b, one)), None)
            if below is not None:
                found.remove(below)
                one = Box(below.x0, below.y0, below.x1, one.y1)
            found.append(one)
    return found


def _same_width(a: Box, b: Box) -> bool:
    return abs(a.x0 - b.x0) < 1e-6 and abs(a.x1 - b.x1) < 1e-6
