"""Hostile job files, records, placement files, readings and paths: refused in words, by name."""

import json
import os
import socket
from pathlib import Path

import pytest

from decalprep.cli import run
from decalprep.errors import DecalprepError, ExitCode, InputProblem, JobProblem
from decalprep.intake import read_artwork
from decalprep.intake.options import Limits
from decalprep.jobs.jobfile import read_job
from decalprep.jobs.schema import GRID, HOLE, JOB, PANEL, SHEET, Key
from decalprep.records import load_printer
from decalprep.units import parse_length_mm

SVG = (
    '<svg xmlns="http://www.w3.org/2000/svg" width="60mm" height="40mm" viewBox="0 0 60 40">'
    '<rect width="60" height="40" fill="#223"/></svg>'
)
PANEL_LINES = '[[panel]]\nname = "bilge"\nartwork = "bilge.svg"\n'
GRID_LINES = '[[sheet]]\nname = "s"\nsize = "A4"\nstock = "die-cut label stock"\n[sheet.grid]\n'
TABLES: dict[str, tuple[tuple[Key, ...], str]] = {
    "job": (JOB, "[job]\n{}" + PANEL_LINES),
    "sheet": (SHEET, '[[sheet]]\nsize = "A4"\n{}' + PANEL_LINES),
    "grid": (GRID, GRID_LINES + "{}" + PANEL_LINES),
    "panel": (PANEL, PANEL_LINES + "{}"),
    "hole": (HOLE, PANEL_LINES + "[[panel.hole]]\n{}"),
}
NUMBERS = ["nan", "inf", "-inf", "1e308", "-1e308", "9" * 400, '"nan mm"', '"inf mm"', '"1e999 mm"']


@pytest.fixture
def bench(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("DECALPREP_HOME", str(tmp_path / "records"))
    (tmp_path / "bilge.svg").write_text(SVG)
    return tmp_path


def takes_numbers(key: Key) -> bool:
    """Whether a key's own example holds a digit: a number, a length, or a list of them."""
    return any(c.isdigit() for c in key.example) and key.name not in ("name", "artwork", "part")


@pytest.mark.parametrize(
    ("table", "key"),
    [(t, k.name) for t, (keys, _) in TABLES.items() for k in keys if takes_numbers(k)],
)
def test_numbers_of_a_job_file(table: str, key: str, bench: Path) -> None:
    keys, form = TABLES[table]
    listed = next(k for k in keys if k.name == key).example.strip().startswith("[")
    if key == "size":
        return  # a page by name; its numbers are lengths, tested as such
    for value in NUMBERS:
        if key in ("title", "currency", "printer", "part_record", "label", "name", "sheets"):
            continue
        given = "[" + ", ".join([value] * 4) + "]" if listed else value
        (bench / "job.toml").write_text(form.format(f"{key} = {given}\n"))
        with pytest.raises(JobProblem) as caught:
            read_job(bench / "job.toml")
        assert f'"{key}"' in str(caught.value), (given, str(caught.value))


@pytest.mark.parametrize(
    "words",
    ["nan", "inf mm", "-inf", "1e999 mm", "NaN in", "infinity", "1e400", "9" * 5000 + " mm"],
)
def test_lengths_that_are_none(words: str) -> None:
    with pytest.raises(DecalprepError):
        parse_length_mm(words)


@pytest.mark.parametrize(
    "text",
    [
        "a = " + "[" * 100_000,
        "a = " + "{b=" * 50_000,
        "[" + ".".join(["a"] * 20_000) + "]",
        "a" * 900_000,
        "\0" * 1000,
        "[[panel]]\n" * 50_000,
        'x = """' + "\n" * 900_000,
    ],
    ids=["arrays", "tables", "dots", "letters", "zeros", "panels", "lines"],
)
def test_deep_and_long_job_files(text: str, bench: Path) -> None:
    (bench / "job.toml").write_text(text)
    with pytest.raises(JobProblem) as caught:
        read_job(bench / "job.toml")
    assert len(str(caught.value)) < 20_000


@pytest.mark.parametrize(
    "path",
    [
        "../secret.svg",
        "/etc/passwd",
        "a/../../secret.svg",
        "C:\\\\secret.svg",
        "..\\\\secret.svg",
        "\\\\\\\\server\\\\share\\\\a.svg",
        "link.svg",
        "folder/deep.svg",
    ],
)
def test_paths_may_not_leave_the_folder(path: str, tmp_path: Path) -> None:
    (tmp_path / "secret.svg").write_text(SVG)
    home = tmp_path / "home"
    home.mkdir()
    (tmp_path / "deep.svg").write_text(SVG)
    (home / "link.svg").symlink_to(tmp_path / "secret.svg")
    (home / "folder").symlink_to(tmp_path)
    (home / "job.toml").write_text(f'[[panel]]\nname = "p"\nartwork = "{path}"\n')
    with pytest.raises(JobProblem, match="artwork"):
        read_job(home / "job.toml")


@pytest.mark.parametrize(
    "name", ["CON", "nul", "com1.x", "a/b", "a\\\\b", "..", "p.", "p ", "x" * 81, "a:b", "what?"]
)
@pytest.mark.parametrize("table", ["panel", "sheet"])
def test_names_that_no_windows_folder_takes(table: str, name: str, bench: Path) -> None:
    if name == "p " or (table == "sheet" and name == "..x"):
        return  # white space round a name is taken off
    given = f'[[sheet]]\nname = "{name}"\n' + PANEL_LINES
    if table == "panel":
        given = f'[[panel]]\nname = "{name}"\nartwork = "bilge.svg"\n'
    (bench / "job.toml").write_text(given)
    with pytest.raises(JobProblem, match="name"):
        read_job(bench / "job.toml")


# ---------------------------------------------------------------- things that are no plain files


@pytest.mark.skipif(os.name != "posix", reason="pipes and devices are of POSIX systems")
def test_pipes_sockets_and_devices_are_not_read(bench: Path) -> None:
    os.mkfifo(bench / "pipe.svg")
    (bench / "ring.svg").symlink_to(bench / "ring.svg")
    held = socket.socket(socket.AF_UNIX)
    with held:
        os.chdir(bench)
        held.bind("door.svg")
        for path in (bench / "pipe.svg", bench / "door.svg", bench / "ring.svg", Path("/dev/zero")):
            with pytest.raises(InputProblem):
                read_artwork(path)


# ---------------------------------------------------------------- records, placements, readings


def record(bench: Path) -> dict[str, object]:
    """A record as the program itself wrote it."""
    readings = "across1=169.4 across2=169.5 down1=254.7 down2=254.6"
    readings += " diag1=277.0 diag1=276.9 diag2=276.8 diag2=276.9"
    assert run(["calibrate", "enter", "--printer", "office", readings]) == 0
    return dict(json.loads(found(bench).read_text()))


def found(bench: Path) -> Path:
    return next((bench / "records" / "printers").glob("*.json"))


def test_numbers_of_a_printer_record(bench: Path, capsys: pytest.CaptureFixture[str]) -> None:
    whole = record(bench)
    path = found(bench)
    numbers = [k for k, v in whole.items() if isinstance(v, float)]
    assert len(numbers) >= 6
    for key in numbers:
        for value in ("NaN", "Infinity", "-Infinity", "1e999", "9" * 400, "true", '"1"', "[]"):
            text = json.dumps({**whole, key: "HERE"}).replace('"HERE"', value)
            path.write_text(text)
            with pytest.raises(InputProblem, match=key):
                load_printer(path)
    (bench / "job.toml").write_text('[[sheet]]\nprinter = "office"\n' + PANEL_LINES)
    assert run(["make", "job.toml"]) == ExitCode.INPUT
    assert not (bench / "job-out").exists()
    assert "fault of decalprep" not in capsys.readouterr().err


@pytest.mark.parametrize(
    "text",
    ["", "{", "[]", "null", "[" * 100_000, '{"kind": ' * 50_000, "\0", "9" * 5000, '"\\ud800"'],
)
def test_broken_printer_records(text: str, bench: Path) -> None:
    path = bench / "records" / "printers" / "a.json"
    path.parent.mkdir(parents=True)
    path.write_text(text)
    with pytest.raises(InputProblem):
        load_printer(path)
    assert run(["calibrate", "show", "office"]) == ExitCode.INPUT


@pytest.mark.parametrize(
    "change",
    [
        {"x_mm": "NaN"},
        {"y_mm": "Infinity"},
        {"turn_deg": "1e999"},
        {"x_mm": "9" * 400},
        {"sheet": "99999999999"},
        {"sheet": "-1"},
        {"copy": "1e300"},
        {"decal": '"../../x"'},
        {"x_mm": "[" * 50_000},
        {"turn_deg": "33.3"},
        {"x_mm": "-500"},
    ],
    ids=str,
)
def test_placement_files_that_cannot_be(
    change: dict[str, str], bench: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """What cannot be is not used: the piece is laid anew, or it is told."""
    from decalprep.jobs.placements import kept_from, read_kept

    good = {
        "decalprep placements": 1,
        "sheets": [{"name": "A4 plain paper", "rules": "x"}],
        "placements": [
            {
                "decal": "p",
                "copy": 1,
                "sheet": 1,
                "x_mm": 10,
                "y_mm": 10,
                "turn_deg": 0,
                "shape": "s",
            }
        ],
    }
    assert kept_from(good).placements
    key, value = next(iter(change.items()))
    good["placements"][0][key] = "HERE"  # type: ignore[index]
    path = bench / "job.placements.json"
    path.write_text(json.dumps(good).replace('"HERE"', value))
    kept, told = read_kept(path, "job")
    if kept is None:
        assert told[0].code == "placements-unread"
    else:
        assert key in ("decal", "turn_deg", "x_mm", "copy")  # judged later, by the nest checker


@pytest.mark.parametrize(
    "words",
    [
        "across1=nan across2=169.5",
        "across1=inf",
        "across1=1e999",
        "across1=-1e308",
        "across1=" + "9" * 4000,
        "across1=" + "9" * 5000,
        "=",
        "across1",
        "across1==5",
        "a" * 100_000 + "=5",
        "across1=0x10 down1=1_0",
    ],
)
def test_readings_that_are_none(
    words: str, bench: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    code = run(["calibrate", "enter", "--printer", "office", words])
    shown = capsys.readouterr().err
    assert code in (ExitCode.USAGE, ExitCode.READINGS), shown
    assert "fault of decalprep" not in shown
    assert not (bench / "records" / "printers").exists()


@pytest.mark.parametrize(
    ("args", "code"),
    [
        (["make", "job.toml", "--dpi", "nan"], ExitCode.USAGE),
        (["make", "job.toml", "--dpi", "inf"], ExitCode.USAGE),
        (["look", "bilge.svg", "--width", "nan mm"], ExitCode.USAGE),
        (["look", "bilge.svg", "--width", "1e999 mm"], ExitCode.USAGE),
        (["look", "bilge.svg", "--page", "99999999999999999999"], ExitCode.OK),
        (["look", "\x01\x02"], ExitCode.INPUT),
        (["look", "x" * 5000], ExitCode.INPUT),
        (["make", "x" * 5000], ExitCode.JOB),
        (["measure", "job.toml", "bilge.svg", "--sheet", "0"], ExitCode.USAGE),
        (["unpack", "bilge.svg", "out"], ExitCode.INPUT),
    ],
)
def test_options_that_are_none(
    args: list[str], code: int, bench: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    (bench / "job.toml").write_text(PANEL_LINES)
    assert run(args) == code
    assert "fault of decalprep" not in capsys.readouterr().err


def test_limits_are_what_the_contributors_guide_says() -> None:
    guide = (Path(__file__).parent.parent / "DEVELOPERS.md").read_text(encoding="utf-8")
    for name, value in vars(Limits()).items():
        assert f"| `{name}` | {value:,} |" in guide, name
