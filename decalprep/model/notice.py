"""Warnings as data."""

from dataclasses import dataclass
from enum import StrEnum

from decalprep.geometry import Box


class Severity(StrEnum):
    """How much a notice matters: told, look at it, or likely wrong on the part."""

    NOTE = "note"
    WARNING = "warning"
    DANGER = "danger"


@dataclass(frozen=True)
class Notice:
    """One thing the maker should know.

    ``code`` is a stable short name in kebab case, ``subject`` the decal, file or sheet it is about,
    ``box_mm`` the place in the subject's own mm where there is one, ``numbers`` named values
    with the unit in the name.
    """

    code: str
    text: str
    subject: str = ""
    severity: Severity = Severity.WARNING
    box_mm: Box | None = None
    numbers: tuple[tuple[str, float], ...] = ()
