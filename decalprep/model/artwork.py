"""Artwork: one PDF page with a known true size."""

from dataclasses import dataclass
from enum import IntEnum

from decalprep.geometry import Affine
from decalprep.model.decal import PartFace
from decalprep.model.notice import Notice


class EvidenceRank(IntEnum):
    """What a size rests on, strongest first."""

    USER = 1
    PART = 2
    FILE_UNITS = 3
    FILE_DENSITY = 4
    ASSUMED = 5


@dataclass(frozen=True)
class SizeEvidence:
    """One claim about the true size: width and height in mm of the whole page, and why."""

    rank: EvidenceRank
    width_mm: float
    height_mm: float
    reason: str


@dataclass(frozen=True)
class Artwork:
    """One artwork at its true size.

    ``page_pdf`` is a whole PDF file of one page whose MediaBox is
    [0 0 page_width_pt page_height_pt], with no Rotate, no UserUnit, no annotations or actions.
    ``width_mm`` and ``height_mm`` are the true size of that page; the scale between both is
    ``artwork_from_page``. The artwork frame is mm from the page's lower left corner, y up.
    ``face`` is exact geometry where the source had it (DXF, mesh), in the artwork frame.
    ``pixels`` is (width, height) where the source was a raster.
    """

    name: str
    source: str
    kind: str
    page_pdf: bytes
    page_width_pt: float
    page_height_pt: float
    width_mm: float
    height_mm: float
    evidence: tuple[SizeEvidence, ...] = ()
    notices: tuple[Notice, ...] = ()
    layers: tuple[str, ...] = ()
    face: PartFace | None = None
    pixels: tuple[int, int] | None = None

    @property
    def artwork_from_page(self) -> Affine:
        """True mm from the page's own points."""
        return Affine.scaling(
            self.width_mm / self.page_width_pt, self.height_mm / self.page_height_pt
        )
