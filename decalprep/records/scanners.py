"""Scanner records: what a pair of calibration scans said of one scanner, one file each."""

from dataclasses import asdict
from pathlib import Path

from decalprep.errors import InputProblem, UsageProblem
from decalprep.model import ScannerRecord
from decalprep.records.fields import checked, refuse_unknown
from decalprep.records.folder import file_stem, locked, read_json, write_json

KIND = "decalprep scanner record"
VERSION = 1
_LARGEST = 0.05


def scanner_file(folder: Path, scanner: str, dpi: float) -> Path:
    """Where the record of a scanner at one resolution lies or would lie."""
    return folder / "scanners" / f"{file_stem(scanner, f'{dpi:.0f}')}.json"


def save_scanner(folder: Path, record: ScannerRecord) -> Path:
    """Writes a scanner record and returns its file.

    Raises:
        OutputProblem: it cannot be written.
    """
    path = scanner_file(folder, record.scanner, record.dpi)
    with locked(folder):
        write_json(path, {"kind": KIND, "version": VERSION, **asdict(record)})
    return path


def list_scanners(folder: Path) -> tuple[ScannerRecord, ...]:
    """All scanner records in a folder, by name and resolution.

    Raises:
        InputProblem: one of them is damaged.
    """
    found = [_load(p) for p in (folder / "scanners").glob("*.json")]
    return tuple(sorted(found, key=lambda r: (r.scanner, r.dpi)))


def find_scanners(folder: Path, scanner: str) -> tuple[ScannerRecord, ...]:
    """The records of one scanner, by resolution; upper and lower case count the same.

    Raises:
        UsageProblem: there is none of that name.
    """
    records = list_scanners(folder)
    fits = tuple(r for r in records if r.scanner.casefold() == scanner.strip().casefold())
    if not fits:
        known = ", ".join(sorted({r.scanner for r in records})) or "none yet"
        raise UsageProblem(
            f"there is no record of a scanner {scanner!r} (there are: {known})",
            do="scan a calibration page with 'decalprep calibrate scan --scanner NAME'",
        )
    return fits


def _load(path: Path) -> ScannerRecord:
    data = read_json(path, KIND, VERSION)
    where = str(path)
    refuse_unknown(ScannerRecord, data, where=where)
    values = checked(ScannerRecord, data, where=where)
    for name in ("scanner", "dpi", "px_per_mm", "u"):
        if not values.get(name):
            raise InputProblem(f"{name} is missing", where=where)
    if min(values["dpi"], values["px_per_mm"], values["u"]) <= 0:
        raise InputProblem("holds a number that is not above 0", where=where)
    if max(abs(values.get(name, 0.0)) for name in ("anisotropy", "shear")) > _LARGEST:
        raise InputProblem("holds an error that no scanner has", where=where)
    return ScannerRecord(**values)
