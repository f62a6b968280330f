"""Whether a placed artwork is the right picture, in the right place, at the right size.

The sheet's artwork layer and the reference artwork (drawn by itself at its intended place) become
two pictures on the same pixel grid. Inside the cut outline, away from its edge and holes, the
affine move between both is found from their grey levels (see ``align``); the reference is drawn
again under the move found, until nothing is left. What still differs then is a fault of the picture
itself: missing, mirrored, turned, other, or cut off.

An artwork that holds images is measured a second time in fine patches (see ``patches``).
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field

import cv2
import numpy as np
import numpy.typing as npt

from decalprep.geometry import Affine, Box
from decalprep.proof.align import Edges, Mask, Move, edges_of, smooth, solve_move
from decalprep.proof.expected import ExpectedDecal
from decalprep.proof.patches import refined
from decalprep.proof.render import OpenPdf, Pixels, changing, within
from decalprep.proof.scene import DPI, Scene
from decalprep.units import MM_PER_IN

TELLING_MM = 0.004
"""A length counts as measured when its standard error is under this."""
SETTLED_MM = 0.005
"""A move under this (a sixteenth of a pixel) is exact in one step; drawn again, nothing is new."""
NEAR = 0.9
"""Likeness from which no larger shift is looked for."""
CONTRAST = 24.0
"""Grey levels of spread under which a picture is blank."""
BLUR_PX = 8
"""Farther than a blurred edge reaches."""
DIFFERENT = 64
"""Grey levels by which a pixel must differ to count as different."""


@dataclass(frozen=True)
class MeasuredArtwork:
    """How the placed artwork lies against its intended place.

    ``residual`` takes intended page mm to measured page mm; ``worst_mm`` is the largest
    displacement over the corners of the picture's own edges. ``width_ratio`` and
    ``height_ratio`` are measured to intended size along the artwork's own axes, None where the
    picture cannot tell. ``differs_mm2`` is the area that differs after alignment, ``differs_at``
    its box on the page. ``state`` is "same", "blank", "missing", "mirrored", "turned", "other",
    "differs" or "too small" (nothing of it lies further than 0.35 mm from an edge).
    """

    state: str
    residual: Affine = field(default_factory=Affine)
    worst_mm: float = 0.0
    shift_mm: tuple[float, float] = (0.0, 0.0)
    width_ratio: float | None = None
    height_ratio: float | None = None
    likeness: float = 0.0
    differs_mm2: float = 0.0
    differs_at: Box | None = None


def measure_artwork(
    view: OpenPdf, reference: OpenPdf, decal: ExpectedDecal, *, dpi: float = DPI
) -> MeasuredArtwork:
    """The artwork of one decal measured in a view that shows the artwork layer alone."""
    scene = Scene(view, reference, decal, dpi)
    if not scene.mask.any():
        return MeasuredArtwork("too small")
    wanted = scene.wanted(Affine())
    if _blank(wanted, scene.mask):
        plain = scene.sheet[scene.mask].mean(axis=0) - wanted[scene.mask].mean(axis=0)
        same = _blank(scene.sheet, scene.mask) and float(np.abs(plain).max()) < 3
        return MeasuredArtwork("blank" if same else "differs", likeness=float(same))
    if _blank(scene.sheet, scene.mask):
        return MeasuredArtwork("missing", worst_mm=math.inf)
    residual, move, wanted = _registered(scene, wanted)
    likeness = _likeness(scene.sheet, wanted, scene.mask)
    area_mm2, where = _differing(scene, wanted)
    state = "same"
    if likeness < 0.9 or area_mm2 > 1.0:
        state = _why_unlike(scene, likeness)
    elif area_mm2 > 0:
        state = "differs"
    if state in ("same", "differs") and move is not None and scene.images:
        residual, move = refined(scene, residual, move)
    return _result(scene, residual, move, state, likeness, area_mm2, where)


def _blank(pixels: Pixels, mask: Mask) -> bool:
    """Whether no channel has ``CONTRAST`` inside the mask, its ten most extreme pixels left out."""
    inside = mask.astype(np.uint8)
    for channel in range(3):
        counts = cv2.calcHist([pixels], [channel], inside, [256], [0, 256])
        below = np.cumsum(np.asarray(counts, np.float64).ravel())
        out = min(10, (below[-1] - 1) // 2)
        low, high = np.searchsorted(below, (out + 0.5, below[-1] - out - 0.5))
        if high - low >= CONTRAST:
            return False
    return True


def _registered(scene: Scene, wanted: Pixels) -> tuple[Affine, Move | None, Pixels]:
    """(residual on the page, the last step with its errors, the reference laid on the sheet)."""
    _, spread = cv2.meanStdDev(wanted, mask=scene.mask.astype(np.uint8))
    channel = int(np.argmax(spread))
    total = Affine()
    if _likeness(scene.sheet, wanted, scene.mask) < NEAR:
        both = smooth(scene.sheet, channel), smooth(wanted, channel)
        total = _coarse_shift(scene, *both) or total
        wanted = scene.wanted(total)
    move = None
    for _ in range(6):
        edges = _edges(scene, wanted, channel)
        move = solve_move([edges], growth_mm=scene.growth_mm)
        if move is None:
            break
        moved_mm = move.largest(move.affine)
        if moved_mm < 0.0003:
            break
        total = move.affine @ total
        if moved_mm < SETTLED_MM:
            break
        wanted = scene.wanted(total)
    return total, move, wanted


def _edges(scene: Scene, wanted: Pixels, channel: int) -> Edges:
    """Edge pixels of both pictures, sought where one of them changes and a little round it."""
    told = scene.mask & (changing(scene.sheet) | changing(wanted))
    left, top, wide, high = cv2.boundingRect(told.view(np.uint8))
    x, y = max(left - BLUR_PX, 0), max(top - BLUR_PX, 0)
    here = slice(y, top + high + BLUR_PX), slice(x, left + wide + BLUR_PX)
    target, source = (smooth(pixels[here], channel) for pixels in (scene.sheet, wanted))
    frame = scene.page_from_picture @ Affine.translation(x, y)
    return edges_of(target, source, scene.mask[here], frame)


def _coarse_shift(
    scene: Scene, target: npt.NDArray[np.float32], source: npt.NDArray[np.float32]
) -> Affine | None:
    """A shift on the page of more than 1.5 px, by phase correlation, if there is one."""
    window = cv2.GaussianBlur(scene.mask.astype(np.float32), (0, 0), 4.0)
    size = (min(window.shape[1], 1024), min(window.shape[0], 1024))
    a, b = (
        cv2.resize((255 - p) * window, size, interpolation=cv2.INTER_AREA).astype(np.float64)
        for p in (source, target)
    )
    (dx, dy), response = cv2.phaseCorrelate(a, b)
    dx, dy = dx * window.shape[1] / size[0], dy * window.shape[0] / size[1]
    if math.hypot(dx, dy) < 1.5 or response < 0.1:
        return None
    return scene.page_from_picture @ Affine.translation(dx, dy) @ scene.frame


def _likeness(a: Pixels, b: Pixels, mask: Mask) -> float:
    """Correlation -1..1 of the two pictures inside the mask, over all channels."""
    inside = mask.view(np.uint8)
    count = cv2.countNonZero(inside)
    one, two = (np.array(cv2.sumElems(cv2.copyTo(p, inside))[:3]) / count for p in (a, b))
    squares = [cv2.norm(p, cv2.NORM_L2SQR, inside) for p in (a, b, cv2.absdiff(a, b))]
    first = squares[0] - count * float(one @ one)
    second = squares[1] - count * float(two @ two)
    both = (squares[0] + squares[1] - squares[2]) / 2 - count * float(one @ two)
    return both / math.sqrt(first * second) if min(first, second) > 1e-6 * count else 0.0


def _differing(scene: Scene, wanted: Pixels) -> tuple[float, Box | None]:
    """(area in mm2, box on the page) that differs by more than a line that may be missing."""
    mm_per_px = MM_PER_IN / scene.dpi
    side = max(math.ceil(scene.art.hairline_mm / mm_per_px - 1e-9) + 1, 2)
    alike = within(np.asarray(cv2.absdiff(scene.sheet, wanted), np.uint8), 0, DIFFERENT)
    odd = (~alike & scene.mask).astype(np.uint8)
    odd = np.asarray(cv2.morphologyEx(odd, cv2.MORPH_OPEN, np.ones((side, side), np.uint8)))
    if not odd.any():
        return 0.0, None
    rows, columns = np.nonzero(odd)
    corners = Box(columns.min(), rows.min(), columns.max() + 1, rows.max() + 1).corners
    where = Box.around(scene.page_from_picture.apply_all(corners))
    return len(rows) * mm_per_px**2, where


def _why_unlike(scene: Scene, likeness: float) -> str:
    """What an unlike picture is: mirrored, turned, another one, or partly different."""
    place = scene.decal.page_from_artwork
    outline = Box.around(place.inverse().apply_all(scene.decal.outline_mm))
    middle = outline.centre
    tries = [("mirrored", Affine.scaling(-1, 1)), ("mirrored", Affine.scaling(1, -1))]
    tries += [("turned", Affine.rotation(a)) for a in (90, 180, 270)]
    for name, change in tries:
        move = place @ change.about(*middle) @ place.inverse()
        if 1 - _likeness(scene.sheet, scene.wanted(move), scene.mask) < 0.3 * (1 - likeness):
            return name
    return "other" if likeness < 0.6 else "differs"


def _result(
    scene: Scene,
    residual: Affine,
    move: Move | None,
    state: str,
    likeness: float,
    area_mm2: float,
    where: Box | None,
) -> MeasuredArtwork:
    """The findings in the words of ``MeasuredArtwork``."""
    if move is None:
        return MeasuredArtwork(state, likeness=likeness, differs_mm2=area_mm2, differs_at=where)
    box = Box(*move.box)
    middle = box.centre
    moved = residual.apply(*middle)
    place = scene.decal.page_from_artwork
    ratios: list[float | None] = []
    for dx, dy in ((place.a, place.b), (place.c, place.d)):
        mx, my = residual.a * dx + residual.c * dy, residual.b * dx + residual.d * dy
        error_mm = move.errors[1] if abs(dx) >= abs(dy) else move.errors[5]
        told = error_mm < TELLING_MM and not math.isinf(error_mm)
        ratios.append(math.hypot(mx, my) / math.hypot(dx, dy) if told else None)
    return MeasuredArtwork(
        state,
        residual,
        move.largest(residual),
        (moved[0] - middle[0], moved[1] - middle[1]),
        ratios[0],
        ratios[1],
        likeness,
        area_mm2,
        where,
    )
