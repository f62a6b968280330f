"""Artworks made of pixels, measured again in small patches.

pdfium moves upright images to whole device pixels, and turns others with 8 bits of fraction: the
error grows with the size of what is drawn, up to 1/512 of it. So the patches are small
(0.002 mm at most), drawn finely (a device pixel is 0.0026 mm) and askew.
"""

from __future__ import annotations

import math
from itertools import pairwise

import cv2
import numpy as np

from decalprep.geometry import Affine, Box
from decalprep.proof.align import Edges, Move, edges_of, smooth, solve_move
from decalprep.proof.render import frame_for
from decalprep.proof.scene import Scene, compared
from decalprep.units import MM_PER_IN

PATCH_MM, DPI, OVER, SIDE = 1.0, 600.0, 16, 5
"""Patches of 1 mm, 5 x 5 of them, drawn at 16 x 600 dpi."""
TURN_DEG = 20.0
"""Angle of the artwork in a patch."""
COARSE_MM = 0.06
"""How far off the coarse answer may be: within it the search starts from the intended place."""


def _patches(scene: Scene, residual: Affine) -> list[Box]:
    """Small boxes (page mm) rich in edges, spread over the picture."""
    wanted = scene.wanted(residual)
    channel = int(np.argmax([wanted[..., k][scene.mask].std() for k in range(3)]))
    grey = smooth(wanted, channel)
    gx, gy = np.gradient(grey.astype(float), axis=1), np.gradient(grey.astype(float), axis=0)
    side = math.ceil(PATCH_MM * scene.dpi / MM_PER_IN)
    xx, yy, xy, inside = (
        cv2.boxFilter(p, cv2.CV_64F, (side, side), borderType=cv2.BORDER_CONSTANT)
        for p in (gx * gx, gy * gy, gx * gy, scene.mask.astype(float))
    )
    half = np.sqrt(((xx - yy) / 2) ** 2 + xy**2)
    score = ((xx + yy) / 2 - half + 0.02 * (xx + yy)) * inside**2
    rows, columns = np.nonzero(scene.mask)
    found = []
    for y0, y1 in _slices(int(rows.min()), int(rows.max()) + 1):
        for x0, x1 in _slices(int(columns.min()), int(columns.max()) + 1):
            part = score[y0:y1, x0:x1]
            if part.size and part.max() > 0:
                y, x = np.unravel_index(int(part.argmax()), part.shape)
                cx, cy = scene.page_from_picture.apply(x0 + float(x) + 0.5, y0 + float(y) + 0.5)
                found.append(Box(cx, cy, cx, cy).grown(PATCH_MM / 2))
    return found


def _slices(low: int, high: int) -> list[tuple[int, int]]:
    cuts = np.linspace(low, high, SIDE + 1).astype(int)
    return [(int(a), int(b)) for a, b in pairwise(cuts)]


def refined(scene: Scene, residual: Affine, move: Move) -> tuple[Affine, Move]:
    """The residual measured again in fine patches, askew, where pixels do not snap."""
    place = scene.decal.page_from_artwork
    turn_deg = TURN_DEG - math.degrees(math.atan2(place.b, place.a))
    patches = []
    for box in _patches(scene, residual):
        frame, size = frame_for(box, DPI, turn_deg=turn_deg)
        mask = compared(scene.decal, frame, size, DPI)
        sheet = scene.sheet_picture(frame, size, OVER)
        channel = int(np.argmax([sheet[..., k].std() for k in range(3)]))
        patches.append((frame, size, mask, smooth(sheet, channel), channel))
    if move.largest(residual) < COARSE_MM:
        residual = Affine()  # the coarse answer may be that far off; a right file starts right
    for _ in range(5):
        parts: list[Edges] = []
        for frame, size, mask, target, channel in patches:
            wanted = scene.wanted_picture(residual, frame, size, OVER)
            parts.append(edges_of(target, smooth(wanted, channel), mask, frame.inverse()))
        found = solve_move(parts, growth_mm=scene.growth_mm) if parts else None
        if found is None:
            break
        move = found
        residual = move.affine @ residual
        if move.largest(move.affine) < 0.001:
            break
    return residual, move
