"""Ink and gaps too narrow for the printer, found on an exact rendering."""

from collections.abc import Iterator
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
_TILE = 256
_MOST_FOUND = 40
_FEW = 1_000_000


@dataclass(frozen=True)
class Narrow:
    """One narrow place: about how wide, in mm (give or take a pixel), and where."""

    width_mm: float
    box_mm: Box
    pixels: int


def dark_mask(pixels: "np.ndarray[Any, Any]") -> "np.ndarray[Any, Any]":
    """1 where a pixel is darker than the middle of lightness, else 0."""
    mask = np.empty(pixels.shape[:2], np.uint8)
    for top in range(0, pixels.shape[0], _TILE):
        band = pixels[top : top + _TILE]
        for columns, tile, plain in _tiles(band):
            tile = tile[:1, :1] if plain else tile
            mask[top : top + _TILE, columns] = luminance_table(tile) < MID_LUMINANCE
    return mask


def _tiles(
    band: "np.ndarray[Any, Any]", reach: int = 0
) -> Iterator[tuple[slice, "np.ndarray[Any, Any]", bool]]:
    """(columns, the part of the band there and ``2 * reach`` further, whether of one colour)."""
    flat = band.reshape(len(band), -1)
    mixed = np.flatnonzero(flat.min(axis=0) != flat.max(axis=0)) // (flat.shape[1] // band.shape[1])
    for left in range(0, band.shape[1] - 2 * reach, _TILE):
        end = left + _TILE + 2 * reach
        tile = band[:, left:end]
        first, last = np.searchsorted(mixed, (left, end))
        plain = bool(first == last and (tile[0] == tile[0, 0]).all())
        yield slice(left, min(left + _TILE, band.shape[1] - 2 * reach)), tile, plain


def narrow_places(
    mask: "np.ndarray[Any, Any]", least_mm: float, picture_box: Box, dpi: float
) -> tuple[list[Narrow], int]:
    """(narrowest places first, how many there are) of a mask where it is narrower than
    ``least_mm``: what opening with a disc of that diameter takes away.

    A place that is part of something wider must be four times as long as ``least_mm``: every
    sharp corner and crotch narrows to nothing. A dot or hole that stands alone always counts.
    """
    size = int(least_mm * dpi / MM_PER_IN)
    size = max(size - (size + 1) % 2, 1)
    if size < 3:
        return [], 0
    blobs = _blobs_of(*_lost_in_opening(mask, size), mask.shape)
    spans = np.maximum(blobs.high - blobs.low + 1, blobs.right - blobs.left + 1)
    chosen = np.flatnonzero(spans >= np.where(blobs.attached, _LONG * size, _SPECK_PX))
    chosen = chosen[np.argsort(-blobs.pixels[chosen], kind="stable")]
    found = [_measured(blobs, int(i), picture_box, dpi) for i in chosen[:_MOST_FOUND]]
    found.sort(key=lambda narrow: narrow.width_mm)
    return found, len(chosen)


def _lost_in_opening(
    mask: "np.ndarray[Any, Any]", size: int
) -> tuple["np.ndarray[Any, Any]", "np.ndarray[Any, Any]"]:
    """(places of the pixels that opening with a disc takes away, whether each touches what is left)

    A place is row * width + column; they come sorted. Works tile by tile and passes over tiles of
    one colour, which lose nothing.
    """
    import cv2

    kernel = cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (size, size))
    inner = (slice(size, -size), slice(size, -size))
    places, touching = [np.zeros(0, np.int64)], [np.zeros(0, bool)]
    for top in range(0, mask.shape[0], _TILE):
        rows_in = mask[max(top - size, 0) : top + _TILE + size]
        above = max(size - top, 0)
        below = min(_TILE, len(mask) - top) + 2 * size - above - len(rows_in)
        band = cv2.copyMakeBorder(rows_in, above, below, size, size, cv2.BORDER_REPLICATE)
        for columns, tile, plain in _tiles(band, size):
            if plain:
                continue
            opened = cv2.morphologyEx(tile, cv2.MORPH_OPEN, kernel)
            near_wide = np.asarray(cv2.dilate(opened, np.ones((3, 3), np.uint8)))[inner]
            rows, across = np.nonzero((tile > opened)[inner])
            places.append((rows + top) * mask.shape[1] + across + columns.start)
            touching.append(near_wide[rows, across] > 0)
    found = np.concatenate(places)
    order = np.argsort(found)
    return found[order], np.concatenate(touching)[order]


@dataclass(frozen=True)
class _Blobs:
    """Pixels that hang together, sorted by blob, and what each blob spans; one row a blob."""

    rows: "np.ndarray[Any, Any]"
    columns: "np.ndarray[Any, Any]"
    starts: "np.ndarray[Any, Any]"
    pixels: "np.ndarray[Any, Any]"
    low: "np.ndarray[Any, Any]"
    high: "np.ndarray[Any, Any]"
    left: "np.ndarray[Any, Any]"
    right: "np.ndarray[Any, Any]"
    attached: "np.ndarray[Any, Any]"


def _blobs_of(
    places: "np.ndarray[Any, Any]", touching: "np.ndarray[Any, Any]", shape: tuple[int, ...]
) -> _Blobs:
    if not len(places):
        none = np.zeros(0, np.int64)
        return _Blobs(none, none, none, none, none, none, none, none, none)
    rows, columns = np.divmod(places, shape[1])
    labels = _labels_of(rows, columns, shape)
    order = np.argsort(labels, kind="stable")
    rows, columns = rows[order], columns[order]
    starts = np.flatnonzero(np.diff(labels[order], prepend=-1))
    return _Blobs(
        rows,
        columns,
        starts,
        np.diff(starts, append=len(rows)),
        np.minimum.reduceat(rows, starts),
        np.maximum.reduceat(rows, starts),
        np.minimum.reduceat(columns, starts),
        np.maximum.reduceat(columns, starts),
        np.logical_or.reduceat(touching[order], starts),
    )


def _labels_of(
    rows: "np.ndarray[Any, Any]", columns: "np.ndarray[Any, Any]", shape: tuple[int, ...]
) -> "np.ndarray[Any, Any]":
    """A number for each pixel, the same for pixels that touch, corners included."""
    if len(rows) > _FEW:
        import cv2

        picture = np.zeros(shape, np.uint8)
        picture[rows, columns] = 1
        _, everywhere = cv2.connectedComponents(picture, connectivity=8)
        some: np.ndarray[Any, Any] = np.asarray(everywhere)[rows, columns]
        return some
    from scipy.sparse import coo_matrix
    from scipy.sparse.csgraph import connected_components

    wide = shape[1] + 1  # a free column, so that no row runs on into the next
    places = rows * wide + columns
    ones, others = [], []
    for step in (1, wide - 1, wide, wide + 1):
        at = np.minimum(np.searchsorted(places, places + step), max(len(places) - 1, 0))
        joined = np.flatnonzero(places[at] == places + step)
        ones.append(joined)
        others.append(at[joined])
    one, other = np.concatenate(ones), np.concatenate(others)
    links = coo_matrix((np.ones(len(one), np.int8), (one, other)), shape=(len(places),) * 2)
    labels: np.ndarray[Any, Any] = connected_components(links, directed=False)[1]
    return labels


def _measured(blobs: _Blobs, i: int, picture_box: Box, dpi: float) -> Narrow:
    """How wide one blob is: its area by its length, held to what a disc inside it says."""
    import cv2

    y, x, area = int(blobs.low[i]), int(blobs.left[i]), int(blobs.pixels[i])
    h, w = int(blobs.high[i]) - y + 1, int(blobs.right[i]) - x + 1
    mine = slice(int(blobs.starts[i]), int(blobs.starts[i]) + area)
    piece = np.zeros((h + 2, w + 2), np.uint8)
    piece[blobs.rows[mine] - y + 1, blobs.columns[mine] - x + 1] = 1
    reach = float(cv2.distanceTransform(piece, cv2.DIST_L2, 5).max())
    width_mm = min(max(area / max(w, h), 2 * reach - 1), 2 * reach) * MM_PER_IN / dpi
    return Narrow(width_mm, box_mm_of((y, y + h), (x, x + w), picture_box, dpi), area)


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
