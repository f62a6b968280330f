"""What a search carries along: the pieces, the best nest so far, and how to stop."""

from __future__ import annotations

from collections.abc import Callable, Sequence

from decalprep.nesting.layout import NestSettings
from decalprep.nesting.objective import score
from decalprep.nesting.regions import Kind
from decalprep.nesting.state import Nest, Piece, Stopped

Progress = Callable[[int, int, int], None]
Cancel = Callable[[], bool]


class Search:
    """The best nest so far, with progress and stopping."""

    def __init__(
        self,
        pieces: Sequence[Piece],
        kinds: Sequence[Kind],
        settings: NestSettings,
        bound: int,
        on_progress: Progress | None,
        cancel: Cancel | None,
    ) -> None:
        self.pieces, self.kinds, self.settings, self.bound = pieces, kinds, settings, bound
        self.on_progress, self.cancel = on_progress, cancel
        self.best: Nest | None = None
        self.closest: Nest | None = None
        self.passes = 0

    def poll(self) -> None:
        """Raise Stopped when the caller asks for it."""
        if self.cancel is not None and self.cancel():
            raise Stopped

    def offer(self, nest: Nest) -> None:
        """Keep a nest if it is the best so far."""
        if self.best is None or score(nest, self.settings) < score(self.best, self.settings):
            self.best = nest

    def tick(self) -> None:
        """Count one pass and tell it."""
        self.passes += 1
        if self.on_progress is not None and self.best is not None:
            self.on_progress(len(self.best.used), self.bound, self.passes)

    @property
    def proved(self) -> bool:
        """Whether no nest can have fewer sheets."""
        best = self.best
        return best is not None and not best.pool and len(best.used) <= self.bound
