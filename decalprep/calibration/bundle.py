"""The equations of photographs: camera, page and every view solved for together.

Bundle adjustment with D. C. Brown's radial terms. Frame of the page: x y from its middle, z towards
the camera; of the camera: x right, y up, z ahead; mm. For each view

    p = (I - mean(grad z grad z') / 2) ((1 - r/2) x + k y, (1 + r/2) y)     printed, then bent
    q = R (p_x, p_y, -z(x, y)) + t                                          before the camera
    n = middle of the ellipse that the disc at q makes at unit distance
    image = f n (1 + k1 s + k2 s^2 + k3 s^3) + c,    s = |n|^2

A disc's centroid is the middle of its ellipse, not the image of its centre: with both disc axes
e1, e2 of length rho that middle is (q_i q_z - e1_i e1_z - e2_i e2_z) / (q_z^2 - e1_z^2 - e2_z^2),
exact for a flat disc and no lens; what the lens adds over one disc is under a micrometre.
z is a cubic surface, so that a page flat to some millimetres will do. Pixels are taken as square.
Images are in image widths, y up, so that all unknowns are of one size.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from decalprep.calibration.leastsquares import Array

_UNIT_MM = 100.0
_POWERS = ((2, 0), (1, 1), (0, 2), (3, 0), (2, 1), (1, 2), (0, 3))
_CAMERA = 8
SHARED = _CAMERA + len(_POWERS)
OWN = 9
_FOCUS_SD, _SHIFT_SD = 0.004, 0.002
"""Focal length (parts of one) and image middle (image widths) move between photographs, by focusing
and stabilising: a steady phone by a hundredth of this, a restless one by all of it (assumed).
The photographs themselves say which is likely."""
UNREST = (0.02, 0.1, 0.3, 1.0)
_BEND_SD_MM = 3.0
_LENS_SD = (0.3, 0.5, 0.5)
_MIDDLE_SD = 0.03
_SETTLED = 0.01
"""Of chi square: less moves no unknown by a tenth of what it is uncertain by."""


@dataclass(frozen=True)
class View:
    """One photograph's discs as arrays, places in image widths so that unknowns are of one size."""

    page: Array
    image: Array
    rows: npt.NDArray[np.int64]
    columns: npt.NDArray[np.int64]


@dataclass(frozen=True)
class Bundle:
    """All unknowns of a solved set of views; ``turns`` are the rotations the own vectors add to."""

    shared: Array
    own: Array
    turns: Array


def bend_mm(shared: Array, page: Array) -> tuple[Array, Array, Array]:
    """(height, its slope along x, along y) of the page's surface at places of the page, mm.

    ``shared`` may be one set of unknowns or several (..., 15): then heights are (..., n).
    """
    u, v = page[:, 0] / _UNIT_MM, page[:, 1] / _UNIT_MM
    z, zx, zy = (
        np.stack([f * u ** max(i, 0) * v ** max(j, 0) for f, i, j in terms])
        for terms in (
            [(1.0, i, j) for i, j in _POWERS],
            [(i / _UNIT_MM, i - 1, j) for i, j in _POWERS],
            [(j / _UNIT_MM, i, j - 1) for i, j in _POWERS],
        )
    )
    c = shared[..., _CAMERA:]
    return c @ z, c @ zx, c @ zy


def predicted(shared: Array, own: Array, turn: Array, page: Array, rho_mm: float) -> Array:
    """Disc centroids of one view, in image widths from the picture's middle, y up.

    ``shared`` and ``own`` may be several sets (k, ...): then the places are (k, n, 2).
    """
    z, zx, zy = bend_mm(shared, page)
    flat = _flat(shared, page, zx, zy)
    rotation = rotated(own[..., :3]) @ turn
    q = np.concatenate([flat, -z[..., None]], axis=-1) @ np.swapaxes(rotation, -1, -2)
    q = q + own[..., None, 3:6]
    r1, r2, r3 = (rotation[..., None, :, k] for k in range(3))
    e1 = rho_mm * (r1 - zx[..., None] * r3)
    e2 = rho_mm * (r2 - zy[..., None] * r3)
    deep = q[..., 2:] ** 2 - e1[..., 2:] ** 2 - e2[..., 2:] ** 2
    n = q[..., :2] * q[..., 2:] - e1[..., :2] * e1[..., 2:] - e2[..., :2] * e2[..., 2:]
    n = n / deep
    s = np.sum(n * n, axis=-1, keepdims=True)
    k1, k2, k3 = (shared[..., None, 5 + j : 6 + j] for j in range(3))
    lens = 1 + s * (k1 + s * (k2 + s * k3))
    focal = np.exp(shared[..., 2] + own[..., 6])[..., None, None]
    out: Array = focal * n * lens + (shared[..., 3:5] + own[..., 7:9])[..., None, :]
    return out


def _flat(shared: Array, page: Array, zx: Array, zy: Array) -> Array:
    """Where the page's places lie on the ground once it is printed and bent, mm."""
    r, k = shared[..., 0], shared[..., 1]
    one = np.ones_like(r)
    shape = np.stack([one - r / 2, k, 0 * one, one + r / 2], axis=-1).reshape(*r.shape, 2, 2)
    xx, xy, yy = (np.mean(p, axis=-1) for p in (zx * zx, zx * zy, zy * zy))
    short = np.stack([1 - xx / 2, -xy / 2, -xy / 2, 1 - yy / 2], axis=-1).reshape(*r.shape, 2, 2)
    out: Array = page @ np.swapaxes(short @ shape, -1, -2)
    return out


def rotated(w: Array) -> Array:
    """The rotations by vectors (..., 3), axis times angle, by Rodrigues' formula."""
    angle = np.linalg.norm(w, axis=-1)[..., None, None]
    x, y, z = w[..., 0], w[..., 1], w[..., 2]
    none = np.zeros_like(x)
    cross = np.stack([none, -z, y, z, none, -x, -y, x, none], axis=-1).reshape(*x.shape, 3, 3)
    # sinc is exact at 0.
    first = np.sinc(angle / np.pi)
    second = np.sinc(angle / (2 * np.pi)) ** 2 / 2
    out: Array = np.eye(3) + first * cross + second * cross @ cross
    return out


def start(views: Sequence[View]) -> Bundle:
    """A first guess from the flat page's homographies, no lens, the middle in the middle."""
    maps = [homography(v.page / _UNIT_MM, v.image) for v in views]
    rows, right = [], []
    for h in maps:
        a, b = h[:, 0], h[:, 1]
        rows += [a[0] * b[0] + a[1] * b[1], a[0] ** 2 + a[1] ** 2 - b[0] ** 2 - b[1] ** 2]
        right += [-a[2] * b[2], b[2] ** 2 - a[2] ** 2]
    square = float(np.dot(rows, rows))
    inverse = float(np.dot(rows, right)) / square if square > 0 else 0.0
    # A phone sees 45 to 85 degrees: what lies outside is no focal length.
    focal = min(max(1 / math.sqrt(inverse), 0.45), 1.6) if inverse > 0.2 else 0.75
    shared = np.zeros(SHARED)
    shared[2] = math.log(focal)
    own, turns = np.zeros((len(views), OWN)), np.zeros((len(views), 3, 3))
    for i, h in enumerate(maps):
        b = np.diag([1 / focal, 1 / focal, 1.0]) @ h
        b *= 2 * math.copysign(1.0, b[2, 2]) / (np.linalg.norm(b[:, 0]) + np.linalg.norm(b[:, 1]))
        axes = np.column_stack([b[:, 0], b[:, 1], np.cross(b[:, 0], b[:, 1])])
        left, _, right_turn = np.linalg.svd(axes)
        turns[i] = left @ right_turn
        own[i, 3:6] = b[:, 2] * _UNIT_MM
    return Bundle(shared, own, turns)


def homography(from_xy: Array, to_xy: Array) -> Array:
    """The projective map of least algebraic distance, scaled to unit norm (at least 4 points)."""
    x, y = from_xy.T
    u, v = to_xy.T
    zero, one = np.zeros(len(x)), np.ones(len(x))
    upper = np.column_stack([x, y, one, zero, zero, zero, -u * x, -u * y, -u])
    lower = np.column_stack([zero, zero, zero, x, y, one, -v * x, -v * y, -v])
    out: Array = np.linalg.svd(np.vstack([upper, lower]))[2][-1].reshape(3, 3)
    return out


def _priors(shared: Array, own: Array, unrest: float) -> tuple[Array, Array, Array, Array]:
    """What is believed of the unknowns: (shared value, weight), (own value, weight)."""
    weight = np.zeros(SHARED)
    weight[3:5] = 1 / _MIDDLE_SD
    weight[5:8] = 1 / np.array(_LENS_SD)
    weight[_CAMERA:] = 1 / _BEND_SD_MM
    own_weight = np.zeros(OWN)
    own_weight[6:] = np.array([1 / _FOCUS_SD, 1 / _SHIFT_SD, 1 / _SHIFT_SD]) / unrest
    return shared * weight, weight, own * own_weight, own_weight


@dataclass(frozen=True)
class Linear:
    """The normal equations at one place, own unknowns of each view taken out of the shared ones."""

    shared_matrix: Array
    shared_right: Array
    own_solved: tuple[tuple[Array, Array], ...]
    residuals: tuple[Array, ...]
    reduced: tuple[Array, ...]
    cost: float
    log_volume: float


@dataclass(frozen=True)
class Taken:
    """What is taken as known: the discs' radius, the scatter of a place, the camera's unrest."""

    rho_mm: float
    sigma: float
    unrest: float = 1.0


def linearised(bundle: Bundle, views: Sequence[View], known: Taken) -> Linear:
    """Residuals in image widths, and the equations for one step."""
    value, weight, own_value, own_weight = _priors(bundle.shared, bundle.own, known.unrest)
    sigma, volume = known.sigma, 0.0
    matrix, right = np.diag(weight**2), -weight * value
    cost = float(value @ value) + float(np.sum(own_value**2))
    solved, residuals, reduced = [], [], []
    for i, view in enumerate(views):
        base, js, jo = _derivatives(bundle, i, view, known.rho_mm)
        e = (view.image - base).ravel() / sigma
        js, jo = js / sigma, jo / sigma
        cost += float(e @ e)
        a = jo.T @ jo + np.diag(own_weight**2)
        inverse = np.linalg.inv(a)
        cross = jo.T @ js
        g = jo.T @ e - own_weight * own_value[i]
        matrix = matrix + js.T @ js - cross.T @ inverse @ cross
        right = right + js.T @ e - cross.T @ inverse @ g
        volume += float(np.linalg.slogdet(a)[1]) - 2 * float(np.sum(np.log(own_weight[6:])))
        solved.append((inverse @ g, inverse @ cross))
        reduced.append(js - jo @ inverse @ cross)
        residuals.append((e * sigma).reshape(-1, 2))
    volume += float(np.linalg.slogdet(matrix)[1])
    return Linear(matrix, right, tuple(solved), tuple(residuals), tuple(reduced), cost, volume)


def _derivatives(bundle: Bundle, i: int, view: View, rho_mm: float) -> tuple[Array, Array, Array]:
    """(places, their derivatives by the shared unknowns, by the view's own), coordinates flat."""
    steps = np.array([*(1e-6,) * (SHARED + 3), *(1e-4,) * 3, *(1e-6,) * 3])
    moved = np.vstack([np.zeros(SHARED + OWN), np.diag(steps)])
    shared = bundle.shared + moved[:, :SHARED]
    own = bundle.own[i] + moved[:, SHARED:]
    at = predicted(shared, own, bundle.turns[i], view.page, rho_mm)
    base = at[0]
    slopes = ((at[1:] - base) / steps[:, None, None]).reshape(len(steps), -1).T
    return base, slopes[:, :SHARED], slopes[:, SHARED:]


def solved(
    bundle: Bundle, views: Sequence[View], known: Taken, *, steps: int = 25
) -> tuple[Bundle, Linear]:
    """The unknowns of least squares (Levenberg and Marquardt), and the equations there."""
    damping = 1e-3
    linear = linearised(bundle, views, known)
    for _ in range(steps):
        a = linear.shared_matrix
        step = _solution(a + damping * np.diag(np.diag(a)), linear.shared_right)
        trial = _moved(bundle, linear, step)
        new = linearised(trial, views, known) if _possible(trial) else None
        if new is None or not new.cost < linear.cost + 1e-9:
            damping *= 8
            if damping > 1e6:
                break
            continue
        done = linear.cost - new.cost < _SETTLED and damping < 1e-2
        bundle, linear, damping = trial, new, damping / 8
        if done:
            break
    return bundle, linear


def _solution(matrix: Array, right: Array) -> Array:
    return np.asarray(np.linalg.solve(matrix, right), dtype=np.float64)


def _possible(bundle: Bundle) -> bool:
    """Whether every camera stands before the page and sees it through a lens there can be."""
    near = bool(np.all(bundle.own[:, 5] > 50.0)) and bool(np.all(np.isfinite(bundle.own)))
    return near and abs(float(bundle.shared[2])) < 2.0


def _moved(bundle: Bundle, linear: Linear, step: Array) -> Bundle:
    own, turns = bundle.own.copy(), bundle.turns.copy()
    for i, (free, by_shared) in enumerate(linear.own_solved):
        own[i] += free - by_shared @ step
        turns[i] = rotated(own[i, :3]) @ turns[i]
        own[i, :3] = 0.0
    return Bundle(bundle.shared + step, own, turns)
