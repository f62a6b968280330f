"""Part-used sheets: remembered after a run, offered to the next, never printed over."""

import json
import shutil
from dataclasses import replace
from pathlib import Path

import pytest
from stock_cases import LABELS_ON_A5, ink, make, panel, plate, result, write_job

from decalprep.cli import run
from decalprep.errors import ExitCode
from decalprep.jobs.lay import Laid
from decalprep.jobs.leftovers import leftover_notices
from decalprep.jobs.spec import SheetSpec
from decalprep.model import Sheet

SHEET = '[[sheet]]\nname = "{name}"\nsize = "A5"\nstock = "full-sheet label stock"\n{more}\n'
STOCK = "full-sheet label stock 148 x 210 mm"


@pytest.fixture(scope="module")
def made_once(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder in which the first job was made, and its rest remembered."""
    folder = tmp_path_factory.mktemp("first")
    for name, width, height in (("bezel", 56, 42), ("lamp", 35, 28), ("helm", 126, 84)):
        plate(folder / f"{name}.pdf", width, height)
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("DECALPREP_HOME", str(folder / "records"))
        assert make(first_job(folder), "--keep-leftovers") == 0
    return folder


@pytest.fixture(scope="module")
def made_twice(made_once: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder in which the second job was made after the first, on its rest."""
    copy = tmp_path_factory.mktemp("second") / "copy"
    shutil.copytree(made_once, copy)
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("DECALPREP_HOME", str(copy / "records"))
        assert make(second_job(copy)) == 0
    return copy


def copied(source: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    copy = tmp_path / "copy"
    shutil.copytree(source, copy)
    monkeypatch.setenv("DECALPREP_HOME", str(copy / "records"))
    return copy


@pytest.fixture
def folder(made_once: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    return copied(made_once, tmp_path, monkeypatch)


@pytest.fixture
def after(made_twice: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    return copied(made_twice, tmp_path, monkeypatch)


def first_job(folder: Path, more: str = "") -> Path:
    return write_job(folder, SHEET.format(name="mine", more=more) + panel("bezel", "copies = 2"))


def second_job(folder: Path, more: str = "leftovers = true", panels: str = "") -> Path:
    text = SHEET.format(name="labels", more=more) + panel("lamp", "copies = 2") + panels
    return write_job(folder, text, "second")


def records(folder: Path) -> dict[str, bytes]:
    return {p.name: p.read_bytes() for p in (folder / "records" / "sheets").glob("*.json")}


def listed(capsys: pytest.CaptureFixture[str]) -> str:
    capsys.readouterr()
    assert run(["stock", "list"]) == 0
    return " ".join(capsys.readouterr().out.split())


def test_the_rest_is_remembered_and_the_next_job_uses_it_first(
    folder: Path, made_twice: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert f"{STOCK}: about" in listed(capsys)
    made = result(made_twice / "second-out")
    told = " ".join(n["text"] for n in made["notices"])
    assert f"goes on the remembered part-used sheet '{STOCK}'" in told
    assert made["sheets"]["count"] == 1
    assert made["proof"]["passed"] is True
    assert not (ink(made_twice / "job-out", 0) & ink(made_twice / "second-out", 0)).any()


def test_running_again_moves_nothing_and_takes_nothing_more(after: Path) -> None:
    kept = records(after)
    places = result(after / "second-out")["placements"]
    assert make(first_job(after), "--keep-leftovers") == 0
    assert make(second_job(after)) == 0
    assert records(after) == kept
    assert result(after / "second-out")["placements"] == places


def test_a_panel_more_goes_on_the_same_rest_and_then_on_whole_sheets(after: Path) -> None:
    before = result(after / "second-out")["placements"]
    more = "leftovers = true\navailable = 1"
    assert make(second_job(after, more, panel("helm", "copies = 2"))) == 0
    found = result(after / "second-out")
    assert all(p in found["placements"] for p in before)
    assert found["sheets"]["count"] == 2  # the one that is available, beside the remembered one


def test_a_failing_run_leaves_the_record_as_it_was(folder: Path) -> None:
    kept = records(folder)
    plate(folder / "lamp.pdf", 250, 400)
    assert make(second_job(folder)) == ExitCode.FIT
    assert make(second_job(folder), "--keep-leftovers") == ExitCode.FIT
    assert records(folder) == kept
    assert not (folder / "second-out").exists()


def test_a_run_again_does_not_send_a_maker_over_the_prints_of_the_first(after: Path) -> None:
    job = second_job(after)
    first = [
        n["text"] for n in result(after / "second-out")["notices"] if n["code"] == "leftover-used"
    ]
    assert make(job) == 0
    again = [
        n["text"] for n in result(after / "second-out")["notices"] if n["code"] == "leftover-used"
    ]
    assert len(first) == len(again) == 1
    assert "its old prints stay" in first[0]
    assert "if it is printed, do not print over it" in again[0]


@pytest.mark.parametrize(
    ("offered", "lain_on", "words"),
    [("", "", "is remembered"), ("rest", "", "on 'rest'"), ("rest", "rest", None)],
)
def test_leftovers_that_were_asked_for_and_not_used_are_told(
    offered: str, lain_on: str, words: str | None
) -> None:
    a5 = Sheet("A5 label", 148, 210)
    laid = Laid((), (a5,), 1, (), 0, leftovers=(lain_on,))
    told = leftover_notices(laid, [SheetSpec(a5, use_leftovers=True, leftover=offered)])
    unused = [n.text for n in told if n.code == "leftover-unused"]
    assert bool(unused) == (words is not None)
    assert words is None or words in unused[0]
    assert not leftover_notices(replace(laid, leftovers=("",)), [SheetSpec(a5)])


def test_without_the_key_whole_sheets_are_taken(folder: Path) -> None:
    kept = records(folder)
    assert make(second_job(folder, "")) == 0
    assert "remembered" not in json.dumps(result(folder / "second-out")["notices"])
    assert records(folder) == kept  # and their rest is remembered only when asked for


def test_in_a_laser_printer_it_is_a_danger(folder: Path) -> None:
    assert make(second_job(folder, 'leftovers = true\nprinting = "laser"')) == 0
    told = result(folder / "second-out")["notices"]
    assert {n["code"]: n["severity"] for n in told}["part-used-labels"] == "danger"
    assert len([n for n in told if "hot laser" in n["text"]]) == 1  # and told once only
    assert "goes on the remembered" in (folder / "second-out" / "proof.txt").read_text()


def test_a_damaged_record_is_told_and_left_alone(
    folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    (file,) = (folder / "records" / "sheets").glob("*.json")
    file.write_text("{")
    assert make(second_job(folder)) == 0
    codes = {n["code"] for n in result(folder / "second-out")["notices"]}
    assert "leftover-unread" in codes
    assert file.read_text() == "{"
    assert "is damaged" in listed(capsys)
    assert run(["stock", "forget", file.stem]) == 0
    assert "No part-used sheet" in listed(capsys)


def test_forgetting_and_marking(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    before = listed(capsys)
    # A rest that bears the name of its stock tells it once.
    assert before.startswith(f"{STOCK}: about ")
    assert run(["stock", "gone", STOCK, "0mm,140mm,148mm,70mm"]) == 0
    assert listed(capsys) != before
    for area in ("1,2,3", "0mm,0mm,500mm,5mm", "7", "0,0,1,1"):
        assert run(["stock", "gone", STOCK, area]) == ExitCode.USAGE
    assert run(["stock", "gone", "nothing", "0mm,0mm,5mm,5mm"]) == ExitCode.INPUT
    assert run(["stock", "forget", "nothing"]) == ExitCode.INPUT
    assert run(["stock", "forget", STOCK]) == 0
    assert records(folder) == {}


GRID = (
    """[[sheet]]
name = "small"
size = "A5"
stock = "die-cut label stock"
{more}
"""
    + LABELS_ON_A5
)


def test_used_labels_are_remembered_by_number(
    folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    job = write_job(folder, GRID.format(more="start_at = 2") + panel("bezel", "copies = 3"))
    assert make(job, "--keep-leftovers") == 0
    assert "4 of 8 labels left" in listed(capsys)
    text = GRID.format(more="leftovers = true") + panel("lamp", "copies = 2")
    assert make(write_job(folder, text, "second")) == 0
    assert not (ink(folder / "job-out", 0) & ink(folder / "second-out", 0)).any()
    assert run(["stock", "gone", "die-cut label stock 148 x 210 mm, 4 x 2 labels", "7-8"]) == 0
