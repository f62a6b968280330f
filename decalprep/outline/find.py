"""The cut outline, from the surest thing there is, and how the artwork lies under it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING

from decalprep.errors import InputProblem, UsageProblem
from decalprep.geometry import Affine, Box, Line, Path, rectangle_path
from decalprep.model import Artwork, Hole, Notice, PartFace, Severity
from decalprep.outline.align import Alignment, align_boxes, align_holes, align_outlines
from decalprep.outline.arcs import arcs_from_points
from decalprep.outline.drawn import (
    CUT_LINE_MM,
    Drawn,
    arc_tolerance_mm,
    chained,
    closed_paths,
    inside_share,
    is_shown,
    shown_boxes,
)
from decalprep.outline.drawn_holes import holes_in_artwork
from decalprep.outline.settings import OutlineSettings, OutlineSource
from decalprep.outline.shaping import offset_path, round_corners
from decalprep.outline.trace import trace_edge

if TYPE_CHECKING:
    from decalprep.pdfstream import PageContents, PaintedShape

WHAT_TO_DO = (
    'draw the outline on a layer "cut outline", name its layer or spot colour, or give the part'
)
FACET_MM = 0.03
"""Facets that cut a curve shorter than this are facets; longer sides are meant."""
SAME_MM = 0.5
"""The artwork's own outline is taken for the part's when it is nowhere farther away than this."""


@dataclass(frozen=True)
class FoundOutline:
    """The cut outline in decal mm, where it came from, and how the artwork lies in that frame.

    ``layer`` is the layer it was found on, so that it need not be printed. ``own_path`` is the
    outline found in the artwork itself, in decal mm, also where the part's was used.
    """

    outline: Path
    source: str
    decal_from_artwork: Affine
    notices: tuple[Notice, ...] = ()
    layer: str = ""
    error_mm: float = 0.0
    aligned_by: str = "artwork frame"
    own_path: Path | None = None
    drawn: tuple[Drawn, ...] = field(default=(), repr=False)


@dataclass(frozen=True)
class _Own:
    """An outline found in the artwork, in artwork mm."""

    path: Path
    source: str
    chosen: bool = False
    layer: str = ""
    error_mm: float = 0.0
    notices: tuple[Notice, ...] = ()
    drawn: tuple[Drawn, ...] = ()


def find_outline(
    artwork: Artwork,
    contents: PageContents,
    face: PartFace | None,
    settings: OutlineSettings,
) -> FoundOutline:
    """The cut outline in decal mm and its source, never a mere bounding box.

    In this order: the named layer or spot colour (or a layer whose name says so); the part's face;
    the largest closed visible path; the picture's edge, traced. With a part the decal frame is the
    part's, else the artwork's. The page's own edge is taken only when the user says so.

    Raises:
        InputProblem: none of these gives an outline, or the drawing is ambiguous.
        UsageProblem: the named layer or spot colour is not in the file, or no part was given.
    """
    own = _own_outline(artwork, contents, face, settings)
    if face is None:
        if own is None:
            raise InputProblem("no cut outline was found", where=artwork.source, do=WHAT_TO_DO)
        m = settings.decal_from_artwork or Affine()
        outline = own.path.mapped(m)
        found = FoundOutline(
            outline,
            own.source,
            m,
            own.notices,
            own.layer,
            own.error_mm,
            own_path=outline,
            drawn=own.drawn,
        )
        return _shaped(found, settings, artwork)
    alignment, told = _aligned(artwork, contents, face, own, settings)
    m = alignment.decal_from_artwork
    notices = (*(own.notices if own and own.chosen else ()), *told)
    if own is not None and own.chosen and settings.source is not OutlineSource.PART:
        found = FoundOutline(
            own.path.mapped(m), own.source, m, notices, own.layer, own.error_mm, alignment.by
        )
    else:
        found = FoundOutline(
            _unfaceted(face),
            f"part: {face.described or 'face'}",
            m,
            notices,
            own.layer if own and own.chosen else "",
            face.facet_error_mm,
            alignment.by,
        )
    mapped = own.path.mapped(m) if own else None
    found = replace(found, own_path=mapped, drawn=own.drawn if own else ())
    return _shaped(found, settings, artwork)


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
            f"the outline ({source}) crosses itself", where=artwork.source, do=WHAT_TO_DO
        )
    return replace(found, outline=outline, source=source, notices=notices)


# ---------------------------------------------------------------- in the artwork


def _own_outline(
    artwork: Artwork, contents: PageContents, face: PartFace | None, settings: OutlineSettings
) -> _Own | None:
    source = settings.source
    if source is OutlineSource.PART and face is None:
        raise UsageProblem("the outline is to come from the part, but no part was given")
    if source is OutlineSource.PAGE:
        page = rectangle_path(Box(0, 0, artwork.width_mm, artwork.height_mm))
        return _Own(page, "the page's edge, as asked", chosen=True)
    named = None
    if source in (OutlineSource.AUTO, OutlineSource.LAYER, OutlineSource.PART):
        named = _named(artwork, contents, settings)
    if named is not None:
        return named
    if source is OutlineSource.LAYER:
        raise UsageProblem(
            "the outline is to come from a layer, but none is named",
            where=artwork.source,
            do="layers here: " + (", ".join(contents.layers) or "none"),
        )
    if artwork.face is not None and source in (OutlineSource.AUTO, OutlineSource.PART):
        return _Own(artwork.face.outline, f"drawing: {artwork.face.described or 'face'}", True)
    if face is not None and source in (OutlineSource.AUTO, OutlineSource.PART):
        try:
            return _largest(artwork, contents, settings)
        except InputProblem:
            return None  # the part has an outline of its own; this one would only align it
    if source in (OutlineSource.AUTO, OutlineSource.PATH):
        largest = _largest(artwork, contents, settings)
        if largest is not None:
            return replace(largest, chosen=source is OutlineSource.PATH)
        if source is OutlineSource.PATH:
            raise InputProblem("there is no closed path", where=artwork.source, do=WHAT_TO_DO)
    return _traced(artwork, settings, chosen=source is OutlineSource.PICTURE)


def _traced(artwork: Artwork, settings: OutlineSettings, *, chosen: bool) -> _Own:
    traced = trace_edge(artwork, dpi=settings.trace_dpi)
    text = (
        f"the outline was traced from the picture's edge, to about {traced.error_mm:.3f} mm "
        f"(its pixels are {traced.pixel_mm:.3f} mm)"
    )
    notice = Notice(
        "outline-traced",
        text,
        artwork.name,
        Severity.NOTE,
        numbers=(("error_mm", traced.error_mm),),
    )
    source = f"picture's edge, traced to {traced.error_mm:.3f} mm"
    return _Own(traced.path, source, chosen, error_mm=traced.error_mm, notices=(notice,))


def _named(artwork: Artwork, contents: PageContents, settings: OutlineSettings) -> _Own | None:
    """The outline on the named layer or spot colour, or on a layer named like one."""
    if settings.layer:
        shapes = [s for s in contents.shapes if _same(s.layer, settings.layer)]
        source, asked = f"layer {settings.layer!r}", True
        known = "layers here: " + (", ".join(contents.layers) or "none")
    elif settings.spot:
        shapes = [s for s in contents.shapes if _has_spot(s, settings.spot)]
        source, asked = f"spot colour {settings.spot!r}", True
        known = "spot colours here: " + (", ".join(_spots(contents)) or "none")
    else:
        asked, known = False, ""
        for name in settings.outline_names:
            shapes = [s for s in contents.shapes if _same(s.layer, name) or _has_spot(s, name)]
            if shapes:
                on_layer = any(_same(s.layer, name) for s in shapes)
                source = f"{'layer' if on_layer else 'spot colour'} {name!r} (by its name)"
                break
        else:
            return None
    if not shapes:
        raise UsageProblem(f"{source} is not in the artwork", where=artwork.source, do=known)
    loose = [
        Path(p.mapped(artwork.artwork_from_page).segments, p.closed)
        for s in shapes
        for p in s.paths
    ]
    tolerance = arc_tolerance_mm(contents, artwork)
    drawn = _closed_again(chained(loose, settings.join_mm), shapes[0], tolerance)
    if not drawn:
        if not asked:
            return None
        raise InputProblem(
            f"{source} holds no closed path",
            where=artwork.source,
            do=f"close the outline (ends more than {settings.join_mm:g} mm apart are not joined)",
        )
    best = max(drawn, key=lambda d: d.area)
    outside = [
        d for d in drawn if d is not best and not best.polygon.buffer(0.05).contains(d.polygon)
    ]
    notices: tuple[Notice, ...] = ()
    if outside:
        text = f"{source} holds {len(outside)} more closed paths outside the outline; not used"
        notices = (Notice("outline-more-paths", text, artwork.name, box_mm=outside[0].box),)
    return _Own(best.path, source, True, shapes[0].layer or "", 0.0, notices, tuple(drawn))


def _closed_again(paths: Sequence[Path], shape: PaintedShape, tolerance: float) -> list[Drawn]:
    from decalprep.outline.arcs import arcs_restored

    found = [Drawn(arcs_restored(p, tolerance), shape, False, True, False, 0.0) for p in paths]
    return [d for d in found if d.area > 0]


def _same(name: str | None, wanted: str) -> bool:
    return name is not None and name.strip().casefold() == wanted.strip().casefold()


def _has_spot(shape: PaintedShape, wanted: str) -> bool:
    colours = [c for c in (shape.fill_colour, shape.stroke_colour) if c is not None]
    return any(_same(c.spot, wanted) for c in colours)


def _spots(contents: PageContents) -> list[str]:
    names = {
        c.spot
        for s in contents.shapes
        for c in (s.fill_colour, s.stroke_colour)
        if c is not None and c.spot
    }
    return sorted(names)


# ---------------------------------------------------------------- the largest closed path


def _largest(artwork: Artwork, contents: PageContents, settings: OutlineSettings) -> _Own | None:
    """The largest closed visible path; None where there is none or a picture is larger."""
    tolerance = arc_tolerance_mm(contents, artwork)
    shapes = [s for s in contents.shapes if is_shown(s)]
    drawn = closed_paths(shapes, artwork, join_mm=settings.join_mm, tolerance=tolerance)
    boxes = shown_boxes(contents, artwork)
    likely = sorted(drawn, key=lambda d: -d.box.area)[:60]
    likely = sorted((d for d in likely if d.area > 0), key=lambda d: -d.area)
    if not likely:
        return None
    best, notices = _less_background(likely, boxes, artwork)
    around = Box.around([c for b in boxes for c in b.corners])
    page = Box(0, 0, artwork.width_mm, artwork.height_mm).grown(0.5)
    around = Box(max(around.x0, page.x0), max(around.y0, page.y0),
                 min(around.x1, page.x1), min(around.y1, page.y1))  # fmt: skip
    if best.box.area < 0.5 * around.area:
        if any(i.visible for i in contents.images):
            return None
        raise InputProblem(
            f"the largest closed path ({best.box.width:.1f} x {best.box.height:.1f} mm) leaves "
            f"most of the artwork ({around.width:.1f} x {around.height:.1f} mm) outside: it is not "
            "the outline",
            where=artwork.source,
            do=WHAT_TO_DO,
        )
    source = "largest closed path" + (f" (layer {best.layer!r})" if best.layer else "")
    return _Own(best.path, source, False, best.layer, 0.0, notices, tuple(drawn))


def _less_background(
    likely: Sequence[Drawn], boxes: Sequence[Box], artwork: Artwork
) -> tuple[Drawn, tuple[Notice, ...]]:
    """The outline among the largest paths: not the page's background where another fits better.

    A rectangle as large as the page is background when a second path holds everything else and
    the rectangle is white or unfilled, or the second path is a cut line (unfilled and thin).
    """
    first = likely[0]
    second = next((d for d in likely[1:] if not _alike(d.box, first.box)), None)
    if not _covers_page(first, artwork):
        return first, _inner_line(first, second, artwork)
    if second is not None and second.area >= 0.5 * first.area:
        rest = [b for b in boxes if not _alike(b, first.box) and not _alike(b, second.box)]
        holds = inside_share(second.polygon.buffer(second.stroke_mm / 2 + 0.2), rest) == 1.0
        thin = not second.filled and second.stroke_mm <= CUT_LINE_MM
        if holds and (thin or not first.filled or first.white):
            text = (
                "the page-sized rectangle was taken for background; the outline is the next closed "
                f"path, {second.box.width:.2f} x {second.box.height:.2f} mm"
            )
            return second, (Notice("outline-background", text, artwork.name, Severity.NOTE),)
    text = (
        f"the outline is the rectangle as large as the page ({first.box.width:.2f} x "
        f"{first.box.height:.2f} mm); {WHAT_TO_DO} if it is only background"
    )
    return first, (Notice("outline-is-page-rectangle", text, artwork.name, box_mm=first.box),)


def _inner_line(first: Drawn, second: Drawn | None, artwork: Artwork) -> tuple[Notice, ...]:
    """A warning where a thin line runs close inside the largest path: that may be bleed."""
    if second is None or second.filled or second.stroke_mm > CUT_LINE_MM:
        return ()
    away = float(first.polygon.boundary.hausdorff_distance(second.polygon.boundary))
    if not 0.5 < away < 6.0:
        return ()
    text = (
        f"a thin closed line runs {away:.2f} mm or less inside the outline; if the outer path is "
        "only bleed, name the layer of the inner one"
    )
    return (Notice("outline-inner-line", text, artwork.name, box_mm=second.box),)


def _alike(box: Box, other: Box, slack: float = 0.02) -> bool:
    return box.contains(other, slack) and other.contains(box, slack)


def _covers_page(drawn: Drawn, artwork: Artwork) -> bool:
    page = Box(0, 0, artwork.width_mm, artwork.height_mm)
    return drawn.box.contains(page, 0.1) and drawn.area >= 0.9995 * drawn.box.area


# ---------------------------------------------------------------- artwork and part


def _aligned(
    artwork: Artwork,
    contents: PageContents,
    face: PartFace,
    own: _Own | None,
    settings: OutlineSettings,
) -> tuple[Alignment, tuple[Notice, ...]]:
    """How the artwork lies on the part, by the surest thing both have."""
    if settings.decal_from_artwork is not None:
        return Alignment(settings.decal_from_artwork, "the user's word", 0.0), ()
    by_outline = align_outlines(face.outline, own.path) if own else None
    if own is not None and own.chosen and by_outline is not None:
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
    notice = Notice(
        "aligned-by-box", text, artwork.name, Severity.DANGER, face.outline.box,
        (("difference_mm", 2 * by_box.left_mm),),
    )  # fmt: skip
    return by_box, (notice,)


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
    artwork: Artwork, contents: PageContents, own: _Own | None, settings: OutlineSettings
) -> tuple[Hole, ...]:
    within = own.path if own else rectangle_path(Box(0, 0, artwork.width_mm, artwork.height_mm))
    return holes_in_artwork(artwork, contents, within, settings).holes
