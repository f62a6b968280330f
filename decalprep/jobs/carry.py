"""What sheets.pdf carries, so that it can be made again from the PDF alone, and taking it out.

Carried as attachments: the job file, the artworks and parts it names and what they link to, the
accepted layout, the printer and part records in force, and a list of all of it with the versions
that made it. Fonts are not carried.
"""

from __future__ import annotations

import hashlib
import importlib.metadata
import json
import platform
import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path, PurePosixPath, PureWindowsPath
from typing import TYPE_CHECKING, Any
from urllib.parse import unquote

import decalprep
from decalprep.errors import InputProblem, OutputProblem
from decalprep.jobs.lay import placement_file
from decalprep.jobs.spec import Job
from decalprep.model import Notice, PartRecord, PrinterRecord, Severity

if TYPE_CHECKING:
    from decalprep.jobs.make import MakeOptions

SCHEMA = "decalprep carried 1"
LIST_NAME = "decalprep-carried.json"
RECORDS = "records"
MOST_CARRIED_BYTES = 20_000_000
"""Artworks and parts together; those that do not fit are named and left out."""
MOST_PDF_BYTES = 500_000_000
LIBRARIES = ("pikepdf", "pypdfium2", "typst", "svglib", "reportlab", "shapely", "numpy")
_LINK = re.compile(
    rb"""(?:href|src)\s*=\s*["']([^"'#]+)["']|url\(\s*["']?([^"')#]+)|@import\s+["']([^"']+)["']"""
)
LINKING = {".svg", ".css"}


@dataclass(frozen=True)
class Carried:
    """The attachments (name, bytes) and what could not be carried."""

    attachments: tuple[tuple[str, bytes], ...] = ()
    notices: tuple[Notice, ...] = ()


def carried(
    job: Job,
    placements: bytes | None,
    records: Sequence[PrinterRecord | None],
    parts: Sequence[PartRecord | None],
    options: MakeOptions,
) -> Carried:
    """Everything that makes these sheets again; nothing where the run is private or prints
    single pieces again.

    ``placements`` is the text of the placement file.
    """
    if options.private or options.again or placements is None:
        return Carried()
    files, left_out = _job_files(job)
    texts = {job.source.name: job.text.encode(), placement_file(job).name: placements}
    kept = _record_files(records, parts, options.records)
    every = {**texts, **files, **kept}
    names = _attachment_names(every)
    listed = {
        "carried": SCHEMA,
        "version": decalprep.__version__,
        "versions": _versions(),
        "title": job["title"],
        "job": job.source.name,
        "printers": {spec.sheet.name: spec.printer for spec in job.sheets if spec.printer},
        "files": [
            {
                "path": path,
                "attached": names[path],
                "bytes": len(data),
                "sha256": hashlib.sha256(data).hexdigest(),
            }
            for path, data in every.items()
        ],
        "left_out": left_out,
    }
    text = json.dumps(listed, indent=1, ensure_ascii=False) + "\n"
    attachments = [(LIST_NAME, text.encode())]
    attachments += [(names[path], data) for path, data in every.items()]
    return Carried(tuple(attachments), _left_out_notice(left_out, job))


def _left_out_notice(left_out: Sequence[str], job: Job) -> tuple[Notice, ...]:
    if not left_out:
        return ()
    words = (
        f"sheets.pdf carries no {', '.join(left_out)}: over "
        f"{MOST_CARRIED_BYTES / 1e6:.0f} MB together; keep the folder to make the sheets again"
    )
    return (Notice("not-carried", words, job.source.name, Severity.NOTE),)


def _job_files(job: Job) -> tuple[dict[str, bytes], list[str]]:
    """Artworks and parts by path in the job's folder, smallest first, and those left out."""
    home = job.folder.resolve()
    paths = _with_links(job.files, home)
    sized = sorted((path.stat().st_size, key, path) for key, path in paths.items())
    found: dict[str, bytes] = {}
    left_out = []
    room = MOST_CARRIED_BYTES
    for size, key, path in sized:
        if size > room:
            left_out.append(key)
            continue
        room -= size
        found[key] = path.read_bytes()
    return dict(sorted(found.items())), left_out


def _with_links(files: Iterable[Path], home: Path) -> dict[str, Path]:
    """The files and what they link to inside the folder, by path in it, links of links too."""
    found: dict[str, Path] = {}
    waiting = list(files)
    while waiting:
        path = waiting.pop()
        whole = path.resolve()
        if not whole.is_relative_to(home) or not whole.is_file():
            continue
        key = Path(_lexical(path, home)).as_posix()
        if key in found:
            continue
        found[key] = whole
        if path.suffix.lower() in LINKING and whole.stat().st_size <= MOST_CARRIED_BYTES:
            for groups in _LINK.findall(whole.read_bytes()):
                target = unquote(next(g for g in groups if g).decode("utf-8", "replace")).strip()
                if target and ":" not in target and "\0" not in target:
                    waiting.append(path.parent / target)
    return found


def _lexical(path: Path, home: Path) -> Path:
    """The path in the folder as it is named, a link by its own name."""
    whole = path.parent.resolve() / path.name
    return (
        whole.relative_to(home) if whole.is_relative_to(home) else path.resolve().relative_to(home)
    )


def _record_files(
    records: Sequence[PrinterRecord | None], parts: Sequence[PartRecord | None], folder: Path
) -> dict[str, bytes]:
    """The records in force, as the files they are kept in, by path under ``RECORDS``."""
    from decalprep.records import printer_file
    from decalprep.records.parts import part_file

    paths = [printer_file(folder, r.printer, r.stock, r.tray, r.quality) for r in records if r]
    paths += [part_file(folder, p.part) for p in parts if p]
    found = {
        f"{RECORDS}/{path.relative_to(folder).as_posix()}": path.read_bytes()
        for path in dict.fromkeys(paths)
    }
    return dict(sorted(found.items()))


def _attachment_names(paths: Iterable[str]) -> dict[str, str]:
    """A flat name for each path, so that viewers that save attachments do so in one folder."""
    taken = {LIST_NAME}
    names = {}
    for path in paths:
        flat = path.replace("/", " - ")
        number = 2
        while flat.casefold() in taken:
            flat, number = f"{number} {path.replace('/', ' - ')}", number + 1
        taken.add(flat.casefold())
        names[path] = flat
    return names


def _versions() -> dict[str, str]:
    found = {"python": platform.python_version()}
    for name in LIBRARIES:
        try:
            found[name] = importlib.metadata.version(name)
        except importlib.metadata.PackageNotFoundError:
            continue
    return found


# ---------------------------------------------------------------- taking it out


@dataclass(frozen=True)
class Unpacked:
    """What a PDF carries: files by safe path, the job file's path, and what was left out of it.

    ``printers`` are the printer records it was made with, by kind of sheet.
    """

    files: Mapping[str, bytes]
    job: str
    left_out: tuple[str, ...]
    printers: Mapping[str, str]


def read_pdf_file(path: Path) -> bytes:
    """The bytes of a PDF file on disk.

    Raises:
        InputProblem: it is not there, cannot be read, or is larger than ``MOST_PDF_BYTES``.
    """
    try:
        if path.exists() and not path.is_file():
            raise InputProblem("is no plain file", where=str(path))
        if path.stat().st_size > MOST_PDF_BYTES:
            raise InputProblem(f"larger than {MOST_PDF_BYTES / 1e6:.0f} MB", where=str(path))
        return path.read_bytes()
    except OSError as problem:
        reason = problem.strerror or type(problem).__name__
        raise InputProblem(f"cannot be read ({reason})", where=str(path)) from None


def take_out(pdf: bytes, *, name: str) -> Unpacked:
    """What a sheets.pdf carries, every path and sum checked; nothing is written.

    Raises:
        InputProblem: it carries no job, or what it carries is damaged or would leave the folder.
        TooMuch: it carries more than the limits of ``export.attached``.
    """
    from decalprep.export.attached import read_attachments

    held = read_attachments(pdf, name=name)
    if LIST_NAME not in held:
        raise InputProblem(
            "it carries no job",
            where=name,
            do="only sheets.pdf as decalprep wrote it does, and not with --private",
        )
    try:
        listed: dict[str, Any] = json.loads(held[LIST_NAME])
        if listed["carried"] != SCHEMA:
            raise InputProblem(
                f"what it carries is of the kind {str(listed['carried'])[:60]!r}, this program "
                f"reads {SCHEMA!r}",
                where=name,
                do="use a newer decalprep",
            )
        files = _checked_files(listed["files"], held, name)
        job = str(listed["job"])
        left_out = tuple(str(path) for path in listed["left_out"])
        printers = {str(k): str(v) for k, v in listed["printers"].items()}
    except (ValueError, KeyError, TypeError, AttributeError, RecursionError) as problem:
        raise InputProblem("its list of carried files is damaged", where=name) from problem
    if job not in files:
        raise InputProblem("the job file is not among what it carries", where=name)
    return Unpacked(files, job, left_out, printers)


def _checked_files(listed: Any, held: Mapping[str, bytes], name: str) -> dict[str, bytes]:
    found: dict[str, bytes] = {}
    folded = set()
    for entry in listed:
        path, attached = str(entry["path"]), str(entry["attached"])
        if not _safe(path) or path.casefold() in folded:
            raise InputProblem(
                f"it carries a file named {path[:80]!r}, which cannot be written safely",
                where=name,
                do="do not trust this file",
            )
        folded.add(path.casefold())
        if attached not in held:
            raise InputProblem(f"{path} is listed but not carried", where=name)
        if hashlib.sha256(held[attached]).hexdigest() != entry["sha256"]:
            raise InputProblem(f"{path} was changed after it was packed", where=name)
        found[path] = held[attached]
    return found


def _safe(path: str) -> bool:
    """Whether a path stays in its folder, on any system, and names no hidden file.

    >>> _safe("art/engine.svg"), _safe("../engine.svg"), _safe("C:engine.svg"), _safe("a/.b")
    (True, False, False, False)
    """
    pure = PurePosixPath(path)
    parts = path.split("/")
    hidden = any(not part or part.startswith(".") for part in parts)
    odd = "\\" in path or any(ord(c) < 32 for c in path) or len(path) > 240
    return not (hidden or odd or pure.is_absolute() or PureWindowsPath(path).drive)


def write_out(unpacked: Unpacked, folder: Path, *, force: bool = False) -> tuple[Path, ...]:
    """Write what was taken out into a folder, all or nothing; the paths written.

    Raises:
        OutputProblem: a file is there already with other content and ``force`` is not said, a
            link leads out of the folder, or it cannot be written.
    """
    from decalprep.export import write_folder

    home = folder.resolve()
    other = []
    for path, data in unpacked.files.items():
        target = folder / path
        if not target.parent.resolve().is_relative_to(home):
            raise OutputProblem(
                f"{path} would be written through a link out of it", where=str(folder)
            )
        if target.is_symlink() or (target.exists() and not _holds(target, data)):
            other.append(path)
    if other and not force:
        more = f" and {len(other) - 1} more" if len(other) > 1 else ""
        raise OutputProblem(
            f"{other[0]}{more} is there already with other content",
            where=str(folder),
            do="choose an empty folder, or say --force to replace it",
        )
    return write_folder(folder, unpacked.files)


def _holds(path: Path, data: bytes) -> bool:
    try:
        return path.stat().st_size == len(data) and path.read_bytes() == data
    except OSError:
        return False
