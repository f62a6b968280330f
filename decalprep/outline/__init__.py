"""What the knife follows: outlines, holes, bleed, masks, underlay.

Everything is in decal millimetres, y up: the part's frame where there is a part, else the
artwork's own (its page's lower left corner). Artwork is turned by quarters and shifted onto a
part, never scaled or mirrored. Circles are found within 0.02 mm or the grid of the file, whichever
is coarser; arcs are found again within 0.002 mm, the flattening tolerance. Screw and switch sizes
come from named tables (``tables``), each row with how sure we are of it.
"""

from decalprep.outline.align import Alignment, align_boxes, align_holes, align_outlines
from decalprep.outline.arcs import arcs_from_points, arcs_restored
from decalprep.outline.bleed import Bleed, BleedSettings, make_bleed
from decalprep.outline.classing import class_holes, class_of, hole_classes, wide_screws
from decalprep.outline.drawn_holes import FoundHoles, fitted
from decalprep.outline.find import FoundOutline, find_outline
from decalprep.outline.holes import find_holes, labelled
from decalprep.outline.legend import LegendChoice, LegendShapes, legend_shapes
from decalprep.outline.lightblock import (
    Underlay,
    UnderlaySettings,
    layers_for,
    legend_shaded_mm2,
    light_leak_mm2,
    pair_ticks,
    stock_advice,
    underlay,
    underlay_items,
)
from decalprep.outline.masks import (
    MaskSettings,
    PaintMask,
    PlateDifference,
    compare_plates,
    paint_mask,
    plate_masks,
)
from decalprep.outline.matching import HoleMatches, HolePair, match_holes
from decalprep.outline.safe import SafeMargins, check_safe_margin
from decalprep.outline.settings import HoleOverride, HoleSource, OutlineSettings, OutlineSource
from decalprep.outline.shaping import offset_path, paths_of, polygons_of, round_corners
from decalprep.outline.tables import HOLE_SIZES, HoleSize
from decalprep.outline.trace import Traced, trace_edge

__all__ = [
    "HOLE_SIZES",
    "Alignment",
    "Bleed",
    "BleedSettings",
    "FoundHoles",
    "FoundOutline",
    "HoleMatches",
    "HoleOverride",
    "HolePair",
    "HoleSize",
    "HoleSource",
    "LegendChoice",
    "LegendShapes",
    "MaskSettings",
    "OutlineSettings",
    "OutlineSource",
    "PaintMask",
    "PlateDifference",
    "SafeMargins",
    "Traced",
    "Underlay",
    "UnderlaySettings",
    "align_boxes",
    "align_holes",
    "align_outlines",
    "arcs_from_points",
    "arcs_restored",
    "check_safe_margin",
    "class_holes",
    "class_of",
    "compare_plates",
    "find_holes",
    "hole_classes",
    "find_outline",
    "fitted",
    "labelled",
    "layers_for",
    "legend_shaded_mm2",
    "legend_shapes",
    "light_leak_mm2",
    "make_bleed",
    "match_holes",
    "offset_path",
    "paint_mask",
    "pair_ticks",
    "paths_of",
    "plate_masks",
    "polygons_of",
    "round_corners",
    "stock_advice",
    "trace_edge",
    "underlay",
    "wide_screws",
    "underlay_items",
]
