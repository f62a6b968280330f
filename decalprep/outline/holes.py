"""Holes of a decal: from the part, from a layer, or from closed paths that can only be holes."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace
from typing import TYPE_CHECKING

from decalprep.errors import UsageProblem
from decalprep.geometry import Affine, Circle
from decalprep.model import Artwork, Hole, Notice, PartFace
from decalprep.outline.align import hole_centre
from decalprep.outline.drawn_holes import FoundHoles, fitted, holes_in_artwork, refuse_many
from decalprep.outline.find import FoundOutline
from decalprep.outline.matching import match_holes
from decalprep.outline.settings import HoleSource, OutlineSettings

if TYPE_CHECKING:
    from decalprep.pdfstream import PageContents


def find_holes(
    artwork: Artwork,
    contents: PageContents,
    face: PartFace | None,
    outline: FoundOutline,
    settings: OutlineSettings,
) -> FoundHoles:
    """The holes in decal mm, labelled H1, H2, ... by rows from the top left, not yet classed.

    Where both the part and the artwork have holes the part rules, and misfits beyond
    ``settings.misfit_mm`` and holes in only one of them are told.

    Raises:
        UsageProblem: the named layer, or the part, is not there.
    """
    source = settings.hole_source
    if source is HoleSource.NONE:
        return FoundHoles((), "none, as asked")
    if source is HoleSource.PART and face is None:
        raise UsageProblem("holes are to come from the part, but no part was given")
    m = outline.decal_from_artwork
    own_outline = outline.own_path or outline.outline
    within = own_outline.mapped(m.inverse())
    drawn = holes_in_artwork(artwork, contents, within, settings, outline_layer=outline.layer)
    drawn = replace(drawn, holes=tuple(_mapped(h, m) for h in drawn.holes))
    if face is None or source in (HoleSource.LAYER, HoleSource.PATHS):
        return replace(drawn, holes=labelled(drawn.holes))
    refuse_many(len(face.holes), settings, artwork.source)
    holes = labelled(tuple(fitted(h, face.facet_error_mm) for h in face.holes))
    notices: tuple[Notice, ...] = ()
    if drawn.holes:
        matches = match_holes(
            holes, drawn.holes, misfit_mm=settings.misfit_mm, subject=artwork.name
        )
        notices = matches.notices
    return FoundHoles(holes, f"part: {face.described or 'face'}", notices, drawn.layer, drawn.spot)


def _mapped(hole: Hole, m: Affine) -> Hole:
    circle = hole.circle
    if circle is not None:
        x, y = m.apply(circle.x, circle.y)
        circle = Circle(x, y, circle.diameter * math.sqrt(abs(m.determinant)))
    return replace(hole, contour=hole.contour.mapped(m), circle=circle)


def labelled(holes: Sequence[Hole]) -> tuple[Hole, ...]:
    """The holes in reading order (rows of 3 mm from the top), labelled H1, H2, ... where bare."""

    def key(hole: Hole) -> tuple[float, float, float]:
        x, y = hole_centre(hole)
        return (-round(y / 3), round(x, 3), -y)

    ordered = sorted(holes, key=key)
    return tuple(replace(h, label=h.label or f"H{k}") for k, h in enumerate(ordered, 1))
