"""Ink and gaps too narrow for the printer, found on an exact rendering."""

from dataclasses import dataclass
from typing import Any

import numpy as np

from decalprep.cleaning.contrast import luminance_table
from decalprep.cleaning.rendering import box_mm_of
from decalprep.geometry import Box
from decalprep.units import MM_PER_IN

MID_LUMINANCE = 0.184
"""CIE L* = 50: darker is ink, lighter is ground."""
_LONG = 4
_SPECK_PX = 2
_BAND = 512
_MOST_FOUND = 40


@dataclass(frozen=True)
class Narrow:
    """One narrow place: about how wide, in mm (give or take a pixel), and where."""

    width_mm: float
    box_mm: Box
    pixels: int


def dark_mask(pixels: "np.ndarray[Any, Any]") -> "np.ndarray[Any, Any]":
    """1 where a pixel is darker than the middle of lightness, else 0."""
    mask = np.empty(pixels.shape[:2], np.uint8)
    for row in range(0, len(pixels), _BAND):
        band = slice(row, row + _BAND)
        mask[band] = luminance_table(pixels[band]) < MID_LUMINANCE
    return mask


def narrow_places(
    mask: "np.ndarray[Any, Any]", least_mm: float, picture_box: Box, dpi: float
) -> tuple[list[Narrow], int]:
    """(narrowest places first, how many there are) of a mask where it is narrower than
    ``least_mm``: what opening with a disc of that diameter takes away.

    A place that is part of something wider must be four times as long as ``least_mm``: every
    sharp corner and crotch narrows to nothing. A dot or hole that stands alone always counts.
    """
    import cv2

    size = int(least_mm * dpi / MM_PER_IN)
    size = max(size - (size + 1) % 2, 1)
    if size < 3:
        return [], 0
    kernel = cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (size, size))
    framed = cv2.copyMakeBorder(mask, size, size, size, size, cv2.BORDER_REPLICATE)
    opened = cv2.morphologyEx(framed, cv2.MORPH_OPEN, kernel)
    rest = (np.asarray(framed) > np.asarray(opened))[size:-size, size:-size].astype(np.uint8)
    near_wide = cv2.dilate(opened, np.ones((3, 3), np.uint8))[size:-size, size:-size]
    count, labels, stats, _ = cv2.connectedComponentsWithStats(
        np.ascontiguousarray(rest), connectivity=8
    )
    extent = np.maximum(stats[:, cv2.CC_STAT_WIDTH], stats[:, cv2.CC_STAT_HEIGHT])
    attached = np.zeros(count, dtype=bool)
    attached[np.unique(labels[(near_wide > 0) & (rest > 0)])] = True
    least_extent = np.where(attached, _LONG * size, _SPECK_PX)
    chosen = [i for i in range(1, count) if extent[i] >= least_extent[i]]
    chosen.sort(key=lambda i: -int(stats[i, cv2.CC_STAT_AREA]))
    found = []
    for i in chosen[:_MOST_FOUND]:
        x, y, w, h, area = (int(v) for v in stats[i, :5])
        piece = np.pad(labels[y : y + h, x : x + w] == i, 1).astype(np.uint8)
        reach = float(cv2.distanceTransform(piece, cv2.DIST_L2, 5).max())
        width_px = min(max(area / max(w, h), 2 * reach - 1), 2 * reach)
        width_mm = width_px * MM_PER_IN / dpi
        found.append(Narrow(width_mm, box_mm_of((y, y + h), (x, x + w), picture_box, dpi), area))
    found.sort(key=lambda narrow: narrow.width_mm)
    return found, len(chosen)


def colours_in(
    pixels: "np.ndarray[Any, Any]", picture_box: Box, dpi: float, box: Box
) -> tuple[tuple[float, float, float], tuple[float, float, float]] | None:
    """(ground, legend) colours in and round a word's box, 0..1; None where there is one only.

    The ground is the commonest colour along the border of the box grown by 15 % of its height;
    the legend is the colour inside that differs most from it and covers 2 % or more.
    """
    mm = MM_PER_IN / dpi
    grown = box.grown(0.15 * min(box.height, box.width) + mm)
    x0, x1 = ((x - picture_box.x0) / mm for x in (grown.x0, grown.x1))
    y0, y1 = ((picture_box.y1 - y) / mm for y in (grown.y1, grown.y0))
    height, width = pixels.shape[:2]
    crop = pixels[max(int(y0), 0) : min(int(y1) + 1, height), max(int(x0), 0) : int(x1) + 1]
    crop = crop[:, : max(width - max(int(x0), 0), 0)]
    if crop.shape[0] < 4 or crop.shape[1] < 4:
        return None
    bins = crop.astype(np.int32) >> 3
    codes = (bins[..., 0] << 10) | (bins[..., 1] << 5) | bins[..., 2]
    border = np.concatenate([codes[0], codes[-1], codes[:, 0], codes[:, -1]])
    ground_code = int(np.bincount(border).argmax())
    counts = np.bincount(codes.ravel())
    enough = [int(c) for c in np.flatnonzero(counts >= 0.02 * codes.size) if c != ground_code]
    ground = _mean(crop[codes == ground_code]) if counts[ground_code] else None
    if ground is None or not enough:
        return None
    others = [_mean(crop[codes == code]) for code in enough]
    legend = max(others, key=lambda c: sum(abs(a - b) for a, b in zip(c, ground, strict=True)))
    return ground, legend


def _mean(pixels: "np.ndarray[Any, Any]") -> tuple[float, float, float]:
    red, green, blue = (float(v) / 255 for v in np.median(pixels, axis=0))
    return red, green, blue
