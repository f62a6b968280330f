"""One piece onto one board: which of the free positions is taken."""

from __future__ import annotations

import random
from dataclasses import dataclass
from enum import Enum

import numpy as np

from decalprep.nesting.board import Board, Spot
from decalprep.nesting.shapes import Shape, Turned

MOST_CORNERS = 16
"""At most so many stopped positions are compared by touch; more change nothing measurable."""


class Habit(Enum):
    """What a good position is: low on the sheet, to the left, or touching much."""

    LOW = "low"
    LEFT = "left"
    TOUCH = "touch"


@dataclass(frozen=True)
class Found:
    """A position and what it costs; less is better, comparable within one habit."""

    cost: float
    spot: Spot


def _low(board: Board, turned: Turned, free: int) -> Found:
    bit = (free & -free).bit_length() - 1
    spot = board.spot_at(turned, bit)
    return Found((spot.y + turned.height) * 1000 + spot.x + turned.width, spot)


def _left(board: Board, turned: Turned, free: int) -> Found:
    bits = board.positions(board.corners(free))
    x, y = bits % board.field.stride, bits // board.field.stride
    at = int(np.argmin(x * 4096 + y))
    spot = board.spot_at(turned, int(bits[at]))
    return Found((spot.x + turned.width) * 1000 + spot.y + turned.height, spot)


def _touch(board: Board, turned: Turned, free: int) -> Found:
    bits = board.positions(board.corners(free))
    if len(bits) > MOST_CORNERS:
        bits = np.concatenate([bits[: MOST_CORNERS // 2], bits[-MOST_CORNERS // 2 :]])
    costs = [-board.touch(turned, int(bit)) for bit in bits]
    at = min(range(len(costs)), key=costs.__getitem__)
    spot = board.spot_at(turned, int(bits[at]))
    return Found(costs[at] + 1e-5 * (spot.y + turned.height), spot)


_WAYS = {Habit.LOW: _low, Habit.LEFT: _left, Habit.TOUCH: _touch}


def find_spot(
    board: Board, shape: Shape, habit: Habit, rng: random.Random | None = None
) -> Found | None:
    """The best position of a part on a board, or None; ``rng`` leaves out some angles at random."""
    if shape.area > board.free_cells:
        return None
    best: Found | None = None
    for turned in shape.turned:
        if best is not None and rng is not None and rng.random() < 0.15:
            continue
        free = board.free_spots(turned)
        if not free:
            continue
        found = _WAYS[habit](board, turned, free)
        if best is None or found.cost < best.cost:
            best = found
    return best
