"""Ctrl-C while sheets are searched for: the first keeps the best layout, the second ends the run.

Real signals, in a process of its own, whose search fails when it goes on after them.
"""

import json
import subprocess
import sys
from pathlib import Path

import pytest
from lay_cases import apart, decal, job, panel
from stock_cases import plate
from test_cli_text import environment

from decalprep.errors import ExitCode
from decalprep.jobs.groups import Effort
from decalprep.jobs.lay import lay_out

PASSES = 1000
CODE = """
import os, signal
signal.signal(signal.SIGINT, signal.default_int_handler)
from decalprep.cli import main
from decalprep.nesting.search import Search
tick = Search.tick
def told(search):
    tick(search)
    if search.passes > 3:
        os._exit(99)
    if search.passes == 3:
        for _ in range({times}):
            os.kill(os.getpid(), signal.SIGINT)
Search.tick = told
Search.proved = property(lambda search: False)  # it always has more to search for
main(["make", "job.toml", "--json", "--dpi", "30"])
"""


ENDED = """
import os, signal, tempfile, time
from decalprep.cli import main
from decalprep.jobs import jobfile
def read_job(source):
    with tempfile.TemporaryDirectory(prefix="decalprep-"):
        os.kill(os.getpid(), signal.{name})
        time.sleep(60)
jobfile.read_job = read_job
main(["make", "job.toml"])
"""


def run(folder: Path, times: int) -> subprocess.CompletedProcess[str]:
    """One run that gets Ctrl-C so many times in its third pass."""
    plate(folder / "gauge.pdf", 110, 100)
    head = f'[job]\npasses = {PASSES}\n[[sheet]]\nname = "A4"\nsize = "A4"\n'
    (folder / "job.toml").write_text(
        f'{head}[[panel]]\nname = "gauge"\nartwork = "gauge.pdf"\noutline_from = "page"\ncopies = 5'
    )
    return subprocess.run(
        [sys.executable, "-c", CODE.format(times=times)],
        cwd=folder,
        env=environment(folder),
        capture_output=True,
        text=True,
        timeout=120,
        start_new_session=True,
        check=False,
    )


def test_the_first_ctrl_c_keeps_the_best_layout_and_finishes(tmp_path: Path) -> None:
    done = run(tmp_path, 1)
    assert done.returncode == 0, done.stderr
    assert "goes on with the best layout so far" in done.stderr
    made = json.loads(done.stdout)
    assert len(made["placements"]) == 5
    assert made["proof"]["passed"]
    assert "nesting-ended-early" in {n["code"] for n in made["notices"]}
    assert (tmp_path / "job-out" / "sheets.pdf").exists()
    assert (tmp_path / "job.placements.json").exists()


def test_the_second_ctrl_c_ends_the_run_and_writes_nothing(tmp_path: Path) -> None:
    done = run(tmp_path, 2)
    assert done.returncode == ExitCode.INTERRUPTED, done.stderr
    assert done.stdout == ""
    assert done.stderr.rstrip().endswith("decalprep: interrupted; earlier output is as it was")
    assert sorted(p.name for p in tmp_path.iterdir()) == ["gauge.pdf", "job.toml"]


@pytest.mark.parametrize("seconds", [None, 1e-6])
def test_stopped_at_once_every_kind_of_sheet_still_gets_its_pieces(
    tmp_path: Path, seconds: float | None
) -> None:
    """Panels with other choices of sheets are laid after one another, each with an answer."""
    sheets = "".join(f'[[sheet]]\nname = "{s}"\nsize = "{s}"\n' for s in ("A4", "A5"))
    found = job(
        tmp_path,
        f"[job]\npasses = 50\n{sheets}"
        + panel("engine", 'sheets = ["A4"]')
        + panel("winch", 'sheets = ["A5"]'),
    )
    decals = [decal("engine", 110, 100, 5), decal("winch", 80, 75, 5)]
    effort = Effort(lambda words: None, seconds, lambda: seconds is None)
    laid = lay_out(decals, found, None, effort)
    assert len(laid.placements) == 10
    apart(laid, decals)
    codes = {n.code for n in laid.notices} - {"room-left"}
    assert codes == {"nested-by-the-clock" if seconds else "nesting-ended-early"}


@pytest.mark.skipif(sys.platform == "win32", reason="needs signals of POSIX systems")
@pytest.mark.parametrize("name", ["SIGTERM", "SIGHUP"])
def test_an_end_from_outside_leaves_no_temporary_folder(tmp_path: Path, name: str) -> None:
    done = subprocess.run(
        [sys.executable, "-c", ENDED.format(name=name)],
        cwd=tmp_path,
        env={**environment(tmp_path), "TMPDIR": str(tmp_path)},
        capture_output=True,
        text=True,
        timeout=50,
        check=False,
    )
    assert done.returncode == ExitCode.INTERRUPTED, done.stderr
    assert "earlier output is as it was" in done.stderr
    assert list(tmp_path.iterdir()) == []
