"""The whole way: the demo in an empty folder, its proof, its bytes, and how others draw it."""

import json
import os
import re
import shutil
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest
from hostile_runs import shared_runs
from PIL import Image
from small_job import small_files

import decalprep
from decalprep.geometry import Affine

ROOT = Path(decalprep.__file__).parent.parent


SHEET = '[[sheet]]\nname = "small label"\nsize = "100 x 100 mm"\nstock = "full-sheet label stock"\n'
WINCH_PANEL = """
[[panel]]
name = "winch"
artwork = "winch.svg"
part = "winch-plate.dxf"
backlit = true
masks = true
"""
BEZEL_PANEL = '[[panel]]\nname = "bezel"\nartwork = "bezel.pdf"\n'
ALARMS_PANEL = '[[panel]]\nname = "alarms"\nartwork = "alarms.png"\ncopies = 2\n'


def run(folder: Path, *args: str) -> subprocess.CompletedProcess[str]:
    """The command line in a process of its own, with records of its own."""
    env = {**os.environ, "DECALPREP_HOME": str(folder / "records"), "PYTHONPATH": str(ROOT)}
    return subprocess.run(
        [sys.executable, "-m", "decalprep.cli", *args],
        cwd=folder,
        env=env,
        capture_output=True,
        text=True,
        timeout=300,
        check=False,
    )


@pytest.fixture(scope="module")
def demo(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """An empty folder in which the README's demo command was run."""
    folder = tmp_path_factory.mktemp("new user")
    done = run(folder, "demo")
    assert done.returncode == 0, done.stderr
    assert "proof passed" in done.stdout
    return folder


def test_the_demo_is_proven_and_tells_what_it_did(demo: Path) -> None:
    result = json.loads((demo / "demo-out" / "result.json").read_text(encoding="utf-8"))
    assert result["proof"]["passed"] is True
    assert result["proof"]["worst_mm"] <= 0.02
    assert len(result["placements"]) == 8
    assert result["sheets"]["count"] >= result["sheets"]["lower_bound"]
    text = (demo / "demo-out" / "proof.txt").read_text(encoding="utf-8")
    assert "hairline stripped" in text
    assert max(map(len, text.splitlines())) <= 80


def test_the_demo_has_a_picture_of_every_sheet(demo: Path) -> None:
    out = demo / "demo-out"
    count = json.loads((out / "result.json").read_text())["sheets"]["count"]
    for k in range(1, count + 1):
        with Image.open(out / f"sheet-{k}.png") as picture:
            assert picture.size == (1241, 1754)  # A4 at 150 px an inch, last pixels in part


def test_the_demo_shows_six_different_outlines_in_three_formats(demo: Path) -> None:
    panels = json.loads((demo / "demo-out" / "result.json").read_text())["panels"]
    assert {Path(p["artwork"]).suffix for p in panels} == {".svg", ".pdf", ".png"}
    picture = next(p for p in panels if p["artwork"].endswith(".png"))
    assert any("painted in a picture are not seen" in words for words in picture["sources"])
    assert len(panels) >= 6
    kinds = {h["kind"] for p in panels for h in p["holes"]}
    assert {"screw", "switch"} <= kinds


@pytest.fixture(scope="module")
def small(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A small job of the kinds that the demo has, made."""
    folder = tmp_path_factory.mktemp("small")
    small_files(folder)
    (folder / "job.toml").write_text(SHEET + WINCH_PANEL + BEZEL_PANEL + ALARMS_PANEL)
    done = shared_runs().run(["make", "job.toml"], folder)
    assert done.code == 0, done.err
    return folder


def test_the_same_job_gives_the_same_bytes(small: Path, tmp_path: Path) -> None:
    """In another process, whose sets are in another order."""
    for name in ("job.toml", "winch.svg", "winch-plate.dxf", "bezel.pdf", "alarms.png"):
        shutil.copy(small / name, tmp_path / name)
    done = run(tmp_path, "make", "job.toml")
    assert done.returncode == 0, done.stderr
    before, after = (
        {p.relative_to(f).as_posix(): p.read_bytes() for p in f.rglob("*") if p.is_file()}
        for f in (small / "job-out", tmp_path / "job-out")
    )
    assert {"sheets.pdf", "underlays.pdf", "paint-masks.pdf", "report.html"} <= before.keys()
    assert after.keys() == before.keys()
    for name, data in before.items():
        assert after[name] == data, name


def test_a_later_run_keeps_what_was_laid(small: Path, tmp_path: Path) -> None:
    """One panel of the job alone, with one copy more: the two that were there stay."""
    later = tmp_path / "later"
    shutil.copytree(small, later)
    alarms = ALARMS_PANEL.replace("copies = 2", "copies = 3")
    (later / "job.toml").write_text(SHEET + alarms)
    done = shared_runs().run(["make", "job.toml", "--json"], later)
    assert done.code == 0, done.err
    told = (done.out, (small / "job-out" / "result.json").read_text())
    places = [
        [{k: v for k, v in place.items() if k != "sheet"} for place in json.loads(t)["placements"]]
        for t in told
    ]
    kept = [place for place in places[1] if place["decal"] == places[0][0]["decal"]]
    assert len(kept) == 2
    assert all(place in places[0] for place in kept)
    assert len(places[0]) == 3


def ink_of_cut_lines(picture: Image.Image) -> np.ndarray:
    """Pixels that are the blue of the cut lines, not grey and not dark."""
    r, g, b = (np.asarray(picture.getchannel(k)) for k in "RGB")
    return (b > r) & (b - r > 60) & (b > g)  # the difference stays over zero where b > r


@pytest.mark.parametrize("program", ["pdftoppm", "mutool"])
def test_a_second_renderer_sees_the_outlines_where_they_should_be(
    demo: Path, tmp_path: Path, program: str
) -> None:
    """Independent of our own renderer: poppler and mupdf, where installed."""
    if shutil.which(program) is None:
        pytest.skip(f"{program} is not installed (poppler-utils or mupdf-tools)")
    dpi = 300
    out = demo / "demo-out"
    result = json.loads((out / "result.json").read_text())
    drawn = tmp_path / "page.ppm"  # pixels as they are: packing so many takes longer than drawing
    sheets, first = str(out / "sheets.pdf"), ["-f", "1", "-l", "1"]
    if program == "pdftoppm":
        options = ["-r", str(dpi), *first, "-singlefile", sheets, str(drawn.with_suffix(""))]
    else:
        options = ["draw", "-q", "-r", str(dpi), "-F", "ppm", "-o", str(drawn), sheets, "1"]
    command = [program, *options]
    subprocess.run(command, check=True, capture_output=True, timeout=120)
    Image.MAX_IMAGE_PIXELS = None
    with Image.open(drawn) as picture:
        ink = ink_of_cut_lines(picture.convert("RGB"))
    height_mm = ink.shape[0] * 25.4 / dpi
    panels = {p["name"]: p for p in result["panels"]}
    checked = 0
    for place in result["placements"]:
        name = place["decal"]
        if place["sheet"] != 1 or name == "alarms":
            continue  # the strip's edge is traced: its own tests measure it
        width, height = panels[name]["outline_mm"]
        turn = Affine.translation(place["x_mm"], place["y_mm"]) @ Affine.rotation(place["turn_deg"])
        # places where the outline has a straight or tangent side, whatever the panel's shape
        for x, y in ((0, height * 0.2), (width * 0.2, 0)):
            at = turn.apply(x, y)
            across = abs(turn.apply(x + 1, y)[0] - at[0]) > 0.5
            if x == 0:
                off = line_offset(ink, at, height_mm, dpi, sideways=across)
            else:
                off = line_offset(ink, at, height_mm, dpi, sideways=not across)
            assert abs(off) < 0.06, (name, x, y)  # a pixel is 0.085 mm
            checked += 1
    assert checked >= 6


def line_offset(
    ink: np.ndarray, at: tuple[float, float], height_mm: float, dpi: float, *, sideways: bool
) -> float:
    """How far the middle of the cut line lies from a point on it, across the line, in mm."""
    column, row = at[0] * dpi / 25.4, (height_mm - at[1]) * dpi / 25.4
    reach, along = round(0.6 * dpi / 25.4), round(1.0 * dpi / 25.4)
    dx, dy = (reach, along) if sideways else (along, reach)
    rows = slice(round(row) - dy, round(row) + dy)
    columns = slice(round(column) - dx, round(column) + dx)
    found = np.argwhere(ink[rows, columns])
    assert len(found), "no cut line here"
    middle = found.mean(axis=0) + 0.5
    where = middle[1] + columns.start if sideways else middle[0] + rows.start
    return (where - (column if sideways else row)) * 25.4 / dpi


def test_the_readme_gives_two_commands_and_they_name_real_things() -> None:
    text = (ROOT / "README.md").read_text(encoding="utf-8")
    commands = re.findall(r"<!-- (demo|tests) -->\n```sh\n(.+?)\n```\n<!-- end -->", text)
    assert [name for name, _ in commands] == ["demo", "tests"]
    assert all(line.startswith("python3 -m venv .venv && ") for _, line in commands)
    assert commands[0][1].endswith("decalprep demo")
    assert commands[1][1].endswith("python -m pytest")
    for picture in re.findall(r"!\[.*?\]\((.+?)\)", text):
        assert (ROOT / picture).is_file(), picture


def test_every_command_line_in_the_readme_is_one_that_exists() -> None:
    import click

    from decalprep.cli import COMMANDS, group

    text = (ROOT / "README.md").read_text(encoding="utf-8")
    lines = [s.removeprefix("decalprep ") for s in text.splitlines() if s.startswith("decalprep ")]
    assert len(lines) >= 6
    context = click.Context(group)
    for line in lines:
        words = line.split()
        if words[0] not in COMMANDS:
            continue  # prose that begins with the project's name
        command = group.get_command(context, words[0])
        if isinstance(command, click.Group):
            command = command.get_command(context, words[1])
        assert command is not None, line
        known = {option for p in command.params for option in (*p.opts, *p.secondary_opts)}
        assert {w for w in words if w.startswith("--")} <= known, line
