"""Backlit work: does the legend stay bare paper?"""

from dataclasses import dataclass

import numpy as np

from decalprep.cleaning.contrast import luminance_table
from decalprep.cleaning.rendering import box_mm_of, dpi_within, picture_of, whole_box
from decalprep.geometry import Box
from decalprep.model import Artwork, Notice, Severity
from decalprep.units import MM_PER_IN

_DPI = 600.0
_MOST_PIXELS = 20_000_000
_LIGHT = 0.5
_SMALLEST_MM2 = 0.05
_LEAST_SHARE = 0.001
"""Less than this of the legend is a pixel here and there, which dims nothing."""


@dataclass(frozen=True)
class LegendInk:
    """Light areas enclosed by a dark ground, and how much of them would carry ink, in mm2.

    The outermost pixel of every shape is left out of both: it is mixed with the ground.
    """

    legend_mm2: float
    inked_mm2: float
    notices: tuple[Notice, ...] = ()

    @property
    def share(self) -> float:
        """Inked part of the legend area, 0..1."""
        return self.inked_mm2 / self.legend_mm2 if self.legend_mm2 else 0.0


def legend_ink(artwork: Artwork) -> LegendInk:
    """How much of the legend's area in mm2 would carry ink: anything but exact white does.

    The legend is every light area (relative luminance 0.5 or more) that does not reach the edge
    of the page. Does not see legends in dark colours, nor ones that touch the page edge.

    Raises:
        InputProblem: the page cannot be drawn.
    """
    import cv2

    box = whole_box(artwork)
    dpi = dpi_within(box, _DPI, _MOST_PIXELS)
    pixels = picture_of(artwork, box, dpi)
    light = (luminance_table(pixels) >= _LIGHT).astype(np.uint8)
    core = cv2.erode(light, np.ones((3, 3), np.uint8))
    _count, labels, stats, _ = cv2.connectedComponentsWithStats(light, connectivity=4)
    height, width = light.shape
    x, y, w, h = (stats[:, i] for i in range(4))
    inner = (x > 0) & (y > 0) & (x + w < width) & (y + h < height)
    inner[0] = False
    legend = inner[labels] & (core > 0)
    inked = legend & (pixels != 255).any(axis=2)
    mm2 = (MM_PER_IN / dpi) ** 2
    found = LegendInk(float(legend.sum()) * mm2, float(inked.sum()) * mm2)
    return LegendInk(found.legend_mm2, found.inked_mm2, _notices(artwork, found, inked, box, dpi))


def _notices(
    artwork: Artwork, found: LegendInk, inked: "np.ndarray", box: Box, dpi: float
) -> tuple[Notice, ...]:
    if found.legend_mm2 < _SMALLEST_MM2:
        text = "no light legend enclosed by a dark ground was found, so none was checked"
        return (Notice("no-legend-seen", text, artwork.name, Severity.NOTE),)
    if found.share < _LEAST_SHARE:
        return ()
    rows, columns = np.flatnonzero(inked.any(axis=1)), np.flatnonzero(inked.any(axis=0))
    place = box_mm_of(
        (int(rows[0]), int(rows[-1]) + 1), (int(columns[0]), int(columns[-1]) + 1), box, dpi
    )
    return (
        Notice(
            "legend-carries-ink",
            f"{found.share:.1%} of the legend's area ({found.inked_mm2:.2f} mm2) would carry ink "
            "and dim the light behind it",
            artwork.name,
            Severity.WARNING,
            place,
            (("share", found.share), ("inked_mm2", found.inked_mm2)),
        ),
    )
