"""One spoiled decal is printed again on the rest of its sheet, never over what is there."""

import json
import shutil
from pathlib import Path

import pytest
from stock_cases import ink, make, panel, plate, result, write_job

from decalprep.errors import ExitCode
from decalprep.jobs.again import Again, no_room
from decalprep.jobs.placements import Kept
from decalprep.jobs.spec import SheetSpec
from decalprep.model import Sheet

TEXT = '[[sheet]]\nname = "A5"\nsize = "A5"\n' + panel("bezel", "copies = 2") + panel("lamp")


@pytest.fixture(scope="module")
def made_once(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder in which the job was made once."""
    folder = tmp_path_factory.mktemp("made")
    plate(folder / "bezel.pdf", 50, 40)
    plate(folder / "lamp.pdf", 36, 26)
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("DECALPREP_HOME", str(folder / "records"))
        assert make(write_job(folder, TEXT)) == 0
    return folder


@pytest.fixture
def folder(made_once: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A copy of it to print again in."""
    copy = tmp_path / "copy"
    shutil.copytree(made_once, copy)
    monkeypatch.setenv("DECALPREP_HOME", str(copy / "records"))
    return copy


def test_only_the_named_piece_is_printed_and_on_free_paper(folder: Path) -> None:
    before = (folder / "job.placements.json").read_text()
    places = result(folder / "job-out")["placements"]
    assert make(folder / "job.toml", "--again", "bezel#2") == 0
    again = result(folder / "job-again-1")
    assert [(p["decal"], p["copy"]) for p in again["placements"]] == [("bezel", 2)]
    assert again["proof"]["passed"] is True
    assert again["proof"]["worst_mm"] <= 0.02
    assert any("the same edge first" in n["text"] for n in again["notices"])
    first = ink(folder / "job-out", 0)
    assert not (first & ink(folder / "job-again-1", 0)).any()
    assert (folder / "job.placements.json").read_text() != before
    # a second one keeps off the first as well, and the layout itself has not changed
    assert make(folder / "job.toml", "--again", "lamp") == 0
    third = ink(folder / "job-again-2", 0)
    assert third.any()
    assert not (third & (first | ink(folder / "job-again-1", 0))).any()
    assert make(folder / "job.toml") == 0
    assert result(folder / "job-out")["placements"] == places


def test_a_fresh_sheet_and_what_has_no_room(
    folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    codes = [make(folder / "job.toml", "--again", "bezel")]
    while not codes[-1] and len(codes) < 9:
        codes.append(make(folder / "job.toml", "--again", "bezel"))
    number = len(codes) - 1
    assert codes[-1] == ExitCode.FIT
    assert number >= 1
    assert "--fresh-sheet" in capsys.readouterr().err
    kept = (folder / "job.placements.json").read_bytes()
    assert make(folder / "job.toml", "--again", "bezel", "--fresh-sheet") == 0
    fresh = result(folder / f"job-again-{number + 1}")
    assert [p["copy"] for p in fresh["placements"]] == [1, 2]
    assert (folder / "job.placements.json").read_bytes() == kept


@pytest.mark.parametrize(
    ("options", "words"),
    [
        (["--again", "bezle"], "choose from bezel#1, bezel#2, lamp#1"),
        (["--again", "bezel#3"], "no piece is called"),
        (["--again", "bezel", "--anew"], "contradict"),
        (["--fresh-sheet"], "goes with --again"),
        (["--seconds", "0"], "out of range"),
        (["--seconds", "nan"], "out of range"),
    ],
)
def test_mistakes_are_told_and_write_nothing(
    folder: Path, capsys: pytest.CaptureFixture[str], options: list[str], words: str
) -> None:
    before = sorted(p.name for p in folder.iterdir())
    assert make(folder / "job.toml", *options) == ExitCode.USAGE
    assert words in " ".join(capsys.readouterr().err.split())
    assert sorted(p.name for p in folder.iterdir()) == before


def test_without_an_earlier_run_it_says_so(
    folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    (folder / "job.placements.json").unlink()
    assert make(folder / "job.toml", "--again", "bezel") == ExitCode.USAGE
    assert "without --again first" in " ".join(capsys.readouterr().err.split())


def test_named_pieces_stay_and_all_others_are_laid_again(
    folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """The kept piece is moved by hand to a place that no search would choose."""
    path = folder / "job.placements.json"
    data = json.loads(path.read_text())
    kept = next(p for p in data["placements"] if (p["decal"], p["copy"]) == ("bezel", 2))
    kept |= {"x_mm": 60.25, "y_mm": 130.5, "turn_deg": 0.0}
    others = [p for p in data["placements"] if p is not kept]
    others[0] |= {"x_mm": 20.125, "y_mm": 30.125, "turn_deg": 0.0}
    others[1] |= {"x_mm": 90.125, "y_mm": 30.125, "turn_deg": 0.0}
    path.write_text(json.dumps(data))
    assert make(folder / "job.toml", "--keep", "bezel#2") == 0
    after = {(p["decal"], p["copy"]): p for p in json.loads(path.read_text())["placements"]}
    assert len(after) == 3
    assert after[("bezel", 2)] == kept
    for one in others:
        assert after[(one["decal"], one["copy"])] != one
    assert make(folder / "job.toml", "--keep", "bezel#7") == ExitCode.USAGE
    assert make(folder / "job.toml", "--keep", "lamp", "--again", "lamp") == ExitCode.USAGE
    path.unlink()
    assert make(folder / "job.toml", "--keep", "lamp") == ExitCode.USAGE
    assert "without --keep first" in capsys.readouterr().err


def test_advice_to_print_fewer_is_for_several_pieces_only() -> None:
    spec = SheetSpec(Sheet("A5", 148, 210))

    def advice(names: list[str], number: int | None) -> str:
        return no_room(names, Again((), spec, number, Kept((), (), ()))).do

    assert advice(["bezel#1"], 0) == "add --fresh-sheet to print on a new sheet"
    assert advice(["bezel#1", "lamp#1"], 0).endswith("print on a new sheet, or print fewer at once")
    assert advice(["bezel#1", "lamp#1"], None) == "print fewer at once"
    assert "tile = true" in advice(["bezel#1"], None)
