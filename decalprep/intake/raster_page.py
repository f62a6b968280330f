"""Pixels to a page: one image over the whole page, its transparency as a soft mask.

Pixels are not resampled here. JPEG data and plain PNG data go in byte for byte; other files are
decoded and packed without loss.
"""

import io
import struct
import zlib
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

import numpy as np
import pikepdf
from pikepdf import Array, Dictionary, Name

from decalprep.errors import Unfaithful
from decalprep.geometry import Affine
from decalprep.intake.svg_page import PageSize, saved

_SPACES = {1: Name.DeviceGray, 3: Name.DeviceRGB, 4: Name.DeviceCMYK}
_ICC_SPACES = {b"GRAY": 1, b"RGB ": 3, b"CMYK": 4}
_PLAIN_SOF = (0xC0, 0xC1, 0xC2)
"""Baseline, extended and progressive Huffman JPEG: what DCTDecode must read."""

_TURNS: dict[int, Affine] = {
    1: Affine(),
    2: Affine(-1, 0, 0, 1, 1, 0),
    3: Affine(-1, 0, 0, -1, 1, 1),
    4: Affine(1, 0, 0, -1, 0, 1),
    5: Affine(0, -1, -1, 0, 1, 1),
    6: Affine(0, -1, 1, 0, 0, 1),
    7: Affine(0, 1, 1, 0, 0, 0),
    8: Affine(0, 1, -1, 0, 1, 0),
}
"""Unit square to unit square for each EXIF orientation (EXIF tag 274, TIFF 6.0)."""


@dataclass
class Pixels:
    """One image ready for a page: packed samples or the file's own stream.

    ``upright`` where the decoder has applied the EXIF orientation already.
    """

    width: int
    height: int
    channels: int
    bits: int
    data: bytes
    filter_name: str = "/FlateDecode"
    decode_parms: dict[str, int] | None = None
    palette: bytes | None = None
    inverted: bool = False
    colour_key: tuple[int, ...] | None = None
    alpha: bytes | None = None
    alpha_bits: int = 8
    profile: bytes | None = None
    upright: bool = False


def page_of(pixels: Pixels, size: PageSize, *, orientation: int = 1) -> bytes:
    """A PDF of one page that the image fills, turned as its EXIF orientation says."""
    with pikepdf.new() as target:
        image = _image_object(target, pixels)
        turn = _TURNS[orientation]
        placed = Affine.scaling(size.width_pt, size.height_pt) @ turn
        matrix = " ".join(f"{value:.9f}" for value in placed.as_tuple())
        page = Dictionary(
            Type=Name.Page,
            MediaBox=size.box,
            Resources=Dictionary(XObject=Dictionary(Im0=image)),
            Contents=target.make_stream(f"q {matrix} cm /Im0 Do Q".encode("ascii")),
        )
        target.pages.append(pikepdf.Page(target.make_indirect(page)))
        return saved(target)


def pixel_page(png: bytes, size: PageSize) -> bytes:
    """A page of one PNG drawn by the rasteriser."""
    from PIL import Image

    with Image.open(io.BytesIO(png)) as image:
        return page_of(decoded(image), size)


def _image_object(target: pikepdf.Pdf, pixels: Pixels) -> Any:
    stream = _stream(target, pixels.data, pixels.filter_name, pixels.decode_parms)
    stream.Width, stream.Height = pixels.width, pixels.height
    stream.BitsPerComponent = pixels.bits
    stream.ColorSpace = _colour_space(target, pixels)
    if pixels.inverted:
        stream.Decode = Array([1, 0] * pixels.channels)
    if pixels.colour_key is not None:
        stream.Mask = Array(list(pixels.colour_key))
    if pixels.alpha is not None:
        mask = _stream(target, zlib.compress(pixels.alpha, 6), "/FlateDecode", None)
        mask.Width, mask.Height = pixels.width, pixels.height
        mask.BitsPerComponent, mask.ColorSpace = pixels.alpha_bits, Name.DeviceGray
        stream.SMask = mask
    return stream


def _stream(
    target: pikepdf.Pdf, data: bytes, filter_name: str, parms: dict[str, int] | None
) -> Any:
    stream: Any = target.make_stream(b"")
    extra = Dictionary({f"/{k}": v for k, v in parms.items()}) if parms else None
    stream.write(data, filter=Name(filter_name), decode_parms=extra)
    stream.Type, stream.Subtype = Name.XObject, Name.Image
    return stream


def _colour_space(target: pikepdf.Pdf, pixels: Pixels) -> Any:
    channels = 3 if pixels.palette is not None else pixels.channels
    base: Any = _SPACES[channels]
    if pixels.profile is not None and usable_profile(pixels.profile, channels):
        icc = target.make_stream(pixels.profile)
        icc.N = channels
        icc.Alternate = base
        base = Array([Name.ICCBased, icc])
    if pixels.palette is None:
        return base
    last = len(pixels.palette) // 3 - 1
    return Array([Name.Indexed, base, last, pikepdf.String(pixels.palette)])


def usable_profile(profile: bytes, channels: int) -> bool:
    """Whether an ICC profile is whole and of the image's own number of channels."""
    if len(profile) < 132 or profile[36:40] != b"acsp":
        return False
    return _ICC_SPACES.get(profile[16:20]) == channels


def jpeg_as_is(data: bytes, image: Any) -> Pixels | None:
    """The JPEG's own bytes, or None where a PDF reader need not know its coding."""
    segments = list(_jpeg_segments(data))
    frame = next((s for s in segments if 0xC0 <= s[0] <= 0xCF and s[0] not in _NOT_SOF), None)
    if frame is None or frame[0] not in _PLAIN_SOF or frame[1][0] != 8:
        return None
    channels = frame[1][5]
    if channels not in _SPACES:
        return None
    inverted = channels == 4 and any(
        marker == 0xEE and body.startswith(b"Adobe") for marker, body in segments
    )
    return Pixels(
        image.width,
        image.height,
        channels,
        8,
        data,
        filter_name="/DCTDecode",
        inverted=inverted,
        profile=image.info.get("icc_profile"),
    )


_NOT_SOF = (0xC4, 0xC8, 0xCC)


def _jpeg_segments(data: bytes) -> Iterator[tuple[int, bytes]]:
    """(marker, body) of each segment before the first scan."""
    at = 2
    while at + 4 <= len(data) and data[at] == 0xFF:
        marker = data[at + 1]
        if marker == 0xFF:
            at += 1
            continue
        if marker == 0xDA:
            return
        length = struct.unpack(">H", data[at + 2 : at + 4])[0]
        yield marker, data[at + 4 : at + 2 + length]
        at += 2 + length


def png_chunks(data: bytes) -> Iterator[tuple[bytes, bytes]]:
    """(type, body) of each chunk; ends at damage, which the decoder finds by itself."""
    at = 8
    while at + 12 <= len(data):
        length = struct.unpack(">I", data[at : at + 4])[0]
        yield data[at + 4 : at + 8], data[at + 8 : at + 8 + length]
        at += 12 + length


def png_as_is(data: bytes, image: Any) -> Pixels | None:
    """The PNG's own compressed rows, or None where it has alpha or is interlaced."""
    chunks = list(png_chunks(data))
    head = next((body for kind, body in chunks if kind == b"IHDR"), b"")
    if len(head) != 13:
        return None
    width, height, bits, colour, _, _, interlaced = struct.unpack(">IIBBBBB", head)
    channels = {0: 1, 2: 3, 3: 1}.get(colour)
    clear = next((body for kind, body in chunks if kind == b"tRNS"), None)
    if channels is None or interlaced or (colour == 3 and clear is not None):
        return None
    palette = next((body for kind, body in chunks if kind == b"PLTE"), None)
    key = None
    if clear is not None:
        values = struct.unpack(f">{channels}H", clear[: 2 * channels])
        key = tuple(v for value in values for v in (value, value))
    return Pixels(
        width,
        height,
        channels,
        bits,
        b"".join(body for kind, body in chunks if kind == b"IDAT"),
        decode_parms={
            "Predictor": 15,
            "Colors": channels,
            "BitsPerComponent": bits,
            "Columns": width,
        },
        palette=palette if colour == 3 else None,
        colour_key=key,
        profile=image.info.get("icc_profile"),
    )


def decoded(image: Any, *, name: str = "") -> Pixels:
    """The samples of an image as Pillow decodes it.

    Raises:
        Unfaithful: a pixel format that a page cannot carry.
    """
    mode = image.mode
    profile = image.info.get("icc_profile")
    if mode == "P":
        return _paletted(image)
    if mode in ("YCbCr", "RGBX", "PA", "RGBa", "La") or (mode == "1" and _is_keyed(image)):
        image = image.convert({"YCbCr": "RGB", "RGBX": "RGB", "PA": "RGBA"}.get(mode, "RGBA"))
    elif _is_keyed(image) and mode in ("L", "RGB"):
        image = image.convert("RGBA" if mode == "RGB" else "LA")
    if image.mode == "1":
        return _packed(image, 1, 1, image.tobytes(), profile)
    if image.mode.startswith("I;16"):
        big = np.asarray(image).astype(">u2").tobytes()
        return _packed(image, 1, 16, big, profile)
    if image.mode in ("LA", "RGBA"):
        alpha = image.getchannel("A")
        plain = image.convert("L" if image.mode == "LA" else "RGB")
        pixels = _packed(plain, len(plain.getbands()), 8, plain.tobytes(), profile)
        if alpha.getextrema()[0] < 255:
            pixels.alpha = alpha.tobytes()
        return pixels
    if image.mode in ("L", "RGB", "CMYK"):
        return _packed(image, len(image.getbands()), 8, image.tobytes(), profile)
    raise Unfaithful(
        f"has pixels of a kind that cannot be carried over ({image.mode})",
        where=name,
        do="save it as 8 or 16 bit grey, RGB or CMYK",
    )


def _is_keyed(image: Any) -> bool:
    return "transparency" in image.info


def _packed(image: Any, channels: int, bits: int, samples: bytes, profile: Any) -> Pixels:
    packed = zlib.compress(samples, 6)
    return Pixels(image.width, image.height, channels, bits, packed, profile=profile)


def _paletted(image: Any) -> Pixels:
    colours = bytes(image.getpalette("RGB") or b"\0\0\0")
    used = int(image.getextrema()[1]) + 1
    colours = colours.ljust(3 * used, b"\0")[: 3 * 256]
    pixels = _packed(image, 1, 8, image.tobytes(), image.info.get("icc_profile"))
    pixels.palette = colours
    if _is_keyed(image):
        alpha = image.convert("RGBA").getchannel("A")
        if alpha.getextrema()[0] < 255:
            pixels.alpha = alpha.tobytes()
    return pixels


def decoded_deep(data: bytes, image: Any) -> Pixels | None:
    """16-bit colour or alpha samples at full depth, or None where they cannot be had.

    Pillow cuts these to 8 bits; OpenCV keeps them, blue first. What OpenCV makes of orientation
    and pages varies with its version, so its picture must be the same as Pillow's.
    """
    import cv2

    found: Any = cv2.imdecode(np.frombuffer(data, np.uint8), cv2.IMREAD_UNCHANGED)
    if found is None or found.dtype != np.uint16 or found.ndim != 3:
        return None
    if found.shape[2] not in (3, 4):
        return None
    shallow = np.asarray(image.convert("RGB"), dtype=np.int16)
    coarse = (found[:, :, 2::-1] >> 8).astype(np.int16)
    if coarse.shape != shallow.shape or int(np.abs(coarse - shallow).max()) > 1:
        return None
    height, width, channels = found.shape
    colour = np.ascontiguousarray(found[:, :, 2::-1]).astype(">u2")
    pixels = Pixels(width, height, 3, 16, zlib.compress(colour.tobytes(), 6))
    if channels == 4 and int(found[:, :, 3].min()) < 65535:
        pixels.alpha = np.ascontiguousarray(found[:, :, 3]).astype(">u2").tobytes()
        pixels.alpha_bits = 16
    return pixels
