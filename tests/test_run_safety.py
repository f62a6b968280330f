"""Runs that are killed, that find no room or no right to write, or that meet another run.

Earlier output stays whole, or the new output is whole; a set that was half moved is healed by the
next run that writes there.
"""

import hashlib
import json
import os
import random
import signal
import subprocess
import sys
from pathlib import Path

import pytest
from hostile_runs import Runs, asked, shared_runs

from decalprep.export import write_folder

pytestmark = pytest.mark.skipif(os.name != "posix", reason="signals and caps are of POSIX systems")

ROOT = Path(__file__).parent.parent
SVG = (
    '<svg xmlns="http://www.w3.org/2000/svg" width="{w}mm" height="15mm" viewBox="0 0 {w} 15">'
    '<rect width="{w}" height="15" fill="#223"/></svg>'
)
NAMES = [f"{k}.txt" for k in range(30)] + [f"cut/{k}.svg" for k in range(10)]
WRITER = """
import os
from decalprep.export import files, write_folder

count = 0


def counted(real):
    def call(*args, **kwargs):
        global count
        count += 1
        if count == after:
            os.kill(os.getpid(), 9)
        return real(*args, **kwargs)
    return call


for name in ("replace", "rename", "fsync", "link", "unlink", "chmod"):
    setattr(files.os, name, counted(getattr(os, name)))
files.tempfile.mkstemp = counted(files.tempfile.mkstemp)
write_folder(folder, {n: word.encode() for n in names})
os._exit(0)
"""


def contents(folder: Path) -> dict[str, bytes]:
    """What a reader sees: files by name, the run's own hidden ones left out."""
    return {
        p.relative_to(folder).as_posix(): p.read_bytes()
        for p in folder.rglob("*")
        if p.is_file() and not any(part.startswith(".") for part in p.relative_to(folder).parts)
    }


@pytest.fixture(scope="module")
def runs() -> Runs:
    return shared_runs()


def write(runs: Runs, folder: Path, word: str, after: int) -> int:
    """Exit code of a writer that kills itself at its ``after``-th call of the system."""
    given = f"folder, word, after, names = {str(folder)!r}, {word!r}, {after}, {NAMES!r}\n"
    return runs.run([], folder.parent, first=given + WRITER).code


def test_a_set_killed_at_any_call_is_old_or_new_after_healing(runs: Runs, tmp_path: Path) -> None:
    """A step is drawn from each part of the run: staging, between the moves, cleaning up."""
    chance = random.Random(5)
    calls = sorted({chance.randrange(1, 420) for _ in range(14)} | {1, 2, 205, 215, 235, 250})
    seen = set()
    for after in calls:
        home = tmp_path / f"{after}"
        write_folder(home, dict.fromkeys(NAMES, b"old"))
        code = write(runs, home, "new", after)
        assert code in (-signal.SIGKILL, 0)
        write_folder(home, {"other.txt": b"other"})
        healed = contents(home)
        assert healed.pop("other.txt") == b"other"
        assert sorted(healed) == sorted(NAMES)
        assert len(set(healed.values())) == 1, after
        seen.add((code, next(iter(healed.values()))))
        assert not [p for p in home.iterdir() if p.name.startswith(".stage-")]
    assert {word for _, word in seen} == {b"old", b"new"}
    assert (-signal.SIGKILL, b"old") in seen


# ---------------------------------------------------------------- whole runs


def job(folder: Path, *, width: int = 20, name: str = "bilge") -> None:
    (folder / "bilge.svg").write_text(SVG.format(w=width))
    panel = f'[[panel]]\nname = "{name}"\nartwork = "bilge.svg"\n'
    (folder / "job.toml").write_text('[[sheet]]\nname = "small"\nsize = "100 x 80 mm"\n' + panel)


def whole(folder: Path) -> str:
    """The width that a result folder tells, after seeing that its files belong together."""
    data = json.loads((folder / "result.json").read_text())
    width = round(data["panels"][0]["artwork_mm"][0])
    assert f"{width}.00 x 15.00" in (folder / "proof.txt").read_text()
    assert (folder / "sheets.pdf").read_bytes().startswith(b"%PDF-")
    return str(width)


def digest(folder: Path) -> dict[str, str]:
    return {k: hashlib.sha256(v).hexdigest() for k, v in contents(folder).items()}


def test_a_run_killed_at_any_time_leaves_the_old_output_or_the_new(
    runs: Runs, tmp_path: Path
) -> None:
    job(tmp_path)
    assert runs.run(["make", "job.toml"], tmp_path).code == 0
    out = tmp_path / "job-out"
    job(tmp_path, width=25)
    for delay in (0.1, 0.3, 0.5):
        runs.run(["make", "job.toml"], tmp_path, kill_after_s=delay)
        assert whole(out) in ("20", "25")
    assert runs.run(["make", "job.toml"], tmp_path).code == 0
    assert whole(out) == "25"
    assert not [p for p in out.iterdir() if p.name.startswith(".")]


def test_a_full_disk_leaves_the_old_output(runs: Runs, tmp_path: Path) -> None:
    """A cap on the size of a file stands for the disk; writing fails in the same way."""
    job(tmp_path)
    assert runs.run(["make", "job.toml"], tmp_path).code == 0
    before = digest(tmp_path / "job-out")
    job(tmp_path, width=25)
    run = runs.run(["make", "job.toml"], tmp_path, limits={"RLIMIT_FSIZE": 20_000})
    assert run.code in (3, 8), run
    assert "Traceback" not in run.err
    assert digest(tmp_path / "job-out") == before
    assert [p.name for p in tmp_path.iterdir() if p.name.startswith(".")] == []


@pytest.mark.skipif(os.name != "posix" or os.geteuid() != 0, reason="needs to mount a disk")
def test_a_disk_that_is_really_full(runs: Runs, tmp_path: Path) -> None:
    job(tmp_path)
    disk = tmp_path / "disk"
    disk.mkdir()
    mount = ["mount", "-t", "tmpfs", "-o", "size=96k", "tmpfs", str(disk)]
    if subprocess.run(mount, capture_output=True, check=False).returncode:
        pytest.skip("this machine does not let tests mount a disk")
    try:
        (disk / "sheets.pdf").write_bytes(b"earlier")
        run = runs.run(["make", "job.toml", "--to", str(disk)], tmp_path)
        assert run.code == 8, run
        assert "cannot be written" in run.told
        assert contents(disk) == {"sheets.pdf": b"earlier"}
        assert [p.name for p in disk.iterdir()] == ["sheets.pdf"]
    finally:
        subprocess.run(["umount", str(disk)], check=False)


@pytest.mark.skipif(
    not hasattr(os, "geteuid") or os.geteuid() == 0, reason="root may write anywhere"
)
def test_a_folder_that_may_not_be_written(runs: Runs, tmp_path: Path) -> None:
    job(tmp_path)
    out = tmp_path / "job-out"
    out.mkdir()
    (out / "sheets.pdf").write_bytes(b"earlier")
    out.chmod(0o555)
    try:
        run = runs.run(["make", "job.toml"], tmp_path)
        assert run.code == 8, run
        assert contents(out) == {"sheets.pdf": b"earlier"}
    finally:
        out.chmod(0o755)


def test_two_runs_in_one_folder(runs: Runs, tmp_path: Path) -> None:
    """Both end well, and the files are of one of them."""
    for width in (20, 25):
        home = tmp_path / f"{width}"
        home.mkdir()
        job(home, width=width)
    make = ["make", "job.toml", "--to", "../out"]
    found = runs.together(*(asked(make, tmp_path / width) for width in ("20", "25")))
    assert [run.code for run in found] == [0, 0], found
    assert whole(tmp_path / "out") in ("20", "25")


@pytest.mark.parametrize("epoch", ["0", "4102444800", "99999999999999999999", "-5", "soon"])
def test_clocks_that_are_off(epoch: str, runs: Runs, tmp_path: Path) -> None:
    job(tmp_path)
    run = runs.run(["make", "job.toml"], tmp_path, env={"SOURCE_DATE_EPOCH": epoch})
    assert "Traceback" not in run.err
    assert run.code in (0, 2), run
    assert (tmp_path / "job-out").exists() == (run.code == 0)


def test_locale_order_of_sets_and_number_of_processes_change_nothing(tmp_path: Path) -> None:
    found = []
    for seed, name in enumerate(("C", "tr_TR.UTF-8")):
        home = tmp_path / name
        home.mkdir()
        job(home)
        told = os.environ | {
            "LC_ALL": name,
            "LANG": name,
            "PYTHONUTF8": "0",
            "PYTHONHASHSEED": str(seed),
            "PYTHONPATH": str(ROOT),
            "DECALPREP_HOME": str(tmp_path / "records"),
            "DECALPREP_LIMITS": f"max_processes={1 + seed}",
            "SOURCE_DATE_EPOCH": "1760000000",
        }
        command = [sys.executable, "-m", "decalprep.cli", "make", "job.toml"]
        subprocess.run(command, cwd=home, env=told, check=True, capture_output=True)
        found.append(digest(home))
    assert found[0] == found[1]


def test_paths_in_any_script_and_long_ones(runs: Runs, tmp_path: Path) -> None:
    deep = tmp_path
    for word in ("Brücke", "船橋 コンソール", "мостик", "a b & c;'\"", "x" * 100, "y" * 100):
        deep = deep / word
    deep.mkdir(parents=True)
    job(deep, name="Brücke 船")
    (deep / "bilge.svg").rename(deep / "бак 船.svg")
    text = (deep / "job.toml").read_text(encoding="utf-8").replace("bilge.svg", "бак 船.svg")
    (deep / "job.toml").write_text(text, encoding="utf-8")
    run = runs.run(["make", "job.toml"], deep)
    assert run.code == 0, run.err
    assert "Brücke 船" in (deep / "job-out" / "proof.txt").read_text(encoding="utf-8")
    assert (deep / "job-out" / "cut" / "piece Brücke 船.svg").exists()
