"""The cut outline, from the surest thing there is, and how the artwork lies under it."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from decalprep.errors import InputProblem
from decalprep.geometry import Affine, Box, Line, Path, rectangle_path
from decalprep.model import Artwork, Hole, Notice, PartFace, Severity
from decalprep.outline.advice import outline_advice
from decalprep.outline.align import Alignment, align_boxes, align_holes, align_outlines
from decalprep.outline.arcs import arcs_from_points
from decalprep.outline.drawn_holes import holes_in_artwork
from decalprep.outline.largest import OwnOutline
from decalprep.outline.own import own_outline
from decalprep.outline.settings import OutlineSettings, OutlineSource
from decalprep.outline.shaping import offset_path, round_corners

if TYPE_CHECKING:
    from decalprep.pdfstream import PageContents

FACET_MM = 0.03
"""Facets that cut a curve shorter than this are facets; longer sides are meant."""
SAME_MM = 0.5
"""The artwork's own outline is taken for the part's when it is nowhere farther away than this."""


@dataclass(frozen=True)
class FoundOutline:
    """The cut outline in decal mm, where it came from, and how the artwork lies in that frame.

    ``layer`` and ``spot`` name the layer or spot colour that only guides the knife and need not be
    printed (empty where the outline is a printed shape). ``own_path`` is the outline found in the
    artwork itself, in decal mm, also where the part's was used.
    """

    outline: Path
    source: str
    decal_from_artwork: Affine
    notices: tuple[Notice, ...] = ()
    layer: str = ""
    error_mm: float = 0.0
    aligned_by: str = "artwork frame"
    own_path: Path | None = None
    spot: str = ""


def find_outline(
    artwork: Artwork,
    contents: PageContents,
    face: PartFace | None,
    settings: OutlineSettings,
) -> FoundOutline:
    """The cut outline in decal mm and its source, never a mere bounding box.

    In this order: the layer or spot colour that the user names; the part's face; a layer or spot
    colour whose name says that it is the outline; the exact outline of a drawing; the largest
    closed visible path; the picture's edge, traced. With a part the decal frame is the part's,
    else the artwork's. The page's own edge is taken only when the user says so.

    Raises:
        InputProblem: none of these gives an outline, or the drawing is ambiguous.
        UsageProblem: the named layer or spot colour is not in the file, or no part was given.
    """
    own = own_outline(artwork, contents, face, settings)
    if face is None:
        if own is None:
            raise InputProblem(
                "no cut outline was found", where=artwork.source, do=outline_advice(artwork)
            )
        alignment = Alignment(settings.decal_from_artwork or Affine(), "artwork frame", 0.0)
        notices = own.notices
    else:
        alignment, told = _aligned(artwork, contents, face, own, settings)
        told += _turned(alignment, artwork)
        notices = (*(own.notices if own and own.sure else ()), *told)
    m = alignment.decal_from_artwork
    mapped = own.path.mapped(m) if own else None
    if own is not None and mapped is not None and (face is None or _outranks(own, settings)):
        found = FoundOutline(mapped, own.source, m, notices, error_mm=own.error_mm)
    else:
        assert face is not None
        source = f"part: {face.described or 'face'}"
        found = FoundOutline(_unfaceted(face), source, m, notices, error_mm=face.facet_error_mm)
    found = replace(
        found,
        aligned_by=alignment.by,
        own_path=mapped,
        layer=own.layer if own else "",
        spot=own.spot if own else "",
    )
    return _shaped(found, settings, artwork)


def _outranks(own: OwnOutline, settings: OutlineSettings) -> bool:
    """Whether the artwork's outline goes before the part's: only on the user's word."""
    return own.asked and settings.source is not OutlineSource.PART


def _unfaceted(face: PartFace) -> Path:
    """The part's outline, facets of a mesh turned back into the arcs that their corners lie on."""
    path = face.outline
    if face.facet_error_mm <= 0 or not all(isinstance(s, Line) for s in path.segments):
        return path
    return arcs_from_points(path.points(), facet=min(face.facet_error_mm, FACET_MM))


def _shaped(found: FoundOutline, settings: OutlineSettings, artwork: Artwork) -> FoundOutline:
    outline, source, notices = found.outline, found.source, found.notices
    if settings.offset_mm:
        outline = offset_path(outline, settings.offset_mm)
        source += f", moved by {settings.offset_mm:+g} mm"
    if settings.corner_radius_mm > 0:
        outline, missed = round_corners(outline, settings.corner_radius_mm)
        source += f", corners rounded to {settings.corner_radius_mm:g} mm"
        if missed:
            notices += (
                Notice(
                    "corner-too-tight",
                    f"{missed} corners are too tight for a radius of "
                    f"{settings.corner_radius_mm:g} mm and stay sharp",
                    artwork.name,
                ),
            )
    if not outline.polygon(0.02).is_valid:
        raise InputProblem(
            f"the outline ({source}) crosses itself",
            where=artwork.source,
            do=outline_advice(artwork),
        )
    return replace(found, outline=outline, source=source, notices=notices)


# ---------------------------------------------------------------- artwork and part


def _aligned(
    artwork: Artwork,
    contents: PageContents,
    face: PartFace,
    own: OwnOutline | None,
    settings: OutlineSettings,
) -> tuple[Alignment, tuple[Notice, ...]]:
    """How the artwork lies on the part, by the surest thing both have."""
    if settings.decal_from_artwork is not None:
        return Alignment(settings.decal_from_artwork, "the user's word", 0.0), ()
    by_outline = align_outlines(face.outline, own.path) if own else None
    if own is not None and own.sure and by_outline is not None:
        return by_outline, _misfit(by_outline, own.source, artwork, settings)
    by_holes = align_holes(face.holes, _artwork_holes(artwork, contents, own, settings))
    agree = by_outline is not None and by_outline.left_mm <= SAME_MM
    if by_holes is not None and not (agree and by_holes.left_mm > settings.misfit_mm):
        return by_holes, ()
    if by_outline is not None and agree:
        assert own is not None
        return replace(by_outline, by=own.source), _misfit(
            by_outline, own.source, artwork, settings
        )
    box = own.path.box if own else Box(0, 0, artwork.width_mm, artwork.height_mm)
    by_box = align_boxes(face.outline.box, box)
    text = (
        "artwork and part have neither an outline nor two holes in common, so the centres of their "
        f"boxes were laid together (sizes differ by {2 * by_box.left_mm:.2f} mm); check the place "
        "of every hole, or put the part's outline on a layer of the artwork"
    )
    same_size = 2 * by_box.left_mm <= SAME_MM
    notice = Notice(
        "aligned-by-box", text, artwork.name, Severity.WARNING if same_size else Severity.DANGER,
        face.outline.box, (("difference_mm", 2 * by_box.left_mm),),
    )  # fmt: skip
    return by_box, (notice,)


def _turned(alignment: Alignment, artwork: Artwork) -> tuple[Notice, ...]:
    """A warning where the artwork had to be turned to lie on the part."""
    m = alignment.decal_from_artwork
    degrees = round(math.degrees(math.atan2(m.b, m.a))) % 360
    if degrees == 0 or alignment.by == "the user's word":
        return ()
    text = f"the artwork was turned by {degrees} degrees counter-clockwise to lie on the part"
    turn = (("turn_deg", float(degrees)),)
    return (Notice("artwork-turned", text, artwork.name, Severity.WARNING, numbers=turn),)


def _misfit(
    alignment: Alignment, source: str, artwork: Artwork, settings: OutlineSettings
) -> tuple[Notice, ...]:
    if alignment.left_mm <= settings.misfit_mm:
        return ()
    text = (
        f"the artwork's outline ({source}) and the part's differ by up to "
        f"{alignment.left_mm:.2f} mm after laying one on the other"
    )
    numbers = (("difference_mm", alignment.left_mm),)
    return (Notice("outline-misfit", text, artwork.name, Severity.DANGER, numbers=numbers),)


def _artwork_holes(
    artwork: Artwork, contents: PageContents, own: OwnOutline | None, settings: OutlineSettings
) -> tuple[Hole, ...]:
    within = own.path if own else rectangle_path(Box(0, 0, artwork.width_mm, artwork.height_mm))
    return holes_in_artwork(artwork, contents, within, settings).holes
