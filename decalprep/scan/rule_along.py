"""A steel rule scanned beside the page: its millimetre marks as the measure of the page's size.

The rule lies face down beside the page, along either side of the glass, a little turned at most.
Marks 1 mm apart are a wave of one cycle a millimetre: where it is strongest, piece by piece, the
rule lies; the wave's phase against places on the glass (scanner's own error taken out by the fit of
the page) drifts by one cycle for each millimetre that page and rule differ. The longer marks at 5
and 10 mm, the rule's brightness and shine do not shift that phase.
"""

import math
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from decalprep.calibration import ScanPoints, ShapeFit, bed_places
from decalprep.errors import ReadingsRefused
from decalprep.geometry import Affine
from decalprep.model import TargetLayout
from decalprep.scan.images import Grey, ScanImage
from decalprep.scan.page import fit_affine

Array = npt.NDArray[np.float64]

_PIECE_MM = 20.0
_WINDOW_MM = 10.0
_CLEAR_MM = 2.0
_COHERENT = 0.35
_HALF_BAND_MM = 0.5
_LEAST_MM = 140.0
_LARGEST = 0.014
_LEAST_AGREEMENT = 0.85
_FLOOR_U = 40e-6
"""What a rule not quite flat on the glass, or its own marks, may add (assumed, no source)."""
_ADVICE = (
    "lay a steel rule with millimetre marks face down and flat on the glass beside the page, along "
    "the long side; the page may hang over the other side"
)


@dataclass(frozen=True)
class RuleSeen:
    """Mean scale error of the page against the rule, parts of one, and its standard uncertainty.

    ``length_mm`` of rule was read; ``upright`` tells whether it lay along the picture's height.
    """

    error: float
    u: float
    length_mm: float
    upright: bool


def read_rule(
    image: ScanImage, points: ScanPoints, layout: TargetLayout, fit: ShapeFit, *, number: int
) -> RuleSeen:
    """The page's mean scale error against a rule beside it, in scan ``number`` of a fit.

    Raises:
        ReadingsRefused: no millimetre marks beside the page, too few, or irregular ones.
    """
    ways = [
        (upright, _line(image.grey if upright else image.grey.T, points, layout, upright))
        for upright in (True, False)
    ]
    upright, line = max(ways, key=lambda way: 0 if way[1] is None else way[1][2])
    if line is None:
        raise ReadingsRefused(
            "no rule with millimetre marks is to be seen beside the page",
            where=image.name,
            do=_ADVICE,
        )
    grey = image.grey if upright else image.grey.T
    at, profile = _profile(grey, line, points.px_per_mm[1 if upright else 0])
    high, wide = image.grey.shape
    across = line[0] + line[1] * at
    column, row = (across, at) if upright else (at, across)
    bed = bed_places(fit, number, np.column_stack([column - wide / 2, high / 2 - row]))
    way = (bed[-1] - bed[0]) / np.linalg.norm(bed[-1] - bed[0])
    error, u, length = _drift((bed - bed[0]) @ way, profile, image.name)
    # The rule shows one axis of the scanner; the page tells it from the other as well as this.
    u_ratio = math.sqrt(fit.shape.covariance[0][0]) / 2
    return RuleSeen(error, math.sqrt(u**2 + u_ratio**2 + _FLOOR_U**2), length, upright)


def _line(
    grey: Grey, points: ScanPoints, layout: TargetLayout, upright: bool
) -> tuple[float, float, int] | None:
    """(across = a + b along, how many pieces agree) of the rule, px; None where there is none."""
    per_mm = points.px_per_mm[1 if upright else 0]
    piece = round(_PIECE_MM * per_mm)
    covered = _page_columns(points, layout, upright)
    wave = np.exp(-2j * np.pi * (np.arange(piece) + 0.5) / per_mm) * np.hanning(piece)
    lateral = max(1, round(2 * _HALF_BAND_MM * per_mm))
    found = []
    for top in range(0, grey.shape[0] - piece, piece):
        low, high = covered(top, top + piece)
        strength = _strength(grey[top : top + piece], wave, lateral)
        strength[max(low, 0) : max(high, 0)] = 0.0
        best = int(np.argmax(strength))
        if strength[best] > _COHERENT:
            found.append((top + piece / 2, best + 0.5))
    return _straight(np.array(found).reshape(-1, 2), per_mm)


def _strength(block: Grey, wave: npt.NDArray[np.complex128], lateral: int) -> Array:
    """Share of one cycle a millimetre in every column's ups and downs, smoothed across."""
    values = block.astype(np.float32)
    values -= values.mean(axis=0)
    sums = wave.astype(np.complex64) @ values
    power = np.sqrt(np.mean(values**2, axis=0)) * float(np.sum(np.abs(wave))) / math.sqrt(2)
    kernel = np.ones(lateral) / lateral
    # Neighbouring columns of a mark agree in phase; noise does not.
    joined = np.abs(np.convolve(sums, kernel, mode="same"))
    # Nearly plain areas show nothing, whatever their noise is made of.
    return np.asarray(joined / np.maximum(np.convolve(power, kernel, mode="same"), 1.0 * len(wave)))


def _page_columns(
    points: ScanPoints, layout: TargetLayout, upright: bool
) -> Callable[[float, float], tuple[int, int]]:
    """From two places along, which columns (of the picture laid that way) the page covers."""
    high, wide = points.image_size_px[1], points.image_size_px[0]
    linear = fit_affine(np.array(points.page_mm), np.array(points.image_px))
    image = Affine(
        linear[0, 0], linear[1, 0], linear[0, 1], linear[1, 1], linear[0, 2], linear[1, 2]
    )
    x, y = layout.width_mm / 2 + _CLEAR_MM, layout.height_mm / 2 + _CLEAR_MM
    corners = np.array(image.apply_all([(-x, -y), (x, -y), (x, y), (-x, y)]))
    px = np.column_stack([corners[:, 0] + wide / 2, high / 2 - corners[:, 1]])
    if not upright:
        px = px[:, ::-1]

    def covered(top: float, end: float) -> tuple[int, int]:
        inside = []
        for a, b in zip(px, np.roll(px, -1, axis=0), strict=True):
            for t in (top, end):
                if (a[1] - t) * (b[1] - t) <= 0 and a[1] != b[1]:
                    inside.append(a[0] + (b[0] - a[0]) * (t - a[1]) / (b[1] - a[1]))
            inside += [float(p[0]) for p in (a, b) if top <= p[1] <= end]
        if not inside:
            return 0, 0
        return math.floor(min(inside)), math.ceil(max(inside))

    return covered


def _straight(found: Array, per_mm: float) -> tuple[float, float, int] | None:
    """The line that most pieces agree on, to a millimetre and a half across."""
    best: tuple[float, float, int] | None = None
    for i in range(len(found)):
        for j in range(i + 2, len(found)):
            slope = (found[j, 1] - found[i, 1]) / (found[j, 0] - found[i, 0])
            if abs(slope) > 0.06:
                continue
            away = np.abs(found[:, 1] - found[i, 1] - slope * (found[:, 0] - found[i, 0]))
            near = found[away < 1.5 * per_mm]
            if best is None or len(near) > best[2]:
                b, a = np.polyfit(near[:, 0], near[:, 1], 1)
                best = float(a), float(b), len(near)
    return best if best is not None and best[2] * _PIECE_MM >= _LEAST_MM * 0.6 else None


def _profile(grey: Grey, line: tuple[float, float, int], per_mm: float) -> tuple[Array, Array]:
    """(places along in px, brightness there) averaged over a band about the line."""
    half = max(1, round(_HALF_BAND_MM * per_mm))
    rows = np.arange(grey.shape[0])
    at = rows + 0.5
    columns = np.floor(line[0] + line[1] * at).astype(int)
    inside = (columns - half >= 0) & (columns + half < grey.shape[1])
    rows, columns, at = rows[inside], columns[inside], at[inside]
    band = [grey[rows, columns + k].astype(np.float64) for k in range(-half, half + 1)]
    return at, np.asarray(np.mean(band, axis=0))


def _drift(s: Array, profile: Array, name: str) -> tuple[float, float, float]:
    """(error, standard uncertainty, length mm): by how much the wave's phase drifts along s."""
    centres, sums = [], []
    for k in range(int(float(s.max()) // _WINDOW_MM)):
        inside = (s >= k * _WINDOW_MM) & (s < (k + 1) * _WINDOW_MM)
        if inside.sum() < 20:
            continue
        t = s[inside]
        middle = float(t.mean())
        values = profile[inside] - profile[inside].mean()
        values = values * (0.5 + 0.5 * np.cos(2 * np.pi * (t - middle) / _WINDOW_MM))
        centres.append(middle)
        sums.append(complex(np.sum(values * np.exp(-2j * np.pi * t))) / len(t))
    where, z = np.array(centres), np.array(sums)
    strong = np.abs(z) > 0.4 * float(np.median(np.sort(np.abs(z))[len(z) // 2 :]))
    where, z = where[strong], z[strong] / np.abs(z[strong])
    tries = np.arange(-_LARGEST, _LARGEST, 1e-4)
    agreed = np.abs(np.exp(-2j * np.pi * np.outer(tries, where)) @ z) / len(z)
    length = float(np.ptp(where)) + _WINDOW_MM if len(where) > 4 else 0.0
    if length < _LEAST_MM or float(agreed.max()) < _LEAST_AGREEMENT:
        raise ReadingsRefused(
            f"the marks of the rule can be followed over {length:.0f} mm only, or are uneven",
            where=name,
            do=_ADVICE,
        )
    error = float(tries[int(np.argmax(agreed))])
    turned = z * np.exp(-2j * np.pi * error * where)
    phase = np.angle(turned / turned.mean()) / (2 * np.pi)
    for _ in range(3):
        slope, start = np.polyfit(where, phase, 1)
        left = phase - start - slope * where
        # A numeral or a spot of shine pulls single windows; the marks themselves lie evenly.
        keep = np.abs(left) < max(0.02, 4 * float(np.median(np.abs(left))))
        where, phase = where[keep], phase[keep]
    slope, start = np.polyfit(where, phase, 1)
    left = phase - start - slope * where
    spread = (
        float(np.sum(left**2)) / max(len(left) - 2, 1) / float(np.sum((where - where.mean()) ** 2))
    )
    # The carriage's ripple is shared by neighbours: they count for less than their number.
    near = float(np.sum(left[1:] * left[:-1]) / max(float(np.sum(left**2)), 1e-12))
    shared = min(max((1 + near) / max(1 - near, 0.1), 1.0), 8.0)
    return error + float(slope), math.sqrt(spread * shared), length
