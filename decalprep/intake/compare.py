"""How well two pictures of one artwork agree: by 1 mm tiles, not by the share of pixels.

On a sheet a missing 4 mm shape is a few pixels in ten thousand, fewer than what anti-aliasing
changes along every edge. So differences are first forgiven within one pixel (an edge may lie a
pixel aside) and then averaged over tiles of 1 mm; the worst tile tells. Levels run 0 to 255.

Convention: pictures are arrays (rows, columns, 3), first row at the top.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt

from decalprep.errors import InputProblem
from decalprep.pdfstream.drawing import (
    EDGE_PX,
    Span,
    open_page,
    painted,
    spans_of,
    uneven,
    whole_pixels,
)

Picture = npt.NDArray[np.uint8]

SMALL_PX, LARGE_PX = 2_500_000, 6_500_000
"""Pictures of at most this many pixels at 20 a mm, and at coarser steps: about 0.2 s each."""

OVERSAMPLED_PX = 26_000_000
SOFT_PIXELS = 3.0
UNLIKE = 4
"""Levels by which two drawings may differ where both show one colour."""

AGREE_LEVEL = 13.0
"""The worst tile of a conversion taken as right may differ by this much (of 255).

Not a standard value: found on the cases of tests/test_svg_agreement.py.
"""


@dataclass(frozen=True)
class Agreement:
    """The worst tile: its mean difference (0 to 255), its centre in mm from the top left."""

    worst_level: float
    at_mm: tuple[float, float]
    px_per_mm: float

    def within(self, level: float = AGREE_LEVEL) -> bool:
        """Whether the pictures agree."""
        return self.worst_level <= level


def px_per_mm_for(width_mm: float, height_mm: float) -> float:
    """Pixels a mm for a comparison: 20 for small artworks, 10 up to A4, coarser beyond.

    >>> px_per_mm_for(60, 60), px_per_mm_for(210, 297), px_per_mm_for(297, 420)
    (20.0, 10.0, 5.0)
    """
    area_mm2 = width_mm * height_mm
    if area_mm2 * 20.0**2 <= SMALL_PX:
        return 20.0
    for step in (10.0, 5.0, 4.0, 3.0, 2.0, 1.0, 0.5):
        if area_mm2 * step * step <= LARGE_PX:
            return step
    return 0.25


def _beyond(one: Picture, other: Picture) -> Any:
    """How far each pixel of ``one`` lies outside the range of ``other`` within one pixel."""
    import cv2

    near = np.ones((3, 3), np.uint8)
    over = cv2.subtract(one, cv2.dilate(other, near))
    under = cv2.subtract(cv2.erode(other, near), one)
    return cv2.max(over, under)


def _worst(levels: Picture, tile_px: int) -> tuple[float, int, int]:
    """Largest mean over tiles of ``tile_px``, at every half tile, and its first pixel."""
    import cv2

    rows, columns = levels.shape
    depth = cv2.CV_32S if levels.size < 2**31 // 255 else cv2.CV_64F
    sums = np.asarray(cv2.integral(levels, sdepth=depth))
    step = max(tile_px // 2, 1)
    tall, wide = min(tile_px, rows), min(tile_px, columns)
    tops = np.unique(np.append(np.arange(0, rows - tall + 1, step), rows - tall))
    lefts = np.unique(np.append(np.arange(0, columns - wide + 1, step), columns - wide))
    corner = np.ix_(tops, lefts)
    means = sums[np.ix_(tops + tall, lefts + wide)] - sums[np.ix_(tops, lefts + wide)]
    means = (means - sums[np.ix_(tops + tall, lefts)] + sums[corner]) / (tall * wide)
    i, j = np.unravel_index(int(np.argmax(means)), means.shape)
    return float(means[i, j]), int(tops[i]), int(lefts[j])


def _strongest(levels: Any) -> Picture:
    """The largest of the three channels."""
    import cv2

    strongest: Picture = cv2.max(cv2.max(levels[:, :, 0], levels[:, :, 1]), levels[:, :, 2])
    return strongest


def compare_pictures(one: Picture, other: Picture, px_per_mm: float) -> Agreement:
    """The worst 1 mm tile between two pictures of the same size.

    Does not see a shift of less than one pixel, nor what both pictures leave out.

    Raises:
        ValueError: the pictures differ in size.
    """
    if one.shape != other.shape or one.ndim != 3:
        raise ValueError(f"pictures differ in size: {one.shape} and {other.shape}")
    tile_px = max(round(px_per_mm), 1)
    level, top, left = _worst(_levels(one, other), tile_px)
    at = (left / px_per_mm + 0.5, top / px_per_mm + 0.5)
    return Agreement(level, at, px_per_mm)


def _levels(one: Picture, other: Picture) -> Picture:
    """How far the pictures are apart at each pixel, one pixel forgiven: 0 where they are alike."""
    import cv2

    a, b = np.ascontiguousarray(one), np.ascontiguousarray(other)
    rows, columns = a.shape[:2]
    levels = np.zeros((rows, columns), np.uint8)
    unlike = (whole_pixels(a) != whole_pixels(b)).view(np.uint8)
    for span in spans_of(unlike, page_bytes=1, most_rows=rows):
        near = span.grown(1, rows, columns)
        p, q = near.of(a), near.of(b)
        apart = _strongest(cv2.max(_beyond(p, q), _beyond(q, p)))
        span.of(levels)[:] = span.moved(-near.top, -near.left).of(apart)
    return levels


@dataclass(frozen=True)
class SoftSpot:
    """A box in pixels (left, top, right, bottom) that a raster image covers, and its pixel pitch.

    ``pitch`` is the size of one of the image's pixels in pixels of the picture.
    """

    box: tuple[int, int, int, int]
    pitch: float


def softened(picture: Picture, spots: Sequence[SoftSpot]) -> Picture:
    """The picture with enlarged raster images smoothed over three of their own pixels.

    Drawing programs fill in between an image's pixels each in its own way; the page carries the
    pixels themselves. Smoothing takes that freedom out of the comparison.
    """
    import cv2

    result = picture.copy() if spots else picture
    for spot in spots:
        left, top, right, bottom = spot.box
        part = result[top:bottom, left:right]
        width = round(SOFT_PIXELS * spot.pitch) | 1
        if part.size and width > 1:
            once = cv2.blur(part, (width, width), borderType=cv2.BORDER_REPLICATE)
            part[:] = cv2.blur(once, (width, width), borderType=cv2.BORDER_REPLICATE)
    return result


def _oversample(pixels: tuple[int, int]) -> int:
    """How many times larger to draw: the most of 4, 3 and 2 that stays near 100 MB."""
    count = pixels[0] * pixels[1]
    return next((n for n in (4, 3) if n * n * count <= OVERSAMPLED_PX), 2)


def page_picture(pdf: bytes, pixels: tuple[int, int], *, beside: Picture | None = None) -> Picture:
    """The first page drawn by pdfium over exactly ``pixels``, on white.

    Drawn two to four times larger and reduced, for pdfium draws no line thinner than a pixel.
    With ``beside``, another drawing of the same page by another program, that is done only where
    one of the two shows anything but one colour; not for pages with pictures on them.

    Raises:
        ValueError: pdfium cannot read the file.
    """
    try:
        with open_page(pdf) as page:
            return _page_picture(page, pixels, len(pdf), beside)
    except InputProblem as problem:
        raise ValueError(problem.found) from problem


def _page_picture(
    page: Any, pixels: tuple[int, int], page_bytes: int, beside: Picture | None
) -> Picture:
    import cv2
    import pypdfium2.raw as raw

    def paint(bitmap: Any, times: int, left: int, top: int) -> None:
        wide, tall = pixels[0] * times, pixels[1] * times
        raw.FPDF_RenderPageBitmap(bitmap, page, -left, -top, wide, tall, 0, 0)

    whole, times = Span(0, pixels[1], 0, pixels[0]), _oversample(pixels)
    if beside is None:
        seen = np.empty((pixels[1], pixels[0], 4), np.uint8)
        detail = np.full((pixels[1], pixels[0]), 255, np.uint8)
    else:
        seen = painted(paint, whole)
        apart = cv2.absdiff(np.asarray(cv2.cvtColor(seen, cv2.COLOR_BGRA2RGB)), beside)
        unlike = (_strongest(apart) > UNLIKE).view(np.uint8)  # such as hatching closer than a pixel
        detail = np.maximum(np.maximum(uneven(seen), uneven(beside)), unlike)
    for span in spans_of(detail, page_bytes=page_bytes, most_rows=pixels[1]):
        near = span.grown(EDGE_PX, pixels[1], pixels[0])
        fine = painted(paint, near.larger(times, pixels[1] * times, pixels[0] * times), times)
        size = (near.right - near.left, near.bottom - near.top)
        less = np.asarray(cv2.resize(fine, size, interpolation=cv2.INTER_AREA))
        span.of(seen)[:] = span.moved(-near.top, -near.left).of(less)
    return np.asarray(cv2.cvtColor(seen, cv2.COLOR_BGRA2RGB), np.uint8)


def picture_on_white(png: bytes) -> tuple[Picture, bool]:
    """A PNG laid on white, and whether nothing at all is drawn on it.

    Raises:
        ValueError: not a picture.
    """
    import io

    import cv2
    from PIL import Image

    try:
        with Image.open(io.BytesIO(png)) as opened:
            drawn = np.asarray(opened.convert("RGBA"))
    except OSError as problem:
        raise ValueError(f"the picture cannot be read ({problem})") from problem
    seen: Picture = np.array(cv2.cvtColor(drawn, cv2.COLOR_RGBA2RGB), np.uint8)
    see_through = np.flatnonzero(drawn[:, :, 3] != 255)
    if not len(see_through):
        return seen, False
    some = Image.fromarray(drawn.reshape(1, -1, 4)[:, see_through])
    white = Image.new("RGBA", some.size, (255, 255, 255, 255))
    white.alpha_composite(some)
    seen.reshape(-1, 3)[see_through] = np.asarray(white)[0, :, :3]
    return seen, not drawn[:, :, 3].any()
