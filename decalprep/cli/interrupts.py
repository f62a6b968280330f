"""Ctrl-C: while sheets are searched for, the first one ends only the search; else it ends the run.

Python drops a KeyboardInterrupt that reaches it in a callback of a library, such as one that frees
an object; so what was asked for is remembered, and the next step that is told raises it again.
"""

import contextlib
import os
import signal
from types import FrameType

ENDING = (
    b"\ndecalprep: the search ends; the run goes on with the best layout so far "
    b"(Ctrl-C once more\n  ends the run, nothing written)\n"
)


class Interrupts:
    """What Ctrl-C has asked for so far.

    ``searching`` says that a search is on, which the first Ctrl-C ends: ``search_over`` is its
    answer to the search, and stays true. ``asked`` says that the run is to end.
    """

    def __init__(self) -> None:
        self.searching = self.search_ended = self.asked = False

    def listen(self) -> None:
        """Hear Ctrl-C from now on, where it has its usual meaning."""
        if signal.getsignal(signal.SIGINT) is not signal.default_int_handler:
            return
        with contextlib.suppress(ValueError):  # only the main thread may listen
            signal.signal(signal.SIGINT, self._heed)

    def search_over(self) -> bool:
        """Whether the search is to end with the best so far."""
        return self.search_ended

    def stop_if_asked(self) -> None:
        """Raise the KeyboardInterrupt that was asked for earlier, if one was."""
        if self.asked:
            raise KeyboardInterrupt

    def _heed(self, number: int, frame: FrameType | None) -> None:
        if self.searching and not self.search_ended:
            self.search_ended = True
            with contextlib.suppress(OSError):
                os.write(2, ENDING)  # print may be at work when the signal comes
            return
        self.asked = True
        signal.default_int_handler(number, frame)


def end_tidily() -> None:
    """Take an end asked for from outside (kill, a closed terminal) as Ctrl-C: nothing stays behind.

    Else copies of artworks would stay in the folder for temporary files.
    """
    for name in ("SIGTERM", "SIGHUP"):
        number = getattr(signal, name, None)
        if number is not None and signal.getsignal(number) is signal.SIG_DFL:
            signal.signal(number, signal.default_int_handler)
