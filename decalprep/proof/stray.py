"""Ink where none should be: a decal too many, an outline nobody asked for, artwork outside."""

from __future__ import annotations

from collections.abc import Callable, Sequence

import cv2
import numpy as np
import numpy.typing as npt
import shapely
from shapely import make_valid
from shapely.geometry import Polygon

from decalprep.geometry import Affine, Box
from decalprep.model import Layer, Notice, Severity
from decalprep.proof.expected import ExpectedDecal, ExpectedHole
from decalprep.proof.render import OpenPdf, within
from decalprep.units import MM_PER_IN

DPI = 200.0
PAPER = 230
"""Grey level from which a pixel counts as paper, in all three channels."""
SLACK_MM = 0.5
LINE_SLACK_MM = 0.3
"""Round a line: half of a line 0.3 mm wide, and a pixel."""
CROSS_MM = 3.0
"""Least length of a screw cross that is taken for granted where none is stated."""
LEAST_MM2 = 0.1
"""Stray ink under this area is not told: it is the edge of something measured elsewhere."""
LOOKED_AT = (
    Layer.ARTWORK,
    Layer.BLEED,
    Layer.CUT_OUTLINE,
    Layer.HOLE_GUIDE,
    Layer.SCREW_CROSS,
)
Mask = npt.NDArray[np.uint8]
Ring = npt.NDArray[np.float64]


def stray_ink(
    view: Callable[..., OpenPdf], page: int, decals: Sequence[ExpectedDecal]
) -> list[Notice]:
    """A notice for each layer with ink outside what is expected there."""
    notices = []
    inked = [_with_bleed(decal) for decal in decals]
    for layer in LOOKED_AT:
        rings, filled = _accounted(layer, decals, inked)
        area, where = _stray(view(layer.value), page, rings, filled=filled)
        if where is not None:
            x, y = where.centre
            text = (
                f"sheet {page + 1}: ink that nothing accounts for on the layer "
                f'"{layer.value}", {area:.1f} mm2 near ({x:.0f}, {y:.0f}) mm'
            )
            notices.append(
                Notice("proof-stray-ink", text, f"sheet {page + 1}", Severity.DANGER, where)
            )
    return notices


def _accounted(
    layer: Layer, decals: Sequence[ExpectedDecal], inked: Sequence[Ring]
) -> tuple[Sequence[Ring], bool]:
    """(rings that a layer may have ink on, whether in them too)."""
    holes = [hole for decal in decals for hole in decal.holes]
    if layer is Layer.CUT_OUTLINE:
        return [np.array(decal.outline_mm) for decal in decals], False
    if layer is Layer.HOLE_GUIDE:
        return [np.array(h.contour_mm) for h in holes if h.drawn_as == "contour"], False
    if layer is Layer.SCREW_CROSS:
        return [_round_cross(h) for h in holes if h.drawn_as == "cross"], True
    return inked, True


def _stray(
    view: OpenPdf, page: int, rings: Sequence[Ring], *, filled: bool
) -> tuple[float, Box | None]:
    """(area in mm2, box on the page) of ink of a layer away from rings that account for it."""
    areas: list[Box] = []
    total = 0.0
    for picture in view.bands(page, DPI):
        ink = (~within(picture.pixels, PAPER, 255)).view(np.uint8)
        if not ink.any():
            continue
        _blot(ink, picture.picture_from_page, rings, filled=filled)
        left, top, wide, high = cv2.boundingRect(ink)
        if not wide:
            continue
        total += cv2.countNonZero(ink) * (MM_PER_IN / DPI) ** 2
        corners = Box(left, top, left + wide, top + high).corners
        areas.append(Box.around(picture.picture_from_page.inverse().apply_all(corners)))
    if total < LEAST_MM2:
        return 0.0, None
    where = areas[0]
    for box in areas[1:]:
        where = where.union(box)
    return total, where


def _blot(ink: Mask, frame: Affine, rings: Sequence[Ring], *, filled: bool) -> None:
    """Take away the ink that is accounted for."""
    thickness = round(2 * LINE_SLACK_MM * DPI / MM_PER_IN)
    turn = np.array([[frame.a, frame.b], [frame.c, frame.d]])
    for shape in rings:
        if len(shape) < 3:
            continue
        points = shape @ turn + (frame.e, frame.f)
        ring = [np.rint(points * 16 - 8).astype(np.int32)]
        cv2.polylines(ink, ring, True, 0, thickness, shift=4)
        if filled:
            cv2.fillPoly(ink, ring, 0, shift=4)


def _with_bleed(decal: ExpectedDecal) -> Ring:
    """The outline grown by the bleed and some slack; sharp corners reach out as far as ink may."""
    grown = make_valid(Polygon(decal.outline_mm)).buffer(
        SLACK_MM + decal.bleed_mm, join_style="mitre", mitre_limit=5.0
    )
    largest = max(getattr(grown, "geoms", [grown]), key=lambda part: part.area)
    return np.asarray(shapely.get_coordinates(largest.exterior))


def _round_cross(hole: ExpectedHole) -> Ring:
    """A box round where a screw cross may have ink, whichever way it is turned."""
    box = Box.around(hole.contour_mm)
    length = max(hole.cross_mm or CROSS_MM, box.width, box.height)
    x, y = box.centre
    return np.array(Box(x, y, x, y).grown(length / 2 + LINE_SLACK_MM).corners)
