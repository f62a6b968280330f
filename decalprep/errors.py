"""The error tree and the exit codes: one class a cause, the code on the class.

    DecalprepError                1   something else went wrong, told in one line
    +-- UsageProblem              2   a command or option used wrongly
    +-- InputProblem              3   an artwork, part or scan cannot be used
    |   +-- Unfaithful            3   it can be read, but not reproduced faithfully
    |   +-- NoSize                3   nothing says how large it is
    |   +-- TooMuch               3   beyond a stated limit (size, depth, time, memory)
    +-- JobProblem                4   the job file is wrong (all its faults at once)
    +-- DoesNotFit                5   the decals cannot be laid on the sheets
    +-- ProofFailed               6   the exported file does not measure true
    +-- ReadingsRefused           7   readings or scans that cannot be believed, or say too little
    +-- OutputProblem             8   the result cannot be written
    +-- MissingHelper             9   a library or program that this needs is not installed

0 is success and 130 is interrupted (Ctrl-C). Only the command line prints and exits. ``measure``
and ``compare`` tell their findings and end with 6 where the print is off by more than the job
allows, ``measure`` with 7 where the scans cannot tell.
"""

from collections.abc import Iterable
from enum import IntEnum


class ExitCode(IntEnum):
    """What the process returns; listed in the README."""

    OK = 0
    OTHER = 1
    USAGE = 2
    INPUT = 3
    JOB = 4
    FIT = 5
    PROOF = 6
    READINGS = 7
    OUTPUT = 8
    HELPER = 9
    INTERRUPTED = 130


_CONTROLS = dict.fromkeys((*range(32), *range(127, 160), 8232, 8233), " ")


def _one_line(words: str) -> str:
    """Words that may quote a file, without line ends and other controls of its own."""
    return words if words.isprintable() else " ".join(words.translate(_CONTROLS).split())


class DecalprepError(Exception):
    """What was found, where, and what to do; printed as one line ``where: found; do``.

    >>> str(DecalprepError("no size is stated", where="bow.svg", do='add width = "80 mm"'))
    'bow.svg: no size is stated; add width = "80 mm"'
    """

    exit_code = ExitCode.OTHER

    def __init__(self, found: str, *, where: str = "", do: str = "") -> None:
        super().__init__(found, where, do)
        self.found, self.where, self.do = (_one_line(words) for words in (found, where, do))

    def __reduce__(self) -> tuple[object, ...]:
        """How it passes from one process to another."""
        return _as_it_was, (type(self), self.args, self.__dict__)

    def __str__(self) -> str:
        head = f"{self.where}: {self.found}" if self.where else self.found
        return f"{head}; {self.do}" if self.do else head


def _as_it_was(
    kind: type[DecalprepError], args: tuple[object, ...], state: dict[str, object]
) -> DecalprepError:
    """An error made again from its parts."""
    error = kind.__new__(kind, *args)
    error.__dict__.update(state)
    return error


MOST_NAMES = 10
"""So many names are listed in a message."""


def near_first(wanted: str, names: Iterable[str]) -> str:
    """The names there are in one line, those most like the wanted one first; "none" without any.

    >>> near_first("ctu", ["holes", "guides", "cut"])
    "'cut', 'guides', 'holes'"
    """

    import difflib

    def unlike(name: str) -> tuple[float, str]:
        alike = difflib.SequenceMatcher(None, wanted.casefold(), name.casefold()).ratio()
        return -alike, name

    ordered = sorted(dict.fromkeys(names), key=unlike)
    more = len(ordered) - MOST_NAMES
    shown = ", ".join(repr(name) for name in ordered[:MOST_NAMES])
    return (shown + (f" and {more} more" if more > 0 else "")) or "none"


def did_you_mean(wanted: str, names: Iterable[str]) -> str:
    """A question with the names most like the wanted one, "" where none is like it.

    >>> did_you_mean("hlem.svg", ["winch.svg", "helm.svg", "notes.txt"])
    "did you mean 'helm.svg'?"
    >>> did_you_mean("bell.svg", ["map.pdf"])
    ''
    """
    import difflib

    spelt = {name.casefold(): name for name in sorted(names, reverse=True)}
    near = difflib.get_close_matches(wanted.casefold(), sorted(spelt), n=2, cutoff=0.7)
    return f"did you mean {' or '.join(repr(spelt[n]) for n in near)}?" if near else ""


class UsageProblem(DecalprepError):
    """A command, option or typed value used wrongly."""

    exit_code = ExitCode.USAGE


class InputProblem(DecalprepError):
    """An artwork, part or scan file cannot be used."""

    exit_code = ExitCode.INPUT


class Unfaithful(InputProblem):
    """The input can be read but not reproduced faithfully; the feature is named."""


class NoSize(InputProblem):
    """Nothing says how large the artwork is."""


class TooMuch(InputProblem):
    """The input is beyond a stated limit of size, depth, time or memory."""


class JobProblem(DecalprepError):
    """The job file is wrong; ``faults`` holds every fault as one line each."""

    exit_code = ExitCode.JOB

    def __init__(self, faults: list[str]) -> None:
        super().__init__("")
        self.args = (faults,)
        self.faults = [_one_line(fault) for fault in faults]
        self.found = "\n".join(self.faults)


class DoesNotFit(DecalprepError):
    """The decals cannot be laid on the sheets."""

    exit_code = ExitCode.FIT


class ProofFailed(DecalprepError):
    """The exported file does not measure true."""

    exit_code = ExitCode.PROOF


class ReadingsRefused(DecalprepError):
    """Readings or scans of a printer or a part that cannot be believed, or say too little."""

    exit_code = ExitCode.READINGS


class OutputProblem(DecalprepError):
    """The result cannot be written."""

    exit_code = ExitCode.OUTPUT


class MissingHelper(DecalprepError):
    """A library or program that this step needs is not installed."""

    exit_code = ExitCode.HELPER
