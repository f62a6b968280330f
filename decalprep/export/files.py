"""Files that are whole or not there: written under a temporary name, then moved into place."""

from __future__ import annotations

import contextlib
import json
import os
import shutil
import tempfile
from collections.abc import Callable, Iterator, Mapping, Sequence
from pathlib import Path

from decalprep.errors import OutputProblem

STAGE = ".stage-"
JOURNAL = "journal"
AT_A_TIME = 8
# what Windows forbids in file names, from memory of its documentation
FORBIDDEN = '<>:"|?*'
DEVICES = {"CON", "PRN", "AUX", "NUL", *(f"{d}{n}" for d in ("COM", "LPT") for n in range(1, 10))}


def _refused(path: Path, error: OSError) -> OutputProblem:
    reason = error.strerror or type(error).__name__
    return OutputProblem(
        f"cannot be written ({reason})",
        where=str(path),
        do="check that the folder exists, can be written to and has room",
    )


def _sync_folder(folder: Path) -> None:
    """Make the folder's entries durable, where the system lets a folder be opened."""
    if os.name != "posix":
        return
    with contextlib.suppress(OSError):
        handle = os.open(folder, os.O_RDONLY)
        try:
            os.fsync(handle)
        finally:
            os.close(handle)


def _at_once(step: Callable[[Path], None], paths: Sequence[Path]) -> None:
    """Do a step with each file, several at a time: the disk then takes many in one go."""
    from concurrent.futures import ThreadPoolExecutor

    with ThreadPoolExecutor(AT_A_TIME) as pool:
        for _ in pool.map(step, paths):
            pass


def _sync_file(path: Path) -> None:
    handle = os.open(path, os.O_RDWR)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)


def _unlink(path: Path) -> None:
    with contextlib.suppress(OSError):
        os.unlink(path)


def _clear(stage: Path) -> None:
    """Remove a stage; its journal first, so that one cleared in part puts nothing back."""
    _unlink(stage / JOURNAL)
    with contextlib.suppress(OSError):
        _at_once(_unlink, [p for p in stage.rglob("*") if not p.is_dir()])
    shutil.rmtree(stage, ignore_errors=True)


def _mode_for(path: Path) -> int:
    """The mode of the file that is replaced, or what a new file gets."""
    with contextlib.suppress(OSError):
        return path.stat().st_mode & 0o777
    mask = os.umask(0)
    os.umask(mask)
    return 0o666 & ~mask


def _write_temporary(folder: Path, name: str, data: bytes, *, sync: bool = True) -> Path:
    handle, temporary = tempfile.mkstemp(dir=folder, prefix=".", suffix=".part")
    try:
        with os.fdopen(handle, "wb") as stream:
            stream.write(data)
            stream.flush()
            if sync:
                os.fsync(stream.fileno())
        with contextlib.suppress(OSError):
            os.chmod(temporary, _mode_for(folder / name))
    except BaseException:
        with contextlib.suppress(OSError):
            os.unlink(temporary)
        raise
    return Path(temporary)


def write_whole(path: Path | str, data: bytes) -> None:
    """Write a file so that at any moment the old one or the new one is there, never a mixture.

    Does not make folders. A symbolic link at ``path`` is replaced by the file.

    Raises:
        OutputProblem: it cannot be written; the old file is as it was.
    """
    target = Path(path)
    try:
        if target.is_dir():
            raise IsADirectoryError(0, "a folder has that name")
        temporary = _write_temporary(target.parent, target.name, data)
        try:
            os.replace(temporary, target)
        except BaseException:
            with contextlib.suppress(OSError):
                temporary.unlink()
            raise
        _sync_folder(target.parent)
    except OSError as e:
        raise _refused(target, e) from e


def write_folder(folder: Path | str, files: Mapping[str, bytes]) -> tuple[Path, ...]:
    """Write a set of files into a folder, made if it is missing; the paths written.

    All are staged and made durable before the first is moved into place. If a move fails, those
    already moved are put back as they were. If the process dies between two moves, the next set
    written here first puts the old files back. Runs that write here at the same time wait for
    each other (not on Windows). Names may hold ``/`` for sub-folders, but may not leave the folder.

    Raises:
        OutputProblem: something cannot be written; the folder's files are as they were.
    """
    home = Path(folder)
    for name in files:
        if not _stays_inside(name):
            raise OutputProblem(f"the file name {name!r} leaves the folder", where=str(home))
        if not _goes_everywhere(name):
            raise OutputProblem(
                f"the file name {name!r} is not allowed on every system",
                where=str(home),
                do="leave out " + " ".join(FORBIDDEN) + " and device names such as CON or NUL",
            )
    try:
        home.mkdir(parents=True, exist_ok=True)
        with _alone_in(home):
            for stale in sorted(home.glob(f"{STAGE}*")):
                _put_back(home, stale)
                _clear(stale)
            stage = Path(tempfile.mkdtemp(dir=home, prefix=STAGE))
            try:
                return _stage_and_move(home, stage, files)
            finally:
                _clear(stage)
    except OSError as e:
        raise _refused(home, e) from e


def _stays_inside(name: str) -> bool:
    parts = Path(name).parts
    return bool(parts) and ".." not in parts and "\\" not in name and not Path(name).is_absolute()


def _goes_everywhere(name: str) -> bool:
    """Whether the name is allowed on Windows too, so that a folder can be handed on."""
    for part in name.split("/"):
        device = part.split(".")[0].strip().upper() in DEVICES
        if device or not part or part[-1] in ". " or any(c in FORBIDDEN or c < " " for c in part):
            return False
    return True


@contextlib.contextmanager
def _alone_in(folder: Path) -> Iterator[None]:
    """Keep other runs from moving files here meanwhile; the system lets go when a process dies."""
    if os.name != "posix":
        yield
        return
    import fcntl

    handle = os.open(folder, os.O_RDONLY)
    try:
        with contextlib.suppress(OSError):  # some network folders know no locks
            fcntl.flock(handle, fcntl.LOCK_EX)
        yield
    finally:
        os.close(handle)


def _stage_and_move(home: Path, stage: Path, files: Mapping[str, bytes]) -> tuple[Path, ...]:
    names = list(files)
    folders = {p for name in names for p in (home / name).parents if home in p.parents}
    new = sorted((p for p in folders if not p.exists()), reverse=True)
    try:
        _staged(home, stage, files)
        _moved(home, stage, names)
    except BaseException:
        for folder in new:
            with contextlib.suppress(OSError):
                folder.rmdir()
        raise
    for parent in sorted({(home / name).parent for name in names}):
        _sync_folder(parent)
    return tuple(home / name for name in names)


def _staged(home: Path, stage: Path, files: Mapping[str, bytes]) -> None:
    """All files written beside their places, the old ones kept, and the journal that says so."""
    (stage / "old").mkdir()
    for number, (name, data) in enumerate(files.items()):
        target = home / name
        if target.is_dir():
            raise IsADirectoryError(0, f"a folder is named {name}")
        target.parent.mkdir(parents=True, exist_ok=True)
        temporary = _write_temporary(stage, f"{number}", data, sync=False)
        os.rename(temporary, stage / f"{number}")
        if target.exists():
            _keep(target, stage / "old" / f"{number}")
    _at_once(_sync_file, [stage / f"{number}" for number in range(len(files))])
    for number, name in enumerate(files):  # last: a mode may keep the file from being opened
        with contextlib.suppress(OSError):
            os.chmod(stage / f"{number}", _mode_for(home / name))
    journal = _write_temporary(stage, JOURNAL, json.dumps(list(files)).encode())
    os.rename(journal, stage / JOURNAL)


def _moved(home: Path, stage: Path, names: Sequence[str]) -> None:
    try:
        for number, name in enumerate(names):
            os.replace(stage / f"{number}", home / name)
    except BaseException:
        _put_back(home, stage)
        raise


def _put_back(home: Path, stage: Path) -> None:
    """Undo the moves of a set that was not moved whole; does nothing for one that was."""
    try:
        names = json.loads((stage / JOURNAL).read_text(encoding="utf-8"))
    except (OSError, ValueError):
        return
    moved = [(k, name) for k, name in enumerate(names) if not (stage / f"{k}").exists()]
    if len(moved) == len(names):
        return
    for number, name in moved:
        old, target = stage / "old" / f"{number}", home / str(name)
        if not _stays_inside(str(name)):
            continue
        with contextlib.suppress(OSError):
            if old.exists():
                os.replace(old, target)
            else:
                target.unlink(missing_ok=True)


def _keep(target: Path, old: Path) -> None:
    """Keep the old file under a second name; a link where the system can, else a copy."""
    try:
        os.link(target, old)
    except OSError:
        shutil.copy2(target, old)
