"""Looking at a file: what it holds is told as a person sees it, even where no size is stated."""

from pathlib import Path

import ezdxf
import pytest
from mesh_parts import plate
from PIL import Image
from reportlab.pdfgen.canvas import Canvas

from decalprep.errors import NoSize
from decalprep.geometry import Box
from decalprep.jobs.look import look_at, text_runs
from decalprep.pdfstream import ShownText
from decalprep.pdfstream.colour import BLACK
from decalprep.units import PT_PER_IN

MM = PT_PER_IN / 25.4


def canvas(path: Path) -> Canvas:
    """A page of 100 x 50 mm by a common PDF writer."""
    return Canvas(str(path), pagesize=(100 * MM, 50 * MM), invariant=1)


def test_circles_by_a_common_writer_are_numbered_however_they_are_painted(tmp_path: Path) -> None:
    """Its circles are four curves whose ends meet; stroked ones have no closing operator."""
    page = canvas(tmp_path / "a.pdf")
    page.circle(10 * MM, 25 * MM, 3 * MM, stroke=0, fill=1)
    page.circle(50 * MM, 25 * MM, 2.5 * MM, stroke=1, fill=1)
    page.circle(90 * MM, 25 * MM, 3 * MM, stroke=1, fill=0)
    page.arc(20 * MM, 5 * MM, 30 * MM, 15 * MM, 0, 300)  # not all the way round
    page.ellipse(60 * MM, 5 * MM, 80 * MM, 10 * MM)
    page.save()
    lines = look_at(tmp_path / "a.pdf").lines
    assert lines[-4:] == (
        "circles: 3, in mm from the lower left corner, x to the right, y upward",
        "  1: at 10.000, 25.000, 6.000 across",
        "  2: at 50.000, 25.000, 5.000 across",
        "  3: at 90.000, 25.000, 6.000 across",
    )


def test_a_word_shown_letter_by_letter_is_one_run(tmp_path: Path) -> None:
    page = canvas(tmp_path / "a.pdf")
    page.setFont("Helvetica", 9)
    for row, words in enumerate(("BILGE PUMP", "HELM", "FIRE AND ANCHOR")):
        x = 20 * MM
        for letter in words:
            page.drawString(x, (40 - 12 * row) * MM, letter)
            x += page.stringWidth(letter, "Helvetica", 9)
    page.drawString(5 * MM, 5 * MM, "PORT")
    page.drawString(40 * MM, 5 * MM, "STBD")
    page.save()
    assert "text: 5 runs in 1 font" in look_at(tmp_path / "a.pdf").lines


def shown(text: str, box: Box, *, font: str = "F", size_pt: float = 9.0) -> ShownText:
    return ShownText(text, font, size_pt, box, 0, None, True, BLACK)


@pytest.mark.parametrize(
    ("second", "runs"),
    [
        (shown("B", Box(6, 0, 12, 9)), 1),
        (shown("B", Box(0, -10, 6, -1)), 1),  # turned a quarter, letter by letter
        (shown("B", Box(4, 3, 11, 13)), 1),  # aslant
        (shown("B", Box(30, 0, 36, 9)), 2),  # far on
        (shown("B", Box(6, 0, 12, 9), font="G"), 2),
        (shown("B", Box(6, 0, 12, 7), size_pt=7), 2),
        (shown("  ", Box(6, 0, 12, 9)), 1),
    ],
)
def test_what_follows_on(second: ShownText, runs: int) -> None:
    assert text_runs((shown("A", Box(0, 0, 6, 9)), second)) == runs


def test_two_lines_of_a_paragraph_are_two_runs() -> None:
    lines = (shown("ENGINE", Box(0, 12, 40, 21)), shown("ROOM", Box(0, 1, 30, 10)))
    assert text_runs(lines) == 2


def test_a_picture_without_a_density_tells_its_pixels(tmp_path: Path) -> None:
    Image.new("RGB", (640, 480), (20, 30, 60)).save(tmp_path / "a.png")
    looked = look_at(tmp_path / "a.png")
    assert looked.lines[:2] == (
        "a.png (raster): 640 x 480 px",
        'no size stated: give width = "... mm" in the job, of the whole picture',
    )
    assert not looked.notices
    assert "at true size" not in " ".join(looked.lines)
    sized = look_at(tmp_path / "a.png", width_mm=64)
    assert sized.lines[0] == "a.png (raster): 64.000 x 48.000 mm, the whole page"


def test_a_drawing_without_a_unit_tells_its_numbers(tmp_path: Path) -> None:
    document = ezdxf.new(units=0)
    space = document.modelspace()
    space.add_lwpolyline([(0, 0), (60, 0), (60, 40), (0, 40)], close=True)
    space.add_circle((10, 10), 3)
    document.saveas(tmp_path / "a.dxf")
    lines = look_at(tmp_path / "a.dxf").lines
    assert lines[0] == "a.dxf (dxf): 60 x 40 drawing units"
    assert "part_unit" in lines[1]
    assert lines[-1] == "  1: at 10.000, 10.000, 6.000 across"


def test_a_drawing_of_no_proportions_is_still_refused(tmp_path: Path) -> None:
    svg = '<svg xmlns="http://www.w3.org/2000/svg" width="9mm"><rect width="9" height="9"/></svg>'
    (tmp_path / "a.svg").write_text(svg)
    with pytest.raises(NoSize, match="add height or a viewBox"):
        look_at(tmp_path / "a.svg")


def test_a_part_tells_its_face_and_what_was_healed(tmp_path: Path) -> None:
    mesh = plate()
    mesh.faces[5] = mesh.faces[5][::-1]  # one facet looks inward
    (tmp_path / "a.stl").write_bytes(mesh.export(file_type="stl"))
    looked = look_at(tmp_path / "a.stl")
    assert all(len(line) <= 80 for line in looked.lines)
    assert looked.lines[0].startswith("a.stl (part): 80.000 x 40.000 mm, flat face that looks")
    assert "holes: 3, in mm from the lower left corner, x to the right, y upward" in looked.lines
    assert "mesh-healed" in {n.code for n in looked.notices}
