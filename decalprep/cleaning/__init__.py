"""Artwork to artwork, with a list of what changed.

Convention: widths and places are true mm in the artwork frame (origin lower left, y up); a width
on the page is |w| times the singular values of the map from user space to the artwork. Outlines
count as the same within 0.03 mm, about the smallest dot of a desktop printer (600 dpi: 0.042 mm).
"""

from decalprep.cleaning.coarse import image_ppi, is_coarse
from decalprep.cleaning.contrast import contrast_ratio, relative_luminance
from decalprep.cleaning.hairlines import strip_hairlines
from decalprep.cleaning.leaving_out import leave_out
from decalprep.cleaning.legend import LegendInk, legend_ink
from decalprep.cleaning.legibility import LegibilitySettings, check_legibility
from decalprep.cleaning.letters import height_mm_for_angle, visual_angle_arcmin
from decalprep.cleaning.report import (
    Change,
    Cleaned,
    HairlineSettings,
    LoneHairlines,
    StrokeRow,
)
from decalprep.cleaning.stems import (
    CloseUp,
    StemWidth,
    StrokeEffect,
    close_up,
    stem_width_mm,
    stem_widths,
    stroke_effect,
)
from decalprep.cleaning.strokes import stroke_table
from decalprep.cleaning.white import WhiteSettings, make_white_bare

__all__ = [
    "Change",
    "Cleaned",
    "CloseUp",
    "HairlineSettings",
    "LegendInk",
    "LegibilitySettings",
    "LoneHairlines",
    "StemWidth",
    "StrokeEffect",
    "StrokeRow",
    "WhiteSettings",
    "check_legibility",
    "close_up",
    "contrast_ratio",
    "height_mm_for_angle",
    "image_ppi",
    "is_coarse",
    "leave_out",
    "legend_ink",
    "make_white_bare",
    "relative_luminance",
    "strip_hairlines",
    "visual_angle_arcmin",
    "stem_width_mm",
    "stem_widths",
    "stroke_effect",
    "stroke_table",
]
