"""The size from what a person knows: a length between two points or two circles of the drawing."""

from pathlib import Path

import pytest
from PIL import Image

from decalprep.errors import JobProblem
from decalprep.jobs.jobfile import read_job
from decalprep.jobs.look import look_at
from decalprep.jobs.prepare import prepare_panel
from decalprep.model import Severity

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


@pytest.mark.parametrize(("said", "told"), [('width = "60 mm"', True), ("", False)])
def test_a_stated_width_is_of_the_page_and_the_decals_own_is_told_beside_it(
    tmp_path: Path, said: str, told: bool
) -> None:
    """A picture of 600 x 400 pixels whose decal is the 500 x 300 in its middle."""
    picture = Image.new("RGBA", (600, 400))
    picture.paste((20, 30, 60, 255), (50, 50, 550, 350))
    picture.save(tmp_path / "a.png", dpi=(254, 254))
    path = tmp_path / "job.toml"
    path.write_text(f'[[panel]]\nname = "helm"\nartwork = "a.png"\n{said}\n')
    read = read_job(path)
    made = prepare_panel(read.panels[0], read, None, lambda _: None)
    assert any("size of the whole page 60.000 x 40.000 mm" in s for s in made.sources)
    assert any(s.startswith("outline 50.0") and " x 30.0" in s for s in made.sources)
    notices = [n for n in made.notices if n.code == "page-is-not-decal"]
    assert [n.severity for n in notices] == [Severity.WARNING] * told
    if told:
        assert "the whole picture, 60.00 x 40.00 mm; the decal found in it is 50.0" in (
            notices[0].text
        )
