"""What a finished file is expected to show: plain numbers, worked out apart from the writer.

Page frame: mm from the page's lower left corner, y up, with the printer correction applied.
Decal frame: true mm; ``page_from_decal`` joins placement and correction, so that a measured
point goes back to true millimetres by its inverse.
"""

from __future__ import annotations

from dataclasses import dataclass, field

from decalprep.geometry import Affine
from decalprep.model import Layer

Point = tuple[float, float]

PREFERENCES: tuple[tuple[str, object], ...] = (
    ("PrintScaling", "None"),
    ("Enforce", ("PrintScaling",)),
    ("PickTrayByPDFSize", True),
    ("Duplex", "Simplex"),
)
"""Viewer preferences of a file that is to be printed at true scale (ISO 32000-2, table 147)."""


@dataclass(frozen=True)
class ExpectedArtwork:
    """The picture a decal should show: a one-page PDF and the true size of that page in mm.

    Give the artwork as it was taken in, before cleaning, where cleaning only strips hairlines and
    makes near-white bare: then the proof also sees what cleaning did. ``hairline_mm`` is the width
    of lines that may be missing from the sheet by intent; what is thicker and missing is a fault.
    Where layers or inks were left out, give the cleaned artwork with ``hairline_mm`` 0.
    ``white_below`` is the level 0..255 from which near-white may have been made bare paper.
    """

    page_pdf: bytes
    width_mm: float
    height_mm: float
    hairline_mm: float = 0.1
    white_below: int = 240


@dataclass(frozen=True)
class ExpectedHole:
    """A hole of one decal: its contour on the page, and how it is drawn.

    ``drawn_as`` is "contour" (on the hole guide layer), "cross" (on the screw cross layer) or
    "nothing". ``diameter_mm`` is the true diameter of a round hole. ``cross_mm`` is the whole
    length of a cross arm pair, where it is known.
    """

    name: str
    contour_mm: tuple[Point, ...]
    drawn_as: str = "contour"
    diameter_mm: float | None = None
    cross_mm: float | None = None


@dataclass(frozen=True)
class ExpectedDecal:
    """One copy of one decal on one page.

    ``outline_mm`` is the cut outline (closed, first point not repeated) on the page, flattened
    to 0.002 mm or better; ``size_mm`` is the intended true width and height of the outline in the
    decal frame. ``page_from_artwork`` takes true mm of the artwork page to page mm.
    ``bleed_mm`` is how far ink may reach beyond the outline. ``allow_gaps_mm`` is the longest gap
    in the drawn outline (dashes, tile seams).
    """

    name: str
    copy: int
    page: int
    outline_mm: tuple[Point, ...]
    size_mm: tuple[float, float]
    page_from_decal: Affine = field(default_factory=Affine)
    artwork: ExpectedArtwork | None = None
    page_from_artwork: Affine = field(default_factory=Affine)
    holes: tuple[ExpectedHole, ...] = ()
    bleed_mm: float = 0.0
    allow_gaps_mm: float = 0.0

    @property
    def title(self) -> str:
        """The decal and its copy, as in ``bow thruster #2``."""
        return f"{self.name} #{self.copy}"


@dataclass(frozen=True)
class ExpectedLine:
    """One straight or bent line of a mark layer, by the points of its centre line (page mm)."""

    name: str
    layer: str
    points_mm: tuple[Point, ...]
    closed: bool = False


@dataclass(frozen=True)
class ExpectedShape:
    """One filled shape of a layer, such as an underlay: its rings on the page (page mm).

    The first ring is the outer one, the others are holes; flattened to 0.002 mm or better.
    ``decal`` and ``copy`` say whose it is, where it is one's.
    """

    name: str
    layer: str
    rings_mm: tuple[tuple[Point, ...], ...]
    decal: str = ""
    copy: int = 1


@dataclass(frozen=True)
class ExpectedBar:
    """A check bar: the two end lines whose distance is the stated true length.

    ``first`` and ``last`` are the end ticks, each as two points (page mm).
    """

    name: str
    first: tuple[Point, Point]
    last: tuple[Point, Point]
    true_mm: float = 100.0
    layer: str = Layer.CHECK_BAR.value


@dataclass(frozen=True)
class ExpectedSheet:
    """One page: its size, the layers that must show ink on it, its marks, and the correction."""

    width_mm: float
    height_mm: float
    layers: tuple[str, ...] = ()
    lines: tuple[ExpectedLine, ...] = ()
    bars: tuple[ExpectedBar, ...] = ()
    shapes: tuple[ExpectedShape, ...] = ()
    page_from_true: Affine = field(default_factory=Affine)


@dataclass(frozen=True)
class ExpectedJob:
    """Everything one file should show.

    ``bare_fonts`` names fonts that an artwork did not carry along, which the user was told of.
    """

    sheets: tuple[ExpectedSheet, ...]
    decals: tuple[ExpectedDecal, ...]
    preferences: tuple[tuple[str, object], ...] = PREFERENCES
    attachments_allowed: bool = True
    bare_fonts: tuple[str, ...] = ()
