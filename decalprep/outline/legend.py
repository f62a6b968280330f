"""The legend of a decal as shapes: what is left open in an underlay, so that light passes."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray
from shapely.geometry import Polygon
from shapely.geometry.base import BaseGeometry
from shapely.ops import unary_union

from decalprep.errors import InputProblem, UsageProblem, near_first
from decalprep.geometry import FLATTEN_MM, Affine, Box, Path
from decalprep.model import Artwork, Hole
from decalprep.outline.bleed import filled_mask
from decalprep.outline.picture import Numbers, Picture, draw
from decalprep.outline.safe import painted_area
from decalprep.outline.trace import half_level, slopes

if TYPE_CHECKING:
    from decalprep.pdfstream import Colour, PageContents, PaintedShape

TRACE_DPI = 600.0
HOLE_EDGE_MM = 0.25
"""White this near a hole is the hole as drawn, not legend."""


@dataclass(frozen=True)
class LegendChoice:
    """What is legend: paints within ``slack`` (0 to 1, per channel) of the colours, or layers.

    With neither, near-white paint is legend: a dark panel with light lettering, lit from behind.
    """

    colours: tuple[tuple[float, float, float], ...] = ((1.0, 1.0, 1.0),)
    layers: tuple[str, ...] = ()
    slack: float = 0.06


@dataclass(frozen=True)
class LegendShapes:
    """The legend in decal mm, whether it is exact or traced, and how far it may be off."""

    area: BaseGeometry
    source: str
    error_mm: float


def legend_shapes(
    artwork: Artwork,
    contents: PageContents,
    outline: Path,
    *,
    decal_from_artwork: Affine,
    choice: LegendChoice | None = None,
    holes: Sequence[Hole] = (),
) -> LegendShapes:
    """What shows as legend inside the outline and outside the holes, in decal mm.

    Bare paper counts as white. Exact from the painted shapes (curves within 0.002 mm), later paint
    covering earlier; where the legend holds text or the page holds pictures, traced from the page
    drawn at 600 dpi, to half a pixel (0.021 mm).

    Raises:
        InputProblem: nothing of the legend shows.
        UsageProblem: a named layer is not in the artwork.
    """
    chosen = choice or LegendChoice()
    unknown = [n for n in chosen.layers if n not in contents.layers]
    if unknown:
        known = near_first(unknown[0], contents.layers)
        raise UsageProblem(
            f"legend layer {unknown[0]!r} is not in the artwork", where=artwork.source,
            do=f"layers here: {known}",
        )  # fmt: skip
    inside = outline.polygon(0.005)
    text = any(
        t.visible and t.render_mode not in (3, 7) and _chosen(t.layer, t.colour, chosen)
        for t in contents.texts
    )
    cut = any(s.clipped and s.visible for s in contents.shapes)
    if text or cut or any(i.visible for i in contents.images):
        found = _traced(artwork, outline, decal_from_artwork, _colours(contents, chosen), chosen)
    else:
        white = not chosen.layers and _near((1.0, 1.0, 1.0), chosen.colours, chosen.slack)
        bare = inside if white else Polygon()
        area = _painted(contents, decal_from_artwork @ artwork.artwork_from_page, chosen, bare)
        found = LegendShapes(area.intersection(inside), "painted shapes", 0.0)
    gone = unary_union([h.contour.polygon(0.005).buffer(HOLE_EDGE_MM) for h in holes])
    found = replace(found, area=found.area.difference(gone))
    if found.area.is_empty:
        raise InputProblem(
            "no legend shows inside the outline",
            where=artwork.source,
            do="name its colour or its layer",
        )
    return found


def _chosen(layer: str | None, colour: Colour, choice: LegendChoice) -> bool:
    if choice.layers:
        return layer in choice.layers
    return colour.rgb is not None and _near(colour.rgb, choice.colours, choice.slack)


def _near(
    rgb: Sequence[float], colours: Sequence[tuple[float, float, float]], slack: float
) -> bool:
    return any(max(abs(a - b) for a, b in zip(rgb, c, strict=True)) <= slack for c in colours)


def _painted(
    contents: PageContents, m: Affine, choice: LegendChoice, bare: Polygon
) -> BaseGeometry:
    """Legend paint in drawing order over ``bare``, other paint taking away what it covers."""
    area: BaseGeometry = bare
    for shape in sorted(contents.shapes, key=lambda s: s.order):
        if not shape.visible:
            continue
        for colour, part in _paints(shape):
            covered = painted_area(part, m, FLATTEN_MM)
            if covered is None:
                continue
            if _chosen(shape.layer, colour, choice):
                area = area.union(covered)
            else:
                area = area.difference(covered)
    return area


def _paints(shape: PaintedShape) -> list[tuple[Colour, PaintedShape]]:
    parts = []
    if shape.fill:
        parts.append((shape.fill_colour, replace(shape, stroke=False)))
    if shape.stroke:
        parts.append((shape.stroke_colour, replace(shape, fill=False)))
    return parts


def _colours(
    contents: PageContents, choice: LegendChoice
) -> tuple[tuple[float, float, float], ...]:
    """The legend's colours: as chosen, or those on the chosen layers."""
    if not choice.layers:
        return choice.colours
    shown = [t.colour for t in contents.texts if t.layer in choice.layers and t.visible]
    for shape in contents.shapes:
        if shape.layer in choice.layers and shape.visible:
            shown.extend(colour for colour, _ in _paints(shape))
    return tuple(sorted({c.rgb for c in shown if c.rgb is not None}))


def _traced(
    artwork: Artwork,
    outline: Path,
    decal_from_artwork: Affine,
    colours: tuple[tuple[float, float, float], ...],
    choice: LegendChoice,
) -> LegendShapes:
    """The legend's colour found in the drawn page, its edges placed where half a pixel is it."""
    inside = outline.polygon(0.005)
    box = Box(*inside.bounds).grown(0.5)
    picture = draw(artwork, decal_from_artwork, box, dpi=TRACE_DPI)
    within = filled_mask(inside, picture)
    cover = _cover(picture, within, colours, choice)
    area = rings_area(cover, picture)
    error = picture.mm_per_px / 2
    return LegendShapes(
        area.intersection(inside), f"traced from the drawn page, to {error:.3f} mm", error
    )


def _cover(
    picture: Picture,
    within: NDArray[np.bool_],
    colours: tuple[tuple[float, float, float], ...],
    choice: LegendChoice,
) -> Numbers:
    """How much of each pixel is legend: along the line from the ground's colour to the legend's."""
    rgb = picture.paper.astype(np.float32) / np.float32(255)
    best = np.zeros(rgb.shape[:2], np.float32)
    for colour in colours:
        legend = np.array(colour, dtype=np.float32)
        away = np.abs(rgb - legend).max(axis=2)
        others = within & (away > 2 * choice.slack + 0.05)
        if not others.any():
            best = np.ones_like(best)
            continue
        ground = np.median(rgb[others], axis=0)
        line = legend - ground
        length = float(line @ line)
        part = ((rgb - ground) @ line) / max(length, 1e-9)
        off = np.abs(rgb - ground - part[..., None] * line).max(axis=2)
        cover = np.where(off <= 0.15, np.clip(part, 0, 1), 0.0)
        best = np.maximum(best, np.where(away <= choice.slack, 1.0, np.minimum(cover, 0.98)))
    result: Numbers = np.where(within, best, 0.0)
    return result


def rings_area(cover: Numbers, picture: Picture) -> BaseGeometry:
    """The area in mm where the cover is above one half, its edges placed within a pixel."""
    import cv2

    cover = cover.astype(np.float32)
    slope = slopes(cover)
    solid = (cover >= 0.5).astype(np.uint8)
    contours, tree = cv2.findContours(solid, cv2.RETR_CCOMP, cv2.CHAIN_APPROX_NONE)
    if not contours:
        return Polygon()
    outers: list[BaseGeometry] = []
    inners: list[BaseGeometry] = []
    for contour, node in zip(contours, tree[0], strict=True):
        if len(contour) < 4:
            continue
        points = half_level(cover, contour[:, 0, :].astype(np.float64), slope)
        if len(points) < 4:
            continue
        ring = Polygon(picture.decal_from_px.apply_all(points)).buffer(0)
        ring = ring.simplify(0.1 * picture.mm_per_px)
        (outers if node[3] < 0 else inners).append(ring)
    return unary_union(outers).difference(unary_union(inners))
