"""A used sheet on the virtual bed, in colour, on something dark: peeled, cut and printed areas.

Drawing only, seeded; it knows nothing of how the areas are found again.
"""

import io
import math

import cv2
import numpy as np
from PIL import Image

FACE, LINER, INK, BLACK = (244, 243, 240), (226, 214, 190), (30, 80, 150), (12, 12, 14)
BEHIND = (34, 33, 36)
FINE = 5.0
"""Pixels a mm of the sheet before it is scanned."""
Area = tuple[float, float, float, float]


def sheet(
    size_mm: tuple[float, float],
    areas: list[tuple[Area, tuple[int, int, int]]],
    face: tuple[int, int, int] = FACE,
) -> np.ndarray:
    """An RGB sheet with coloured areas (left, bottom, right, top in mm)."""
    wide, high = (round(v * FINE) for v in size_mm)
    rgb = np.full((high, wide, 3), face, np.uint8)
    for (x0, y0, x1, y1), colour in areas:
        rows = slice(round((size_mm[1] - y1) * FINE), round((size_mm[1] - y0) * FINE))
        rgb[rows, round(x0 * FINE) : round(x1 * FINE)] = colour
    return rgb


def scan(
    rgb: np.ndarray,
    size_mm: tuple[float, float],
    *,
    dpi: float = 100.0,
    turn_deg: float = 0.0,
    shift_mm: tuple[float, float] = (0.0, 0.0),
    bed_mm: tuple[float, float] | None = None,
    stretch: tuple[float, float] = (1.0, 1.0),
    behind: tuple[int, int, int] = BEHIND,
    noise: float = 3.0,
    seed: int = 1,
) -> np.ndarray:
    """The picture of a sheet lying turned (counter-clockwise) on a bed; 12 mm of it all round."""
    c, s = math.cos(math.radians(turn_deg)), math.sin(math.radians(turn_deg))
    if bed_mm is None:
        wide, high = size_mm
        bed_mm = (abs(c) * wide + abs(s) * high + 24, abs(s) * wide + abs(c) * high + 24)
    px = np.array(stretch) * dpi / 25.4
    from_sheet = np.diag(px) @ np.array([[c, s], [-s, c]]) * (size_mm[0] / rgb.shape[1])
    middle = np.array([rgb.shape[1], rgb.shape[0]]) / 2
    centre = (np.array(bed_mm) / 2 + np.array([shift_mm[0], -shift_mm[1]])) * px
    matrix = np.column_stack([from_sheet, centre - from_sheet @ middle])
    out = (round(bed_mm[0] * px[0]), round(bed_mm[1] * px[1]))
    soft = cv2.GaussianBlur(rgb, (0, 0), 0.5 * FINE * 25.4 / dpi)
    picture = cv2.warpAffine(soft, matrix, out, flags=cv2.INTER_LINEAR, borderValue=behind)
    rng = np.random.default_rng(seed)
    return np.clip(picture + rng.normal(0, noise, picture.shape), 0, 255).astype(np.uint8)


def saved(picture: np.ndarray, kind: str = "PNG", dpi: float | None = 100.0) -> bytes:
    """The scan as a file."""
    out = io.BytesIO()
    more: dict[str, object] = {"quality": 75} if kind == "JPEG" else {}
    if kind == "PNG":
        more["compress_level"] = 1
    if dpi is not None:
        more |= {"dpi": (dpi, dpi)}
    Image.fromarray(picture).save(out, kind, **more)
    return out.getvalue()
