"""One copy of one decal as it lies on a sheet: its shapes in true sheet mm, and its items."""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cached_property, lru_cache

import shapely
from shapely.affinity import affine_transform
from shapely.geometry import Polygon
from shapely.geometry.base import BaseGeometry

from decalprep.compose.settings import ComposeSettings
from decalprep.errors import InputProblem
from decalprep.geometry import Affine, Circle, Line, Path, circle_path
from decalprep.model import (
    Decal,
    FillMark,
    Hole,
    HoleKind,
    Item,
    Layer,
    PlacedArtwork,
    Placement,
    StrokeMark,
    TextMark,
)
from decalprep.outline.shaping import offset_circle, offset_path

ROUND_MM = 0.02
"""A hole whose contour is this near to its circle is drawn as the circle: the proof's tolerance."""
LEAST_CROSS_MM = 3.0
"""Arms of a screw cross reach the rim of the hole, and are never shorter than this overall."""


@dataclass(frozen=True)
class InkedShape:
    """Where ink may lie, in decal mm: outline grown by the bleed, then the bare parts of holes."""

    paths: tuple[Path, ...]
    polygon: BaseGeometry


def inked_shape(decal: Decal) -> InkedShape:
    """The inked shape of a decal; the polygon is flattened to 0.01 mm.

    Raises:
        InputProblem: the bleed leaves nothing of the outline (it is negative).
    """
    if decal.ink:
        return _stated_ink(decal)
    inward = -decal.bleed_mm if decal.bleed_into_holes else 0.0
    return _inked(decal.outline, decal.holes, decal.bleed_mm, inward)


@lru_cache(maxsize=1000)
def _inked(
    outline: Path, holes: tuple[Hole, ...], outward_mm: float, inward_mm: float
) -> InkedShape:
    """Kept, for each step asks again for the same decals, and arcs take long to find."""
    paths = [offset_path(outline, outward_mm)]
    paths += [bare for hole in holes if (bare := _bare(hole, inward_mm)) is not None]
    outer, *inner = (path.points(0.01) for path in paths)
    return InkedShape(tuple(paths), shapely.make_valid(Polygon(outer, inner)))


def _stated_ink(decal: Decal) -> InkedShape:
    """A tile's ink; its polygon also holds what is cut out with it but bears no ink."""
    outer, *bare = (path.points(0.01) for path in decal.ink)
    holes = [hole.contour.points(0.01) for hole in decal.holes]
    ink = shapely.make_valid(Polygon(outer, bare))
    cut = shapely.make_valid(Polygon(decal.outline.points(0.01), holes))
    return InkedShape(decal.ink, ink.union(cut))


def _bare(hole: Hole, inward: float) -> Path | None:
    """What of a hole stays without ink: all of it, or what the bleed leaves."""
    circle = _round(hole)
    if circle is not None:
        return offset_circle(circle.x, circle.y, circle.diameter, inward)
    try:
        return offset_path(hole.contour, inward)
    except InputProblem:
        return None


@dataclass(frozen=True)
class Piece:
    """A placed copy: the decal, its placement, and its inked area (outline grown by the bleed).

    ``shape`` is what the copies of a decal have in common; it is worked out where it is missing.
    """

    decal: Decal
    placement: Placement
    settings: ComposeSettings
    shape: InkedShape | None = None

    @cached_property
    def sheet_from_decal(self) -> Affine:
        """True sheet mm from the decal frame: the placement after the part fit."""
        return self.placement.sheet_from_fitted @ self.decal.fitted_from_decal

    @property
    def copy(self) -> int:
        """Which copy, from 1."""
        return self.placement.copy

    @property
    def name(self) -> str:
        """What the piece is called on the sheet: the decal's name, and the copy if several."""
        if self.decal.copies == 1:
            return self.decal.label or self.decal.name
        if self.decal.label:
            return f"{self.decal.label}, copy {self.copy} of {self.decal.copies}"
        return f"{self.decal.name} {self.copy}/{self.decal.copies}"

    @cached_property
    def _shape(self) -> InkedShape:
        return self.shape or inked_shape(self.decal)

    @cached_property
    def inked(self) -> tuple[Path, ...]:
        """Where ink may lie, in sheet mm."""
        return tuple(path.mapped(self.sheet_from_decal) for path in self._shape.paths)

    @cached_property
    def area(self) -> BaseGeometry:
        """The inked area with its holes kept, as a shapely geometry in sheet mm."""
        m = self.sheet_from_decal
        return affine_transform(self._shape.polygon, [m.a, m.c, m.b, m.d, m.e, m.f])

    def items(self) -> list[Item]:
        """Everything of this piece but its label, in sheet mm."""
        decal = self.decal
        found: list[Item] = []
        if decal.bleed_artwork is not None:
            m = self.sheet_from_decal @ decal.decal_from_bleed
            found.append(
                PlacedArtwork(
                    decal.bleed_artwork, m, self.inked, decal.name, self.copy, Layer.BLEED
                )
            )
        m = self.sheet_from_decal @ decal.decal_from_artwork
        found.append(PlacedArtwork(decal.artwork, m, self.inked, decal.name, self.copy))
        colour = self.settings.outline_colour(decal.edge_colours)
        found.append(replace(self._line(Layer.CUT_OUTLINE, decal.outline), colour=colour))
        for hole in decal.holes:
            found.extend(self._hole(hole))
        return [*found, *self.marks()]

    def marks(self) -> list[Item]:
        """The further items of the decal, such as match ticks, in sheet mm."""
        return [self._mark(item) for item in self.settings.marks_of(self.decal.name)]

    def _line(self, layer: Layer, path: Path) -> StrokeMark:
        s = self.settings
        shown = path.mapped(self.sheet_from_decal)
        return StrokeMark(layer, shown, s.cut_line_mm, s.cut_colour, (), self.decal.name, self.copy)

    def _hole(self, hole: Hole) -> list[StrokeMark]:
        if hole.kind is not HoleKind.SCREW:
            return [self._line(Layer.HOLE_GUIDE, _guide(hole))]
        if hole.circle:
            x, y, half = hole.circle.x, hole.circle.y, hole.circle.radius
        else:
            box = hole.contour.box
            (x, y), half = box.centre, min(box.width, box.height) / 2
        half = max(half, LEAST_CROSS_MM / 2)
        arms = (Line((x - half, y), (x + half, y)), Line((x, y - half), (x, y + half)))
        return [self._line(Layer.SCREW_CROSS, Path((arm,), closed=False)) for arm in arms]

    def _mark(self, item: Item) -> Item:
        """A further item, laid from the decal frame onto the sheet and marked as this copy's."""
        m, decal, copy = self.sheet_from_decal, self.decal.name, self.copy
        if isinstance(item, StrokeMark):
            return replace(item, path=item.path.mapped(m), decal=decal, copy=copy)
        if isinstance(item, FillMark):
            return replace(
                item, paths=tuple(path.mapped(m) for path in item.paths), decal=decal, copy=copy
            )
        if isinstance(item, TextMark):
            x, y = m.apply(item.x_mm, item.y_mm)
            turn = item.turn_deg + self.placement.turn_deg
            return replace(item, x_mm=x, y_mm=y, turn_deg=turn, decal=decal, copy=copy)
        clip = tuple(path.mapped(m) for path in item.clip)
        placed = m @ item.sheet_from_artwork
        return replace(item, sheet_from_artwork=placed, clip=clip, decal=decal, copy=copy)


def _round(hole: Hole) -> Circle | None:
    """The hole's circle where it stands for the contour: within ``ROUND_MM`` of it all round."""
    return hole.circle if hole.circle and hole.fit_error_mm <= ROUND_MM else None


def _guide(hole: Hole) -> Path:
    circle = _round(hole)
    return circle_path(circle.x, circle.y, circle.diameter) if circle else hole.contour
