"""Faceted plates for the mesh tests: an outline with holes, drawn up to a thickness."""

import itertools
import math

import numpy as np
import shapely
import trimesh
from shapely.geometry import Polygon, box
from shapely.geometry.polygon import orient


def ring(x, y, diameter, corners=48):
    """A circle as a mesh has it: corners on the true circle."""
    return [
        (
            x + diameter / 2 * math.cos(math.tau * k / corners),
            y + diameter / 2 * math.sin(math.tau * k / corners),
        )
        for k in range(corners)
    ]


def prism(polygon, bottom=0.0, top=3.0):
    """A closed mesh between two heights over a polygon with holes."""
    polygon = orient(polygon)
    points, facets = [], []

    def corner(x, y, z):
        points.append((x, y, z))
        return len(points) - 1

    for triangle in shapely.constrained_delaunay_triangles(polygon).geoms:
        a, b, c = orient(triangle).exterior.coords[:3]
        facets.append([corner(*p, top) for p in (a, b, c)])
        facets.append([corner(*p, bottom) for p in (a, c, b)])
    for loop in (polygon.exterior, *polygon.interiors):
        coords = list(loop.coords)
        for p, q in itertools.pairwise(coords):
            a, b = corner(*p, bottom), corner(*q, bottom)
            c, d = corner(*q, top), corner(*p, top)
            facets += [[a, b, c], [a, c, d]]
    return trimesh.Trimesh(np.array(points), np.array(facets), process=True)


HOLES = ((20.0, 10.0, 12.0), (60.0, 30.0, 4.3))
SLOT = box(35, 18, 50, 22)


def plate(corners=48, at=(0.0, 0.0)):
    """A notched plate 80 x 40 x 3 mm with two round holes and a slot, lower left at ``at``."""
    notched = box(0, 0, 80, 40).difference(box(70, 0, 80, 15))
    rings = [ring(*hole, corners) for hole in HOLES]
    polygon = Polygon(notched.exterior.coords, [*rings, SLOT.exterior.coords])
    return prism(shapely.affinity.translate(polygon, *at))
