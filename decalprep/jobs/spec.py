"""A job as read from its file: plain values, lengths in mm."""

from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from decalprep.model import Sheet


@dataclass(frozen=True)
class Values:
    """The values of one table by key, defaults filled in; ``line`` is where the table starts."""

    table: str
    line: int
    values: dict[str, Any]
    given: frozenset[str] = frozenset()

    def __getitem__(self, key: str) -> Any:
        return self.values[key]


@dataclass(frozen=True)
class PanelSpec:
    """One panel as asked for."""

    name: str
    keys: Values
    holes: tuple[Values, ...] = ()

    def __getitem__(self, key: str) -> Any:
        return self.keys[key]


@dataclass(frozen=True)
class SheetSpec:
    """One kind of sheet as asked for, and the printer record that corrects it.

    With ``use_leftovers`` a remembered part-used sheet is taken first; ``leftover`` is its name
    once one was found. ``transmittance`` is the share of light that the stock passes, if stated.
    """

    sheet: Sheet
    printer: str = ""
    margin_given: bool = False
    printing: str = "inkjet"
    use_leftovers: bool = False
    leftover: str = ""
    transmittance: float | None = None
    block_out: bool = False


@dataclass(frozen=True)
class Job:
    """A whole job; ``folder`` is where its files lie, ``text`` the job file word for word.

    ``other_printer``: the sheets' printer was named beside the file, by ``--printer``.
    """

    folder: Path
    source: Path
    text: str
    settings: Values
    sheets: tuple[SheetSpec, ...]
    panels: tuple[PanelSpec, ...]
    files: tuple[Path, ...] = field(default=())
    other_printer: bool = False

    def __getitem__(self, key: str) -> Any:
        return self.settings[key]
