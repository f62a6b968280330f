"""Text for the terminal: 80 columns, colour only where it is wanted, progress only on a screen."""

import os
import sys
import textwrap
from collections.abc import Iterable
from typing import TextIO

import click

from decalprep.cli.interrupts import Interrupts
from decalprep.model import Notice, Severity

WIDTH = 80
_COLOURS = {Severity.NOTE: "cyan", Severity.WARNING: "yellow", Severity.DANGER: "red"}


def wrapped(words: str, indent: str = "  ") -> str:
    """The words in lines of at most 80 columns; paths and numbers are not broken."""
    return textwrap.fill(
        words, WIDTH, subsequent_indent=indent, break_long_words=False, break_on_hyphens=False
    )


def colour_wanted(stream: TextIO) -> bool:
    """Whether to colour: a terminal, and NO_COLOR is not set."""
    return stream.isatty() and not os.environ.get("NO_COLOR") and os.environ.get("TERM") != "dumb"


def say(words: str = "") -> None:
    """Print to stdout."""
    click.echo(words, color=colour_wanted(sys.stdout))


def say_notices(notices: Iterable[Notice], *, notes: bool = True) -> None:
    """Print notices, one paragraph each, worst first, the same words only once."""
    order = [Severity.DANGER, Severity.WARNING, Severity.NOTE]
    seen: set[str] = set()
    for notice in sorted(notices, key=lambda n: order.index(n.severity)):
        if notice.severity is Severity.NOTE and not notes:
            continue
        head = f"{notice.severity.value}: "
        subject = f"{notice.subject}: " if notice.subject else ""
        words = wrapped(head + subject + notice.text)
        if words in seen:
            continue
        seen.add(words)
        label = click.style(head.rstrip(), fg=_COLOURS[notice.severity])
        say(label + words[len(head.rstrip()) :])


BAR = 20


class Progress:
    """One line on stderr that tells how far a long step is; silent when not on a terminal.

    ``steps`` is how many steps are to come; 0 where that is not known. Words that begin with
    "nesting:", one after another, tell of the same step; there Ctrl-C (``interrupts``) first ends
    only the search. Use as a context: the line is cleared at the end, also when interrupted.
    """

    def __init__(self, steps: int = 0, interrupts: Interrupts | None = None) -> None:
        self.steps = steps
        self.interrupts = interrupts or Interrupts()
        self.step = 0
        self.live = sys.stderr.isatty() and os.environ.get("TERM") != "dumb"
        self._head = ""

    def __enter__(self) -> "Progress":
        return self

    def __exit__(self, *_: object) -> None:
        self.done()

    def __call__(self, words: str) -> None:
        """Show the words in place of the ones before.

        Raises:
            KeyboardInterrupt: it was asked for before and got lost on its way.
        """
        self.interrupts.stop_if_asked()
        self.interrupts.searching = words.startswith("nesting:")
        head = words.partition(":")[0] if self.interrupts.searching else words
        if head != self._head:
            self._head = head
            self.step = min(self.step + 1, self.steps) if self.steps else self.step + 1
        if self.live:
            line = self.line(words)
            sys.stderr.write("\r" + line[: WIDTH - 1].ljust(WIDTH - 1))
            sys.stderr.flush()

    def line(self, words: str) -> str:
        """What is shown: a bar and the step's number where the number of steps is known."""
        if not self.steps:
            return words
        full = BAR * (self.step - 1) // self.steps
        return f"[{'#' * full:<{BAR}}] {self.step}/{self.steps} {words}"

    def done(self) -> None:
        """Clear the line."""
        if self.live and self._head:
            sys.stderr.write("\r" + " " * (WIDTH - 1) + "\r")
            sys.stderr.flush()
            self._head = ""
