"""Where records live, and how a file is written so that nothing is lost."""

import contextlib
import hashlib
import json
import os
import re
import tempfile
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any

from decalprep.errors import InputProblem, OutputProblem

HOME_VARIABLE = "DECALPREP_HOME"
_LOCK_NAME = ".lock"
_WAIT_S = 10.0


def records_folder(given: Path | None = None) -> Path:
    """The folder of records: the one given, else ``$DECALPREP_HOME``, else the user's own.

    Does not create it.
    """
    if given is not None:
        return given
    named = os.environ.get(HOME_VARIABLE)
    if named:
        return Path(named)
    from platformdirs import user_config_path  # only where nothing else says where

    return user_config_path("decalprep", appauthor=False)


def file_stem(*parts: str) -> str:
    """A file name from free words: readable, safe everywhere, and different for different words.

    >>> file_stem("Office inkjet", "Label / A4")
    'office-inkjet--label-a4--181593'
    """
    readable = "--".join(re.sub(r"[^a-z0-9]+", "-", p.lower()).strip("-")[:40] for p in parts if p)
    # The short digest keeps "A/B" and "A B" apart, and names of other scripts.
    digest = hashlib.sha256("\n".join(parts).encode()).hexdigest()[:6]
    return f"{readable}--{digest}" if readable else digest


@contextlib.contextmanager
def locked(folder: Path) -> Iterator[None]:
    """Holds the folder for one writer; waits up to 10 s for another. The lock dies with its run.

    Raises:
        OutputProblem: the folder cannot be made, or another run keeps it.
    """
    try:
        folder.mkdir(parents=True, exist_ok=True)
        handle = (folder / _LOCK_NAME).open("a+b")
    except OSError as problem:
        raise OutputProblem(
            f"cannot use this folder for records ({problem.strerror})",
            where=str(folder),
            do=f"choose another with {HOME_VARIABLE}",
        ) from problem
    with handle:
        end = time.monotonic() + _WAIT_S
        while not _try_lock(handle.fileno()):
            if time.monotonic() > end:
                raise OutputProblem(
                    "another run is writing the records", where=str(folder), do="try again"
                )
            time.sleep(0.02)
        try:
            yield
        finally:
            _unlock(handle.fileno())


if os.name == "nt":  # pragma: no cover - the other system
    import msvcrt

    def _try_lock(handle: int) -> bool:
        try:
            os.lseek(handle, 0, os.SEEK_SET)
            msvcrt.locking(handle, msvcrt.LK_NBLCK, 1)  # type: ignore[attr-defined,unused-ignore]
        except OSError:
            return False
        return True

    def _unlock(handle: int) -> None:
        os.lseek(handle, 0, os.SEEK_SET)
        msvcrt.locking(handle, msvcrt.LK_UNLCK, 1)  # type: ignore[attr-defined,unused-ignore]

else:
    import fcntl

    def _try_lock(handle: int) -> bool:
        try:
            fcntl.flock(handle, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except OSError:
            return False
        return True

    def _unlock(handle: int) -> None:
        fcntl.flock(handle, fcntl.LOCK_UN)


def write_json(path: Path, data: dict[str, Any]) -> None:
    """Writes a file whole: under a temporary name in the same folder, flushed, then moved over.

    Raises:
        OutputProblem: it cannot be written; an earlier file stays as it was.
    """
    text = json.dumps(data, indent=2, ensure_ascii=False, allow_nan=False) + "\n"
    temporary = None
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        with tempfile.NamedTemporaryFile(
            "w", encoding="utf-8", dir=path.parent, prefix=".new-", delete=False
        ) as handle:
            temporary = Path(handle.name)
            handle.write(text)
            handle.flush()
            os.fsync(handle.fileno())
        temporary.replace(path)
    except OSError as problem:
        if temporary is not None:
            temporary.unlink(missing_ok=True)
        raise OutputProblem(
            f"cannot be written ({problem.strerror})",
            where=str(path),
            do="check the folder and the room on the disk",
        ) from problem


def read_json(path: Path, kind: str, version: int) -> dict[str, Any]:
    """The contents of a record file of one kind.

    Raises:
        InputProblem: missing, damaged, of another kind, or written by a later version.
    """
    try:
        data = json.loads(path.read_text(encoding="utf-8"))
    except FileNotFoundError:
        raise InputProblem("there is no such record", where=str(path)) from None
    except OSError as problem:
        raise InputProblem(f"cannot be read ({problem.strerror})", where=str(path)) from problem
    except (ValueError, RecursionError) as problem:
        raise InputProblem(
            f"is damaged ({problem})", where=str(path), do="restore it from an export, or delete it"
        ) from problem
    if not isinstance(data, dict) or data.get("kind") != kind:
        raise InputProblem(f"is not a {kind}", where=str(path))
    if data.get("version") != version:
        raise InputProblem(
            f"is written in version {data.get('version')!r}, this program reads {version}",
            where=str(path),
            do="use the program that wrote it, or a newer one",
        )
    return data
