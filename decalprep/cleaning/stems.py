"""What stripping did to the picture: stem widths before and after, and the place it did most."""

from dataclasses import dataclass
from typing import Any

import numpy as np

from decalprep.cleaning.contrast import luminance_table
from decalprep.cleaning.letters import words_of
from decalprep.cleaning.rendering import dpi_within, picture_of, whole_box
from decalprep.geometry import Box
from decalprep.model import Artwork
from decalprep.pdfstream import PageContents, read_page
from decalprep.units import MM_PER_IN, PX_PER_IN

_STEM_DPI = 4800.0
_STEM_PIXELS = 6_000_000
_STEM_MM = 6.0
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
    """A place of two artworks that differ there: RGB pixels of both, ``times`` life size."""

    box_mm: Box
    times: float
    before: "np.ndarray[Any, Any]"
    after: "np.ndarray[Any, Any]"


@dataclass(frozen=True)
class StrokeEffect:
    """What stripping did to the picture of an artwork: nothing where there is no ``close``."""

    close: CloseUp | None
    stems: tuple[StemWidth, ...]


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


def stem_widths(
    before: Artwork, after: Artwork, *, most: int = 5, contents: PageContents | None = None
) -> tuple[StemWidth, ...]:
    """Stem widths in mm of up to ``most`` words, those that lost most first; a text once.

    The words measured are those whose picture changed most for their size; of a long one, the
    middle 6 mm. Words come from the text and from rows of letter-like shapes. ``contents`` are
    those of ``after``, where they are known already.

    Raises:
        InputProblem: a page cannot be read or drawn.
    """
    return _Differing(before, after).stems(most, contents)


def close_up(
    before: Artwork, after: Artwork, *, times: float = 20.0, side_mm: float = 10.0
) -> CloseUp | None:
    """Both artworks ``times`` life size (at 96 px an inch) where they differ most, or None.

    Raises:
        InputProblem: a page cannot be drawn.
    """
    return _Differing(before, after).close_up(times, side_mm)


def stroke_effect(
    before: Artwork, after: Artwork, *, contents: PageContents | None = None
) -> StrokeEffect:
    """What stripping did to the picture: stem widths in mm of the three words that changed most,
    and the place where the hairlines did most harm, 6 mm wide and 20 times life size.

    That is the word whose stems they made thickest for their width, and where there are no
    words, the place whose picture changed most.

    Raises:
        InputProblem: a page cannot be read or drawn.
    """
    both = _Differing(before, after)
    stems = both.stems(3, contents)
    if not stems:
        return StrokeEffect(both.close_up(20.0, 6.0), ())
    worst = max(stems, key=lambda stem: stem.before_mm / stem.after_mm)
    return StrokeEffect(both.seen_at(worst.box_mm.centre, 20.0, 6.0), stems)


class _Differing:
    """Two artworks of one size, and how much each place of them differs."""

    def __init__(self, before: Artwork, after: Artwork) -> None:
        self.before, self.after = before, after
        self.whole = whole_box(before)
        self.dpi = dpi_within(self.whole, _SEARCH_DPI)
        one, other = (picture_of(artwork, self.whole, self.dpi) for artwork in (before, after))
        self.difference = np.abs(one.astype(np.int16) - other).sum(axis=2).astype(np.float32)

    def within(self, box_mm: Box) -> float:
        """Mean difference inside a box of the artwork."""
        scale = self.dpi / MM_PER_IN
        left, right = (max(int(x * scale), 0) for x in (box_mm.x0, box_mm.x1))
        top, bottom = (max(int((self.whole.y1 - y) * scale), 0) for y in (box_mm.y1, box_mm.y0))
        part = self.difference[top : bottom + 1, left : right + 1]
        return float(part.mean()) if part.size else 0.0

    def stems(self, most: int, contents: PageContents | None) -> tuple[StemWidth, ...]:
        """Stem widths of the words that differ most."""
        if not self.difference.any():
            return ()
        page = read_page(self.after.page_pdf) if contents is None else contents
        changed = [(self.within(w.box_mm), w) for w in words_of(self.after, page).words]
        changed.sort(key=lambda pair: -pair[0])
        found: list[StemWidth] = []
        for difference, word in changed:
            if len(found) == most or not difference:
                break
            if word.text and word.text in [stem.text for stem in found]:
                continue
            pair = _pair(self.before, self.after, _middle_of(word.box_mm))
            if pair is not None:
                found.append(StemWidth(word.text, word.box_mm, *pair))
        return tuple(sorted(found, key=lambda stem: stem.after_mm - stem.before_mm))

    def close_up(self, times: float, side_mm: float) -> CloseUp | None:
        """Both where they differ most."""
        import cv2

        if not self.difference.any():
            return None
        dpi = self.dpi
        side = max(round(side_mm * dpi / MM_PER_IN), 1)
        summed = cv2.boxFilter(self.difference, -1, (side, side), borderType=cv2.BORDER_CONSTANT)
        peak = np.unravel_index(int(summed.argmax()), summed.shape)
        row, column = self._centroid(int(peak[0]), int(peak[1]), side // 2)
        centre = column * MM_PER_IN / dpi, self.whole.y1 - row * MM_PER_IN / dpi
        return self.seen_at(centre, times, side_mm)

    def seen_at(self, centre: tuple[float, float], times: float, side_mm: float) -> CloseUp:
        """Both round a place."""
        (x_mm, y_mm), half = centre, side_mm / 2
        box = Box(x_mm - half, y_mm - half, x_mm + half, y_mm + half)
        fine = PX_PER_IN * times
        before, after = (picture_of(artwork, box, fine) for artwork in (self.before, self.after))
        return CloseUp(box, times, before, after)

    def _centroid(self, row: int, column: int, reach: int) -> tuple[float, float]:
        """The middle of what differs round a pixel: many places differ by as much as the most."""
        top, left = max(row - reach, 0), max(column - reach, 0)
        part = self.difference[top : row + reach + 1, left : column + reach + 1]
        rows, columns = (part.sum(axis=axis) for axis in (1, 0))
        total = float(part.sum())
        return (
            top + float(rows @ np.arange(len(rows))) / total + 0.5,
            left + float(columns @ np.arange(len(columns))) / total + 0.5,
        )


def _middle_of(box: Box) -> Box:
    """The middle of a long box."""
    (x, y), half = box.centre, _STEM_MM / 2
    return Box(
        max(box.x0, x - half), max(box.y0, y - half), min(box.x1, x + half), min(box.y1, y + half)
    )
