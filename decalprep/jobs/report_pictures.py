"""Pictures for the report, all drawn from the finished files: layers apart, panels, places.

A layer's picture is transparent where the layer puts nothing. Pictures are WebP without loss, as
``data:`` addresses, so that the report needs no other file.
"""

from __future__ import annotations

import base64
import io
import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np
import numpy.typing as npt
from PIL import Image, ImageDraw

from decalprep.geometry import Affine, Box
from decalprep.model import Layer
from decalprep.proof.layers import layered
from decalprep.proof.render import open_pdf
from decalprep.units import MM_PER_IN

if TYPE_CHECKING:
    from decalprep.proof.render import OpenPdf

Pixels = npt.NDArray[np.uint8]

FINE_DPI, COARSE_DPI = 200.0, 60.0
FINE_SHEETS = 4
"""So many A4 sheets are shown at the finest; more share the same number of pixels."""
MOST_SHEETS = 30
MOST_SIDE_PX = 5000
PLACE_PX = 480
PLACE_DPI = 600.0
PLACE_ROUND_MM = 4.0
PLACE_LEAST_MM = 20.0
PANEL_PX = 620
PANEL_DPI = 200.0


@dataclass(frozen=True)
class LayerPicture:
    """One layer of one sheet, as a ``data:`` address."""

    layer: str
    address: str


@dataclass(frozen=True)
class SheetPicture:
    """One sheet with its layers from the lowest up; all have the same pixels and sheet size."""

    title: str
    file: str
    page: int
    width_mm: float
    height_mm: float
    width_px: int
    height_px: int
    dpi: float
    layers: tuple[LayerPicture, ...]


@dataclass(frozen=True)
class PlacePicture:
    """A cut-out of a finished sheet, upright in the decal's own frame, which ``box_mm`` is in."""

    address: str
    width_px: int
    height_px: int
    box_mm: Box


def sheet_pictures(pdf: bytes, file: str, titles: Sequence[str]) -> tuple[SheetPicture, ...]:
    """The pages of a finished PDF with their layers apart, at most ``MOST_SHEETS`` of them."""
    layers = layered(pdf)
    order = [layer.value for layer in Layer]
    names = sorted(layers.names, key=lambda n: (order.index(n) if n in order else 99, n))
    shown = titles[:MOST_SHEETS]
    with open_pdf(pdf, where=file) as opened:
        sizes = [opened.size_mm(page) for page in range(len(shown))]
    dpi = dpi_for(sizes)
    found: list[list[LayerPicture]] = [[] for _ in shown]
    for name in names:
        with open_pdf(layers.only([name]), where=file) as opened:
            for page, size_mm in enumerate(sizes):
                pixels = opened.draw_covered(page, *_whole(size_mm, dpi))
                if pixels.any():
                    found[page].append(LayerPicture(name, webp(pixels)))
    return tuple(
        SheetPicture(title, file, page, *sizes[page], *_whole(sizes[page], dpi)[1], dpi, tuple(own))
        for page, (title, own) in enumerate(zip(shown, found, strict=True))
    )


def dpi_for(sizes_mm: Sequence[tuple[float, float]]) -> float:
    """Pixels an inch such that all sheets together stay within a few million pixels a layer.

    >>> dpi_for([(210, 297)] * 4), round(dpi_for([(210, 297)] * 16))
    (200.0, 100)
    """
    if not sizes_mm:
        return FINE_DPI
    area = sum(w * h for w, h in sizes_mm) / (210 * 297)
    longest = max(max(size) for size in sizes_mm)
    wanted = FINE_DPI * min(1.0, math.sqrt(FINE_SHEETS / area))
    return min(max(wanted, COARSE_DPI), MOST_SIDE_PX * MM_PER_IN / longest)


def _whole(size_mm: tuple[float, float], dpi: float) -> tuple[Affine, tuple[int, int]]:
    """A frame in which whole pixels cover the whole page: for looking at, not for measuring."""
    width, height = (max(1, round(side * dpi / MM_PER_IN)) for side in size_mm)
    frame = Affine(width / size_mm[0], 0, 0, -height / size_mm[1], 0, height)
    return frame, (width, height)


def webp(pixels: Pixels) -> str:
    """The pixels (rows, columns, RGB or RGBA) as a ``data:`` address; the same pixels, the same."""
    stream = io.BytesIO()
    Image.fromarray(pixels).save(stream, "WEBP", lossless=True, quality=20, method=1, exact=False)
    return "data:image/webp;base64," + base64.b64encode(stream.getvalue()).decode("ascii")


@dataclass(frozen=True)
class Cut:
    """A place to cut out: the page, the decal's map to that page, and the box in decal mm.

    What lies outside ``shape`` (decal mm, where given) is left white: neighbours on the sheet.
    """

    page: int
    page_from_decal: Affine
    box_mm: Box
    shape: tuple[tuple[float, float], ...] = ()


def place_pictures(pdf: bytes, cuts: Sequence[Cut]) -> Iterator[PlacePicture]:
    """A picture of each place with a little round it, from the finished sheets."""
    with open_pdf(pdf, where="sheets.pdf") as opened:
        for cut in cuts:
            round_mm = max(PLACE_ROUND_MM, 0.15 * max(cut.box_mm.width, cut.box_mm.height))
            (x, y), box = cut.box_mm.centre, cut.box_mm.grown(round_mm)
            across = max(box.width, PLACE_LEAST_MM) / 2
            up = max(box.height, 0.6 * PLACE_LEAST_MM) / 2
            around = Box(x - across, y - up, x + across, y + up)
            seen = cut_out(opened, replace(cut, box_mm=around), PLACE_DPI, PLACE_PX)
            yield addressed(seen, around)


def addressed(picture: Image.Image, box_mm: Box) -> PlacePicture:
    """A cut-out as a ``data:`` address."""
    return PlacePicture(webp(np.asarray(picture)), *picture.size, box_mm)


def whole_decal(opened: OpenPdf, cut: Cut) -> Image.Image:
    """A picture of a whole decal, bleed included, from the finished sheets."""
    return cut_out(opened, cut, PANEL_DPI, PANEL_PX, plain=False)


def cut_out(
    opened: OpenPdf, cut: Cut, dpi: float, most_px: int, *, plain: bool = True
) -> Image.Image:
    """A place of a page upright in the decal's frame, at so many pixels on a side at most.

    ``plain``: large parts may be of one colour, and are looked for first.
    """
    box = cut.box_mm
    scale = min(dpi / MM_PER_IN, most_px / max(box.width, box.height))
    width, height = (max(1, round(side * scale)) for side in (box.width, box.height))
    picture_from_decal = Affine(scale, 0, 0, -scale, -box.x0 * scale, box.y1 * scale)
    frame = picture_from_decal @ cut.page_from_decal.inverse()
    # lettering this small is drawn to whole pixels unless it is drawn larger and averaged down
    pixels = opened.fine_crop(cut.page, frame, (width, height), 2, where=plain)
    picture = Image.frombytes("RGB", (width, height), pixels.tobytes(), "raw", "BGR")
    if cut.shape:
        outside = Image.new("L", picture.size, 255)
        ImageDraw.Draw(outside).polygon(picture_from_decal.apply_all(cut.shape), fill=0)
        picture.paste("white", mask=outside)
    return picture
