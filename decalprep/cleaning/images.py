"""Near-white and near-black pixels of image XObjects made exact, losslessly."""

import zlib
from collections import Counter
from typing import Any

import numpy as np
import pikepdf

from decalprep.pdfstream import component_count, space_family

_PLAIN_FILTERS = frozenset(
    ("/FlateDecode", "/LZWDecode", "/RunLengthDecode", "/ASCIIHexDecode", "/ASCII85Decode")
)
_ADDITIVE = frozenset(("DeviceGray", "CalGray", "DeviceRGB", "CalRGB", "ICCBased"))


_USUAL_GAMMA = (1.7, 2.6)


def has_usual_gamma(space: Any) -> bool:
    """Whether a calibrated space is about as steep as screens are, so that its near-white and
    near-black look so; without a Gamma it is linear (ISO 32000-1, 8.6.5.2), and #07 a dark grey.
    """
    try:
        gamma = space[1].get("/Gamma", 1)
        values = [float(v) for v in (gamma if isinstance(gamma, pikepdf.Array) else [gamma])]
    except (AttributeError, IndexError, TypeError, ValueError):
        return False
    low, high = _USUAL_GAMMA
    return all(low <= value <= high for value in values)


class ImageCleaner:
    """Gathers the images that are drawn and cleans each once.

    Changed JPEG images are stored again without loss: encoding them anew would bring the tint
    back. Images of 1, 2 or 4 bits have no level between #F8 and white and stay.
    """

    def __init__(self, near_white: int, near_black: int | None) -> None:
        self.near_white = near_white
        self.near_black = near_black
        self.counts: Counter[str] = Counter()
        self.unsure: Counter[str] = Counter()
        self._images: dict[tuple[int, int], Any] = {}

    def add(self, key: tuple[int, int], image: Any) -> None:
        """Note an image that is drawn."""
        self._images.setdefault(key, image)

    def clean_all(self) -> bool:
        """Clean every noted image; whether any changed."""
        changed = [self._clean(image) for image in self._images.values()]  # all, not to the first
        return any(changed)

    def _clean(self, image: Any) -> bool:
        if bool(image.get("/ImageMask", False)):
            return False
        reason = _why_not(image)
        if reason:
            self.unsure[f"image {reason}"] += 1
            return False
        if space_family(image["/ColorSpace"]) in ("Indexed", "I"):
            return self._clean_palette(image)
        bits = int(image.get("/BitsPerComponent", 8))
        if bits < 8:
            return False
        pixels = _pixels(image, bits)
        if pixels is None:
            self.unsure["image that cannot be decoded"] += 1
            return False
        if not self._snap(pixels, bits, "pixels"):
            return False
        image.write(zlib.compress(pixels.tobytes(), 3), filter=pikepdf.Name.FlateDecode)
        image["/BitsPerComponent"] = bits
        return True

    def _clean_palette(self, image: Any) -> bool:
        space = image["/ColorSpace"]
        table = space[3]
        raw = table.read_bytes() if isinstance(table, pikepdf.Stream) else bytes(table)
        parts = component_count(space[1])
        if space_family(space[1]) not in _ADDITIVE or parts not in (1, 3):
            self.unsure["image with a palette of unusual colours"] += 1
            return False
        colours = np.frombuffer(raw[: len(raw) // parts * parts], np.uint8).reshape(1, -1, parts)
        colours = colours.copy()
        if not self._snap(colours, 8, "palette colours"):
            return False
        new = pikepdf.Array([space[0], space[1], space[2], pikepdf.String(colours.tobytes())])
        image["/ColorSpace"] = new
        return True

    def _snap(self, pixels: "np.ndarray[Any, Any]", bits: int, what: str) -> bool:
        """Make nearly white and black pixels exact in place; whether any changed."""
        full = (1 << bits) - 1
        unit = full // 255
        white = (pixels >= self.near_white * unit).all(axis=-1)
        changed = int((white & (pixels != full).any(axis=-1)).sum())
        if changed:
            pixels[white] = full
            self.counts[f"near-white {what} made exact"] += changed
        if self.near_black is None:
            return changed > 0
        black = (pixels <= self.near_black * unit + unit - 1).all(axis=-1)
        darkened = int((black & (pixels != 0).any(axis=-1)).sum())
        if darkened:
            pixels[black] = 0
            self.counts[f"near-black {what} made exact"] += darkened
        return changed + darkened > 0


def _why_not(image: Any) -> str:
    """Why an image is left alone; empty where it can be cleaned."""
    space = image.get("/ColorSpace")
    family = "" if space is None else space_family(space)
    if family in ("Indexed", "I"):
        return "masked by colour" if isinstance(image.get("/Mask"), pikepdf.Array) else ""
    if family not in _ADDITIVE or component_count(space) not in (1, 3):
        return f"in {family or 'no stated colour space'}"
    if family in ("CalGray", "CalRGB") and not has_usual_gamma(space):
        return "of unusual gamma"
    if family == "ICCBased" and space[1].read_bytes()[16:20] not in (b"RGB ", b"GRAY"):
        return "with an unusual colour profile"
    if isinstance(image.get("/Mask"), pikepdf.Array):
        return "masked by colour"
    decode = image.get("/Decode")
    if decode is not None and [float(v) for v in decode] != [0.0, 1.0] * component_count(space):
        return "with a Decode array"
    mask = image.get("/SMask")
    if mask is not None and "/Matte" in mask:
        return "blended with a matte"
    filters = _filters(image)
    if not set(filters) <= _PLAIN_FILTERS and filters != ["/DCTDecode"]:
        return "stored as " + " ".join(filters)
    return ""


def _filters(image: Any) -> list[str]:
    value = image.get("/Filter")
    if value is None:
        return []
    return [str(f) for f in value] if isinstance(value, pikepdf.Array) else [str(value)]


def _pixels(image: Any, bits: int) -> "np.ndarray[Any, Any] | None":
    """Rows, columns, channels; None where the data do not fit the dictionary."""
    parts = component_count(image["/ColorSpace"])
    try:
        width, height = int(image["/Width"]), int(image["/Height"])
        if _filters(image) == ["/DCTDecode"]:
            picture = pikepdf.PdfImage(image).as_pil_image()
            raw = picture.tobytes() if len(picture.getbands()) == parts else b""
        else:
            raw = image.read_bytes()
    except (pikepdf.PdfError, KeyError, OSError, TypeError, ValueError, NotImplementedError):
        return None
    kind = np.dtype(np.uint8) if bits == 8 else np.dtype(">u2")
    if len(raw) < width * height * parts * kind.itemsize or bits not in (8, 16):
        return None
    flat = np.frombuffer(raw, kind, count=width * height * parts)
    return flat.reshape(height, width, parts).copy()
