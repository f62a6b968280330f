"""One decal's two pictures on one pixel grid: what the sheet shows, and what it should show."""

from __future__ import annotations

import math

import cv2
import numpy as np
import numpy.typing as npt

from decalprep.geometry import Affine, Box
from decalprep.proof.align import Mask
from decalprep.proof.expected import ExpectedArtwork, ExpectedDecal
from decalprep.proof.render import OpenPdf, Pixels, frame_for, within
from decalprep.units import MM_PER_IN

DPI = 300.0
OVER, OVER_IMAGES = 4, 2
"""How much finer than ``DPI`` pictures are drawn; less where fine patches do the measuring."""
EDGE_MM = 0.35
"""How far from the cut edge and the holes the picture is compared."""
UNSURE = (b"/PatternType 1", b"/Height", b"/ObjStm")
"""What an artwork, as qpdf writes it, holds if it may have tiles of a pattern, or images in masks
and patterns, where they are not found among the page's objects."""
MAX_PIXELS = 16_000_000
"""Above this a large decal is compared more coarsely: A3 at 300 dpi is just above."""


class Scene:
    """One decal's comparison: the pixel grid, what is compared, and the sheet's own picture."""

    def __init__(self, view: OpenPdf, reference: OpenPdf, decal: ExpectedDecal, dpi: float) -> None:
        assert decal.artwork is not None
        self.view, self.reference, self.decal = view, reference, decal
        self.art: ExpectedArtwork = decal.artwork
        box = Box.around(decal.outline_mm).grown(0.5)
        pixels = box.area * (dpi / MM_PER_IN) ** 2
        self.dpi = dpi * min(1.0, math.sqrt(MAX_PIXELS / pixels))
        self.frame, self.size = frame_for(box, self.dpi)
        self.page_from_picture = self.frame.inverse()
        self.mask = compared(decal, self.frame, self.size, self.dpi)
        kinds = reference.kinds(0)
        self.images = "pixels" in kinds
        self.growth_mm = self.art.hairline_mm / 2 if "drawn" in kinds else 0.0
        self.over = OVER_IMAGES if self.images else OVER
        # images move with the grid; of fine tiles a coarse drawing shows one colour, and not theirs
        plain = not self.images and not any(word in self.art.page_pdf for word in UNSURE)
        self._where: Mask | bool = self.mask if plain else False
        self.sheet = self.sheet_picture(self.frame, self.size, self.over, where=self._where)

    def sheet_picture(
        self, frame: Affine, size: tuple[int, int], over: int, *, where: Mask | bool = False
    ) -> Pixels:
        """The sheet's artwork layer, near-white made white."""
        page = self.decal.page
        return self._bare(self.view.fine_crop(page, frame, size, over, where=where))

    def wanted_picture(
        self,
        move: Affine,
        frame: Affine,
        size: tuple[int, int],
        over: int,
        *,
        where: Mask | bool = False,
    ) -> Pixels:
        """The reference at its intended place moved by an affine map of the page."""
        wide, high = self.reference.size_mm(0)
        artwork_from_file = Affine.scaling(self.art.width_mm / wide, self.art.height_mm / high)
        m = frame @ move @ self.decal.page_from_artwork @ artwork_from_file
        return self._bare(self.reference.fine_crop(0, m, size, over, where=where))

    def wanted(self, move: Affine) -> Pixels:
        """The reference on the scene's own grid."""
        return self.wanted_picture(move, self.frame, self.size, self.over, where=self._where)

    def _bare(self, pixels: Pixels) -> Pixels:
        pale = within(pixels, math.ceil(self.art.white_below), 255)
        return np.asarray(cv2.copyTo(np.full_like(pixels, 255), pale.view(np.uint8), pixels))


def compared(decal: ExpectedDecal, frame: Affine, size: tuple[int, int], dpi: float) -> Mask:
    """Pixels inside the outline and outside the holes, away from both."""
    mask = np.zeros((size[1], size[0]), np.uint8)
    _fill(mask, frame, decal.outline_mm, 255)
    for hole in decal.holes:
        _fill(mask, frame, hole.contour_mm, 0)
    reach = math.ceil(EDGE_MM * dpi / MM_PER_IN)
    disc = cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (2 * reach + 1, 2 * reach + 1))
    inner = cv2.erode(mask, disc, borderType=cv2.BORDER_CONSTANT, borderValue=0)
    return np.asarray(inner > 0)


def _fill(
    mask: npt.NDArray[np.uint8], frame: Affine, points: tuple[tuple[float, float], ...], value: int
) -> None:
    if len(points) > 2:
        ring = np.rint(np.array(frame.apply_all(points)) * 16 - 8).astype(np.int32)
        cv2.fillPoly(mask, [ring], value, shift=4)
