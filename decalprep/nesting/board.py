"""One field of cells as one whole number, one bit a cell: collision maps by shifting and or-ing.

The field has a border one cell wide that counts as taken. Bit (y + 1) * stride + (x + 1) is cell
(x, y). Shifting the field right by an offset and or-ing shows, for all positions at once, where a
cell at that offset would meet something: the collision map of a whole mask is the or over its
cells, and a rectangle of w by h cells needs about log2(w) + log2(h) shifts, not w * h.
A4 in steps of 1 mm has 58,000 bits; one shift takes about a microsecond.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from decalprep.nesting.raster import Mask
from decalprep.nesting.shapes import Rect, Turned, bits_of, mask_of

FEW = 24
"""So few positions left are tried one by one."""
AT_ONCE = 8
"""After so many rectangles of a mask it is looked how many positions are left."""


@dataclass(frozen=True)
class Spot:
    """A turned part at cell (x, y) of a board."""

    turned: Turned
    x: int
    y: int


class Field:
    """The bare board: its size in grid steps, and the cells that may never be used."""

    def __init__(self, width: float, height: float, taken: Mask) -> None:
        self.width, self.height = width, height
        self.rows, self.columns = int(taken.shape[0]), int(taken.shape[1])
        self.stride: int = self.columns + 2
        bordered = np.ones((self.rows + 2, self.stride), dtype=bool)
        bordered[1:-1, 1:-1] = taken
        self.bare = bits_of(bordered, self.stride)
        self.free_cells = int(taken.size - taken.sum())
        self._valid: dict[tuple[int, int], int] = {}

    def valid(self, turned: Turned) -> int:
        """Bits of the positions at which the part lies within the field; 0 if it is too large."""
        across = math.floor(self.width - turned.width + 1e-6)
        up = math.floor(self.height - turned.height + 1e-6)
        if across < 0 or up < 0:
            return 0
        key = (across, up)
        if key not in self._valid:
            line = ((1 << (across + 1)) - 1) << 1
            bits, count = line, 1
            while count < up + 1:
                more = min(count, up + 1 - count)
                bits |= bits << (more * self.stride)
                count += more
            self._valid[key] = bits << self.stride
        return self._valid[key]


class Board:
    """A field with pieces on it."""

    def __init__(self, field: Field) -> None:
        self.field = field
        self.taken = field.bare
        self.free_cells = field.free_cells
        self._spread: dict[tuple[int, int], int] = {}

    def copy(self) -> Board:
        """A board that can be changed without changing this one."""
        twin = Board(self.field)
        twin.taken, twin.free_cells = self.taken, self.free_cells
        return twin

    def _bit(self, spot: Spot) -> int:
        return (spot.y + 1) * self.field.stride + spot.x + 1

    def put(self, spot: Spot) -> None:
        """Take the cells of a piece."""
        self.taken |= spot.turned.for_stride(self.field.stride).cells << self._bit(spot)
        self._changed(-int(spot.turned.mask.sum()))

    def is_bare(self, spot: Spot) -> bool:
        """Whether none of the piece's cells is blocked on the empty board."""
        cells = spot.turned.for_stride(self.field.stride).cells << self._bit(spot)
        return not cells & self.field.bare

    def _changed(self, cells: int) -> None:
        self.free_cells += cells
        self._spread.clear()

    def _spread_by(self, width: int, height: int) -> int:
        """Where a rectangle with its lower left cell here would meet something."""
        key = (width, height)
        if key in self._spread:
            return self._spread[key]
        if height > 1:
            bits, count, stride = self._spread_by(width, 1), 1, self.field.stride
            while count < height:
                more = min(count, height - count)
                bits |= bits >> (more * stride)
                count += more
        elif width > 1:
            half = 1 << ((width - 1).bit_length() - 1)
            half_bits = self._spread_by(half, 1)
            bits = half_bits | half_bits >> (width - half)
        else:
            bits = self.taken
        self._spread[key] = bits
        return bits

    def _offset(self, rect: Rect) -> int:
        return rect[1] * self.field.stride + rect[0]

    def free_spots(self, turned: Turned) -> int:
        """Bits of every position where the part meets nothing (bit of its lower left cell)."""
        valid = self.field.valid(turned)
        if not valid:
            return 0
        core, *others = turned.rectangles
        free = valid & ~(self._spread_by(core[2], core[3]) >> self._offset(core))
        for start in range(0, len(others), AT_ONCE):
            if not free:
                return 0
            if free.bit_count() <= FEW:
                return self._one_by_one(free, turned)
            blocked = 0
            for rect in others[start : start + AT_ONCE]:
                blocked |= self._spread_by(rect[2], rect[3]) >> self._offset(rect)
            free &= ~blocked
        return free

    def _one_by_one(self, free: int, turned: Turned) -> int:
        cells = turned.for_stride(self.field.stride).cells
        kept = 0
        while free:
            low = free & -free
            if not (cells << (low.bit_length() - 1)) & self.taken:
                kept |= low
            free ^= low
        return kept

    def spot_at(self, turned: Turned, bit: int) -> Spot:
        """The position that a bit stands for."""
        return Spot(turned, bit % self.field.stride - 1, bit // self.field.stride - 1)

    def corners(self, free: int) -> int:
        """Of the free positions, those stopped both across and along.

        The others can be left out: a piece moved until it is stopped leaves no less room.
        """
        stride = self.field.stride
        across = free & ~((free << 1) & (free >> 1))
        return across & ~((free << stride) & (free >> stride))

    def touch(self, turned: Turned, bit: int) -> float:
        """Share 0..1 of the piece's rim that touches something when placed at ``bit``."""
        compiled = turned.for_stride(self.field.stride)
        seen = (self.taken >> (bit - self.field.stride - 1)) & compiled.rim
        return seen.bit_count() / compiled.rim_count

    def free_mask(self) -> Mask:
        """The free cells, without the border."""
        field = self.field
        return ~mask_of(self.taken, field.stride, field.rows + 2)[1:-1, 1:-1]

    def positions(self, free: int) -> npt.NDArray[np.intp]:
        """The bits that are set, lowest first."""
        raw = np.frombuffer(free.to_bytes((free.bit_length() + 7) // 8 or 1, "little"), np.uint8)
        some = np.flatnonzero(raw)  # few bytes have a bit set: only these are taken apart
        which, bit = np.nonzero(np.unpackbits(raw[some][:, None], axis=1, bitorder="little"))
        return np.asarray(some[which] * 8 + bit)
