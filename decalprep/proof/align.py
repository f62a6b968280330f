"""The small affine move between two almost equal pictures, from their grey-level gradients.

Lucas and Kanade 1981 (an iterative image registration technique), with six numbers in the place of
two, gradients taken from the mean of both pictures (so that the error is of third order in the
move), and weights that give little say to pixels that differ for another reason.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import cv2
import numpy as np
import numpy.typing as npt

from decalprep.geometry import Affine

Grey = npt.NDArray[np.float32]
Mask = npt.NDArray[np.bool_]
Floats = npt.NDArray[np.float64]

NOISE = 1.0
"""Assumed error of a grey level when judging what a picture can tell."""
EDGE_LEVELS = 4.0
"""Grey levels a pixel from which a pixel counts as an edge."""
STILL_MM = 1e-7
"""A step of the least squares under this is the last."""
MOST_ROWS = 150_000
FEW_ROWS = 10_000


@dataclass(frozen=True)
class Edges:
    """What edge pixels say: gradients (u, v), places (x, y), and the change of grey level.

    Places and gradients are in one common frame (any unit, the same for all parts).
    """

    u: Floats
    v: Floats
    x: Floats
    y: Floats
    change: Floats


@dataclass(frozen=True)
class Move:
    """An affine move, the standard errors of its six numbers about ``middle``, and the edges' box.

    ``errors`` are in the order (shift x, x by x, x by y, shift y, y by x, y by y), the
    last of each for a place one ``half`` away from the middle. ``box`` is x0, y0, x1, y1.
    """

    affine: Affine
    errors: tuple[float, ...]
    half: float
    box: tuple[float, float, float, float]

    def largest(self, affine: Affine) -> float:
        """Largest displacement by an affine map over the corners of the edges' box."""
        x0, y0, x1, y1 = self.box
        corners = ((x0, y0), (x1, y0), (x0, y1), (x1, y1))
        return max(math.dist(c, affine.apply(*c)) for c in corners)


def smooth(pixels: npt.NDArray[np.uint8], channel: int) -> Grey:
    """One channel, lightly blurred, so that its gradients can be trusted."""
    return np.asarray(cv2.GaussianBlur(pixels[..., channel].astype(np.float32), (0, 0), 1.2))


def edges_of(target: Grey, source: Grey, mask: Mask, frame: Affine) -> Edges:
    """Edge pixels of two pictures; ``frame`` takes pixels to the common frame."""
    mean = (target + source) / 2
    gx = cv2.Sobel(mean, cv2.CV_32F, 1, 0, ksize=1) / 2
    gy = cv2.Sobel(mean, cv2.CV_32F, 0, 1, ksize=1) / 2
    rows, columns = np.nonzero(mask & (np.abs(gx) + np.abs(gy) > EDGE_LEVELS))
    if len(rows) > MOST_ROWS:
        pick = np.linspace(0, len(rows) - 1, MOST_ROWS).astype(int)
        rows, columns = rows[pick], columns[pick]
    px, py = columns + 0.5, rows + 0.5
    u, v = gx[rows, columns].astype(float), gy[rows, columns].astype(float)
    back = frame.inverse()  # a gradient goes through the transposed inverse
    return Edges(
        back.a * u + back.b * v,
        back.c * u + back.d * v,
        frame.a * px + frame.c * py + frame.e,
        frame.b * px + frame.d * py + frame.f,
        (source[rows, columns] - target[rows, columns]).astype(float),
    )


def solve_move(parts: Sequence[Edges], *, growth_mm: float = 0.0) -> Move | None:
    """The affine move that takes source to target in the common frame; None without edges.

    With ``growth_mm`` some edges may have moved by up to that length along their own normals, as
    they do where a thin stroke round a shape was taken away: each edge pixel is taken for moved so
    or not, whichever fits better, and that movement cannot pass for a move of the whole.
    A direction in which the pictures have no edges stays at zero, with a large standard error.
    """
    u, v, x, y, change = (
        np.concatenate([getattr(part, name) for part in parts])
        for name in ("u", "v", "x", "y", "change")
    )
    if len(u) < 6:
        return None
    box = (float(x.min()), float(y.min()), float(x.max()), float(y.max()))
    middle = ((box[0] + box[2]) / 2, (box[1] + box[3]) / 2)
    half = max(box[2] - box[0], box[3] - box[1], 1e-9) / 2
    xs, ys = (x - middle[0]) / half, (y - middle[1]) / half
    basis = np.stack([u, u * xs, u * ys, v, v * xs, v * ys], axis=1)
    steep = np.hypot(u, v)
    start = 0.0
    if growth_mm > 0 and float(np.abs(change).max()) > NOISE:
        # which start is best shows in a part of the edges; where all is alike there is no growth
        some = slice(None, None, max(len(u) // FEW_ROWS, 1))
        tries = [growth_mm * k for k in (0.0, 0.8, 0.4, -0.4, -0.8)]
        start = min(tries, key=lambda t: _fitted(basis[some], steep[some], change[some], t).cost)
    best = _fitted(basis, steep, change, start)
    p = best.numbers
    about = Affine(
        float(1 + p[1] / half),
        float(p[4] / half),
        float(p[2] / half),
        float(1 + p[5] / half),
        float(p[0]),
        float(p[3]),
    )
    shift = Affine.translation(*middle)
    return Move(shift @ about @ shift.inverse(), best.errors, half, box)


@dataclass(frozen=True)
class _Fit:
    """Six numbers of a move, their standard errors, and what is left over."""

    numbers: Floats
    errors: tuple[float, ...]
    cost: float


def _fitted(basis: Floats, steep: Floats, change: Floats, growth: float) -> _Fit:
    """Robust least squares; edges that fit better moved by ``growth`` are taken as moved so."""
    weight, grown = np.ones(len(change)), np.zeros(len(change), bool)
    p: Floats = np.zeros(6)
    ridge = np.eye(6) * 1e-5 * float(steep.mean()) ** 2 * len(change)
    for _ in range(4 if growth == 0 else 10):
        left = change - basis @ p
        if growth:
            other = left - growth * steep
            grown = np.abs(other) < np.abs(left)
            if grown.any():
                w, g = weight[grown], steep[grown]
                growth = float((w * g * left[grown]).sum() / (w * g * g).sum())
            left = np.where(grown, left - growth * steep, left)
        limit = max(2.5 * 1.4826 * float(np.median(np.abs(left))), 2.0)
        weight = np.minimum(1.0, limit / np.maximum(np.abs(left), 1e-9)) ** 2
        weighted = basis * weight[:, None]
        normal = weighted.T @ basis + ridge
        right = weighted.T @ (change - grown * growth * steep)
        before, p = p, np.asarray(np.linalg.solve(normal, right), float)
        if not growth and float(np.abs(p - before).max()) < STILL_MM:
            break
    left = change - basis @ p - grown * growth * steep
    cost = float(np.minimum(np.abs(left), 20.0).sum())
    errors = np.sqrt(np.diag(np.linalg.inv(normal))) * NOISE
    return _Fit(p, tuple(float(e) for e in errors), cost)
