"""The nearest fit of a sheet's lines that all of them share, before each is looked at alone.

Near a cut line there is often a stronger edge: that of the bleed, a millimetre or two outside. Each
line alone would be drawn to it; only the right place has nearly all lines on a line at once.
"""

import itertools
import math
from collections.abc import Sequence

import cv2
import numpy as np
import numpy.typing as npt

from decalprep.scan.images import Grey
from decalprep.scan.lines import STEP_MM, Samples, likeness

Array = npt.NDArray[np.float64]

_REACH_MM = 1.9
_SHIFT_MM, _SHIFT_STEP_MM = 1.2, 0.24
_TURN, _TURN_STEP = math.radians(0.16), math.radians(0.08)
_GROWTH, _GROWTH_STEP = 0.016, 0.002
_SAMPLES = 250
_BLUR_STEPS = 4.0
_FINER = 3
_OTHERS = 4


def nearest_fit(views: Sequence[Grey], image_from_mm: Array, samples: Samples) -> Array:
    """The map (2 x 3), shifted, turned and grown a little, on which most lines lie on a line.

    Does not stretch it one way only: that is for the finer steps.
    """
    chosen = _some(samples)
    scores = _blurred(likeness(views, image_from_mm, chosen, reach_mm=_REACH_MM))
    middle = chosen.points.mean(axis=0)
    q, n = chosen.points - middle, chosen.normals
    # Along its normal each sample moves by these parts of shift x, shift y, turn and growth.
    moves = np.column_stack([n, n[:, 1] * q[:, 0] - n[:, 0] * q[:, 1], np.sum(n * q, axis=1)])
    steps = np.array([_SHIFT_STEP_MM, _SHIFT_STEP_MM, _TURN_STEP, _GROWTH_STEP])
    best = _best(scores, moves, np.zeros(4), _grid(steps))
    around = np.array(list(itertools.product((-1.0, 0.0, 1.0), repeat=4)))
    for k in range(1, _FINER + 1):
        best = _best(scores, moves, best, around * steps / 2**k)
    dx, dy, turn, growth = best
    linear = np.array([[1 + growth, -turn], [turn, 1 + growth]])
    shift = np.array([dx, dy]) - (linear - np.eye(2)) @ middle
    old = image_from_mm[:, :2]
    return np.column_stack([old @ linear, old @ shift + image_from_mm[:, 2]])


def other_fits(views: Sequence[Grey], image_from_mm: Array, samples: Samples) -> list[Array]:
    """Maps (2 x 3) beside a given one that may fit better: moved and stretched one way, best first.

    Where one side of a decal was taken for the edge of its bleed, the right map is that far away.
    """
    chosen = _some(samples)
    scores = _blurred(likeness(views, image_from_mm, chosen, reach_mm=_REACH_MM))
    middle = chosen.points.mean(axis=0)
    q, n = chosen.points - middle, chosen.normals
    grid = _grid_of((_SHIFT_MM, _GROWTH), (_SHIFT_STEP_MM, _GROWTH_STEP))
    found: list[tuple[float, Array]] = []
    for axis in (0, 1):
        moves = np.column_stack([n[:, axis], n[:, axis] * q[:, axis]])
        scored = _scored(scores, moves, grid)
        taken: list[Array] = []
        for k in np.argsort(-scored, kind="stable"):
            near = (np.abs(grid[k] - t) < (1.5 * _SHIFT_STEP_MM, 2.5 * _GROWTH_STEP) for t in taken)
            if any(bool(both.all()) for both in near):
                continue
            taken.append(grid[k])
            linear = np.eye(2)
            linear[axis, axis] += grid[k, 1]
            shift = -(linear - np.eye(2)) @ middle
            shift[axis] += grid[k, 0]
            old = image_from_mm[:, :2]
            more = np.column_stack([old @ linear, old @ shift + image_from_mm[:, 2]])
            found.append((float(scored[k]), more))
            if len(taken) == _OTHERS:
                break
    found.sort(key=lambda one: -one[0])
    return [m for _, m in found]


def _blurred(scores: Array) -> Array:
    return np.asarray(cv2.GaussianBlur(scores, (0, 0), _BLUR_STEPS, sigmaY=1e-6), np.float64)


def _some(samples: Samples) -> Samples:
    every = max(1, math.ceil(len(samples.points) / _SAMPLES))
    return Samples(samples.points[::every], samples.normals[::every], samples.owners[::every])


def _grid(steps: Array) -> Array:
    return _grid_of((_SHIFT_MM, _SHIFT_MM, _TURN, _GROWTH), steps)


def _grid_of(ends: Sequence[float], steps: Sequence[float] | Array) -> Array:
    """All combinations of whole steps up to either end."""
    counts = [round(end / step) for end, step in zip(ends, steps, strict=True)]
    ranges = [np.arange(-c, c + 1) * step for c, step in zip(counts, steps, strict=True)]
    return np.array(list(itertools.product(*ranges)))


def _best(scores: Array, moves: Array, start: Array, tries: Array) -> Array:
    """The try whose lines score most, added to ``start``; of equal ones the nearest."""
    tries = tries[np.argsort(np.sum(np.abs(tries), axis=1), kind="stable")] + start
    scored = _scored(scores, moves, tries)
    return np.asarray(tries[int(np.argmax(scored))], dtype=np.float64)


def _scored(scores: Array, moves: Array, tries: Array) -> Array:
    """How much the lines of each try score together."""
    # Beyond the reach nothing scores: a column of zeros at either end.
    padded = np.pad(scores, ((0, 0), (1, 1))).astype(np.float32)
    last = padded.shape[1] - 1
    first = (np.arange(len(padded)) * padded.shape[1])[:, None]
    steps = (moves / STEP_MM).astype(np.float32)
    found = []
    for part in np.array_split(tries.astype(np.float32), max(1, len(tries) // 512)):
        at = np.clip(steps @ part.T + np.float32(last / 2 + 0.5), 0, last).astype(np.int32)
        found.append(padded.ravel()[at + first].sum(axis=0))
    return np.concatenate(found).astype(np.float64)
