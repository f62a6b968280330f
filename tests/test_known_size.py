"""The size from what a person knows: a length between two points or two circles of the drawing."""

from pathlib import Path

import pytest

from decalprep.errors import JobProblem
from decalprep.jobs.jobfile import read_job
from decalprep.jobs.look import look_at
from decalprep.jobs.prepare import prepare_panel

SVG = (
    '<svg xmlns="http://www.w3.org/2000/svg" width="100mm" height="50mm" viewBox="0 0 100 50">'
    '<rect width="100" height="50" fill="#223"/>'
    '<circle cx="10" cy="25" r="3" fill="#fff"/><circle cx="90" cy="25" r="3" fill="#fff"/></svg>'
)


def job(folder: Path, keys: str) -> Path:
    (folder / "helm.svg").write_text(SVG)
    path = folder / "job.toml"
    path.write_text(f'[[panel]]\nname = "helm"\nartwork = "helm.svg"\n{keys}\n')
    return path


@pytest.mark.parametrize(
    "keys",
    [
        'known_circles = [1, 2]\nknown_distance = "81.6 mm"',
        # 10 and 90 mm from the left, 25 mm up, in points of 1/72 in
        'known_points = [28.346457, 70.866142, 255.118110, 70.866142]\nknown_distance = "81.6 mm"',
        "scale = 1.02",
        'width = "102 mm"',
        'height = "51 mm"',
    ],
)
def test_what_is_known_of_the_drawing_sets_its_size(tmp_path: Path, keys: str) -> None:
    read = read_job(job(tmp_path, keys))
    made = prepare_panel(read.panels[0], read, None, lambda _: None)
    assert made.decal.artwork.width_mm == pytest.approx(102.0, abs=1e-3)
    assert made.decal.artwork.height_mm == pytest.approx(51.0, abs=1e-3)
    assert made.decal.outline.box.width == pytest.approx(102.0, abs=2e-3)


def test_look_numbers_the_circles(tmp_path: Path) -> None:
    job(tmp_path, "")
    lines = look_at(tmp_path / "helm.svg").lines
    assert lines[-3:] == (
        "circles: 2, in mm from the lower left corner, x to the right, y upward",
        "  1: at 10.000, 25.000, 6.000 across",
        "  2: at 90.000, 25.000, 6.000 across",
    )


@pytest.mark.parametrize(
    "keys",
    [
        'known_distance = "80 mm"',
        "known_circles = [1, 2]",
        'known_circles = [1, 2]\nknown_points = [0, 0, 9, 9]\nknown_distance = "80 mm"',
        'known_circles = [1, 2]\nknown_distance = "80 mm"\nwidth = "100 mm"',
        'known_points = [0, 0, 9]\nknown_distance = "80 mm"',
        'known_points = [0, 0, 9, nan]\nknown_distance = "80 mm"',
    ],
)
def test_half_said_or_twice_said_is_a_fault(tmp_path: Path, keys: str) -> None:
    with pytest.raises(JobProblem) as caught:
        read_job(job(tmp_path, keys))
    assert any("known_" in fault for fault in caught.value.faults)


def test_two_sides_of_another_ratio_need_the_word_stretch(tmp_path: Path) -> None:
    sides = 'width = "102 mm"\nheight = "50 mm"\n'
    read = read_job(job(tmp_path, sides))
    with pytest.raises(Exception, match="stretch|ratio|height"):
        prepare_panel(read.panels[0], read, None, lambda _: None)
    read = read_job(job(tmp_path, sides + "stretch = true"))
    made = prepare_panel(read.panels[0], read, None, lambda _: None)
    assert made.decal.artwork.height_mm == pytest.approx(50.0, abs=1e-3)
