"""Plane geometry: affine maps, boxes, paths of lines, arcs and cubics, circle fits.

Convention: y up, angles counter-clockwise in degrees, boxes as (x0, y0, x1, y1) with x0 <= x1.
A path keeps what it was made of: an arc stays an arc until it is flattened.
Flattening tolerance defaults to 0.002 mm, a tenth of the 0.02 mm that a decal may be off in a file.
"""

from decalprep.geometry.affine import Affine
from decalprep.geometry.box import Box
from decalprep.geometry.circle import Circle, fit_circle
from decalprep.geometry.path import (
    FLATTEN_MM,
    Arc,
    Cubic,
    Line,
    Path,
    Point,
    Segment,
    circle_path,
    path_from_ring,
    polygon_path,
    polygon_with_holes,
    rectangle_path,
)

__all__ = [
    "FLATTEN_MM",
    "Affine",
    "Arc",
    "Box",
    "Circle",
    "Cubic",
    "Line",
    "Path",
    "Point",
    "Segment",
    "circle_path",
    "fit_circle",
    "path_from_ring",
    "polygon_path",
    "polygon_with_holes",
    "rectangle_path",
]
