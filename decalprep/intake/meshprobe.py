"""Looking through a part at points of its face: how thick it is, and whether holes go through."""

from __future__ import annotations

from typing import Any

import numpy as np
from shapely.geometry import Point, Polygon

Array = np.ndarray[Any, np.dtype[Any]]

NEAR_MM = 0.02
_GRID = 7


class Probe:
    """The part's facets in the face's frame (n x 3 x 3: x, y, height over the origin's plane)."""

    def __init__(self, facets: Array, face_height_mm: float) -> None:
        self._corners = facets.copy()
        self._corners[:, :, 2] -= face_height_mm
        xy = self._corners[:, :, :2]
        self._low, self._high = xy.min(axis=1), xy.max(axis=1)
        a, b, c = xy[:, 0], xy[:, 1], xy[:, 2]
        self._twice = (b[:, 0] - a[:, 0]) * (c[:, 1] - a[:, 1]) - (c[:, 0] - a[:, 0]) * (
            b[:, 1] - a[:, 1]
        )

    def heights(self, x: float, y: float) -> tuple[Array, Array]:
        """(heights over the face where the line through (x, y) meets facets, whether they look up).

        Facets on edge are left out.
        """
        point = np.array((x, y))
        near = ((self._low <= point) & (point <= self._high)).all(axis=1)
        near &= np.abs(self._twice) > 1e-12
        index = np.flatnonzero(near)
        corners, twice = self._corners[index], self._twice[index]
        weights = np.empty((len(index), 3))
        for k in range(3):
            p, q = corners[:, (k + 1) % 3, :2], corners[:, (k + 2) % 3, :2]
            weights[:, k] = (
                (q[:, 0] - p[:, 0]) * (y - p[:, 1]) - (x - p[:, 0]) * (q[:, 1] - p[:, 1])
            ) / twice
        inside = (weights >= -1e-9).all(axis=1)
        height = np.einsum("ij,ij->i", weights[inside], corners[inside][:, :, 2])
        return height, twice[inside] > 0

    def above(self, x: float, y: float) -> Array:
        """Heights in mm of what stands over the face at (x, y)."""
        heights, _ = self.heights(x, y)
        return heights[heights > NEAR_MM]

    def depth_of_plate(self, x: float, y: float) -> float | None:
        """Depth in mm below the face where the material at (x, y) ends.

        Bodies that touch count as one: leaving one where the next begins does not end it.
        """
        heights, up = self.heights(x, y)
        below = heights < -NEAR_MM
        depths, entered = -heights[below], up[below]
        # Where both lie at one depth, entering comes first.
        order = np.argsort(depths - NEAR_MM * entered, kind="stable")
        bodies = 1
        for depth, enters in zip(depths[order].tolist(), entered[order].tolist(), strict=True):
            bodies += 1 if enters else -1
            if bodies == 0:
                return float(depth)
        return None

    def thickness(self, face: Polygon) -> float | None:
        """The plate's usual thickness in mm under the face, None where nothing closes it.

        The median over a grid of points: ribs and bosses behind the plate do not count.
        """
        x0, y0, x1, y1 = face.bounds
        steps = (np.arange(_GRID) + 0.5) / _GRID
        grid = [(x0 + u * (x1 - x0), y0 + v * (y1 - y0)) for u in steps for v in steps]
        inner = face.representative_point()
        points = [p for p in grid if face.contains(Point(p))] or [(inner.x, inner.y)]
        depths = [d for d in (self.depth_of_plate(*p) for p in points) if d is not None]
        return float(np.sort(depths)[len(depths) // 2]) if depths else None

    def inside(self, hole: Polygon, face: Polygon) -> tuple[str, float]:
        """("", 0) where the hole goes through, else ("blind" or "raised", depth or height in mm).

        A floor deeper than the plate beside the hole is thick belongs to something behind it.
        """
        middle = hole.representative_point()
        heights, up = self.heights(middle.x, middle.y)
        above = heights[(heights > NEAR_MM) & up]
        if len(above):
            return "raised", float(above.max())
        floors = heights[(heights < -NEAR_MM) & up]
        if not len(floors):
            return "", 0.0
        depth = float(-floors.max())
        plate = self._plate_beside(hole, face)
        return ("", 0.0) if plate is not None and depth >= plate - NEAR_MM else ("blind", depth)

    def _plate_beside(self, hole: Polygon, face: Polygon) -> float | None:
        for distance in (0.3, 0.05):
            around = hole.buffer(distance, quad_segs=2).exterior.coords
            inside = [p for p in around if face.contains(Point(p))]
            depths = [d for d in (self.depth_of_plate(*p) for p in inside[:8]) if d is not None]
            if depths:
                return float(np.median(depths))
        return None
