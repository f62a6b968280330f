"""Tiles beside whole decals, copies, turns, and what cannot be avoided is told."""

import io
from pathlib import Path

import pytest
from PIL import Image, ImageDraw
from reportlab.pdfgen.canvas import Canvas

from decalprep.errors import DecalprepError, JobProblem
from decalprep.export import write_pdf
from decalprep.jobs.groups import Effort
from decalprep.jobs.jobfile import read_job
from decalprep.jobs.lay import Laid, lay_out
from decalprep.jobs.make import compose
from decalprep.jobs.outputs import proven
from decalprep.jobs.prepare import prepare_panel
from decalprep.jobs.spec import Job
from decalprep.jobs.tiling import Pieces, pieces_of
from decalprep.model import Layer, StrokeMark

MM = 72 / 25.4


def quiet(words: str) -> None:
    """Progress that nobody sees."""


def plate(path: Path, width: float, height: float, spots: tuple[tuple[float, float], ...]) -> None:
    """A dark plate as a PDF page of true size with white dots."""
    canvas = Canvas(str(path), pagesize=(width * MM, height * MM), invariant=1)
    canvas.setFillColorRGB(0.12, 0.16, 0.2)
    canvas.rect(0, 0, width * MM, height * MM, stroke=0, fill=1)
    canvas.setFillColorRGB(1, 1, 1)
    for x, y in spots:
        canvas.circle(x * MM, y * MM, 2 * MM, stroke=0, fill=1)
    canvas.save()


def job(folder: Path, panels: str, sheet: str = 'size = "A4"') -> Job:
    path = folder / "job.toml"
    path.write_text(f"[job]\npasses = 4\n[[sheet]]\n{sheet}\n{panels}")
    return read_job(path)


LONG = '[[panel]]\nname = "rail"\nartwork = "rail.pdf"\noutline_from = "page"\ntile = true\n'
SMALL = '[[panel]]\nname = "lamp"\nartwork = "lamp.pdf"\noutline_from = "page"\n'


def made(found: Job) -> tuple[Pieces, Laid]:
    prepared = [prepare_panel(panel, found, None, quiet) for panel in found.panels]
    pieces = pieces_of(prepared, found)
    return pieces, lay_out(pieces.decals, found, None, Effort(quiet))


def proof_of(found: Job, pieces: Pieces, laid: Laid):  # type: ignore[no-untyped-def]
    records = {spec.sheet.name: None for spec in found.sheets}
    drawings, _ = compose(found, pieces, laid, records, ())
    return drawings, proven(write_pdf(drawings), pieces.all, laid, drawings, found)


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    plate(tmp_path / "rail.pdf", 400, 60, tuple((x, 30.0) for x in range(20, 400, 40)))
    plate(tmp_path / "lamp.pdf", 50, 40, ((10, 10),))
    return tmp_path


def test_tiles_and_whole_decals_share_a_sheet(folder: Path) -> None:
    found = job(folder, LONG + "copies = 2\n" + SMALL)
    pieces, laid = made(found)
    names = {d.name for d in pieces.decals}
    assert names == {"rail tile 1/2", "rail tile 2/2", "lamp"}
    assert len(laid.placements) == 5
    assert len(laid.sheets) == laid.lower_bound == 2
    (lamp,) = (p.sheet_index for p in laid.placements if p.decal == "lamp")
    assert [p for p in laid.placements if p.sheet_index == lamp and p.decal != "lamp"]
    drawings, proof = proof_of(found, pieces, laid)
    assert proof.worst_mm <= 0.02
    words = [i.text for d in drawings for i in d.items if hasattr(i, "text")]
    assert "rail, tile 2 of 2, over tile 1, copy 2 of 2" in words


def test_upright_tiles_are_not_turned(folder: Path) -> None:
    pieces, laid = made(job(folder, LONG + 'turns = "upright"\n'))
    assert len(pieces.decals) == 3
    assert {p.turn_deg for p in laid.placements} == {0.0}


def test_a_hole_that_no_seam_can_avoid_is_told_and_still_cut_and_proven(folder: Path) -> None:
    hole = '[[panel.hole]]\nx = "200 mm"\ny = "30 mm"\ndiameter = "45 mm"\nlabel = "compass"\n'
    wide = 'name = "short"\nsize = "70 x 245 mm"\nmargin = "3 mm"'
    many = "".join(
        hole.replace('"200 mm"', f'"{x} mm"').replace("compass", f"gauge {x}")
        for x in range(30, 400, 47)
    )
    found = job(folder, LONG + many, wide)
    pieces, laid = made(found)
    codes = {n.code: n for n in pieces.panels[0].notices}
    assert "gauge" in codes["seam-through-hole"].text
    assert any(len(one.bare) > 2 for one in pieces.all)
    drawings, proof = proof_of(found, pieces, laid)
    assert proof.worst_mm <= 0.02
    dashed = [
        i
        for d in drawings
        for i in d.items
        if isinstance(i, StrokeMark) and i.layer is Layer.TILE_MARK and i.dash_mm
    ]
    assert len(dashed) >= 4


def test_a_picture_is_tiled_where_it_is_plain(tmp_path: Path) -> None:
    picture = Image.new("RGB", (4000, 500), (20, 40, 60))
    pen = ImageDraw.Draw(picture)
    for x in range(0, 4000, 10):
        if not 2300 <= x <= 2450:
            pen.line((x, 100, x + 5, 400), fill=(240, 240, 240), width=3)
    data = io.BytesIO()
    picture.save(data, "PNG", dpi=(254, 254))
    (tmp_path / "rail.png").write_bytes(data.getvalue())
    found = job(tmp_path, LONG.replace("rail.pdf", "rail.png"))
    pieces, _ = made(found)
    assert len(pieces.decals) == 2
    assert 230 <= pieces.decals[1].outline.box.x0 <= 245
    assert not [n for n in pieces.panels[0].notices if n.code == "seam-through-legend"]


def test_too_large_an_overlap_for_the_sheet_is_refused(folder: Path) -> None:
    found = job(folder, LONG + 'overlap = "50 mm"\n', 'size = "70 x 70 mm"\nmargin = "3 mm"')
    prepared = [prepare_panel(panel, found, None, quiet) for panel in found.panels]
    with pytest.raises(DecalprepError, match="shorter overlap"):
        pieces_of(prepared, found)


def test_overlap_without_tiles_is_a_fault_of_the_job_file(folder: Path) -> None:
    with pytest.raises(JobProblem, match="add tile = true"):
        job(folder, SMALL + 'overlap = "8 mm"\n')
    with pytest.raises(JobProblem, match="from 3 to 50 mm"):
        job(folder, LONG + 'overlap = "1 mm"\n')


def test_the_same_job_gives_the_same_tiles(folder: Path) -> None:
    found = job(folder, LONG)
    assert made(found)[1].placements == made(found)[1].placements
