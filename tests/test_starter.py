"""A job file to start from: what the files say is filled in and told, the rest left as comments."""

import tomllib
from pathlib import Path

import pytest

from decalprep.cli import run
from decalprep.jobs.jobfile import read_job
from decalprep.jobs.parts import hole_lines
from decalprep.jobs.prepare import prepare_panel
from decalprep.jobs.starter import start_job

LAYERED = """<svg xmlns="http://www.w3.org/2000/svg" {size}viewBox="0 0 60 40">
<g id="ground"><rect width="60" height="40" fill="#223"/></g>
<g id="construction"><path d="M5 5H30" stroke="#fff"/></g>
<g id="holes"><circle cx="15" cy="10" r="2.5"/><circle cx="50" cy="30" r="2.5"/></g>
<g id="cut"><rect x="1" y="2" width="58" height="36" fill="none" stroke="#000"/></g></svg>
"""
PLAIN = (
    '<svg xmlns="http://www.w3.org/2000/svg" width="60mm" height="40mm" viewBox="0 0 60 40">'
    '<rect width="60" height="40" fill="#223"/></svg>'
)


@pytest.fixture
def folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.chdir(tmp_path)
    (tmp_path / "bilge.svg").write_text(LAYERED.format(size='width="60mm" height="40mm" '))
    (tmp_path / "fire.svg").write_text(PLAIN)
    (tmp_path / "bare.svg").write_text(LAYERED.format(size=""))
    return tmp_path


def started(*names: str) -> tuple[list[dict[str, object]], str, str]:
    made = start_job([Path(name) for name in names], Path("job.toml"))
    panels: list[dict[str, object]] = tomllib.loads(made.text)["panel"]
    return panels, made.text, "\n".join(made.notes)


def test_layers_for_the_knife_are_filled_in_and_told(folder: Path) -> None:
    (bilge, fire), text, notes = started("bilge.svg", "fire.svg")
    assert (bilge["outline_layer"], bilge["hole_layer"]) == ("cut", "holes")
    assert "bilge.svg: the cut outline is on layer 'cut' and 2 holes on layer 'holes'" in notes
    assert '# hide_layers = ["construction"]' in text
    assert "'construction' will be printed" in notes
    assert not {"outline_layer", "hole_layer", "hide_layers"} & set(fire)
    assert "fire.svg: the cut" not in notes
    assert '# outline_layer = "cut"' in text


def test_a_file_without_a_size_asks_for_one(folder: Path) -> None:
    (bare,), text, notes = started("bare.svg")
    assert bare["outline_layer"] == "cut"
    assert '# width = "120 mm"          # NEEDED' in text
    assert "bare.svg: does not say how large it is" in notes


def test_parts_go_with_the_artwork_of_their_name(folder: Path) -> None:
    for name in ("bilge-face.stl", "bilge-other.stl", "bilge-back.stl", "winch.stl", "fire.dxf"):
        (folder / name).write_text("")
    names = ("bilge.svg", "fire.svg", "bilge-face.stl", "bilge-other.stl", "bilge-back.stl")
    (bilge, fire), _, notes = started(*names, "winch.stl", "fire.dxf", "fire.svg")
    assert (bilge["part"], bilge["back_part"]) == ("bilge-face.stl", "bilge-back.stl")
    assert fire["part"] == "fire.dxf"
    assert "bilge-other.stl: bilge.svg has a part already" in notes
    assert "winch.stl: goes with no artwork" in notes


def test_what_new_writes_is_told_and_read_back(
    folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert run(["new", "bilge.svg"]) == 0
    assert "filled in (not printed)" in " ".join(capsys.readouterr().out.split())
    job = read_job(folder / "job.toml")
    assert job.panels[0]["hole_layer"] == "holes"


def test_holes_are_listed_from_the_corner_of_the_outline(folder: Path) -> None:
    """By hand: the outline's box is from (1, 2) to (59, 38), y up; the holes (15, 30), (50, 10)."""
    (folder / "job.toml").write_text('[[panel]]\nname = "bilge"\nartwork = "bilge.svg"\n')
    job = read_job(folder / "job.toml")
    lines = hole_lines(prepare_panel(job.panels[0], job, None, lambda _: None).decal)
    head = " ".join(lines[:2])
    assert "lower left corner of the box round its cut outline, which is 58.00 x 36.00 mm" in head
    assert "x to the right and y up" in head
    assert lines[-2].split()[:4] == ["H1", "14.00", "28.00", "5.00"]
    assert lines[-1].split()[:4] == ["H2", "49.00", "8.00", "5.00"]
    assert max(map(len, lines)) <= 80
