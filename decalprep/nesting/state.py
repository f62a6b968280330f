"""Sheets with pieces on them while the search runs."""

from __future__ import annotations

import random
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, field

from decalprep.nesting.board import Spot
from decalprep.nesting.placing import Habit, find_spot
from decalprep.nesting.regions import Kind
from decalprep.nesting.shapes import Shape


@dataclass(frozen=True, eq=False)
class Piece:
    """One copy of one part; ``area`` in cells."""

    key: str
    copy: int
    panel: str
    shape: Shape

    @property
    def area(self) -> int:
        """Cells taken."""
        return self.shape.area


class Stopped(Exception):
    """The caller asked to stop; what was found so far is kept."""


Poll = Callable[[], None]


def never() -> None:
    """The poll of a search that nobody stops."""


class OpenSheet:
    """A sheet in use: a board a region, and where each piece lies.

    ``locked`` sheets carry pieces of an earlier layout in their boards and are never given back.
    """

    def __init__(self, kind: Kind, locked: bool = False, closed: bool = False) -> None:
        self.kind = kind
        self.locked = locked
        self.closed = closed
        self.boards = [region.board() for region in kind.regions]
        self.where: dict[Piece, tuple[int, Spot]] = {}
        self._failed: set[Shape] = set()

    @property
    def taken(self) -> int:
        """Cells taken by pieces."""
        return sum(piece.area for piece in self.where)

    def copy(self) -> OpenSheet:
        """A sheet that can be changed without changing this one."""
        twin = OpenSheet.__new__(OpenSheet)
        twin.kind, twin.locked, twin.closed = self.kind, self.locked, self.closed
        twin.boards = [board.copy() for board in self.boards]
        twin.where = dict(self.where)
        twin._failed = set(self._failed)
        return twin

    def add(self, piece: Piece, habit: Habit, rng: random.Random | None = None) -> bool:
        """Lay a piece on this sheet; False where there is no room."""
        if self.closed or piece.shape in self._failed:
            return False
        for index, board in enumerate(self.boards):
            found = find_spot(board, piece.shape, habit, rng)
            if found is not None:
                board.put(found.spot)
                self.where[piece] = (index, found.spot)
                return True
        self._failed.add(piece.shape)
        return False

    def put(self, piece: Piece, index: int, spot: Spot) -> None:
        """Lay a piece at a known place."""
        self.boards[index].put(spot)
        self.where[piece] = (index, spot)

    def emptied(self) -> OpenSheet:
        """The same sheet without its pieces (locked ones stay, they are part of the boards)."""
        return OpenSheet(self.kind, self.locked, self.closed)

    def without(self, pieces: Iterable[Piece]) -> OpenSheet:
        """The same sheet, its other pieces where they lie."""
        lifted, twin = set(pieces), self.emptied()
        for piece, (index, spot) in self.where.items():
            if piece not in lifted:
                twin.put(piece, index, spot)
        return twin


@dataclass
class Nest:
    """Open sheets, and pieces that lie nowhere."""

    sheets: list[OpenSheet] = field(default_factory=list)
    pool: list[Piece] = field(default_factory=list)

    def copy(self) -> Nest:
        """A nest that can be changed without changing this one; sheets are copied too."""
        return Nest([sheet.copy() for sheet in self.sheets], list(self.pool))

    @property
    def used(self) -> list[OpenSheet]:
        """Sheets that carry something."""
        return [sheet for sheet in self.sheets if sheet.where or sheet.locked]


def left_of(kinds: Sequence[Kind], sheets: Iterable[OpenSheet]) -> dict[Kind, int | None]:
    """How many sheets of each kind may still be opened."""
    counts: dict[Kind, int] = {}
    for sheet in sheets:
        counts[sheet.kind] = counts.get(sheet.kind, 0) + 1
    return {k: None if k.available is None else k.available - counts.get(k, 0) for k in kinds}


def _open_for(piece: Piece, nest: Nest, kinds: Sequence[Kind], habit: Habit) -> bool:
    left = left_of(kinds, nest.sheets)
    for kind in kinds:
        if left[kind] == 0:
            continue
        sheet = OpenSheet(kind)
        if sheet.add(piece, habit):
            nest.sheets.append(sheet)
            return True
    return False


def fill(
    nest: Nest,
    pieces: Sequence[Piece],
    kinds: Sequence[Kind],
    habit: Habit,
    *,
    rng: random.Random | None = None,
    poll: Poll = never,
) -> None:
    """Lay pieces in the given order on the first sheet with room, opening sheets as needed.

    On a stop the pieces not yet laid go to the pool, then ``Stopped`` is passed on.
    """
    for number, piece in enumerate(pieces):
        try:
            poll()
        except Stopped:
            nest.pool.extend(pieces[number:])
            raise
        if any(sheet.add(piece, habit, rng) for sheet in nest.sheets):
            continue
        if not _open_for(piece, nest, kinds, habit):
            nest.pool.append(piece)
