"""What stripping did to the picture: stem widths before and after, and the place it did most."""

from dataclasses import dataclass
from typing import Any

import numpy as np

from decalprep.cleaning.contrast import luminance_table
from decalprep.cleaning.letters import words_of
from decalprep.cleaning.rendering import dpi_within, picture_of, whole_box
from decalprep.geometry import Box
from decalprep.model import Artwork
from decalprep.pdfstream import read_page
from decalprep.units import MM_PER_IN, PX_PER_IN

_STEM_DPI = 4800.0
_STEM_PIXELS = 6_000_000
_SEARCH_DPI = 300.0
_MARGIN_MM = 0.3


@dataclass(frozen=True)
class StemWidth:
    """Stem width in mm of one word before and after, measured on the rendering."""

    text: str
    box_mm: Box
    before_mm: float
    after_mm: float


@dataclass(frozen=True)
class CloseUp:
    """The place where two artworks differ most: RGB pixels of both, ``times`` life size."""

    box_mm: Box
    times: float
    before: "np.ndarray[Any, Any]"
    after: "np.ndarray[Any, Any]"


def stem_width_mm(artwork: Artwork, box_mm: Box) -> float | None:
    """Median stem width in mm of what is drawn in a box, None where nothing stands out.

    Twice the distance to the edge along the middle of the strokes, on a rendering of 4,800 dpi
    (less for large boxes), give or take a pixel (0.005 mm).

    Raises:
        InputProblem: the page cannot be drawn.
    """
    inside, dpi = _depths(artwork, box_mm)
    middle = _middle(inside)
    if not middle.any():
        return None
    return float(2 * np.median(inside[middle]) - 1) * MM_PER_IN / dpi


def _depths(artwork: Artwork, box_mm: Box) -> "tuple[np.ndarray[Any, Any], float]":
    """(distance to the edge in pixels of what stands out from the box's border, dpi)."""
    import cv2

    box = box_mm.grown(_MARGIN_MM)
    dpi = dpi_within(box, _STEM_DPI, _STEM_PIXELS)
    light = luminance_table(picture_of(artwork, box, dpi))
    border = np.concatenate([light[0], light[-1], light[:, 0], light[:, -1]])
    away = np.abs(light - np.median(border))
    if float(away.max()) < 0.02:
        return np.zeros(light.shape, np.float32), dpi
    mask = (away > away.max() / 2).astype(np.uint8)
    return np.asarray(cv2.distanceTransform(mask, cv2.DIST_L2, cv2.DIST_MASK_PRECISE)), dpi


def _middle(inside: "np.ndarray[Any, Any]") -> "np.ndarray[Any, Any]":
    """Where the middle of the strokes runs, less the ends that run out into corners."""
    import cv2

    ridge = (inside >= cv2.dilate(inside, np.ones((3, 3), np.uint8))) & (inside > 1)
    if ridge.any():
        ridge &= inside >= 0.6 * np.percentile(inside[ridge], 90)
    return np.asarray(ridge)


def _pair(before: Artwork, after: Artwork, box_mm: Box) -> tuple[float, float] | None:
    """Stem widths in mm before and after, at the same places: the middle of the strokes after."""
    import cv2

    new, dpi = _depths(after, box_mm)
    old, _ = _depths(before, box_mm)
    middle = _middle(new)
    if not middle.any():
        return None
    near = np.asarray(cv2.dilate(old, np.ones((5, 5), np.uint8)))
    widths = (float(2 * np.median(depths[middle]) - 1) for depths in (near, new))
    old_mm, new_mm = (width * MM_PER_IN / dpi for width in widths)
    return old_mm, new_mm


def stem_widths(before: Artwork, after: Artwork, *, most: int = 5) -> tuple[StemWidth, ...]:
    """Stem widths of up to ``most`` words, those that lost most first.

    Does not measure more than the 40 first words; words come from the text and from rows of
    letter-like shapes.

    Raises:
        InputProblem: a page cannot be read or drawn.
    """
    words = words_of(after, read_page(after.page_pdf)).words[:40]
    found = []
    for word in words:
        pair = _pair(before, after, word.box_mm)
        if pair is not None:
            found.append(StemWidth(word.text, word.box_mm, *pair))
    found.sort(key=lambda stem: stem.after_mm - stem.before_mm)
    return tuple(found[:most])


def close_up(
    before: Artwork, after: Artwork, *, times: float = 20.0, side_mm: float = 10.0
) -> CloseUp | None:
    """Both artworks ``times`` life size (at 96 px an inch) where they differ most, or None.

    Raises:
        InputProblem: a page cannot be drawn.
    """
    import cv2

    whole = whole_box(before)
    dpi = dpi_within(whole, _SEARCH_DPI)
    one, other = (picture_of(artwork, whole, dpi) for artwork in (before, after))
    difference = np.abs(one.astype(np.int16) - other).sum(axis=2).astype(np.float32)
    if not difference.any():
        return None
    side = max(round(side_mm * dpi / MM_PER_IN), 1)
    summed = cv2.boxFilter(difference, -1, (side, side), borderType=cv2.BORDER_CONSTANT)
    row, column = np.unravel_index(int(summed.argmax()), summed.shape)
    x_mm, y_mm = int(column) * MM_PER_IN / dpi, whole.y1 - int(row) * MM_PER_IN / dpi
    half = side_mm / 2
    box = Box(x_mm - half, y_mm - half, x_mm + half, y_mm + half)
    fine = PX_PER_IN * times
    return CloseUp(box, times, picture_of(before, box, fine), picture_of(after, box, fine))
