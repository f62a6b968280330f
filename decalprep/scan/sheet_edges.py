"""The edges of a sheet in a scan: they give scale and turn, and what of the sheet is not in view.

The sheet lies on something darker. Each side is looked for from its side of the picture: where
light begins, and stays for a while, a straight line is laid through most of those places; ink or
cuts at the edge do not bend it. A side that the picture cuts off is unknown; of each two opposite
sides one must be there.
"""

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Literal

import cv2
import numpy as np
import numpy.typing as npt

from decalprep.errors import InputProblem
from decalprep.geometry import Affine
from decalprep.scan.images import ScanImage
from decalprep.units import MM_PER_IN

Array = npt.NDArray[np.float64]
Side = Literal["left", "right", "bottom", "top"]

MOST_TURN_DEG = 10.0
"""How far from upright, or from a quarter turn, a sheet may lie on the glass."""
SIZE_WARN, SIZE_REFUSE = 0.01, 0.03
"""How far (parts of one) sides may be off the stock's: told, refused. Scanners err by 0.005."""
LEAST_DPI = 99.0
"""A smaller dpi in a file is what programs write that know none."""
_LONG_SIDE_PX = 1600
_STANDS_OUT = 40.0
_LEAST_SHARE = 0.25
_RUN_PX = 12
_DO = "scan the whole sheet on a dark sheet of paper that shows on all sides, lid down"


@dataclass(frozen=True)
class SheetEdges:
    """The sides seen, by distance (full px) along the sheet's own axes in the picture.

    ``across`` and ``up`` are unit vectors in the picture (column right, row down).
    """

    across: tuple[float, float]
    up: tuple[float, float]
    at_px: Mapping[Side, float]
    claimed_dpi: tuple[float, float] | None

    def image_from_sheet(self, width_mm: float, height_mm: float) -> Affine:
        """Picture px from the mm of a sheet that lies upright and has this size."""
        sx, sy = self._scales(width_mm, height_mm)
        at = self.at_px
        left = at["left"] if "left" in at else at["right"] - sx * width_mm
        bottom = at["bottom"] if "bottom" in at else at["top"] - sy * height_mm
        (ax, ay), (ux, uy) = self.across, self.up
        return Affine(
            sx * ax, sx * ay, sy * ux, sy * uy, left * ax + bottom * ux, left * ay + bottom * uy
        )

    def error(self, width_mm: float, height_mm: float) -> float:
        """How far the sides seen are off such a sheet, parts of one; 0 where nothing tells."""
        scales = self._seen(width_mm, height_mm)
        if self.claimed_dpi:
            scales += [dpi / MM_PER_IN for dpi in self.claimed_dpi]
        return max(scales) / min(scales) - 1 if scales else 0.0

    def _seen(self, width_mm: float, height_mm: float) -> list[float]:
        at, found = self.at_px, []
        if "left" in at and "right" in at:
            found.append((at["right"] - at["left"]) / width_mm)
        if "bottom" in at and "top" in at:
            found.append((at["top"] - at["bottom"]) / height_mm)
        return found

    def _scales(self, width_mm: float, height_mm: float) -> tuple[float, float]:
        """Px per mm across and up; a way that is not seen takes the other's, or the file's dpi."""
        seen = self._seen(width_mm, height_mm)
        if len(seen) == 2:
            return seen[0], seen[1]
        if seen:
            return seen[0], seen[0]
        x, y = self.claimed_dpi or (0.0, 0.0)
        return x / MM_PER_IN, y / MM_PER_IN


def find_edges(image: ScanImage) -> SheetEdges:
    """Where the sides of the sheet lie in a scan, to about 0.1 mm.

    Does not find clear film, and no sheet on a light ground.

    Raises:
        InputProblem: too few sides are in view, or they belong to no sheet.
    """
    high, wide = image.grey.shape
    shrink = min(1.0, _LONG_SIDE_PX / max(high, wide))
    size = (max(1, round(wide * shrink)), max(1, round(high * shrink)))
    grey = cv2.resize(image.grey, size, interpolation=cv2.INTER_AREA).astype(np.float64)
    level = _level(grey, image.name)
    px = np.array([wide / size[0], high / size[1]])
    lines = {side: _line(_turned(grey, side), level) for side in _SIDES}
    found = {s: _in_picture(s, line, size) for s, line in lines.items() if line is not None}
    dpi = image.claimed_dpi if image.claimed_dpi and min(image.claimed_dpi) > LEAST_DPI else None
    fixed = all(found.keys() & set(pair) for pair in (("left", "right"), ("bottom", "top")))
    if not fixed or not (dpi or len(found) > 2):
        seen = ", ".join(found) or "none"
        raise InputProblem(
            f"the sheet's edges cannot be found (seen: {seen})", where=image.name, do=_DO
        )
    turns = [turn for _, turn in found.values()]
    if max(turns) - min(turns) > math.radians(1.0):
        raise InputProblem("the light area in the scan is no rectangle", where=image.name, do=_DO)
    turn = float(np.median(turns))
    across, up = (math.cos(turn), math.sin(turn)), (math.sin(turn), -math.cos(turn))
    at: dict[Side, float] = {}
    for side, (point, _) in found.items():
        axis = across if side in ("left", "right") else up
        at[side] = float(np.dot(point * px, axis))
    return SheetEdges(across, up, at, dpi)


_SIDES: tuple[Side, ...] = ("left", "right", "bottom", "top")


def _level(grey: Array, name: str) -> float:
    """Half way between what lies behind the sheet and the sheet."""
    strip = max(2, min(grey.shape) // 100)
    sides = (grey[:strip], grey[-strip:], grey[:, :strip], grey[:, -strip:])
    behind = min(float(np.median(side)) for side in sides)
    sheet = float(np.percentile(grey, 90))
    if sheet - behind < _STANDS_OUT:
        raise InputProblem(
            "the sheet does not stand out from what lies behind it", where=name, do=_DO
        )
    return (behind + sheet) / 2


def _turned(grey: Array, side: Side) -> Array:
    """The picture with the side at its top."""
    if side == "top":
        return grey
    if side == "bottom":
        return grey[::-1]
    return grey.T if side == "left" else grey[:, ::-1].T


def _line(grey: Array, level: float) -> tuple[Array, float] | None:
    """(its middle, its slope) of the edge at the top; None where the picture cuts it off."""
    light = (grey > level).astype(np.uint8)
    stays = cv2.erode(light, np.ones((_RUN_PX, 1), np.uint8), anchor=(0, 0))
    first = np.argmax(stays, axis=0)
    columns = np.nonzero(stays.any(axis=0))[0]
    rows = first[columns]
    inside = rows > 1
    if not len(columns) or inside.sum() < _LEAST_SHARE * len(columns):
        return None
    columns, rows = columns[inside], rows[inside]
    before, after = grey[rows - 1, columns], grey[rows, columns]
    share = np.clip((level - before) / np.maximum(after - before, 1e-6), 0, 1)
    points = np.column_stack([columns + 0.5, rows - 0.5 + share])
    slope, start = _through_most(points)
    for _ in range(3):
        off = points[:, 1] - start - slope * points[:, 0]
        near = points[np.abs(off) < 1.5]
        if len(near) < _LEAST_SHARE * len(columns):
            return None
        slope, start = (float(v) for v in np.polyfit(near[:, 0], near[:, 1], 1))
    return near.mean(axis=0), slope


def _through_most(points: Array) -> tuple[float, float]:
    """(slope, start) of a line within 1 px of many points: at the slope that gathers most of them
    on one line, the outermost that has its share. Ink or a cut along the edge lies further in.
    """
    most = math.tan(math.radians(MOST_TURN_DEG))
    best, gathered = np.zeros(1, np.int64), (0.0, 0.0)
    for slope in np.linspace(-most, most, 2 * 176 + 1):
        start = points[:, 1] - slope * points[:, 0]
        low = float(start.min())
        counts = np.bincount(((start - low) / 2).astype(int))
        if counts.max() > best.max():
            best, gathered = counts, (float(slope), low)
    enough = max(min(_LEAST_SHARE * len(points), float(best.max())), 1.0)
    first = int(np.argmax(best >= enough))
    return gathered[0], gathered[1] + 2 * first + 1


def _in_picture(
    side: Side, line: tuple[Array, float], size: tuple[int, int]
) -> tuple[Array, float]:
    """(a point of the edge, turn of the sheet in radians) in the small picture itself."""
    (x, y), slope = line
    if side == "top":
        return np.array([x, y]), math.atan(slope)
    if side == "bottom":
        return np.array([x, size[1] - y]), math.atan(-slope)
    if side == "left":
        return np.array([y, x]), math.atan(-slope)
    return np.array([size[0] - y, x]), math.atan(slope)
