"""Part records: what the caliper said of one real part, one file each."""

from dataclasses import asdict
from pathlib import Path

from decalprep.errors import InputProblem
from decalprep.model import PartRecord
from decalprep.records.fields import checked, refuse_unknown
from decalprep.records.folder import file_stem, locked, read_json, write_json

KIND = "decalprep part record"
VERSION = 1


def part_file(folder: Path, part: str) -> Path:
    """Where the record of a part lies or would lie."""
    return folder / "parts" / f"{file_stem(part)}.json"


def save_part(folder: Path, record: PartRecord) -> Path:
    """Writes a part record and returns its file.

    Raises:
        OutputProblem: it cannot be written.
    """
    path = part_file(folder, record.part)
    data = {"kind": KIND, "version": VERSION, **asdict(record)}
    data["readings"] = [list(r) for r in record.readings]
    with locked(folder):
        write_json(path, data)
    return path


def load_part(folder: Path, part: str) -> PartRecord:
    """The record of a part.

    Raises:
        InputProblem: missing, damaged, or with a value that cannot be.
    """
    return _load(part_file(folder, part))


def list_parts(folder: Path) -> tuple[PartRecord, ...]:
    """All part records in a folder, by name."""
    found = [_load(p) for p in (folder / "parts").glob("*.json")]
    return tuple(sorted(found, key=lambda r: r.part))


def _load(path: Path) -> PartRecord:
    data = read_json(path, KIND, VERSION)
    where = str(path)
    refuse_unknown(PartRecord, data, where=where)
    values = checked(PartRecord, data, where=where)
    if not values.get("part"):
        raise InputProblem("part is missing", where=where)
    readings = data.get("readings", [])
    try:
        rows = tuple((str(label), float(a), float(b)) for label, a, b in readings)
    except (TypeError, ValueError):
        raise InputProblem("readings are not name, model mm, measured mm", where=where) from None
    return PartRecord(**values, readings=rows)
