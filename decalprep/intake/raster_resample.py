"""A picture's pixels laid on the printer's own grid, where the user asks for it.

The size of the page stays; only the number of pixels changes. Lanczos on the samples as they are
stored (not in linear light), weighted by their cover where the picture has transparency; a picture
of 1 bit stays so, cut at the middle.
"""

from typing import Any

import numpy as np

from decalprep.errors import TooMuch
from decalprep.intake.options import Limits
from decalprep.intake.raster_page import Pixels, decoded
from decalprep.units import MM_PER_IN


def grid_px(size_mm: tuple[float, float], dpi: float) -> tuple[int, int]:
    """Dots across and up that a printer of ``dpi`` has on a size in mm.

    >>> grid_px((25.4, 12.7), 600)
    (600, 300)
    """
    across, up = (max(1, round(side * dpi / MM_PER_IN)) for side in size_mm)
    return across, up


def resampled(image: Any, size_px: tuple[int, int], *, name: str, limits: Limits) -> Pixels:
    """The pixels of an image that Pillow has opened, ``size_px`` (width, height) of them, as it
    is stored (not turned); 16-bit samples come out as 8.

    Raises:
        TooMuch: more pixels than the limits. Unfaithful: a kind of pixel a page cannot carry.
    """
    from PIL import Image

    if size_px[0] * size_px[1] > limits.max_pixels:
        raise TooMuch(
            f"would have {size_px[0]} x {size_px[1]} pixels on the printer's grid, more than "
            f"{limits.max_pixels:,}",
            where=name,
            do="leave resample out, or state a coarser printer_dpi",
        )
    profile = image.info.get("icc_profile")
    bilevel = image.mode == "1" and "transparency" not in image.info
    plain = _plain(image)
    made = plain.resize(size_px, Image.Resampling.LANCZOS)
    if bilevel:
        made = made.point(lambda level: 255 * (level >= 128)).convert("1")
    made.info = {} if profile is None else {"icc_profile": profile}
    return decoded(made, name=name)


def _plain(image: Any) -> Any:
    """The image in a mode that can be blended: no palette, no key, 8 bits a channel."""
    from PIL import Image

    if image.mode.startswith("I;16"):
        return Image.fromarray((np.asarray(image) >> 8).astype(np.uint8))
    if "transparency" in image.info:
        return image.convert("RGBA")
    if image.mode == "P":
        return image.convert("RGB")
    modes = {"1": "L", "PA": "RGBA", "YCbCr": "RGB", "RGBX": "RGB", "La": "LA", "RGBa": "RGBA"}
    return image.convert(modes[image.mode]) if image.mode in modes else image
