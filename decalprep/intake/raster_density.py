"""How many pixels an inch a raster file says it has, from every place it says so.

Sources: PNG pHYs (ISO/IEC 15948, 11.3.5.3: unit 1 is the metre, unit 0 only a ratio); JFIF
density (ISO/IEC 10918-5: units 1 inch, 2 cm, 0 only a ratio); TIFF 6.0 and EXIF tags 282, 283 and
296 (2 inch, 3 cm; TIFF 1 none; inch where 296 is missing); BMP pixels a metre. Field meanings
from memory, checked in the tests against what Pillow writes.
"""

import math
import struct
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

from decalprep.intake.raster_page import png_chunks
from decalprep.model import EvidenceRank, Notice, SizeEvidence
from decalprep.units import MM_PER_IN

MM_PER_M = 1000.0
DEFAULT_DPI = 72.0
"""What EXIF writes where nobody chose a density."""


@dataclass(frozen=True)
class Density:
    """Pixels an inch across and up as one place in the file states them."""

    place: str
    x_dpi: float
    y_dpi: float

    @property
    def shown(self) -> str:
        """In words."""
        if abs(self.x_dpi / self.y_dpi - 1) < 1e-6:
            return f"{self.place} says {self.x_dpi:.6g} px/in"
        return f"{self.place} says {self.x_dpi:.6g} x {self.y_dpi:.6g} px/in"


def densities(data: bytes, image: Any) -> tuple[Density, ...]:
    """Every density the file states, the one of its own format first; impossible ones left out.

    ``image`` is the file opened by Pillow. Does not turn them with the EXIF orientation.
    """
    found: list[Density] = []
    kind = image.format
    if kind == "PNG":
        found += _from_png(data)
    elif kind in ("JPEG", "MPO"):
        found += _from_jfif(image)
    elif kind == "BMP":
        found += _from_bmp(data)
    elif kind == "TIFF":
        found += _from_tags(image.tag_v2, "its TIFF tags")
    if kind != "TIFF":
        found += _from_tags(_exif(image), "its EXIF data")
    return tuple(d for d in found if _possible(d))


def _possible(density: Density) -> bool:
    return all(math.isfinite(v) and v > 0 for v in (density.x_dpi, density.y_dpi))


def _from_png(data: bytes) -> Iterator[Density]:
    for kind, body in png_chunks(data):
        if kind == b"pHYs" and len(body) == 9:
            x, y, unit = struct.unpack(">IIB", body)
            if unit == 1:
                per_in = MM_PER_IN / MM_PER_M
                yield Density("its pHYs chunk", x * per_in, y * per_in)
            return
        if kind == b"IDAT":
            return


def _from_jfif(image: Any) -> Iterator[Density]:
    x, y = image.info.get("jfif_density", (0, 0))
    factor = {1: 1.0, 2: MM_PER_IN / 10}.get(image.info.get("jfif_unit", 0))
    if factor is not None:
        yield Density("its JFIF header", x * factor, y * factor)


def _from_bmp(data: bytes) -> Iterator[Density]:
    if len(data) >= 46 and struct.unpack("<I", data[14:18])[0] >= 40:
        x, y = struct.unpack("<ii", data[38:46])
        yield Density("its BMP header", x * MM_PER_IN / MM_PER_M, y * MM_PER_IN / MM_PER_M)


def _exif(image: Any) -> Any:
    try:
        return image.getexif()
    except Exception:
        # Damaged EXIF raises many types; a density that cannot be read is none.
        return {}


def _from_tags(tags: Any, place: str) -> Iterator[Density]:
    try:
        x, y, unit = tags.get(282), tags.get(283), tags.get(296, 2)
        if x is None and y is None:
            return
        x, y = float(x if x is not None else y), float(y if y is not None else x)
    except (TypeError, ValueError, ZeroDivisionError):
        return
    factor = {2: 1.0, 3: MM_PER_IN / 10}.get(unit)
    if factor is not None:
        yield Density(place, x * factor, y * factor)


def claims(
    found: tuple[Density, ...], pixels: tuple[int, int], *, swapped: bool
) -> tuple[SizeEvidence, ...]:
    """One size claim for each stated density, in mm of the picture as it is shown.

    ``pixels`` is (width, height) as shown; ``swapped`` where the orientation exchanged the sides.
    """
    made = []
    for density in found:
        x, y = density.x_dpi, density.y_dpi
        if swapped:
            x, y = y, x
        width, height = pixels[0] * MM_PER_IN / x, pixels[1] * MM_PER_IN / y
        reason = f"{density.shown} for {pixels[0]} x {pixels[1]} pixels"
        made.append(SizeEvidence(EvidenceRank.FILE_DENSITY, width, height, reason))
    return tuple(made)


def density_notices(found: tuple[Density, ...], name: str) -> tuple[Notice, ...]:
    """Told where the density looks like a default, or differs across and up."""
    if not found:
        return ()
    first, notices = found[0], []
    if abs(first.x_dpi - DEFAULT_DPI) < 0.5:
        text = f"{first.shown}, which programs write where nobody chose; check one length you know"
        notices.append(Notice("density-default", text, name))
    ratio = first.x_dpi / first.y_dpi
    if abs(ratio - 1) > 0.002:
        text = f"{first.shown}: its pixels are not square"
        notices.append(Notice("density-uneven", text, name, numbers=(("across_over_up", ratio),)))
    return tuple(notices)
