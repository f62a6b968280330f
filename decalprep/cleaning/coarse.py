"""Pictures inside an artwork: how many pixels an inch they have at true size.

Least: 300 for tone, 600 for 1-bit line art (common practice, no source).
"""

import math

from decalprep.geometry import Box
from decalprep.model import Artwork, Notice
from decalprep.pdfstream import PageContents, ShownImage
from decalprep.units import MM_PER_IN

TONE_PPI = 300.0
LINE_ART_PPI = 600.0
_ROUNDING = 1e-3
_MOST = 5


def image_ppi(image: ShownImage, artwork: Artwork) -> tuple[float, float]:
    """(across, up) pixels an inch of an image at its true size; 0 where it has no extent."""
    m = artwork.artwork_from_page @ image.page_from_image
    across_mm = math.hypot(m.a, m.b)
    up_mm = math.hypot(m.c, m.d)
    return (
        image.width_px / across_mm * MM_PER_IN if across_mm else 0.0,
        image.height_px / up_mm * MM_PER_IN if up_mm else 0.0,
    )


def is_coarse(image: ShownImage, artwork: Artwork) -> bool:
    """Whether an image has fewer pixels an inch than it should."""
    least = LINE_ART_PPI if image.bits == 1 else TONE_PPI
    return min(image_ppi(image, artwork)) < least * (1 - _ROUNDING)


def coarse_images(artwork: Artwork, contents: PageContents) -> list[Notice]:
    """Warnings about the coarsest pictures inside a drawing, with their places.

    Does not judge an artwork that is itself a picture: its reader does.
    """
    if artwork.pixels is not None:
        return []
    found = [i for i in contents.images if i.visible and is_coarse(i, artwork)]
    found.sort(key=lambda image: min(image_ppi(image, artwork)))
    notices = []
    for image in found[:_MOST]:
        m = artwork.artwork_from_page @ image.page_from_image
        ppi = min(image_ppi(image, artwork))
        least = LINE_ART_PPI if image.bits == 1 else TONE_PPI
        text = (
            f"a picture of {image.width_px} x {image.height_px} pixels has {ppi:.0f} an inch at "
            f"true size, under {least:.0f} (one of {len(found)} such)"
        )
        box = Box.around(m.apply_all(((0, 0), (1, 0), (1, 1), (0, 1))))
        numbers = (("ppi", ppi), ("count", float(len(found))))
        notices.append(Notice("image-coarse", text, artwork.name, box_mm=box, numbers=numbers))
    return notices
