"""What a page shows, as closed paths and boxes in true millimetres of the artwork frame."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING

from shapely.geometry import Polygon

from decalprep.geometry import Affine, Box, Line, Path
from decalprep.outline.arcs import arcs_restored

if TYPE_CHECKING:
    from decalprep.model import Artwork
    from decalprep.pdfstream import Colour, PageContents, PaintedShape

COARSE_MM = 0.02
WHITE_FROM = 0.97
"""A colour whose every part is at least this is taken for white: 247 of 255."""
CUT_LINE_MM = 0.15
"""Strokes up to this width may be cut lines (our choice: a hairline is 0.09 mm)."""


@dataclass(frozen=True)
class Drawn:
    """One closed path of the page in mm, with how it is painted.

    ``path`` has its arcs found again, within ``tolerance``; ``raw`` is the path as drawn.
    """

    raw: Path
    shape: PaintedShape
    filled: bool
    stroked: bool
    white: bool
    stroke_mm: float
    tolerance: float = 0.002

    @cached_property
    def path(self) -> Path:
        """The path with arcs where its curves draw arcs."""
        return arcs_restored(self.raw, self.tolerance)

    @property
    def layer(self) -> str:
        """Name of the layer, empty if none."""
        return self.shape.layer or ""

    @cached_property
    def box(self) -> Box:
        """Bounding box in mm, within 0.02 mm of the curves."""
        return Box.around(self._points)

    @cached_property
    def _points(self) -> list[tuple[float, float]]:
        return self.raw.points(COARSE_MM)

    @cached_property
    def polygon(self) -> Polygon:
        """The inside, within 0.02 mm; an empty polygon where there is none."""
        if len(self._points) < 3:
            return Polygon()
        polygon = Polygon(self._points)
        return polygon if polygon.is_valid else polygon.buffer(0)

    @property
    def area(self) -> float:
        """Area in mm2."""
        return float(self.polygon.area)


def is_white(colour: Colour | None) -> bool:
    """Whether the colour is (nearly) paper white."""
    return colour is not None and colour.rgb is not None and min(colour.rgb) >= WHITE_FROM


def is_shown(shape: PaintedShape) -> bool:
    """Whether the shape is painted whole: a path that a clip cuts into is no outline or hole."""
    return shape.visible and not shape.clipped and (shape.fill or shape.stroke)


def step_mm(contents: PageContents, artwork: Artwork) -> float:
    """The file's own coordinate grid in mm (0 where none was seen)."""
    return contents.step_pt * artwork.artwork_from_page.stretch[0]


def arc_tolerance_mm(contents: PageContents, artwork: Artwork) -> float:
    """How far from a true arc the file's rounding can put a curve, in mm.

    Never above 0.06 mm (1.5 times 0.1 pt, nearly): whole numbers need not be rounded ones.
    """
    return min(max(0.002, 1.5 * step_mm(contents, artwork)), 0.06)


def closed_paths(
    shapes: Iterable[PaintedShape], artwork: Artwork, *, join_mm: float, tolerance: float
) -> list[Drawn]:
    """The closed paths of the shapes in mm, loose ends within ``join_mm`` closed."""
    m = artwork.artwork_from_page
    found = []
    for shape in shapes:
        width_mm = shape.stroke_width_pt[0] * m.stretch[0] if shape.stroke else 0.0
        white = is_white(shape.fill_colour) if shape.fill else False
        for path in shape.paths:
            whole = closed(path.mapped(m), join_mm, force=shape.fill)
            if whole is not None:
                fill, stroke = shape.fill, shape.stroke
                found.append(Drawn(whole, shape, fill, stroke, white, width_mm, tolerance))
    return found


def closed(path: Path, join_mm: float, *, force: bool = False) -> Path | None:
    """The path closed where its ends meet within ``join_mm`` (always with ``force``), else None."""
    if not path.segments:
        return None
    start, end = path.segments[0].start, path.segments[-1].end
    gap = math.dist(start, end)
    if not path.closed and not force and gap > join_mm:
        return None
    if gap <= 1e-9:
        return Path(path.segments, True)
    return Path((*path.segments, Line(end, start)), True)


def chained(paths: Sequence[Path], join_mm: float) -> list[Path]:
    """Open paths joined end to end where ends meet within ``join_mm``; closed ones as they are.

    Takes the nearest free end each time, so it does not depend on the order of drawing.
    """
    done = [p for p in (closed(p, join_mm) for p in paths) if p is not None]
    loose = [p for p in paths if p.segments and closed(p, join_mm) is None]
    while loose:
        chain = loose.pop(0)
        while True:
            end = chain.segments[-1].end
            if len(chain.segments) > 1 and math.dist(end, chain.segments[0].start) <= join_mm:
                whole = closed(chain, join_mm)
                if whole is not None:
                    done.append(whole)
                break
            following = _nearest_end(loose, end, join_mm)
            if following is None:
                break
            index, turned = following
            piece = loose.pop(index)
            piece = piece.reversed() if turned else piece
            bridge = (
                []
                if math.dist(end, piece.segments[0].start) <= 1e-9
                else [Line(end, piece.segments[0].start)]
            )
            chain = Path((*chain.segments, *bridge, *piece.segments), False)
    return done


def _nearest_end(
    loose: Sequence[Path], end: tuple[float, float], join_mm: float
) -> tuple[int, bool] | None:
    best: tuple[float, int, bool] | None = None
    for index, path in enumerate(loose):
        for turned in (False, True):
            start = path.segments[-1].end if turned else path.segments[0].start
            gap = math.dist(start, end)
            if gap <= join_mm and (best is None or gap < best[0]):
                best = (gap, index, turned)
    return None if best is None else (best[1], best[2])


def shown_boxes(contents: PageContents, artwork: Artwork) -> list[Box]:
    """Boxes in mm of everything the page shows whole: shapes, texts, pictures."""
    m = artwork.artwork_from_page
    boxes = []
    for shape in contents.shapes:
        if is_shown(shape):
            points = [p for path in shape.paths for p in path.mapped(m).points(COARSE_MM)]
            if points:
                boxes.append(Box.around(points))
    for text in contents.texts:
        if text.visible and text.render_mode != 3 and text.text.strip():
            boxes.append(mapped_box(text.box_pt, m))
    for image in contents.images:
        if image.visible:
            boxes.append(mapped_box(Box(0, 0, 1, 1), m @ image.page_from_image))
    return boxes


def mapped_box(box: Box, m: Affine) -> Box:
    """The box round a box's corners under an affine map."""
    return Box.around(m.apply_all(box.corners))


def inside_share(polygon: Polygon, boxes: Sequence[Box]) -> float:
    """Share of the boxes whose corners all lie in the polygon (1 where there are none)."""
    from shapely import contains_xy, prepare

    if not boxes:
        return 1.0
    prepare(polygon)
    inside = sum(
        bool(contains_xy(polygon, [c[0] for c in b.corners], [c[1] for c in b.corners]).all())
        for b in boxes
    )
    return inside / len(boxes)
