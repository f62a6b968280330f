"""An artwork drawn to pixels in the decal frame, exactly placed (pdfium)."""

import ctypes
import math
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from decalprep.errors import TooMuch
from decalprep.geometry import Affine, Box
from decalprep.model import Artwork
from decalprep.pdfstream.drawing import open_page
from decalprep.units import MM_PER_IN

LARGEST_PX = 120_000_000
Pixels = NDArray[np.uint8]
Numbers = NDArray[np.floating[Any]]


@dataclass(frozen=True)
class Picture:
    """RGBA pixels of a window of the decal frame; row 0 is the top.

    Alpha says what is painted: 0 is bare paper, also where white would look the same.
    """

    rgba: Pixels
    box: Box
    mm_per_px: float

    @property
    def decal_from_px(self) -> Affine:
        """Decal mm of a pixel position (column, row), pixel corners at whole numbers."""
        k = self.mm_per_px
        return Affine(k, 0.0, 0.0, -k, self.box.x0, self.box.y1)

    @property
    def paper(self) -> Pixels:
        """RGB as it looks on white paper."""
        return on_paper(self.rgba)


def on_paper(rgba: Pixels) -> Pixels:
    """RGB of RGBA pixels as they look on white paper."""
    colour, alpha = rgba[..., :3].astype(np.uint16), rgba[..., 3:].astype(np.uint16)
    return ((colour * alpha + 255 * (255 - alpha) + 127) // 255).astype(np.uint8)


def draw(artwork: Artwork, decal_from_artwork: Affine, box: Box, *, dpi: float) -> Picture:
    """The window ``box`` (decal mm) of the artwork as RGBA pixels at ``dpi``, over nothing.

    The window is widened to whole pixels at its right and lower side.

    Raises:
        TooMuch: more than 120 million pixels.
        InputProblem: the page cannot be drawn.
    """
    import cv2
    import pypdfium2 as pdfium
    import pypdfium2.raw as raw

    k = dpi / MM_PER_IN
    width, height = math.ceil(box.width * k - 1e-6), math.ceil(box.height * k - 1e-6)
    if width * height > LARGEST_PX:
        raise TooMuch(
            f"drawing {box.width:.0f} x {box.height:.0f} mm at {dpi:g} dpi takes "
            f"{width * height / 1e6:.0f} million pixels",
            where=artwork.source,
            do="use a lower dpi",
        )
    window = Box(box.x0, box.y1 - height / k, box.x0 + width / k, box.y1)
    px_from_decal = Affine(k, 0.0, 0.0, -k, -window.x0 * k, window.y1 * k)
    page_from_shown = Affine(1, 0, 0, -1, 0, artwork.page_height_pt)
    m = px_from_decal @ decal_from_artwork @ artwork.artwork_from_page @ page_from_shown
    with open_page(artwork.page_pdf, where=artwork.source) as page:
        bitmap = pdfium.PdfBitmap.new_native(width, height, raw.FPDFBitmap_BGRA)
        bitmap.fill_rect((0, 0, 0, 0), 0, 0, width, height)
        matrix = raw.FS_MATRIX(*m.as_tuple())
        clip = raw.FS_RECTF(0.0, 0.0, float(width), float(height))
        raw.FPDF_RenderPageBitmapWithMatrix(
            bitmap, page, ctypes.byref(matrix), ctypes.byref(clip), 0
        )
        rgba = np.asarray(cv2.cvtColor(bitmap.to_numpy(), cv2.COLOR_BGRA2RGBA), np.uint8)
        bitmap.close()
    return Picture(rgba, window, 1 / k)
