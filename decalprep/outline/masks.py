"""Paint masks: what is taped over before a plate is painted, each from its own plate.

A mask covers the face the decal (or the light) will use, a little smaller than the plate by the
choke, so that paint runs under the decal's edge; round every opening it stands back by the rim,
so that the rim of a switch hole gets paint. A mask applied from behind is mirrored left to right
about the middle of its plate.
"""

from dataclasses import dataclass

import numpy as np
import shapely
from shapely.geometry import LineString, MultiLineString
from shapely.geometry.base import BaseGeometry
from shapely.ops import unary_union

from decalprep.errors import InputProblem
from decalprep.geometry import Affine, Box, Line, Path
from decalprep.model import Notice, PartFace, Severity
from decalprep.outline.align import align_holes
from decalprep.outline.matching import match_holes
from decalprep.outline.shaping import FINE_MM, moved, paths_of, polygons_of

SLIVER_MM2 = 0.5
"""Differences smaller than this are facets and rounding, not different plates."""
HATCH_MM = 2.0
MEET_MM = 0.5
"""Holes of two plates this near lie one over the other."""


@dataclass(frozen=True)
class MaskSettings:
    """How far the mask stays inside the plate's edge, and back from openings, in mm.

    Half a millimetre and one millimetre are our choice; common practice gives no source.
    """

    choke_mm: float = 0.5
    rim_mm: float = 1.0


@dataclass(frozen=True)
class PaintMask:
    """One mask: its paths (mm, even-odd, as they are cut), area in mm2, whether mirrored."""

    name: str
    side: str
    paths: tuple[Path, ...]
    area_mm2: float
    mirrored: bool
    notices: tuple[Notice, ...] = ()


@dataclass(frozen=True)
class PlateDifference:
    """Where two plates differ in outline: paths, areas in mm2 and hatch lines, in the face's mm."""

    only_face: tuple[Path, ...]
    only_back: tuple[Path, ...]
    only_face_mm2: float
    only_back_mm2: float
    hatch: tuple[Path, ...]
    face_from_back: Affine
    notices: tuple[Notice, ...] = ()


def paint_mask(
    plate: PartFace, *, name: str, side: str = "front", settings: MaskSettings | None = None
) -> PaintMask:
    """The mask for one side of a plate; ``side`` "back" is mirrored, for it is applied from behind.

    Raises:
        InputProblem: nothing is left of it.

    >>> from decalprep.geometry import rectangle_path
    >>> mask = paint_mask(PartFace(rectangle_path(Box(0, 0, 100, 60))), name="bow")
    >>> mask.area_mm2
    5841.0
    """
    chosen = settings or MaskSettings()
    shape: BaseGeometry = moved(plate.outline.polygon(FINE_MM), -chosen.choke_mm)
    openings = [moved(h.contour.polygon(FINE_MM), chosen.rim_mm) for h in plate.holes]
    shape = shape.difference(unary_union(openings))
    parts = polygons_of(shape)
    if not parts:
        raise InputProblem(
            f"nothing is left of the paint mask with a choke of {chosen.choke_mm:g} mm",
            where=name,
            do="use a smaller choke",
        )
    notices = []
    if len(parts) > 1:
        text = f"the {side} mask falls into {len(parts)} pieces; place each by itself"
        notices.append(Notice("mask-in-pieces", text, name))
    paths = paths_of(shape)
    mirrored = side == "back"
    if mirrored:
        x, _ = plate.outline.box.centre
        paths = tuple(p.mapped(Affine.scaling(-1, 1).about(x, 0)) for p in paths)
    return PaintMask(name, side, paths, float(shape.area), mirrored, tuple(notices))


def plate_masks(
    face: PartFace,
    back: PartFace | None,
    *,
    name: str,
    settings: MaskSettings | None = None,
) -> tuple[tuple[PaintMask, ...], PlateDifference | None]:
    """(masks for front and back of each plate, where the two plates differ).

    Every mask comes from its own plate: one taken from the other leaves bare plastic where they
    differ.
    """
    plates = [(face, f"{name} face plate")]
    if back is not None:
        plates.append((back, f"{name} back plate"))
    masks = tuple(
        paint_mask(plate, name=title, side=side, settings=settings)
        for plate, title in plates
        for side in ("front", "back")
    )
    return masks, compare_plates(face, back, name=name) if back is not None else None


def compare_plates(face: PartFace, back: PartFace, *, name: str = "") -> PlateDifference:
    """Where the outlines of two plates differ, as area in mm2 and as a hatched shape.

    The plates are compared as they lie where their holes meet there (or one has none), else
    after laying hole on hole.
    """
    m, notices = _face_from_back(face, back, name)
    a, b = face.outline.polygon(FINE_MM), back.outline.mapped(m).polygon(FINE_MM)
    only_face, only_back = _kept(a.difference(b)), _kept(b.difference(a))
    if not (only_face.is_empty and only_back.is_empty):
        both = unary_union([only_face, only_back])
        text = (
            f"face plate and back plate differ in outline: {only_face.area:.1f} mm2 only in the "
            f"face plate, {only_back.area:.1f} mm2 only in the back plate; each needs its own mask"
        )
        numbers = (("only_face_mm2", only_face.area), ("only_back_mm2", only_back.area))
        place = Box(*both.bounds)
        notices += (Notice("plates-differ", text, name, Severity.WARNING, place, numbers),)
    return PlateDifference(
        paths_of(only_face),
        paths_of(only_back),
        float(only_face.area),
        float(only_back.area),
        (*hatched(only_face, 45.0), *hatched(only_back, -45.0)),
        m,
        notices,
    )


def _kept(shape: BaseGeometry) -> BaseGeometry:
    """The parts of a difference that are wider than facets."""
    parts = [p for p in polygons_of(shape) if p.area >= SLIVER_MM2 and not p.buffer(-0.05).is_empty]
    return unary_union(parts)


def _face_from_back(face: PartFace, back: PartFace, name: str) -> tuple[Affine, tuple[Notice, ...]]:
    if not face.holes or not back.holes:
        return Affine(), ()
    pairs = match_holes(face.holes, back.holes).pairs
    if sum(pair.misfit_mm <= MEET_MM for pair in pairs) >= 2:
        return Affine(), ()
    found = align_holes(face.holes, back.holes)
    if found is not None:
        text = f"the back plate was laid on the face plate by {found.by} before comparing"
        return found.decal_from_artwork, (Notice("plates-aligned", text, name, Severity.NOTE),)
    text = "face plate and back plate have no two holes in common; compared as they lie"
    return Affine(), (Notice("plates-not-aligned", text, name),)


def hatched(shape: BaseGeometry, angle_deg: float, step_mm: float = HATCH_MM) -> tuple[Path, ...]:
    """Straight lines ``step_mm`` apart across a shape, as open paths in mm."""
    if shape.is_empty:
        return ()
    x0, y0, x1, y1 = shape.bounds
    x, y = (x0 + x1) / 2, (y0 + y1) / 2
    reach = float(np.hypot(x1 - x0, y1 - y0)) / 2 + step_mm
    turn = Affine.rotation(angle_deg).about(x, y)
    rules = [
        LineString(turn.apply_all([(x - reach, y + d), (x + reach, y + d)]))
        for d in np.arange(-reach, reach, step_mm) + step_mm / 2
    ]
    cut = shapely.intersection(MultiLineString(rules), shape)
    lines = cut.geoms if hasattr(cut, "geoms") else [cut]
    return tuple(
        Path((Line(s.coords[0], s.coords[-1]),), closed=False)
        for s in lines
        if isinstance(s, LineString) and s.length > 0.1
    )
