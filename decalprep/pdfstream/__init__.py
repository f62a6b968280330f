"""Content streams of PDF pages: tokens, and what they paint.

Convention: page points (1/72 in), y up, the page's own origin; UserUnit is applied, Rotate is
not (artwork pages have neither). Numbers are float64 as written. Nothing here writes files.
Widths of strokes are |w| times the singular values of the map to the page at the time of painting.
"""

from decalprep.pdfstream.access import (
    matrix_of,
    object_key,
    page_content,
    page_resources,
    shown_parts,
    stream_bytes,
    user_unit,
)
from decalprep.pdfstream.colour import BLACK, Colour, colour_in, component_count, space_family
from decalprep.pdfstream.contents import PageContents, PaintedShape, ShownImage, ShownText
from decalprep.pdfstream.layers import LayerRef, LayerTable
from decalprep.pdfstream.paths import path_steps, paths_in
from decalprep.pdfstream.read import open_document, read_page
from decalprep.pdfstream.state import Frame, GraphicsState
from decalprep.pdfstream.tokens import (
    PATH,
    Operation,
    PdfName,
    inline_image_dict,
    numbers,
    operands,
    operations,
)
from decalprep.pdfstream.walker import TEXT_STROKING, Walker, WalkLimits

__all__ = [
    "BLACK",
    "PATH",
    "TEXT_STROKING",
    "Colour",
    "Frame",
    "GraphicsState",
    "LayerRef",
    "LayerTable",
    "Operation",
    "PageContents",
    "PaintedShape",
    "PdfName",
    "ShownImage",
    "ShownText",
    "WalkLimits",
    "Walker",
    "colour_in",
    "component_count",
    "inline_image_dict",
    "matrix_of",
    "numbers",
    "object_key",
    "open_document",
    "operands",
    "operations",
    "page_content",
    "page_resources",
    "path_steps",
    "paths_in",
    "read_page",
    "shown_parts",
    "space_family",
    "stream_bytes",
    "user_unit",
]
