"""Printed PDF pages on the virtual bed: drawn by a renderer, bent as printer and scanner do."""

import cv2
import numpy as np
import pypdfium2 as pdfium

from virtual.hand import Press
from virtual.scanner import Bed, on_bed

_STEP_PX = 16


def drawn(pdf: bytes, page: int = 0, dpi: float = 400.0) -> np.ndarray:
    """The page as an RGB picture; more dots than the scan has."""
    picture = pdfium.PdfDocument(pdf)[page].render(scale=dpi / 72, rev_byteorder=True)
    return picture.to_numpy()[:, :, :3].copy()


def grown(
    rgb: np.ndarray, size_mm: tuple[float, float], box_mm: tuple[float, ...], factor: float
) -> np.ndarray:
    """The picture with what lies in a box (left, bottom, right, top) grown about its middle."""
    px = np.array([rgb.shape[1] / size_mm[0], rgb.shape[0] / size_mm[1]])
    left, right = box_mm[0] * px[0], box_mm[2] * px[0]
    top, bottom = (size_mm[1] - box_mm[3]) * px[1], (size_mm[1] - box_mm[1]) * px[1]
    middle = np.array([(left + right) / 2, (top + bottom) / 2])
    warp = np.column_stack([np.eye(2) * factor, middle * (1 - factor)])
    size = (rgb.shape[1], rgb.shape[0])
    larger = cv2.warpAffine(rgb, warp, size, flags=cv2.INTER_CUBIC, borderValue=(255,) * 3)
    out = rgb.copy()
    grow = round(0.8 * px[0])
    rows = slice(round(top) - grow, round(bottom) + grow)
    columns = slice(round(left) - grow, round(right) + grow)
    out[rows, columns] = larger[rows, columns]
    return out


def scanned(
    rgb: np.ndarray,
    size_mm: tuple[float, float],
    press: Press,
    bed: Bed,
    *,
    turn_deg: float,
    seed: int = 1,
    shift_mm: tuple[float, float] = (1.0, -1.0),
) -> np.ndarray:
    """An RGB scan of a drawn page, printed by ``press`` and laid on ``bed``."""
    high, wide = (round(v * bed.dpi / 25.4) for v in (bed.height_mm, bed.width_mm))
    columns = np.append(np.arange(0, wide, _STEP_PX), wide).astype(float)
    rows = np.append(np.arange(0, high, _STEP_PX), high).astype(float)
    there = np.stack(np.meshgrid(columns, rows), axis=-1).reshape(-1, 2)
    page = _page_places(there, size_mm, press, bed, turn_deg, shift_mm)
    px = np.array([rgb.shape[1] / size_mm[0], rgb.shape[0] / size_mm[1]])
    from_row = np.column_stack([page[:, 0] * px[0], (size_mm[1] - page[:, 1]) * px[1]])
    maps = from_row.reshape(len(rows), len(columns), 2)
    col, row = np.meshgrid(np.arange(wide) + 0.5, np.arange(high) + 0.5)
    coarse = [
        cv2.remap(
            np.ascontiguousarray(maps[..., k]),
            _index(columns, col),
            _index(rows, row),
            cv2.INTER_LINEAR,
        )
        for k in (0, 1)
    ]
    picture = cv2.remap(
        rgb,
        (coarse[0] - 0.5).astype(np.float32),
        (coarse[1] - 0.5).astype(np.float32),
        cv2.INTER_LINEAR,
        borderValue=(250, 250, 250),
    )
    picture = cv2.GaussianBlur(picture, (0, 0), bed.blur_px).astype(np.float32)
    picture = bed.ink + picture * ((bed.paper - bed.ink) / 255)
    noise = np.random.default_rng(seed).normal(0, bed.noise, picture.shape[:2])
    return np.clip(np.round(picture + noise[..., None]), 0, 255).astype(np.uint8)


def _index(stops: np.ndarray, values: np.ndarray) -> np.ndarray:
    """Fractional numbers of values among ascending stops."""
    return np.interp(values, stops, np.arange(len(stops))).astype(np.float32)


def _page_places(
    pixels: np.ndarray,
    size_mm: tuple[float, float],
    press: Press,
    bed: Bed,
    turn_deg: float,
    shift_mm: tuple[float, float],
) -> np.ndarray:
    """Page places (mm, from the lower left) whose ink is seen at pixels, by repeated correction."""
    half = np.array(size_mm) / 2

    def see(points: np.ndarray) -> np.ndarray:
        return np.column_stack(bed.sees(*on_bed(press, points, turn_deg, shift_mm, half)))

    corners = np.array([(0, 0), (size_mm[0], 0), (0, size_mm[1])], float)
    seen = see(corners)
    linear = np.column_stack([seen[1] - seen[0], seen[2] - seen[0]]) / size_mm
    back = np.linalg.inv(linear)
    page = (pixels - seen[0]) @ back.T
    for _ in range(5):
        page = page + (pixels - see(page)) @ back.T
    return page
