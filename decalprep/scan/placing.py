"""Where a printed job sheet lies in a scan: coarse place by correlation, then line by line."""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import cv2
import numpy as np
import numpy.typing as npt

from decalprep.errors import InputProblem
from decalprep.scan.images import Grey, ScanImage
from decalprep.scan.lines import Across, Samples, look_in_all
from decalprep.scan.searching import nearest_fit, other_fits
from decalprep.units import MM_PER_IN

Array = npt.NDArray[np.float64]
Point = tuple[float, float]

_PX_PER_MM = 2.0
_TRIES = 3
_ROUGH_TURNS = np.arange(-3.0, 3.01, 1.0)
_FINE_TURNS = np.arange(-0.6, 0.61, 0.2)
_COMMON_DPI = (150.0, 200.0, 300.0, 400.0, 600.0, 1200.0)
_LEAST_SEEN = 0.6
_LEAST_INSIDE = 0.4
"""Turned by 90 degrees a sheet hangs over the side of the glass: 0.73 of an A4 sheet is seen."""
_SURE = 0.95
"""Found less than this, a sheet may lie beside the place found for it: others are tried."""
_PROMISING = 0.5
_CLEARLY = 0.01
_ROUNDS = 2
_FAINT = 30.0
_STRETCH = 1.03
_NARROWING = (
    (0.7, 0.6, False),
    (0.6, 0.5, True),
    (0.5, 0.3, True),
    (0.5, 0.2, True),
    (0.5, 0.2, True),
)
"""Reach and cut in mm, and whether the map may stretch and lean, step by step."""


@dataclass(frozen=True)
class Placed:
    """The map (2 x 3) from sheet mm to px, and what was seen of each sample with it."""

    image_from_mm: Array
    across: Across

    @property
    def count(self) -> int:
        """How many samples of the lines are found."""
        return int((self.across.seen & (np.abs(self.across.offsets_mm) < 0.2)).sum())

    @property
    def share(self) -> float:
        """Part of the lines inside the picture that is found; 0 where too little is inside."""
        across = self.across
        if float(np.mean(across.inside)) < _LEAST_INSIDE:
            return 0.0
        return float(self.count / across.inside.sum())


def place_sheet(
    image: ScanImage,
    lines: Sequence[Sequence[Point]],
    samples: Samples,
    size_mm: tuple[float, float],
) -> Placed:
    """How the sheet lies in the scan, to some hundredths of a millimetre.

    Raises:
        InputProblem: the sheet's lines cannot be found in the picture.
    """
    best: Placed | None = None
    share = 0.0
    for start in _coarse(image, lines, size_mm):
        placed = _refined(image.views, start, samples)
        if placed is None or not _likely(placed.image_from_mm):
            continue
        if placed.share > share:
            best, share = placed, placed.share
        if share > _SURE:
            break
    if best is not None and _PROMISING < share <= _SURE:
        best = _best_beside(image.views, best, samples)
        share = best.share
    if best is None or share < _LEAST_SEEN:
        raise InputProblem(
            f"does not show this sheet (only {100 * share:.0f} % of its lines are found)",
            where=image.name,
            do="scan the whole sheet at 300 dpi, the printed side on the glass, not mirrored",
        )
    return best


def placed_beside(views: Sequence[Grey], start: Array, samples: Samples) -> Placed | None:
    """Where the lines of one decal lie, from a place within a millimetre or two; None if unseen."""
    placed = _refined(views, start, samples)
    if placed is None or not _likely(placed.image_from_mm):
        return None
    return placed if placed.share > _SURE else _best_beside(views, placed, samples)


def _best_beside(views: Sequence[Grey], placed: Placed, samples: Samples) -> Placed:
    """The same or a better place near by, where some lines were taken for the edge of the bleed."""
    for _ in range(_ROUNDS):
        found = [
            _narrowed(views, m, samples) for m in other_fits(views, placed.image_from_mm, samples)
        ]
        likely = [p for p in found if p is not None and _likely(p.image_from_mm)]
        best = max(likely, key=lambda p: p.share, default=placed)
        if best.share <= placed.share + _CLEARLY:
            break
        placed = best
        if placed.share > _SURE:
            break
    return placed


def _likely(image_from_mm: Array) -> bool:
    """Whether a map is what a printer and a scanner can do: no mirroring, little stretch."""
    linear = image_from_mm[:, :2]
    large, small = np.linalg.svd(linear, compute_uv=False)
    return bool(np.linalg.det(linear) < 0 and large / small < _STRETCH)


def _coarse(
    image: ScanImage, lines: Sequence[Sequence[Point]], size_mm: tuple[float, float]
) -> list[Array]:
    """Likely maps from sheet mm to px, best first: upright and upside down look much alike."""
    from scipy import fft

    tries = []
    for dpi in _likely_dpi(image, size_mm):
        scale = dpi / MM_PER_IN
        small = _line_picture(image.views, _PX_PER_MM / scale)
        side = cv2.getOptimalDFTSize(int(max(*small.shape, _PX_PER_MM * math.hypot(*size_mm))) + 20)
        padded = np.zeros((side, side), np.float32)
        padded[: small.shape[0], : small.shape[1]] = small
        seen = fft.rfft2(padded)
        rough = []
        for quarter in range(4):
            turns = 90.0 * quarter + _ROUGH_TURNS
            rough.append(max(_correlated(seen, side, lines, size_mm, float(t)) for t in turns))
        for best in sorted(rough, reverse=True)[:2]:
            fine = [
                _correlated(seen, side, lines, size_mm, best[1] + float(t)) for t in _FINE_TURNS
            ]
            score, turn, shift = max([best, *fine])
            tries.append((score, _map_of(turn, shift, size_mm, scale)))
    tries.sort(key=lambda item: -item[0])
    return [m for _, m in tries[:_TRIES]]


def _likely_dpi(image: ScanImage, size_mm: tuple[float, float]) -> list[float]:
    """The claimed resolution where a page of this size fits it, else common ones that do."""
    height, width = image.grey.shape
    long_px, long_mm = max(height, width), max(size_mm)
    if image.claimed_dpi is not None:
        claimed = math.sqrt(image.claimed_dpi[0] * image.claimed_dpi[1])
        if 0.6 * long_mm < long_px / claimed * MM_PER_IN < 2.5 * long_mm:
            return [claimed]
    return [d for d in _COMMON_DPI if 0.85 * long_mm < long_px / d * MM_PER_IN < 1.6 * long_mm] or [
        long_px / long_mm * MM_PER_IN
    ]


def _line_picture(views: Sequence[Grey], factor: float) -> npt.NDArray[np.float32]:
    """Thin dark or bright lines of a picture, made small, mean removed."""
    reduce = max(1, round(1 / factor / 3))
    high, wide = views[0].shape
    kernel = np.ones((5, 5), np.uint8)
    thin = np.zeros((high // reduce, wide // reduce), np.float32)
    for view in views:
        size = (wide // reduce, high // reduce)
        middle = cv2.resize(view, size, interpolation=cv2.INTER_AREA) if reduce > 1 else view
        dark = cv2.morphologyEx(middle, cv2.MORPH_BLACKHAT, kernel)
        bright = cv2.morphologyEx(middle, cv2.MORPH_TOPHAT, kernel)
        # Faint lines count like strong ones.
        np.maximum(thin, np.minimum(cv2.max(dark, bright), _FAINT), out=thin)
    # Whole images at exactly so many px a mm, whatever the rounding of the first step.
    to = (round(wide * factor), round(high * factor))
    small = cv2.GaussianBlur(cv2.resize(thin, to, interpolation=cv2.INTER_AREA), (0, 0), 1.0)
    # Words are many lines in one place: by the local mean they count no more than one.
    small = small / (cv2.GaussianBlur(small, (0, 0), 4.0) + _FAINT / 12)
    return np.asarray(small - small.mean(), dtype=np.float32)


def _correlated(
    seen: npt.NDArray[np.complex64],
    side: int,
    lines: Sequence[Sequence[Point]],
    size_mm: tuple[float, float],
    turn: float,
) -> tuple[float, float, tuple[float, float]]:
    """(score, turn, place of the sheet's middle in mm from the picture's top left)."""
    from scipy import fft

    drawn = np.zeros((side, side), np.uint8)
    c, s = math.cos(math.radians(turn)), math.sin(math.radians(turn))
    half = np.array(size_mm) / 2
    ways = []
    for line in lines:
        p = (np.asarray(line, dtype=float) - half) * _PX_PER_MM
        x, y = c * p[:, 0] - s * p[:, 1], s * p[:, 0] + c * p[:, 1]
        ways.append(np.round(np.column_stack([x, -y]) * 16 + side * 8).astype(np.int32))
    cv2.polylines(drawn, ways, False, 255, 1, cv2.LINE_AA, 4)
    model = cv2.GaussianBlur(drawn.astype(np.float32), (0, 0), 1.0)
    model -= model.mean()
    both = fft.irfft2(seen * np.conj(fft.rfft2(model)), s=(side, side))
    row, column = np.unravel_index(int(np.argmax(both)), both.shape)
    score = float(both[row, column]) / float(np.linalg.norm(model))
    # The model's middle stands at side / 2; shifts wrap round.
    # Half a pixel more: places are counted from the picture's edge, pixels from their middles.
    across = (float(column) + side / 2) % side + 0.5
    down = (float(row) + side / 2) % side + 0.5
    return score, turn, (across / _PX_PER_MM, down / _PX_PER_MM)


def _map_of(
    turn: float, middle: tuple[float, float], size_mm: tuple[float, float], scale: float
) -> Array:
    c, s = math.cos(math.radians(turn)), math.sin(math.radians(turn))
    # Sheet y runs up, image rows run down.
    linear = scale * np.array([[c, -s], [-s, -c]])
    shift = np.array(middle) * scale - linear @ (np.array(size_mm) / 2)
    return np.column_stack([linear, shift])


def _refined(views: Sequence[Grey], start: Array, samples: Samples) -> Placed | None:
    """The map fitted to the lines in narrowing windows, outliers weighted down (Tukey)."""
    # Shift, turn and scale first: words and edges of ink near by would bend a freer map.
    return _narrowed(views, nearest_fit(views, start, samples), samples)


def _narrowed(views: Sequence[Grey], start: Array, samples: Samples) -> Placed | None:
    """The map fitted line by line from one that is nearly right; None where too few are seen."""
    fitted = start
    for reach, cut, free in _NARROWING:
        across = look_in_all(views, fitted, samples, reach_mm=reach)
        if int(across.seen.sum()) < 20:
            return None
        fitted = _moved(fitted, samples, across, cut, free=free)
    across = look_in_all(views, fitted, samples, reach_mm=0.5)
    return Placed(fitted, across)


def _moved(
    image_from_mm: Array, samples: Samples, across: Across, cut_mm: float, *, free: bool
) -> Array:
    keep = across.seen
    p, n, d = samples.points[keep], samples.normals[keep], across.offsets_mm[keep]
    middle = p.mean(axis=0)
    q = (p - middle) / 100
    (nx, ny), (qx, qy) = n.T, q.T
    # Columns: shift, and the gradient's four numbers, or only its growth and its turn.
    gradient = np.column_stack([nx * qx, nx * qy, ny * qx, ny * qy])
    whole = np.eye(4) if free else np.array([[1.0, 0, 0, 1], [0, -1, 1, 0]]).T
    design = np.column_stack([nx, ny, gradient @ whole])
    step = np.zeros(design.shape[1])
    for _ in range(8):
        left = d - design @ step
        weight = np.clip(1 - (left / cut_mm) ** 2, 0, None)
        found = np.linalg.lstsq(design * weight[:, None], d * weight, rcond=1e-6)[0]
        step = np.asarray(found, dtype=np.float64)
    linear = np.eye(2) + (whole @ step[2:]).reshape(2, 2) / 100
    shift = step[:2] - (linear - np.eye(2)) @ middle
    old = image_from_mm[:, :2]
    new = np.column_stack([old @ linear, old @ shift + image_from_mm[:, 2]])
    return np.asarray(new, dtype=np.float64)
