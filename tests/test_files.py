"""Files are whole or not there: failures at every step leave the old file as it was."""

import errno
import os
import stat
import subprocess
import sys
from pathlib import Path

import pytest

from decalprep.errors import OutputProblem
from decalprep.export import files as module
from decalprep.export import write_folder, write_whole


def tree(folder):
    return {
        p.relative_to(folder).as_posix(): p.read_bytes() for p in folder.rglob("*") if p.is_file()
    }


def fail(error=errno.ENOSPC, after=0):
    calls = {"n": 0}

    def broken(*args, **kwargs):
        calls["n"] += 1
        if calls["n"] > after:
            raise OSError(error, os.strerror(error))
        return real(*args, **kwargs)

    real = os.replace
    return broken


def test_writes_and_replaces(tmp_path):
    path = tmp_path / "blätter 船.pdf"
    write_whole(path, b"first")
    write_whole(path, b"second")
    assert tree(tmp_path) == {"blätter 船.pdf": b"second"}


@pytest.mark.parametrize("step", ["fsync", "replace"])
def test_failure_leaves_the_old_file_and_no_litter(tmp_path, monkeypatch, step):
    path = tmp_path / "sheets.pdf"
    path.write_bytes(b"old")
    monkeypatch.setattr(module.os, step, fail())
    with pytest.raises(OutputProblem, match="sheets.pdf: cannot be written"):
        write_whole(path, b"new")
    assert tree(tmp_path) == {"sheets.pdf": b"old"}


def test_interrupt_leaves_the_old_file(tmp_path, monkeypatch):
    path = tmp_path / "sheets.pdf"
    path.write_bytes(b"old")

    def interrupted(*_):
        raise KeyboardInterrupt

    monkeypatch.setattr(module.os, "replace", interrupted)
    with pytest.raises(KeyboardInterrupt):
        write_whole(path, b"new")
    assert tree(tmp_path) == {"sheets.pdf": b"old"}


@pytest.mark.parametrize("name", ["missing/sheets.pdf", "x" * 300 + ".pdf"])
def test_impossible_paths_are_told(tmp_path, name):
    with pytest.raises(OutputProblem, match="cannot be written"):
        write_whole(tmp_path / name, b"new")


def test_folder_in_the_way_is_told(tmp_path):
    (tmp_path / "sheets.pdf").mkdir()
    with pytest.raises(OutputProblem, match="a folder has that name"):
        write_whole(tmp_path / "sheets.pdf", b"new")


@pytest.mark.skipif(os.name != "posix", reason="file modes are of POSIX systems")
def test_mode_of_the_old_file_is_kept(tmp_path):
    path = tmp_path / "sheets.pdf"
    path.write_bytes(b"old")
    path.chmod(0o640)
    write_whole(path, b"new")
    assert stat.S_IMODE(path.stat().st_mode) == 0o640
    write_whole(tmp_path / "fresh.pdf", b"new")
    mask = os.umask(0)
    os.umask(mask)
    assert stat.S_IMODE((tmp_path / "fresh.pdf").stat().st_mode) == 0o666 & ~mask


def test_folder_is_written_as_a_set(tmp_path):
    home = tmp_path / "made" / "here"
    paths = write_folder(home, {"sheets.pdf": b"a", "cut/sheet-1.svg": b"b"})
    assert tree(home) == {"sheets.pdf": b"a", "cut/sheet-1.svg": b"b"}
    assert [p.name for p in paths] == ["sheets.pdf", "sheet-1.svg"]


@pytest.mark.parametrize("after", [0, 1, 2])
def test_set_is_put_back_when_a_move_fails(tmp_path, monkeypatch, after):
    old = {"a.pdf": b"old a", "c.svg": b"old c", "other.txt": b"mine"}
    for name, data in old.items():
        (tmp_path / name).write_bytes(data)
    real, calls = os.replace, {"n": 0}

    def breaks_once(source, target):
        calls["n"] += 1
        if calls["n"] == after + 1:
            raise OSError(errno.EIO, "input/output error")
        real(source, target)

    monkeypatch.setattr(module.os, "replace", breaks_once)
    with pytest.raises(OutputProblem):
        write_folder(tmp_path, {"a.pdf": b"new a", "b.png": b"new b", "c.svg": b"new c"})
    assert tree(tmp_path) == old


def test_set_is_staged_before_anything_moves(tmp_path, monkeypatch):
    (tmp_path / "a.pdf").write_bytes(b"old a")
    monkeypatch.setattr(module.os, "fsync", fail())
    with pytest.raises(OutputProblem):
        write_folder(tmp_path, {"a.pdf": b"new a"})
    assert tree(tmp_path) == {"a.pdf": b"old a"}


@pytest.mark.parametrize(
    "name", ["../out.pdf", "/etc/out.pdf", "a/../../out.pdf", "", "..\\out.pdf"]
)
def test_names_may_not_leave_the_folder(tmp_path, name):
    with pytest.raises(OutputProblem, match="leaves the folder"):
        write_folder(tmp_path / "home", {name: b"x"})
    assert tree(tmp_path) == {}


class Killed(BaseException):
    """Stands for a process that dies on the spot: nothing after it runs."""


@pytest.mark.parametrize("after", [0, 1, 2])
def test_next_set_heals_what_a_dead_process_left(tmp_path, monkeypatch, after):
    old = {"a.pdf": b"old a", "c.svg": b"old c"}
    for name, data in old.items():
        (tmp_path / name).write_bytes(data)
    real, calls = os.replace, {"n": 0}

    def dies(source, target):
        calls["n"] += 1
        if calls["n"] == after + 1:
            raise Killed
        real(source, target)

    with monkeypatch.context() as patch:
        patch.setattr(module.os, "replace", dies)
        patch.setattr(module, "_put_back", lambda *_: None)
        patch.setattr(module, "_clear", lambda *_: None)
        with pytest.raises(Killed):
            write_folder(tmp_path, {"a.pdf": b"new a", "b.png": b"new b", "c.svg": b"new c"})
    write_folder(tmp_path, {"other.txt": b"x"})
    assert tree(tmp_path) == old | {"other.txt": b"x"}


def test_set_that_was_moved_whole_is_left_when_healing(tmp_path, monkeypatch):
    with monkeypatch.context() as patch:
        patch.setattr(module, "_clear", lambda *_: None)
        write_folder(tmp_path, {"a.pdf": b"new a"})
    write_folder(tmp_path, {"b.pdf": b"new b"})
    assert tree(tmp_path) == {"a.pdf": b"new a", "b.pdf": b"new b"}


def test_journal_of_a_stranger_cannot_reach_outside(tmp_path):
    home = tmp_path / "home"
    stage = home / ".stage-x"
    stage.mkdir(parents=True)
    (tmp_path / "mine.txt").write_bytes(b"mine")
    (stage / "journal").write_text('["../mine.txt", "b"]')
    (stage / "1").write_bytes(b"")
    write_folder(home, {"a.pdf": b"a"})
    assert tree(tmp_path) == {"mine.txt": b"mine", "home/a.pdf": b"a"}


@pytest.mark.skipif(os.name != "posix", reason="folder locks are of POSIX systems")
def test_two_runs_never_mix_their_sets(tmp_path):
    code = (
        "import sys\nfrom decalprep.export import write_folder\n"
        "names = [f'{k}.txt' for k in range(40)]\n"
        "for _ in range(4):\n"
        "    write_folder(sys.argv[1], {n: sys.argv[2].encode() for n in names})\n"
    )
    root = str(Path(__file__).parent.parent)
    environment = os.environ | {"PYTHONPATH": root}
    runs = [
        subprocess.Popen([sys.executable, "-c", code, str(tmp_path), word], env=environment)
        for word in ("one", "two")
    ]
    assert [run.wait(timeout=60) for run in runs] == [0, 0]
    found = tree(tmp_path)
    assert len(found) == 40
    assert len(set(found.values())) == 1


@pytest.mark.parametrize(
    "name",
    ["con.pdf", "a/NUL", "lpt1.txt", "what?.pdf", "C:out.pdf", "dot.", "space ", "a//b", "\x07"],
)
def test_names_that_windows_refuses_are_refused_everywhere(tmp_path, name):
    with pytest.raises(OutputProblem, match="not allowed on every system"):
        write_folder(tmp_path, {name: b"x"})
    assert tree(tmp_path) == {}


@pytest.mark.parametrize(
    "name", ["console.pdf", "nullify.txt", "Schlüssel 船.svg", ".hidden", "a.b.c"]
)
def test_names_that_only_look_alike_are_allowed(tmp_path, name):
    write_folder(tmp_path, {name: b"x"})
    assert tree(tmp_path) == {name: b"x"}
