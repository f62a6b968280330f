"""Where drawn lines lie: their centre, at many stations, to a few micrometres.

At each station the darkness across the line is sampled along its normal, and the centre is the
darkness-weighted mean over the run of dark samples nearest to the expected place. pdfium draws
curves as chords, which brings a line up to 0.0015 mm inward; this is left in.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass

import cv2
import numpy as np
import numpy.typing as npt

from decalprep.geometry import Box
from decalprep.proof.render import OpenPdf, darkest
from decalprep.proof.stations import Floats, Stations

Point = tuple[float, float]
Locate = Callable[[Floats, Floats], tuple[Floats, Floats]]
"""Finds (offset, width) in mm of a line or edge in each row of darkness over the places t."""

DPI, CROSS_DPI = 1800.0, 1200.0
REACH_MM = 0.8
"""How far from its expected place a line is looked for; half the smallest gap between decals."""
TILE_MM = 16.0
DARK = 24.0
"""Grey levels (of 255) that count as ink."""
CROWDED = -1.0
"""Stands for the width where there is ink but no single line: another line runs across."""


@dataclass(frozen=True)
class MeasuredLine:
    """What was found at the stations: offset along the normal in mm (NaN where no line is).

    ``width_mm`` is the mean apparent width, ``gap_mm`` the longest run without ink.
    """

    stations: Stations
    offsets_mm: Floats
    width_mm: float
    gap_mm: float

    @property
    def found(self) -> npt.NDArray[np.bool_]:
        """Which stations have a line."""
        return np.isfinite(self.offsets_mm)

    @property
    def points(self) -> Floats:
        """Measured points of the centre line (page mm), where found."""
        at = self.found
        s = self.stations
        return s.points[at] + s.normals[at] * self.offsets_mm[at][:, None]

    @property
    def worst_mm(self) -> float:
        """Largest distance from the expected line; infinity where nothing was found."""
        return float(np.abs(self.offsets_mm[self.found]).max()) if self.found.any() else math.inf

    @property
    def mean_mm(self) -> float:
        """Mean distance from the expected line."""
        return float(np.abs(self.offsets_mm[self.found]).mean()) if self.found.any() else math.inf


def measure_lines(
    view: OpenPdf, page: int, lines: Sequence[Stations], *, dpi: float = DPI
) -> list[MeasuredLine]:
    """Each line measured in pictures of a view that shows only its layer."""
    return _measured(view, page, lines, dpi, _centres)


def _measured(
    view: OpenPdf, page: int, lines: Sequence[Stations], dpi: float, locate: Locate
) -> list[MeasuredLine]:
    """Stations of all lines, tile by tile: one picture serves all that lie in it."""
    counts = [len(line.points) for line in lines]
    if not sum(counts):
        return [MeasuredLine(line, np.empty(0), 0.0, line.length_mm) for line in lines]
    points = np.vstack([line.points for line in lines])
    normals = np.vstack([line.normals for line in lines])
    offsets = np.full(len(points), np.nan)
    widths = np.full(len(points), np.nan)
    tiles = np.floor(points / TILE_MM).astype(int)
    order = np.lexsort((tiles[:, 1], tiles[:, 0]))
    steps = np.diff(tiles[order], axis=0).any(axis=1)
    for here in np.split(order, np.flatnonzero(steps) + 1):
        offsets[here], widths[here] = _profiles(
            view, page, points[here], normals[here], dpi, locate
        )
    results, start = [], 0
    for line, count in zip(lines, counts, strict=True):
        part = slice(start, start + count)
        start += count
        found = widths[part][widths[part] >= 0]
        width = float(found.mean()) if len(found) else 0.0
        results.append(
            MeasuredLine(line, offsets[part], width, _gap(line, ~np.isnan(widths[part])))
        )
    return results


def measure_edges(
    view: OpenPdf, page: int, rings: Sequence[Stations], *, dpi: float = DPI
) -> list[MeasuredLine]:
    """Each edge of filled shapes measured: rings run with the ink on their left."""
    return _measured(view, page, rings, dpi, _falls)


def _gap(line: Stations, inked: npt.NDArray[np.bool_]) -> float:
    """Longest stretch in mm between stations that have ink; 0 where all have."""
    at = line.along_mm[inked]
    if len(at) == len(line.along_mm):
        return 0.0
    if len(at) == 0:
        return line.length_mm
    ends = [at[0] + line.length_mm] if line.closed else [line.length_mm]
    before = [] if line.closed else [0.0]
    return float(np.diff(np.concatenate([before, at, ends])).max())


def _profiles(
    view: OpenPdf, page: int, points: Floats, normals: Floats, dpi: float, locate: Locate
) -> tuple[Floats, Floats]:
    """(offsets, widths) in mm at each station, from one picture round them all."""
    box = Box.around([(float(x), float(y)) for x, y in points]).grown(REACH_MM + 0.2)
    picture = view.crop(page, box, dpi)
    frame = picture.picture_from_page
    pitch = picture.mm_per_px / 2
    t = np.arange(-REACH_MM, REACH_MM + pitch / 2, pitch)
    x = points[:, :1] + normals[:, :1] * t
    y = points[:, 1:] + normals[:, 1:] * t
    u = (frame.a * x + frame.c * y + frame.e - 0.5).astype(np.float32)
    v = (frame.b * x + frame.d * y + frame.f - 0.5).astype(np.float32)
    levels = cv2.remap(
        picture.pixels, u, v, cv2.INTER_LINEAR, borderMode=cv2.BORDER_CONSTANT,
        borderValue=(255, 255, 255),
    )  # fmt: skip
    return locate(255 - darkest(np.asarray(levels, np.uint8)).astype(float), t)


def _centres(dark: Floats, t: Floats) -> tuple[Floats, Floats]:
    """Centre and apparent width of the dark run nearest to t = 0 in each row."""
    peak = dark.max(axis=1)
    inked = dark > np.maximum(peak * 0.04, 2.0)[:, None]
    core = dark > np.maximum(peak * 0.5, DARK)[:, None]
    index = np.arange(len(t))
    nearest = np.where(core, np.abs(t), np.inf).argmin(axis=1)
    left = np.where(~inked & (index <= nearest[:, None]), index, -1).max(axis=1)
    right = np.where(~inked & (index >= nearest[:, None]), index, len(t)).min(axis=1)
    run = (index > left[:, None]) & (index < right[:, None])
    weight = dark * run
    mass = weight.sum(axis=1)
    good = core.any(axis=1) & (left >= 0) & (right < len(t)) & (mass > 0)
    safe = np.where(mass > 0, mass, 1.0)
    centre = np.where(good, (weight * t).sum(axis=1) / safe, np.nan)
    top = weight.max(axis=1)
    width = np.where(good, mass * (t[1] - t[0]) / np.where(top > 0, top, 1.0), np.nan)
    width = np.where(~good & core.any(axis=1), CROWDED, width)
    return centre, width


def _falls(dark: Floats, t: Floats) -> tuple[Floats, Floats]:
    """Where each row falls through half its darkest, nearest to t = 0, with 0 for a width."""
    half = np.maximum(dark.max(axis=1, keepdims=True) / 2, DARK / 2)
    falling = (dark[:, :-1] >= half) & (dark[:, 1:] < half)
    drop = np.where(falling, dark[:, :-1] - dark[:, 1:], 1.0)
    at = t[:-1] + (t[1] - t[0]) * (dark[:, :-1] - half) / drop
    distance = np.where(falling, np.abs(at), np.inf)
    best = distance.argmin(axis=1)
    rows = np.arange(len(dark))
    found = np.isfinite(distance[rows, best])
    return np.where(found, at[rows, best], np.nan), np.where(found, 0.0, np.nan)


def measure_cross(
    view: OpenPdf, page: int, centre_mm: Point, *, reach_mm: float, dpi: float = CROSS_DPI
) -> Point | None:
    """Centre (page mm) of a cross or any point-symmetric mark near a place; None if no ink.

    The mark is laid over itself turned by half a turn; half the shift between both is what the
    assumed centre is off (Gauss-Newton steps on the grey levels).
    """
    x0, y0 = centre_mm
    side = 2 * reach_mm + 0.3
    picture = view.crop(page, Box(x0 - side, y0 - side, x0 + side, y0 + side), dpi)
    flat = (255 - darkest(picture.pixels)).astype(np.float32)
    dark = np.asarray(cv2.GaussianBlur(flat, (0, 0), 2.0), np.float32)
    reach_px = reach_mm / picture.mm_per_px
    half = math.ceil(reach_px)
    u, v = np.meshgrid(*[np.arange(-half, half + 1.0)] * 2)
    window = np.clip((reach_px - np.hypot(u, v)) / (reach_px / 3), 0.0, 1.0)
    centre = np.array(picture.picture_from_page.apply(x0, y0)) - 0.5
    first = centre.copy()
    for _ in range(15):  # near enough for the steps below: onto the middle of the ink
        mass = _sampled(dark, u + centre[0], v + centre[1]) * window
        if float(mass.max()) < DARK:
            return None
        move = np.array([(mass * u).sum(), (mass * v).sum()]) / mass.sum()
        centre += move
        if float(np.abs(move).max()) < 0.5:
            break
    for _ in range(30):
        here = _sampled(dark, u + centre[0], v + centre[1])
        turned = here[::-1, ::-1]
        gy, gx = np.gradient((here + turned) / 2)
        wx, wy, change = gx * window, gy * window, (turned - here) * window / 2
        normal = np.array([[(wx * wx).sum(), (wx * wy).sum()], [0.0, (wy * wy).sum()]])
        normal[1, 0] = normal[0, 1]
        right = np.array([(wx * change).sum(), (wy * change).sum()])
        step = np.linalg.lstsq(normal, right, rcond=1e-9)[0]
        centre += np.clip(step, -2.0, 2.0)
        if float(np.abs(centre - first).max()) > reach_px:
            return None
        if float(np.abs(step).max()) < 1e-4:
            break
    return picture.picture_from_page.inverse().apply(float(centre[0]) + 0.5, float(centre[1]) + 0.5)


def _sampled(dark: npt.NDArray[np.float32], x: Floats, y: Floats) -> Floats:
    """Grey levels at places between pixels."""
    taken = cv2.remap(
        dark, x.astype(np.float32), y.astype(np.float32), cv2.INTER_CUBIC,
        borderMode=cv2.BORDER_CONSTANT, borderValue=0,
    )  # fmt: skip
    return np.asarray(taken, float)
