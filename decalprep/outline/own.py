"""The outline that an artwork holds itself: named, drawn exactly, largest path, or traced."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from shapely.geometry import Polygon

from decalprep.errors import InputProblem, UsageProblem, near_first
from decalprep.geometry import Box, Path, rectangle_path
from decalprep.model import Artwork, Notice, PartFace, Severity
from decalprep.outline.advice import outline_advice
from decalprep.outline.arcs import arcs_restored
from decalprep.outline.drawn import COARSE_MM, arc_tolerance_mm, chained
from decalprep.outline.largest import OwnOutline, largest_path
from decalprep.outline.settings import OutlineSettings, OutlineSource
from decalprep.outline.trace import trace_edge

if TYPE_CHECKING:
    from decalprep.pdfstream import PageContents, PaintedShape


def own_outline(
    artwork: Artwork, contents: PageContents, face: PartFace | None, settings: OutlineSettings
) -> OwnOutline | None:
    """The outline in the artwork itself, in artwork mm; None where only the part has one.

    Raises:
        InputProblem: nothing in the artwork can be its outline, and there is no part.
        UsageProblem: what the user named is not there.
    """
    source = settings.source
    if source is OutlineSource.PART and face is None:
        raise UsageProblem("the outline is to come from the part, but no part was given")
    if source is OutlineSource.PAGE:
        page = rectangle_path(Box(0, 0, artwork.width_mm, artwork.height_mm))
        return OwnOutline(page, "the page's edge, as asked", asked=True, sure=True)
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
        words = f"drawing: {artwork.face.described or 'face'}"
        return OwnOutline(artwork.face.outline, words, sure=True)
    if face is not None and source in (OutlineSource.AUTO, OutlineSource.PART):
        try:  # the part has an outline of its own; this one only serves to align the artwork
            largest = largest_path(artwork, contents, settings)
            return largest or _traced(artwork, settings, asked=False)
        except InputProblem:
            return None
    if source in (OutlineSource.AUTO, OutlineSource.PATH):
        largest = largest_path(artwork, contents, settings)
        if largest is not None:
            return replace(largest, asked=source is OutlineSource.PATH)
        if source is OutlineSource.PATH:
            raise InputProblem(
                "there is no closed path", where=artwork.source, do=outline_advice(artwork)
            )
    return _traced(artwork, settings, asked=source is OutlineSource.PICTURE)


def _traced(artwork: Artwork, settings: OutlineSettings, *, asked: bool) -> OwnOutline:
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
    return OwnOutline(traced.path, source, asked=asked, error_mm=traced.error_mm, notices=(notice,))


@dataclass(frozen=True)
class _Group:
    """Shapes drawn as outline: whose name they bear, and whether the user gave it."""

    shapes: tuple[PaintedShape, ...]
    source: str
    asked: bool
    layer: str = ""
    spot: str = ""


def _group(contents: PageContents, settings: OutlineSettings, where: str) -> _Group | None:
    if settings.layer:
        source = f"layer {settings.layer!r}"
        shapes = tuple(s for s in contents.shapes if same_name(s.layer, settings.layer))
        known = "layers here: " + near_first(settings.layer, contents.layers)
    elif settings.spot:
        source = f"spot colour {settings.spot!r}"
        shapes = tuple(s for s in contents.shapes if spot_of(s, settings.spot))
        known = "spot colours here: " + near_first(settings.spot, _spots(contents))
    else:
        return _group_by_name(contents, settings.outline_names)
    if not shapes:
        raise UsageProblem(f"{source} is not in the artwork", where=where, do=known)
    return _Group(shapes, source, True, *_names(shapes, settings.layer, settings.spot))


def _group_by_name(contents: PageContents, names: Sequence[str]) -> _Group | None:
    for name in names:
        on_layer = tuple(s for s in contents.shapes if same_name(s.layer, name))
        shapes = on_layer or tuple(s for s in contents.shapes if spot_of(s, name))
        if shapes:
            source = f"{'layer' if on_layer else 'spot colour'} {name!r} (by its name)"
            wanted = (name, "") if on_layer else ("", name)
            return _Group(shapes, source, False, *_names(shapes, *wanted))
    return None


def _names(shapes: Sequence[PaintedShape], layer: str, spot: str) -> tuple[str, str]:
    """Layer and spot colour as the file spells them."""
    if layer:
        return shapes[0].layer or "", ""
    return "", spot_of(shapes[0], spot)


def _named(
    artwork: Artwork, contents: PageContents, settings: OutlineSettings
) -> OwnOutline | None:
    """The outline on the named layer or spot colour, or on one named like an outline."""
    group = _group(contents, settings, artwork.source)
    if group is None:
        return None
    m = artwork.artwork_from_page
    tolerance = arc_tolerance_mm(contents, artwork)
    loose = [p.mapped(m) for s in group.shapes for p in s.paths]
    found = [arcs_restored(p, tolerance) for p in chained(loose, settings.join_mm)]
    polygons = [(path, _inside(path)) for path in found]
    polygons = [(path, inside) for path, inside in polygons if inside.area > 0]
    if not polygons:
        if not group.asked:
            return None
        raise InputProblem(
            f"{group.source} holds no closed path",
            where=artwork.source,
            do=f"close the outline (ends more than {settings.join_mm:g} mm apart are not joined)",
        )
    best, inside = max(polygons, key=lambda pair: float(pair[1].area))
    near = inside.buffer(0.05)
    outside = [path for path, polygon in polygons if not near.contains(polygon)]
    notices: tuple[Notice, ...] = ()
    if outside:
        text = (
            f"{group.source} holds {len(outside)} more closed paths outside the outline; not used"
        )
        notices = (Notice("outline-more-paths", text, artwork.name, box_mm=outside[0].box),)
    return OwnOutline(
        best, group.source, group.asked, True, group.layer, group.spot, notices=notices
    )


def _inside(path: Path) -> Polygon:
    points = path.points(COARSE_MM)
    return Polygon(points).buffer(0) if len(points) > 2 else Polygon()


def same_name(name: str | None, wanted: str) -> bool:
    """Whether a layer or spot colour is the one meant: case and outer blanks do not count."""
    return name is not None and name.strip().casefold() == wanted.strip().casefold()


def spot_of(shape: PaintedShape, wanted: str) -> str:
    """The spot colour of that name that the shape is painted in, as the file spells it, or ""."""
    colours = (
        shape.fill_colour if shape.fill else None,
        shape.stroke_colour if shape.stroke else None,
    )
    return next(
        (c.spot for c in colours if c is not None and c.spot and same_name(c.spot, wanted)), ""
    )


def _spots(contents: PageContents) -> list[str]:
    names = {
        c.spot
        for s in contents.shapes
        for c in (s.fill_colour, s.stroke_colour)
        if c is not None and c.spot
    }
    return sorted(names)
