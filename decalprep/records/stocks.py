"""Part-used sheets: what is left of each, so that the next job starts where the last stopped."""

from collections.abc import Iterable
from dataclasses import asdict, replace
from pathlib import Path
from typing import Any

from decalprep.errors import InputProblem, OutputProblem
from decalprep.geometry import Box
from decalprep.model import DieCutGrid, Margins, Sheet, StockKind
from decalprep.records.fields import checked, refuse_unknown
from decalprep.records.folder import file_stem, locked, read_json, write_json

KIND = "decalprep part-used sheet"
VERSION = 1


def sheet_file(folder: Path, name: str) -> Path:
    """Where the record of a part-used sheet lies or would lie."""
    return folder / "sheets" / f"{file_stem(name)}.json"


def save_sheet(folder: Path, sheet: Sheet) -> Path:
    """Writes what is known of a sheet and returns its file.

    Raises:
        OutputProblem: it cannot be written.
    """
    with locked(folder):
        return _write(folder, sheet)


def load_sheet(folder: Path, name: str) -> Sheet:
    """A part-used sheet by name.

    Raises:
        InputProblem: missing, damaged, or with a value that cannot be.
    """
    return read_sheet(sheet_file(folder, name))


def read_sheet(path: Path) -> Sheet:
    """A part-used sheet from its file.

    Raises:
        InputProblem: missing, damaged, or with a value that cannot be.
    """
    data = read_json(path, KIND, VERSION)
    where = str(path)
    refuse_unknown(Sheet, data, where=where)
    values = checked(Sheet, data, where=where)
    try:
        return Sheet(**values, **_nested(data, where))
    except (TypeError, ValueError) as problem:
        raise InputProblem(f"is damaged ({problem})", where=where) from problem


def _nested(data: dict[str, Any], where: str) -> dict[str, Any]:
    grid, margins = data.get("grid"), data.get("margins")
    found: dict[str, Any] = {
        "stock": StockKind(data.get("stock", StockKind.PLAIN)),
        "gone": tuple(Box(*(float(v) for v in corners)) for corners in data.get("gone", [])),
        "gone_labels": tuple(int(n) for n in data.get("gone_labels", [])),
    }
    if margins is not None:
        found["margins"] = Margins(**checked(Margins, margins, where=where))
    if grid is not None:
        found["grid"] = DieCutGrid(**checked(DieCutGrid, grid, where=where))
    return found


def take_from_sheet(
    folder: Path, sheet: Sheet, *, areas: Iterable[Box] = (), labels: Iterable[int] = ()
) -> Sheet:
    """Marks areas (sheet mm) and labels as gone, under one lock, and returns what is left.

    Starts from the record where there is one, else from ``sheet``.

    Raises:
        OutputProblem: it cannot be written.
    """
    with locked(folder):
        path = sheet_file(folder, sheet.name)
        before = load_sheet(folder, sheet.name) if path.exists() else sheet
        gone_labels = tuple(sorted({*before.gone_labels, *labels}))
        gone = tuple(dict.fromkeys((*before.gone, *areas)))
        after = replace(before, gone=gone, gone_labels=gone_labels)
        _write(folder, after)
        return after


def list_sheets(folder: Path) -> dict[str, Path]:
    """The remembered sheets by name, and their files; a damaged file is listed by its own name."""
    found = {}
    for path in sorted((folder / "sheets").glob("*.json")):
        try:
            found[str(read_json(path, KIND, VERSION)["name"])] = path
        except (InputProblem, KeyError):
            found[path.stem] = path
    return found


def forget_sheet(folder: Path, name: str) -> Path:
    """Removes one remembered sheet and returns the file that was.

    Raises:
        InputProblem: there is none of that name.
        OutputProblem: it cannot be removed.
    """
    with locked(folder):
        path = list_sheets(folder).get(name)
        if path is None:
            known = ", ".join(repr(n) for n in list_sheets(folder)) or "none"
            raise InputProblem(
                f"no part-used sheet is remembered as {name!r}", do=f"known: {known}"
            )
        try:
            path.unlink()
        except OSError as problem:
            raise OutputProblem(
                f"cannot be removed ({problem.strerror})", where=str(path)
            ) from problem
        return path


def _write(folder: Path, sheet: Sheet) -> Path:
    data = {"kind": KIND, "version": VERSION, **asdict(sheet)}
    data["stock"] = sheet.stock.value
    data["gone"] = [[b.x0, b.y0, b.x1, b.y1] for b in sheet.gone]
    path = sheet_file(folder, sheet.name)
    write_json(path, data)
    return path
