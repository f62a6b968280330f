"""What one page paints, as plain data in page points, y up."""

from dataclasses import dataclass, field

from decalprep.geometry import Affine, Box, Path
from decalprep.pdfstream.colour import BLACK, Colour


@dataclass(frozen=True, slots=True)
class PaintedShape:
    """One painted path. ``stroke_width_pt`` is (largest, smallest) on the page, 0 for 0 w.

    ``clipped`` says that a clip other than a rectangle round the whole shape was on.
    ``order`` counts everything painted on the page, first 0.
    """

    paths: tuple[Path, ...]
    fill: bool
    even_odd: bool
    stroke: bool
    fill_colour: Colour = BLACK
    stroke_colour: Colour = BLACK
    stroke_width_pt: tuple[float, float] = (0.0, 0.0)
    dashed: bool = False
    layer: str | None = None
    visible: bool = True
    clipped: bool = False
    order: int = 0
    step_pt: float = 0.0


@dataclass(frozen=True, slots=True)
class ShownText:
    """One shown string. ``size_pt`` is the font size on the page, upright of the baseline.

    ``box_pt`` spans advance widths and the font's ascent and descent, not the ink;
    ``exact_widths`` False means that the file states no widths and the box is an estimate.
    ``render_mode``: 0 fill, 1 stroke, 2 both, 3 invisible, 4-7 the same and clip.
    """

    text: str
    font: str
    size_pt: float
    box_pt: Box
    render_mode: int
    layer: str | None
    visible: bool
    colour: Colour
    stroke_colour: Colour = BLACK
    stroke_width_pt: tuple[float, float] = (0.0, 0.0)
    exact_widths: bool = True
    order: int = 0


@dataclass(frozen=True, slots=True)
class ShownImage:
    """One drawn image; ``page_from_image`` maps the unit square, y up, to page points.

    ``inline`` images stand in the content stream itself; ``stencil`` ones paint the fill colour.
    """

    page_from_image: Affine
    width_px: int
    height_px: int
    bits: int
    colour_space: str
    layer: str | None
    visible: bool
    inline: bool = False
    stencil: bool = False
    order: int = 0


@dataclass(frozen=True)
class PageContents:
    """Everything one page paints.

    ``layers`` are the names of the document's layers in its own order. ``step_pt`` is the grid
    of the coordinates as written, on the page: the tolerance that circle fits must allow
    (0: no coordinates seen). ``features`` names what is painted but not followed, with counts.
    """

    shapes: tuple[PaintedShape, ...] = ()
    texts: tuple[ShownText, ...] = ()
    images: tuple[ShownImage, ...] = ()
    layers: tuple[str, ...] = ()
    step_pt: float = 0.0
    features: tuple[tuple[str, int], ...] = field(default=())
