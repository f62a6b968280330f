"""A part as the engine sees it: one cell mask for each angle it may be turned to."""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from functools import cached_property

import numpy as np
import shapely
from shapely.affinity import affine_transform
from shapely.geometry import Polygon

from decalprep.geometry import Affine
from decalprep.model import Turns
from decalprep.nesting.layout import NestPart, NestSettings
from decalprep.nesting.raster import Mask, grown, largest_rectangle, touched_cells

Rect = tuple[int, int, int, int]


@dataclass(eq=False)
class Turned:
    """One part at one angle: the cells it takes with its share of the gap, and its exact size.

    ``left_mm``, ``bottom_mm`` is the lower left of the turned polygon in its own frame;
    ``width`` and ``height`` are the exact size, gap included, in grid steps.
    """

    turn_deg: float
    left_mm: float
    bottom_mm: float
    width: float
    height: float
    mask: Mask
    compiled: dict[int, Compiled] = field(default_factory=dict)

    @cached_property
    def rectangles(self) -> tuple[Rect, ...]:
        """(x, y, width, height) in cells that cover the mask, the largest first."""
        return _cover(self.mask)

    def for_stride(self, stride: int) -> Compiled:
        """The mask as whole numbers for a board whose rows are ``stride`` bits apart."""
        if stride not in self.compiled:
            self.compiled[stride] = _compile(self.mask, stride)
        return self.compiled[stride]


@dataclass(frozen=True)
class Compiled:
    """A mask as bits: ``cells`` from its own lower left, ``rim`` from one cell further out."""

    cells: int
    rim: int
    rim_count: int


@dataclass(eq=False)
class Shape:
    """All angles of one part; ``area`` is in cells (of the first angle)."""

    turned: tuple[Turned, ...]

    @cached_property
    def area(self) -> int:
        """Cells taken."""
        return int(self.turned[0].mask.sum())


def bits_of(mask: Mask, stride: int) -> int:
    """A mask as one whole number: cell (i, j) is bit i * stride + j."""
    rows = np.zeros((mask.shape[0], stride), dtype=np.uint8)
    rows[:, : mask.shape[1]] = mask
    return int.from_bytes(np.packbits(rows.ravel(), bitorder="little").tobytes(), "little")


def mask_of(bits: int, stride: int, rows: int) -> Mask:
    """The mask back from its number."""
    size = stride * rows
    raw = np.frombuffer(bits.to_bytes((size + 7) // 8, "little"), dtype=np.uint8)
    return np.unpackbits(raw, bitorder="little")[:size].reshape(rows, stride).astype(bool)


def _compile(mask: Mask, stride: int) -> Compiled:
    padded = np.pad(mask, 1)
    near = padded.copy()
    near[1:] |= padded[:-1]
    near[:-1] |= padded[1:]
    near[:, 1:] |= padded[:, :-1]
    near[:, :-1] |= padded[:, 1:]
    rim = near & ~padded
    return Compiled(bits_of(mask, stride), bits_of(rim, stride), int(rim.sum()))


def _runs(line: Mask) -> tuple[tuple[int, int], ...]:
    edges = np.flatnonzero(np.diff(np.concatenate([[0], line.astype(np.int8), [0]])))
    return tuple((int(a), int(b - a)) for a, b in zip(edges[::2], edges[1::2], strict=True))


def _cover(mask: Mask) -> tuple[Rect, ...]:
    core = largest_rectangle(mask)
    x, y, w, h = core
    rest = mask.copy()
    rest[y : y + h, x : x + w] = False
    found: list[Rect] = []
    open_runs: dict[tuple[int, int], int] = {}
    for i in range(mask.shape[0] + 1):
        runs = set(_runs(rest[i])) if i < mask.shape[0] else set()
        for run in [r for r in open_runs if r not in runs]:
            start = open_runs.pop(run)
            found.append((run[0], start, run[1], i - start))
        for run in runs:
            open_runs.setdefault(run, i)
    found.sort(key=lambda r: (-r[2] * r[3], r))
    return (core, *found)


def angles_of(part: NestPart, settings: NestSettings) -> tuple[float, ...]:
    """The angles in degrees that a part may be turned to."""
    if part.turns is Turns.NONE:
        return (0.0,)
    if part.turns is Turns.HALF:
        return (0.0, 180.0)
    if part.turns is Turns.QUARTER:
        return (0.0, 90.0, 180.0, 270.0)
    if part.turn_step_deg > 0:
        return tuple(k * part.turn_step_deg for k in range(round(360 / part.turn_step_deg)))
    step = min(max(settings.angle_step_deg, 1.0), 90.0)
    angles = {k * step for k in range(math.ceil(360 / step))}
    corners = shapely.get_coordinates(shapely.minimum_rotated_rectangle(part.polygon))
    if len(corners) >= 2:
        lean = math.degrees(math.atan2(*(corners[1] - corners[0])[::-1]))
        angles |= {round((k * 90 - lean) % 360, 6) for k in range(4)}
    return tuple(sorted({0.0, 90.0, 180.0, 270.0} | angles))


def turn(polygon: Polygon, turn_deg: float) -> Polygon:
    """The polygon turned about its frame's origin, counter-clockwise."""
    m = Affine.rotation(turn_deg)
    return affine_transform(polygon, [m.a, m.c, m.b, m.d, 0.0, 0.0])


def turned_part(polygon: Polygon, turn_deg: float, gap_mm: float, grid_mm: float) -> Turned:
    """One angle of a part, its cells found on the exact outline grown by half the gap."""
    turned = turn(polygon, turn_deg)
    x0, y0, x1, y1 = turned.bounds
    half = gap_mm / 2
    width, height = (x1 - x0 + gap_mm) / grid_mm, (y1 - y0 + gap_mm) / grid_mm
    rows, columns = math.ceil(height - 1e-6), math.ceil(width - 1e-6)
    origin = (x0 - half, y0 - half)
    mask = touched_cells(grown(turned, half), origin, grid_mm, rows, columns)
    return Turned(turn_deg, x0, y0, width, height, mask)


def shape_of(part: NestPart, settings: NestSettings) -> Shape:
    """All angles of a part that differ from one another."""
    kept: list[Turned] = []
    seen: set[bytes] = set()
    for angle in angles_of(part, settings):
        found = turned_part(part.polygon, angle, settings.gap_mm, settings.grid_mm)
        key = found.mask.tobytes() + repr(found.mask.shape).encode()
        if key not in seen:
            seen.add(key)
            kept.append(found)
    return Shape(tuple(kept))
