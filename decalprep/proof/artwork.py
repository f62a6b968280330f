"""Whether a placed artwork is the right picture, in the right place, at the right size.

The sheet's artwork layer and the reference artwork (drawn by itself at its intended place) become
two pictures on the same pixel grid. Inside the cut outline, away from its edge and holes, the
affine move between both is found from their grey levels (see ``align``); the reference is drawn
again under the move found, until nothing is left. What still differs then is a fault of the picture
itself: missing, mirrored, turned, other, or cut off.

pdfium moves pictures made of pixels to whole device pixels, so an artwork that holds images is
measured a second time in small patches, drawn askew at 9600 dpi.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from itertools import pairwise

import cv2
import numpy as np
import numpy.typing as npt

from decalprep.geometry import Affine, Box
from decalprep.proof.align import Edges, Mask, Move, edges_of, smooth, solve_move
from decalprep.proof.expected import ExpectedArtwork, ExpectedDecal
from decalprep.proof.render import OpenPdf, Pixels, darkest, frame_for
from decalprep.units import MM_PER_IN

DPI = 300.0
OVER, OVER_IMAGES = 4, 2
"""How much finer than ``DPI`` pictures are drawn; less where fine patches do the measuring."""
EDGE_MM = 0.35
"""How far from the cut edge and the holes the picture is compared."""
TELLING_MM = 0.004
"""A length counts as measured when its standard error is under this."""
MAX_PIXELS = 16_000_000
"""Above this a large decal is compared more coarsely: A3 at 300 dpi is just above."""
NEAR = 0.9
"""Likeness from which no larger shift is looked for."""
CONTRAST = 24.0
"""Grey levels of spread under which a picture is blank."""
PATCH_MM, PATCH_DPI, PATCH_OVER, PATCH_SIDE = 1.0, 600.0, 16, 5
"""Fine patches, 5 x 5. pdfium turns images with 8 bits of fraction, so the error grows with the
patch: 1/512 of its size at most, 0.002 mm."""
PATCH_TURN_DEG = 20.0
"""Angle of the artwork in a patch: far from upright, where pdfium takes a coarser way."""
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


class _Scene:
    """One decal's comparison: the pixel grid, what is compared, and the sheet's own picture."""

    def __init__(self, view: OpenPdf, reference: OpenPdf, decal: ExpectedDecal, dpi: float) -> None:
        assert decal.artwork is not None
        self.view, self.reference, self.decal = view, reference, decal
        self.art: ExpectedArtwork = decal.artwork
        box = Box.around(decal.outline_mm).grown(0.5)
        pixels = box.area * (dpi / MM_PER_IN) ** 2
        self.dpi = dpi * min(1.0, math.sqrt(MAX_PIXELS / pixels))
        self.frame, self.size = frame_for(box, self.dpi)
        self.page_from_picture = self.frame.inverse()
        self.mask = _compared(decal, self.frame, self.size, self.dpi)
        self.images = reference.has_images(0)
        self.over = OVER_IMAGES if self.images else OVER
        self.sheet = self.sheet_picture(self.frame, self.size, self.over)

    def sheet_picture(self, frame: Affine, size: tuple[int, int], over: int) -> Pixels:
        """The sheet's artwork layer, near-white made white."""
        return self._bare(self.view.fine_crop(self.decal.page, frame, size, over))

    def wanted_picture(
        self, move: Affine, frame: Affine, size: tuple[int, int], over: int
    ) -> Pixels:
        """The reference at its intended place moved by an affine map of the page."""
        wide, high = self.reference.size_mm(0)
        artwork_from_file = Affine.scaling(self.art.width_mm / wide, self.art.height_mm / high)
        m = frame @ move @ self.decal.page_from_artwork @ artwork_from_file
        return self._bare(self.reference.fine_crop(0, m, size, over))

    def wanted(self, move: Affine) -> Pixels:
        """The reference on the scene's own grid."""
        return self.wanted_picture(move, self.frame, self.size, self.over)

    def _bare(self, pixels: Pixels) -> Pixels:
        pale = darkest(pixels) >= self.art.white_below
        pixels[pale] = 255
        return pixels


def measure_artwork(
    view: OpenPdf, reference: OpenPdf, decal: ExpectedDecal, *, dpi: float = DPI
) -> MeasuredArtwork:
    """The artwork of one decal measured in a view that shows the artwork layer alone."""
    scene = _Scene(view, reference, decal, dpi)
    if not scene.mask.any():
        return MeasuredArtwork("too small")
    wanted = scene.wanted(Affine())
    if _contrast(wanted, scene.mask) < CONTRAST:
        plain = scene.sheet[scene.mask].mean(axis=0) - wanted[scene.mask].mean(axis=0)
        same = _contrast(scene.sheet, scene.mask) < CONTRAST and float(np.abs(plain).max()) < 3
        return MeasuredArtwork("blank" if same else "differs", likeness=float(same))
    if _contrast(scene.sheet, scene.mask) < CONTRAST:
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
        residual, move = _refined(scene, residual, move)
    return _result(scene, residual, move, state, likeness, area_mm2, where)


def _compared(decal: ExpectedDecal, frame: Affine, size: tuple[int, int], dpi: float) -> Mask:
    """Pixels inside the outline and outside the holes, away from both."""
    mask = np.zeros((size[1], size[0]), np.uint8)
    _fill(mask, frame, decal.outline_mm, 255)
    for hole in decal.holes:
        _fill(mask, frame, hole.contour_mm, 0)
    reach = math.ceil(EDGE_MM * dpi / MM_PER_IN)
    disc = cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (2 * reach + 1, 2 * reach + 1))
    inner = cv2.erode(mask, disc, borderType=cv2.BORDER_CONSTANT, borderValue=0)
    return np.asarray(inner > 0)


def _fill(
    mask: npt.NDArray[np.uint8], frame: Affine, points: tuple[tuple[float, float], ...], value: int
) -> None:
    if len(points) > 2:
        ring = np.rint(np.array(frame.apply_all(points)) * 16 - 8).astype(np.int32)
        cv2.fillPoly(mask, [ring], value, shift=4)


def _contrast(pixels: Pixels, mask: Mask) -> float:
    """Largest spread of a channel inside the mask, the ten most extreme pixels left out."""
    inside = pixels[mask]
    out = min(10, (len(inside) - 1) // 2)
    ends = np.partition(inside, [out, len(inside) - 1 - out], axis=0)
    return float((ends[len(inside) - 1 - out].astype(float) - ends[out]).max())


def _registered(scene: _Scene, wanted: Pixels) -> tuple[Affine, Move | None, Pixels]:
    """(residual on the page, the last step with its errors, the reference laid on the sheet)."""
    channel = int(np.argmax([wanted[..., k][scene.mask].std() for k in range(3)]))
    target = smooth(scene.sheet, channel)
    total = Affine()
    if _likeness(scene.sheet, wanted, scene.mask) < NEAR:
        total = _coarse_shift(scene, target, smooth(wanted, channel)) or total
        wanted = scene.wanted(total)
    move = None
    for _ in range(6):
        edges = edges_of(target, smooth(wanted, channel), scene.mask, scene.page_from_picture)
        move = solve_move([edges])
        if move is None:
            break
        moved_mm = move.largest(move.affine)
        if moved_mm < 0.0003:
            break
        total = move.affine @ total
        wanted = scene.wanted(total)
        if moved_mm < 0.002:
            break
    return total, move, wanted


def _coarse_shift(
    scene: _Scene, target: npt.NDArray[np.float32], source: npt.NDArray[np.float32]
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
    inside = mask.astype(np.uint8)
    sums = [0.0, 0.0, 0.0]
    for k in range(3):
        one, two = (p[..., k].astype(np.float32) for p in (a, b))
        one -= np.float32(cv2.mean(one, inside)[0])
        two -= np.float32(cv2.mean(two, inside)[0])
        x, y = (one * inside).ravel(), (two * inside).ravel()
        for i, (p, q) in enumerate(((x, y), (x, x), (y, y))):
            sums[i] += float(p @ q)
    norm = math.sqrt(max(sums[1] * sums[2], 0.0))
    return sums[0] / norm if norm > 0 else 0.0


def _differing(scene: _Scene, wanted: Pixels) -> tuple[float, Box | None]:
    """(area in mm2, box on the page) that differs by more than a line that may be missing."""
    mm_per_px = MM_PER_IN / scene.dpi
    side = max(math.ceil(scene.art.hairline_mm / mm_per_px - 1e-9) + 1, 2)
    apart = cv2.absdiff(scene.sheet, wanted).max(axis=2)
    odd = ((apart > DIFFERENT) & scene.mask).astype(np.uint8)
    odd = np.asarray(cv2.morphologyEx(odd, cv2.MORPH_OPEN, np.ones((side, side), np.uint8)))
    if not odd.any():
        return 0.0, None
    rows, columns = np.nonzero(odd)
    corners = Box(columns.min(), rows.min(), columns.max() + 1, rows.max() + 1).corners
    where = Box.around(scene.page_from_picture.apply_all(corners))
    return len(rows) * mm_per_px**2, where


def _why_unlike(scene: _Scene, likeness: float) -> str:
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


def _patches(scene: _Scene, residual: Affine) -> list[Box]:
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
    cuts = np.linspace(low, high, PATCH_SIDE + 1).astype(int)
    return [(int(a), int(b)) for a, b in pairwise(cuts)]


def _refined(scene: _Scene, residual: Affine, move: Move) -> tuple[Affine, Move]:
    """The residual measured again in fine patches, askew, where pixels do not snap."""
    place = scene.decal.page_from_artwork
    turn_deg = PATCH_TURN_DEG - math.degrees(math.atan2(place.b, place.a))
    patches = []
    for box in _patches(scene, residual):
        frame, size = frame_for(box, PATCH_DPI, turn_deg=turn_deg)
        mask = _compared(scene.decal, frame, size, PATCH_DPI)
        sheet = scene.sheet_picture(frame, size, PATCH_OVER)
        channel = int(np.argmax([sheet[..., k].std() for k in range(3)]))
        patches.append((frame, size, mask, smooth(sheet, channel), channel))
    if move.largest(residual) < 0.06:
        residual = Affine()  # the coarse answer may be that far off; a right file starts right
    for _ in range(5):
        parts: list[Edges] = []
        for frame, size, mask, target, channel in patches:
            wanted = scene.wanted_picture(residual, frame, size, PATCH_OVER)
            parts.append(edges_of(target, smooth(wanted, channel), mask, frame.inverse()))
        found = solve_move(parts) if parts else None
        if found is None:
            break
        move = found
        residual = move.affine @ residual
        if move.largest(move.affine) < 0.001:
            break
    return residual, move


def _result(
    scene: _Scene,
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
