"""A decal larger than every sheet, through the whole job: its tiles make the whole picture again.

The tiles are taken from the finished PDF as another renderer draws it (poppler's pdftoppm, else
mupdf's mutool, else pdfium), laid one over the other in the order of their numbers by their
placements, and compared with the artwork drawn by itself.
"""

import io
import shutil
import subprocess
from dataclasses import dataclass, replace
from itertools import pairwise
from pathlib import Path

import numpy as np
import pytest
import shapely
from PIL import Image
from scipy.ndimage import maximum_filter, minimum_filter
from tile_cases import FIRST_MM, PITCH_MM, WIDE_MM, console_top, tile_job

from decalprep.errors import DoesNotFit
from decalprep.export import write_pdf
from decalprep.geometry import Affine
from decalprep.jobs.groups import Effort
from decalprep.jobs.jobfile import read_job
from decalprep.jobs.lay import Laid, lay_out
from decalprep.jobs.make import compose
from decalprep.jobs.outputs import proven
from decalprep.jobs.prepare import Prepared, prepare_panel
from decalprep.jobs.spec import Job
from decalprep.jobs.tiling import Pieces, pieces_of
from decalprep.model import Drawing, Layer, PartRecord, PlacedArtwork, PrinterRecord, StrokeMark

DPI = 150.0
FINE = 2
"""Pages are drawn so many times finer and averaged, since renderers shift letters to pixels."""
PX_MM = 25.4 / DPI


def quiet(words: str) -> None:
    """Progress that nobody sees."""


@dataclass
class Case:
    """A prepared console top in a folder of its own."""

    folder: Path
    prepared: Prepared

    def job(self, **words: str) -> Job:
        return read_job(tile_job(self.folder, **words))


@pytest.fixture(scope="module")
def case(tmp_path_factory: pytest.TempPathFactory) -> Case:
    folder = tmp_path_factory.mktemp("console")
    (folder / "top.svg").write_text(console_top(height=86, switches=1))
    job = read_job(tile_job(folder))
    return Case(folder, prepare_panel(job.panels[0], job, None, quiet))


@dataclass
class Run:
    """One job up to its drawings."""

    job: Job
    pieces: Pieces
    laid: Laid
    drawings: tuple[Drawing, ...]

    def sheet_from_decal(self, name: str) -> tuple[int, Affine]:
        (placement,) = (p for p in self.laid.placements if p.decal == name)
        decal = next(d for d in self.pieces.decals if d.name == name)
        moved = placement.sheet_from_fitted @ decal.fitted_from_decal
        return placement.sheet_index, moved


def run(job: Job, prepared: Prepared, record: PrinterRecord | None = None) -> Run:
    pieces = pieces_of([prepared], job)
    laid = lay_out(pieces.decals, job, None, Effort(quiet))
    records = {spec.sheet.name: record for spec in job.sheets}
    drawings, _ = compose(job, pieces, laid, records, ())
    return Run(job, pieces, laid, drawings)


@pytest.fixture(scope="module")
def a4(case: Case) -> Run:
    return run(case.job(), case.prepared)


def pages(pdf: bytes, folder: Path, count: int) -> list[np.ndarray]:
    """Every page as grey levels at 150 dpi, drawn finer than ``DPI`` by a renderer not our own."""
    dpi = f"{FINE * DPI:g}"
    path = folder / "file.pdf"
    path.write_bytes(pdf)
    if shutil.which("pdftoppm"):
        command = ["pdftoppm", "-r", dpi, "-gray", str(path), str(folder / "page")]
    elif shutil.which("mutool"):
        out = str(folder / "page-%d.pgm")
        command = ["mutool", "draw", "-q", "-c", "gray", "-r", dpi, "-o", out, str(path)]
    else:
        import pypdfium2

        return [
            np.asarray(page.render(scale=FINE * DPI / 72).to_pil().convert("L"))
            for page in pypdfium2.PdfDocument(pdf)
        ]
    subprocess.run(command, check=True, capture_output=True, timeout=60)
    files = sorted(folder.glob("page-*.pgm"), key=lambda p: int(p.stem.split("-")[1]))
    assert len(files) == count
    found = []
    for file in files:
        found.append(np.asarray(Image.open(io.BytesIO(file.read_bytes()))))
        file.unlink()
    return found


def sampled(
    page: np.ndarray, page_from_px: Affine, high_mm: float, where: np.ndarray
) -> np.ndarray:
    """Mean grey level of the page under each pixel of ``where``, taken at FINE x FINE points."""
    i, j = np.nonzero(where)
    total = np.zeros(len(i))
    steps = (np.arange(FINE) + 0.5) / FINE - 0.5
    m, fine_mm = page_from_px, PX_MM / FINE
    for dx in steps:
        for dy in steps:
            x = (m.a * (j + dx) + m.c * (i + dy) + m.e) / fine_mm
            y = (high_mm - (m.b * (j + dx) + m.d * (i + dy) + m.f)) / fine_mm
            rows = np.clip(y.astype(int), 0, page.shape[0] - 1)
            total += page[rows, np.clip(x.astype(int), 0, page.shape[1] - 1)]
    return total / FINE**2


def reassembled(found: Run, folder: Path) -> tuple[np.ndarray, np.ndarray, Affine]:
    """(picture of the joined tiles, which pixels they cover, decal mm from a pixel's middle)."""
    only = tuple(
        replace(d, items=tuple(i for i in d.items if isinstance(i, PlacedArtwork)))
        for d in found.drawings
    )
    sheets = pages(write_pdf(only), folder, len(only))
    box = found.pieces.panels[0].decal.outline.box
    rows, columns = int(box.height / PX_MM), int(box.width / PX_MM)
    decal_from_px = Affine(PX_MM, 0, 0, -PX_MM, box.x0 + PX_MM / 2, box.y1 - PX_MM / 2)
    x, y = np.meshgrid(np.arange(columns), np.arange(rows))
    x_mm = decal_from_px.a * x + decal_from_px.e
    y_mm = decal_from_px.d * y + decal_from_px.f
    whole = np.full(x.shape, 255.0)
    covered = np.zeros(x.shape, bool)
    for one in found.pieces.all:
        index, m = found.sheet_from_decal(one.decal.name)
        m = found.drawings[index].page_from_sheet @ m
        cut = one.decal.outline.polygon()
        shapely.prepare(cut)
        mine = shapely.contains_xy(cut, x_mm, y_mm)
        high_mm = found.drawings[index].sheet.height_mm
        whole[mine] = sampled(sheets[index], m @ decal_from_px, high_mm, mine)
        covered |= mine
    return whole, covered, decal_from_px


def reference(one: Prepared, folder: Path, m: Affine, shape: tuple[int, ...]) -> np.ndarray:
    """The whole artwork on the same pixels."""
    art = one.decal.artwork
    (page,) = pages(art.page_pdf, folder, 1)
    back = one.decal.decal_from_artwork.inverse() @ m
    return sampled(page, back, art.height_mm, np.ones(shape, bool)).reshape(shape)


def compare(found: Run, one: Prepared, folder: Path) -> None:
    """The joined tiles show the artwork: no pixel is beyond what its neighbours there show."""
    whole, covered, m = reassembled(found, folder)
    want = reference(one, folder, m, whole.shape)
    x, y = np.meshgrid(np.arange(whole.shape[1]), np.arange(whole.shape[0]))
    x_mm, y_mm = m.a * x + m.e, m.d * y + m.f
    holes = shapely.union_all([hole.contour.polygon() for hole in one.decal.holes])
    area = one.decal.outline.polygon().buffer(-0.5).difference(holes.buffer(0.4))
    shapely.prepare(area)
    inside = shapely.contains_xy(area, x_mm, y_mm)
    bare = holes.buffer(-0.4)
    shapely.prepare(bare)
    assert (whole[shapely.contains_xy(bare, x_mm, y_mm)] > 250).all(), "a hole is not bare"
    assert covered[inside].all(), "the tiles leave part of the decal bare"
    low, high = minimum_filter(want, 3), maximum_filter(want, 3)
    off = np.maximum(low - whole, whole - high)[inside]
    assert off.max() <= 40, f"{off.max():.0f} grey levels beyond antialiasing"
    assert (off > 12).mean() < 1e-4
    # not by being blurred or empty: an offset of a third of a millimetre must be seen
    moved = np.roll(whole, 2, axis=1)
    worse = np.maximum(low - moved, moved - high)[inside]
    assert (worse > 40).mean() > 1e-3


def seams_of(found: Run) -> list[float]:
    """Where the seams lie along the decal: the left edges of the later tiles' outlines."""
    return sorted(one.decal.outline.box.x0 for one in found.pieces.all)[1:]


def test_tiles_make_the_whole_picture_again_on_a4(a4: Run, case: Case, tmp_path: Path) -> None:
    assert len(a4.pieces.all) == 3
    compare(a4, case.prepared, tmp_path)


def test_tiles_with_part_fit_and_printer_correction_on_letter(case: Case, tmp_path: Path) -> None:
    part = PartRecord("top 1", scale_x=0.003, scale_y=-0.002, skew=0.001)
    printer = PrinterRecord("office laser", "plain paper", scale_x=0.004, scale_y=-0.003)
    decal = replace(case.prepared.decal, fitted_from_decal=part.fitted_from_decal)
    one = replace(case.prepared, decal=decal)
    found = run(case.job(sheet="Letter"), one, printer)
    assert {round(d.page_from_sheet.a, 4) for d in found.drawings} == {0.996}
    compare(found, one, tmp_path)


def test_seams_keep_clear_of_legend_and_holes(a4: Run) -> None:
    for seam in seams_of(a4):
        k = (seam - FIRST_MM - WIDE_MM) // PITCH_MM
        left = FIRST_MM + WIDE_MM + k * PITCH_MM + 0.3
        right = FIRST_MM + (k + 1) * PITCH_MM - 0.3
        assert left + 1.5 <= seam <= right - 1.5
    assert not [n for n in a4.pieces.panels[0].notices if n.code.startswith("seam")]


def test_a_lower_tile_keeps_the_overlap_and_the_upper_is_cut_on_the_seam(a4: Run) -> None:
    boxes = [one.decal.outline.box for one in a4.pieces.all]
    for lower, upper in pairwise(boxes):
        assert lower.x1 - upper.x0 == pytest.approx(8.0, abs=0.005)


def test_every_hole_is_whole_on_the_tile_that_shows_it(a4: Run, case: Case) -> None:
    shown = {hole for one in a4.pieces.all for hole in one.decal.holes}
    assert shown == set(case.prepared.decal.holes)


def test_match_ticks_are_drawn_on_their_layer(a4: Run) -> None:
    assert [len(one.ticks) for one in a4.pieces.all] == [8, 14, 6]
    for number, drawing in enumerate(a4.drawings):
        names = {p.decal for p in a4.laid.placements if p.sheet_index == number}
        mine = [one for one in a4.pieces.all if one.decal.name in names]
        drawn = [
            i for i in drawing.items if isinstance(i, StrokeMark) and i.layer is Layer.TILE_MARK
        ]
        assert len([i for i in drawn if not i.dash_mm]) == sum(len(one.ticks) for one in mine)
        assert len([i for i in drawn if i.dash_mm]) >= 2


def test_labels_and_report_tell_the_order(a4: Run) -> None:
    labels = [one.decal.label for one in a4.pieces.all]
    assert labels[0] == "console top, tile 1 of 3, goes on first"
    assert labels[1] == "console top, tile 2 of 3, over tile 1"
    words = " ".join(a4.pieces.panels[0].sources)
    assert "2 over 1; 3 over 2" in words
    printed = [i.text for d in a4.drawings for i in d.items if hasattr(i, "text")]
    assert set(labels) <= set(printed)


def test_each_tile_has_a_row_in_the_proof(a4: Run) -> None:
    pdf = write_pdf(a4.drawings)
    proof = proven(pdf, a4.pieces.all, a4.laid, a4.drawings, a4.job)
    assert {row.decal for row in proof.rows} == {d.name for d in a4.pieces.decals}
    assert proof.worst_mm <= 0.02
    assert sum("match tick" in mark.name for mark in proof.marks) >= 24


def test_without_the_key_it_is_refused_and_the_key_named(case: Case) -> None:
    job = case.job(panel="")
    with pytest.raises(DoesNotFit, match="tile = true"):
        prepare_panel(job.panels[0], job, None, quiet)


def test_a_tile_panel_that_fits_stays_whole(case: Case) -> None:
    job = case.job(sheet="594 x 420 mm")
    pieces = pieces_of([case.prepared], job)
    assert pieces.decals == (case.prepared.decal,)
    assert pieces.marks == ()
