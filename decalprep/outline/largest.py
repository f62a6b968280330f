"""The largest closed visible path as the outline, and when not to believe it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from decalprep.errors import InputProblem
from decalprep.geometry import Box, Path
from decalprep.model import Artwork, Notice, Severity
from decalprep.outline.advice import outline_advice
from decalprep.outline.drawn import (
    CUT_LINE_MM,
    Drawn,
    arc_tolerance_mm,
    closed_paths,
    inside_share,
    is_shown,
    shown_boxes,
)
from decalprep.outline.settings import OutlineSettings

if TYPE_CHECKING:
    from decalprep.pdfstream import PageContents


@dataclass(frozen=True)
class OwnOutline:
    """An outline found in the artwork, in artwork mm.

    ``asked``: it is the user's word and goes before the part. ``sure``: it was drawn as an outline,
    so it serves best to lay the artwork on the part. ``layer`` and ``spot`` need not be printed.
    """

    path: Path
    source: str
    asked: bool = False
    sure: bool = False
    layer: str = ""
    spot: str = ""
    error_mm: float = 0.0
    notices: tuple[Notice, ...] = ()


def largest_path(
    artwork: Artwork, contents: PageContents, settings: OutlineSettings
) -> OwnOutline | None:
    """The largest closed visible path in artwork mm; None where none is, or a picture is larger.

    Raises:
        InputProblem: it leaves most of the artwork outside, so it cannot be the outline.
    """
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
            do=outline_advice(artwork),
        )
    source = "largest closed path" + (f" (layer {best.layer!r})" if best.layer else "")
    return OwnOutline(best.path, source, notices=notices)


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
        f"{first.box.height:.2f} mm); {outline_advice(artwork)} if it is only background"
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
