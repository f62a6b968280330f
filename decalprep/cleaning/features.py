"""Ink and gaps too narrow for the printer, found on an exact rendering."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from decalprep.cleaning.contrast import luminance_table
from decalprep.cleaning.rendering import BAND_ROWS, TIMES, FinePicture, box_mm_of, enlarged
from decalprep.geometry import Box
from decalprep.pdfstream.drawing import REACH_PX, Span
from decalprep.units import MM_PER_IN

MID_LUMINANCE = 0.184
"""CIE L* = 50: darker is ink, lighter is ground."""
_LONG = 4
_SPECK_PX = 2
_MOST_FOUND = 40
_FEW = 1_000_000


@dataclass(frozen=True)
class Narrow:
    """One narrow place: about how wide, in mm (give or take a pixel), and where."""

    width_mm: float
    box_mm: Box
    pixels: int


@dataclass(frozen=True)
class DarkMask:
    """1 where a pixel is darker than the middle of lightness; good in and near ``spans`` only."""

    mask: "np.ndarray[Any, Any]"
    spans: Sequence[Span]
    picture: FinePicture


def dark_mask(picture: FinePicture, *widest_mm: float) -> DarkMask:
    """What is darker than the middle of lightness, wherever ink or gaps so narrow may lie.

    Where all is of one colour within half that width, nothing is narrow.
    """
    rows, columns = picture.pixels.shape[:2]
    reach = max(_disc_px(width_mm, picture.dpi) for width_mm in widest_mm)
    spans: Sequence[Span] = picture.spans
    if reach // 2 >= REACH_PX * TIMES:
        steps = range(0, rows, BAND_ROWS)
        spans = [Span(t, min(t + BAND_ROWS, rows), 0, columns) for t in steps]
    mask = np.empty((rows, columns), np.uint8)
    for span in spans:
        near = span.grown(-(-reach // TIMES) * TIMES, rows, columns)
        few = luminance_table(picture.coarse_at(near)) < MID_LUMINANCE
        near.of(mask)[:] = enlarged(few.view(np.uint8), near)
    for span in picture.spans:
        span.of(mask)[:] = luminance_table(span.of(picture.pixels)) < MID_LUMINANCE
    return DarkMask(mask, spans, picture)


def _disc_px(width_mm: float, dpi: float) -> int:
    """The largest odd number of pixels within a width."""
    size = int(width_mm * dpi / MM_PER_IN)
    return max(size - (size + 1) % 2, 1)


def narrow_places(
    dark: DarkMask, least_mm: float, *, gaps: bool = False
) -> tuple[list[Narrow], int]:
    """(narrowest places first, how many there are) where ink (or ``gaps`` in it) is narrower than
    ``least_mm``: what opening with a disc of that diameter takes away.

    A place that is part of something wider must be four times as long as ``least_mm``: every
    sharp corner and crotch narrows to nothing. A dot or hole that stands alone always counts.
    """
    picture = dark.picture
    size = _disc_px(least_mm, picture.dpi)
    if size < 3:
        return [], 0
    blobs = _blobs_of(*_lost_in_opening(dark, size, gaps=gaps), dark.mask.shape)
    spans = np.maximum(blobs.high - blobs.low + 1, blobs.right - blobs.left + 1)
    chosen = np.flatnonzero(spans >= np.where(blobs.attached, _LONG * size, _SPECK_PX))
    chosen = chosen[np.argsort(-blobs.pixels[chosen], kind="stable")]
    found = [_measured(blobs, int(i), picture.box, picture.dpi) for i in chosen[:_MOST_FOUND]]
    found.sort(key=lambda narrow: narrow.width_mm)
    return found, len(chosen)


def _lost_in_opening(
    dark: DarkMask, size: int, *, gaps: bool
) -> tuple["np.ndarray[Any, Any]", "np.ndarray[Any, Any]"]:
    """(places of the pixels that opening with a disc takes away, whether each touches what is left)

    A place is row * width + column; they come sorted.
    """
    import cv2

    kernel = cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (size, size))
    inner = (slice(size, -size), slice(size, -size))
    columns = dark.mask.shape[1]
    places, touching = [np.zeros(0, np.int64)], [np.zeros(0, bool)]
    for span in dark.spans:
        tile = _with_surround(dark.mask, span, size)
        if gaps:
            tile = 1 - tile
        low, high, *_ = cv2.minMaxLoc(tile)
        if low == high:
            continue
        opened = cv2.morphologyEx(tile, cv2.MORPH_OPEN, kernel)
        lost = np.flatnonzero(cv2.compare(tile, opened, cv2.CMP_GT)[inner].reshape(-1) != 0)
        if not len(lost):
            continue
        rows, across = np.divmod(lost, tile.shape[1] - 2 * size)
        near_wide = np.asarray(cv2.dilate(opened, np.ones((3, 3), np.uint8)))[inner]
        places.append((rows + span.top) * columns + across + span.left)
        touching.append(near_wide[rows, across] > 0)
    found = np.concatenate(places)
    order = np.argsort(found)
    return found[order], np.concatenate(touching)[order]


def _with_surround(mask: "np.ndarray[Any, Any]", span: Span, reach: int) -> Any:
    """A part of a mask and ``reach`` round it; past the mask's edge, its last pixels again."""
    import cv2

    rows, columns = mask.shape
    top, left = max(span.top - reach, 0), max(span.left - reach, 0)
    bottom, right = min(span.bottom + reach, rows), min(span.right + reach, columns)
    past = (
        reach - span.top + top,
        reach - bottom + span.bottom,
        reach - span.left + left,
        reach - right + span.right,
    )
    return cv2.copyMakeBorder(mask[top:bottom, left:right], *past, cv2.BORDER_REPLICATE)


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
    wide = shape[1] + 1  # a free column, so that no row runs on into the next
    places = rows * wide + columns
    ones, others = [], []
    for step in (1, wide - 1, wide, wide + 1):
        at = np.minimum(np.searchsorted(places, places + step), max(len(places) - 1, 0))
        joined = np.flatnonzero(places[at] == places + step)
        ones.append(joined)
        others.append(at[joined])
    return _joined(len(places), np.concatenate(ones), np.concatenate(others))


def _joined(
    count: int, one: "np.ndarray[Any, Any]", other: "np.ndarray[Any, Any]"
) -> "np.ndarray[Any, Any]":
    """For each of ``count`` things the lowest of those that links (one, other) join it to.

    In each round the head of every group takes a neighbouring group's lower head for its own.
    """
    heads = np.arange(count)
    while True:
        here, there = heads[one], heads[other]
        apart = np.flatnonzero(here != there)
        if not len(apart):
            return heads
        one, other, here, there = one[apart], other[apart], here[apart], there[apart]
        np.minimum.at(heads, np.maximum(here, there), np.minimum(here, there))
        while not np.array_equal(further := heads[heads], heads):
            heads = further


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
    picture: FinePicture, box: Box
) -> tuple[tuple[float, float, float], tuple[float, float, float]] | None:
    """(ground, legend) colours in and round a word's box, 0..1; None where there is one only.

    The ground is the commonest colour along the border of the box grown by 15 % of its height;
    the legend is the colour inside that differs most from it and covers 2 % or more.
    """
    mm = MM_PER_IN / picture.dpi
    grown = box.grown(0.15 * min(box.height, box.width) + mm)
    x0, x1 = ((x - picture.box.x0) / mm for x in (grown.x0, grown.x1))
    y0, y1 = ((picture.box.y1 - y) / mm for y in (grown.y1, grown.y0))
    height, width = picture.pixels.shape[:2]
    top, bottom = max(int(y0), 0), min(int(y1) + 1, height)
    left, right = max(int(x0), 0), min(int(x1) + 1, width)
    if bottom - top < 4 or right - left < 4:
        return None
    crop = picture.part(Span(top, bottom, left, right))
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
