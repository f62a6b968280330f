"""Files are whole or not there: failures at every step leave the old file as it was."""

import errno
import os
import stat

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
