"""Dates as text, 2026-05-31, and the days between them; no clock."""

import re

import numpy as np

from decalprep.errors import UsageProblem

_DATE = re.compile(r"\d{4}-\d{2}-\d{2}")


def days_between(before: str, after: str) -> int:
    """Days from one date to another, negative where ``after`` comes first.

    Raises:
        UsageProblem: not a date in the form 2026-05-31.

    >>> days_between("2024-02-28", "2024-03-01")
    2
    """
    days = []
    for text in (before, after):
        try:
            if _DATE.fullmatch(text) is None:
                raise ValueError
            days.append(np.datetime64(text, "D"))
        except ValueError:
            raise UsageProblem(f"{text!r} is not a date", do="write it as 2026-05-31") from None
    return int((days[1] - days[0]).astype(int))
