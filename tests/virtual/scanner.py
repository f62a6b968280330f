"""A virtual flatbed: numpy and OpenCV drawing only, all seeded, nothing of the estimator in it."""

import math
from dataclasses import dataclass

import cv2
import numpy as np

from virtual.hand import Press

Points = np.ndarray


@dataclass(frozen=True)
class Bed:
    """A scanner's own error and the way its pictures look. Sensor across x, carriage along y."""

    dpi: float = 300.0
    width_mm: float = 216.0
    height_mm: float = 300.0
    scale_u: float = 0.0
    scale_v: float = 0.0
    shear: float = 0.0
    lens2_mm: float = 0.0
    lens3_mm: float = 0.0
    ripple_mm: float = 0.0
    ripple_period_mm: float = 53.0
    ripple_phase: float = 0.0
    blur_px: float = 0.8
    noise: float = 3.0
    paper: float = 235.0
    ink: float = 40.0
    bed_grey: float = 250.0
    ink_spread_mm: float = 0.03
    toner_mm: float = 0.01

    def sees(self, bx: np.ndarray, by: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """Pixel places (column, row from the top, centres at .5) of bed places (mm, centred)."""
        w = bx / 108.0
        u = bx * (1 + self.scale_u) + self.shear * by + self.lens2_mm * w**2 + self.lens3_mm * w**3
        v = by * (1 + self.scale_v) + self.ripple_mm * np.sin(
            2 * math.pi * by / self.ripple_period_mm + self.ripple_phase
        )
        px = self.dpi / 25.4
        return (u + self.width_mm / 2) * px, (self.height_mm / 2 - v) * px


def draw_bed(rng: np.random.Generator, **more: float) -> Bed:
    """A scanner with honest errors."""
    values = {
        "scale_u": rng.normal(0, 0.002),
        "scale_v": rng.normal(0, 0.002),
        "shear": rng.normal(0, 0.0005),
        "lens2_mm": rng.normal(0, 0.05),
        "lens3_mm": rng.normal(0, 0.15),
        "ripple_mm": abs(rng.normal(0, 0.015)),
        "ripple_period_mm": rng.uniform(30, 90),
        "ripple_phase": rng.uniform(0, 2 * math.pi),
    }
    return Bed(**{**values, **more})


def on_bed(
    press: Press, points: Points, turn_deg: float, shift_mm: tuple[float, float], half: Points
) -> tuple[np.ndarray, np.ndarray]:
    """Bed places of page points (mm from the page corner) once printed and laid down."""
    landed = np.array([press.lands(x - half[0], y - half[1]) for x, y in points])
    c, s = math.cos(math.radians(turn_deg)), math.sin(math.radians(turn_deg))
    bx = c * landed[:, 0] - s * landed[:, 1] + shift_mm[0]
    by = s * landed[:, 0] + c * landed[:, 1] + shift_mm[1]
    return bx, by


def disc_centres(
    press: Press,
    bed: Bed,
    discs: Points,
    rng: np.random.Generator,
    *,
    turn_deg: float,
    shift_mm: tuple[float, float] = (0.0, 0.0),
    size_mm: tuple[float, float] = (210.0, 297.0),
    toner: Points | None = None,
    sigma_px: float = 0.02,
) -> Points:
    """Pixel places of disc centres without drawing anything: fast, for statistics."""
    placed = discs if toner is None else discs + toner
    bx, by = on_bed(press, placed, turn_deg, shift_mm, np.array(size_mm) / 2)
    col, row = bed.sees(bx, by)
    return np.column_stack([col, row]) + rng.normal(0, sigma_px, (len(discs), 2))


def scan_page(
    press: Press,
    bed: Bed,
    rng: np.random.Generator,
    *,
    discs: Points,
    disc_mm: float,
    filled: list[list[Points]],
    lines: list[tuple[Points, float]],
    turn_deg: float,
    shift_mm: tuple[float, float] = (0.0, 0.0),
    size_mm: tuple[float, float] = (210.0, 297.0),
    toner: Points | None = None,
) -> np.ndarray:
    """A grey picture (rows, columns) of a printed page on the bed."""
    px = bed.dpi / 25.4
    shape = (round(bed.height_mm * px), round(bed.width_mm * px))
    ink = np.zeros(shape, np.float32)
    half = np.array(size_mm) / 2
    see = lambda points: np.column_stack(  # noqa: E731 - one mapping, used three times
        bed.sees(*on_bed(press, np.asarray(points, float), turn_deg, shift_mm, half))
    )
    fine = 16
    solid, thin = np.zeros(shape, np.uint8), np.zeros(shape, np.uint8)
    contours = [np.round((see(c) - 0.5) * fine).astype(np.int32) for group in filled for c in group]
    cv2.fillPoly(solid, contours, 255, cv2.LINE_AA, 4)
    for points, width in lines:
        thick = max(1, round((width + 2 * bed.ink_spread_mm) * px))
        way = np.round((see(points) - 0.5) * fine).astype(np.int32)
        cv2.polylines(thin, [way], False, 255, thick, cv2.LINE_AA, 4)
    np.maximum(ink, np.maximum(solid, thin) / np.float32(255), out=ink)
    moved = np.asarray(discs, float) + (0 if toner is None else toner)
    _draw_discs(ink, see, moved, disc_mm / 2 + bed.ink_spread_mm)
    picture = np.full(shape, bed.bed_grey, np.float32)
    paper = np.zeros(shape, np.uint8)
    corners = np.array([(0, 0), (size_mm[0], 0), size_mm, (0, size_mm[1])], float)
    cv2.fillPoly(
        paper, [np.round((see(corners) - 0.5) * fine).astype(np.int32)], 255, cv2.LINE_AA, 4
    )
    picture += (paper / np.float32(255)) * (bed.paper - bed.bed_grey)
    picture += ink * (bed.ink - picture)
    picture = cv2.GaussianBlur(picture, (0, 0), bed.blur_px) if bed.blur_px > 0 else picture
    picture += rng.normal(0, bed.noise, shape).astype(np.float32)
    return np.clip(np.round(picture), 0, 255).astype(np.uint8)


def _draw_discs(ink: np.ndarray, see: object, discs: Points, radius_mm: float) -> None:
    """Each disc by its distance function under the local linear map: exact to some thousandths."""
    for x, y in discs:
        probe = see([(x, y), (x + 1, y), (x, y + 1)])  # type: ignore[operator]
        centre, linear = probe[0], np.column_stack([probe[1] - probe[0], probe[2] - probe[0]])
        reach = int(np.abs(linear).sum(axis=1).max() * radius_mm) + 3
        c0, r0 = int(centre[0]) - reach, int(centre[1]) - reach
        c1, r1 = c0 + 2 * reach + 1, r0 + 2 * reach + 1
        cc0, rr0, cc1, rr1 = max(c0, 0), max(r0, 0), min(c1, ink.shape[1]), min(r1, ink.shape[0])
        if cc0 >= cc1 or rr0 >= rr1:
            continue
        cols, rows = np.meshgrid(np.arange(cc0, cc1) + 0.5, np.arange(rr0, rr1) + 0.5)
        away = np.stack([cols - centre[0], rows - centre[1]], axis=-1)
        back = away @ np.linalg.inv(linear).T
        distance = np.hypot(back[..., 0], back[..., 1])
        slope = math.sqrt(abs(float(np.linalg.det(linear))))
        cover = np.clip(0.5 + (radius_mm - distance) * slope, 0, 1)
        window = ink[rr0:rr1, cc0:cc1]
        np.maximum(window, cover.astype(np.float32), out=window)
