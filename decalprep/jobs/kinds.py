"""Kinds of values in a job file: each turns what TOML gave into a value, or says what is wrong."""

from collections.abc import Callable
from pathlib import PurePosixPath, PureWindowsPath
from typing import Any

from decalprep.errors import UsageProblem
from decalprep.units import PAGE_SIZES_MM, page_size_mm, parse_length_mm

MOST_COPIES = 1000
MOST = 1_000_000
MOST_SIDE_MM = 5080.0
"""The longest side in mm that a PDF page may have without a user unit (ISO 32000-1, Annex C)."""


class Fault(Exception):
    """What is wrong with one value, as a clause."""


def text(value: Any) -> str:
    """A line of text that is not empty."""
    if not isinstance(value, str) or not value.strip():
        raise Fault("needs a text in quotes")
    if any(ord(c) < 32 for c in value):
        raise Fault("must be one line without control characters (write paths with /, not \\)")
    return value.strip()


def name(value: Any) -> str:
    """A text that can also be part of a file name."""
    word = text(value)
    if len(word) > 80 or any(c in '<>:"/\\|?*' for c in word) or word.strip(". ") != word:
        raise Fault('needs a name of at most 80 characters without < > : " / \\ | ? *')
    reserved = {"con", "prn", "aux", "nul"} | {f"{a}{n}" for a in ("com", "lpt") for n in range(10)}
    if word.split(".")[0].lower() in reserved:
        raise Fault("is a reserved name on some systems; choose another")
    return word


def file(value: Any) -> str:
    """A path relative to the job file, without a way out of its folder."""
    path = text(value)
    pure = PurePosixPath(path.replace("\\", "/"))
    if pure.is_absolute() or PureWindowsPath(path).drive or ".." in pure.parts:
        raise Fault("must be a path inside the job file's folder (copy the file there)")
    return pure.as_posix()


def flag(value: Any) -> bool:
    """True or false."""
    if not isinstance(value, bool):
        raise Fault("needs true or false (without quotes)")
    return value


def number(value: Any) -> float:
    """A finite number above zero and up to ``MOST``."""
    if isinstance(value, bool) or not isinstance(value, int | float):
        raise Fault("needs a number (without quotes)")
    if not 0 < value <= MOST:
        raise Fault(f"must be a finite number above zero, {MOST:,} at most")
    return float(value)


def coordinate(value: Any) -> float:
    """A finite number of a size that a page can have."""
    if isinstance(value, bool) or not isinstance(value, int | float):
        raise Fault("needs numbers (without quotes)")
    if not -MOST <= value <= MOST:
        raise Fault("must be finite numbers below a million")
    return float(value)


def share(value: Any) -> float:
    """A number between 0 and 1, both left out."""
    part = number(value)
    if part >= 1:
        raise Fault("must be between 0 and 1")
    return part


def turn_step(value: Any) -> float:
    """A number of degrees, 1 or more, that makes a whole turn."""
    step = number(value)
    if not 1 <= step <= 180 or abs(360 / step - round(360 / step)) > 1e-9:
        raise Fault("must be 1 to 180 degrees that divide 360, such as 15, 30 or 45")
    return step


def count(value: Any) -> int:
    """A whole number from 1 to ``MOST_COPIES``."""
    if isinstance(value, bool) or not isinstance(value, int):
        raise Fault("needs a whole number (without quotes)")
    if not 1 <= value <= MOST_COPIES:
        raise Fault(f"must be from 1 to {MOST_COPIES}")
    return value


def tone(value: Any) -> int:
    """A grey level from 128 to 255."""
    if isinstance(value, bool) or not isinstance(value, int) or not 128 <= value <= 255:
        raise Fault("needs a whole number from 128 to 255")
    return value


def length(value: Any) -> float:
    """Any length in mm, typed with its unit."""
    if not isinstance(value, str):
        raise Fault(f'needs a length in quotes with its unit, as in "{value} mm"')
    try:
        length_mm = parse_length_mm(value)
    except UsageProblem as problem:
        raise Fault(f"{problem.found.removeprefix('length ')}; {problem.do}") from None
    if abs(length_mm) > MOST_SIDE_MM:
        raise Fault(f"is beyond {MOST_SIDE_MM:.0f} mm")
    return length_mm


def size(value: Any) -> float:
    """A length in mm above zero."""
    length_mm = length(value)
    if length_mm <= 0:
        raise Fault("must be above zero")
    return length_mm


def distance(value: Any) -> float:
    """A length in mm that is not negative."""
    length_mm = length(value)
    if length_mm < 0:
        raise Fault("must not be negative")
    return length_mm


def page(value: Any) -> tuple[float, float]:
    """A page size by name, or as "210 x 297 mm": (width, height) in mm."""
    words = text(value)
    wide, cross, high = words.lower().partition("x")
    if cross and any(c.isdigit() for c in words):
        unit = high.strip().lstrip("0123456789., ")
        return size(wide if wide.strip()[-1:].isalpha() else f"{wide} {unit}"), size(high)
    try:
        return page_size_mm(words)
    except UsageProblem:
        known = ", ".join(PAGE_SIZES_MM)
        raise Fault(f'is not a known page size; use {known} or "210 x 297 mm"') from None


def one_of(*choices: str) -> Callable[[Any], str]:
    """One of the given words."""

    def read(value: Any) -> str:
        if value not in choices:
            raise Fault("must be one of " + ", ".join(f'"{c}"' for c in choices))
        return str(value)

    return read


def many(kind: Callable[[Any], Any]) -> Callable[[Any], tuple[Any, ...]]:
    """A list of values of one kind."""

    def read(value: Any) -> tuple[Any, ...]:
        if not isinstance(value, list):
            raise Fault("needs a list in square brackets")
        return tuple(kind(v) for v in value)

    return read


def exactly(how_many: int, kind: Callable[[Any], Any]) -> Callable[[Any], tuple[Any, ...]]:
    """A list of just so many values of one kind."""

    def read(value: Any) -> tuple[Any, ...]:
        values = many(kind)(value)
        if len(values) != how_many:
            raise Fault(f"needs {how_many} values in square brackets")
        return values

    return read
