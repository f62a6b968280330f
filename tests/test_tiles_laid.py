"""Tiles laid over each other as a hand does it: their printed match ticks stay in view and meet.

Both tiles are taken from the finished PDF as pdfium draws it, cut along their own outlines, and
laid the later over the earlier.
"""

from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
import pypdfium2
import pytest
import shapely
from scipy.ndimage import map_coordinates
from stock_cases import panel, plate

from decalprep.export import write_pdf
from decalprep.jobs.groups import Effort
from decalprep.jobs.jobfile import read_job
from decalprep.jobs.lay import Laid, lay_out, sheet_from_decal
from decalprep.jobs.make import compose
from decalprep.jobs.prepare import Prepared, prepare_panel
from decalprep.jobs.spec import Job
from decalprep.jobs.tiling import Pieces, pieces_of
from decalprep.model import Drawing, PartRecord, PrinterRecord

DPI = 500.0
STEP_MM = 0.02
DARK = 160
BLEED_MM, TAB_MM, SHOW_MM, OVERLAP_MM = 3.0, 5.0, 4.0, 8.0
HIGH_MM = 60.0
ENDS = ((-BLEED_MM, -1), (HIGH_MM + BLEED_MM, 1))
"""Where ink ends at both ends of the seam, and the way outwards."""
LARGER = PrinterRecord("office laser", "plain paper", scale_x=0.004, scale_y=-0.003, skew=0.001)


@dataclass
class Laying:
    """The printed pages of one tiled rail and what lies on them."""

    pieces: Pieces
    laid: Laid
    drawings: tuple[Drawing, ...]
    pages: list[np.ndarray]

    @property
    def seam_mm(self) -> float:
        return (
            self.pieces.decals[1]
            .outline.polygon()
            .intersection(shapely.box(0, 20, 400, 40))
            .bounds[0]
        )

    def seen(self, number: int, x_mm: np.ndarray, y_mm: np.ndarray) -> np.ndarray:
        """Grey levels of the cut-out tile at places of the decal; NaN where it is not."""
        decal = self.pieces.decals[number]
        (place,) = (p for p in self.laid.placements if p.decal == decal.name)
        drawing, page = self.drawings[place.sheet_index], self.pages[place.sheet_index]
        m = drawing.page_from_sheet @ sheet_from_decal(decal, place)
        sheet = drawing.sheet
        # pdfium fills whole pixels with the page
        down, right = page.shape[0] / sheet.height_mm, page.shape[1] / sheet.width_mm
        column = (m.a * x_mm + m.c * y_mm + m.e) * right - 0.5
        row = (sheet.height_mm - (m.b * x_mm + m.d * y_mm + m.f)) * down - 0.5
        grey = map_coordinates(page, [row, column], np.float64, order=1)
        cut = decal.outline.polygon()
        shapely.prepare(cut)
        return np.where(shapely.contains_xy(cut, x_mm, y_mm), grey, np.nan)

    def over(self, box: tuple[float, ...], off_mm: tuple[float, float] = (0, 0)) -> np.ndarray:
        """What is in view of both tiles in a box of the decal, row 0 low; the upper one moved."""
        x, y = np.meshgrid(
            np.arange(box[0], box[2], STEP_MM) + STEP_MM / 2,
            np.arange(box[1], box[3], STEP_MM) + STEP_MM / 2,
        )
        lower, upper = self.seen(0, x, y), self.seen(1, x - off_mm[0], y - off_mm[1])
        return np.where(np.isnan(upper), lower, upper)


@pytest.fixture(scope="module", params=["true", "corrected"])
def laying(request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory) -> Laying:
    folder: Path = tmp_path_factory.mktemp("laid")
    plate(folder / "rail.pdf", 400, HIGH_MM, ((20.0, 30.0), (380.0, 30.0)))
    path = folder / "job.toml"
    head = '[job]\npasses = 1\n[[sheet]]\nname = "A4"\nsize = "A4"\n'
    path.write_text(head + panel("rail", 'tile = true\nbleed = "3 mm"'))
    job = read_job(path)
    one = prepare_panel(job.panels[0], job, None, lambda words: None)
    record = None
    if request.param == "corrected":
        fit = PartRecord("rail 1", scale_x=0.003, scale_y=-0.002, skew=0.001).fitted_from_decal
        one, record = replace(one, decal=replace(one.decal, fitted_from_decal=fit)), LARGER
    return laid_on_sheets(job, one, record)


def laid_on_sheets(
    job: Job, one: Prepared, record: PrinterRecord | None = None, dpi: float = DPI
) -> Laying:
    """The tiles of a job's only panel on their printed sheets."""
    pieces = pieces_of([one], job)
    laid = lay_out(pieces.decals, job, None, Effort(lambda words: None))
    drawings, _ = compose(job, pieces, laid, {job.sheets[0].sheet.name: record}, ())
    pages = [
        np.asarray(page.render(scale=dpi / 72, grayscale=True).to_pil())
        for page in pypdfium2.PdfDocument(write_pdf(drawings))
    ]
    return Laying(pieces, laid, drawings, pages)


def line_at(picture: np.ndarray, *, along: int) -> float:
    """Where the one dark line of a picture lies, in mm; ``along`` is the axis that it runs along.

    It must be dark all the way: a line that is hidden or missing fails.
    """
    darkest = np.nanmin(picture, axis=1 - along)
    assert (darkest < DARK).all(), "a tick is hidden or broken"
    ink = np.nansum(255 - np.nan_to_num(picture, nan=255), axis=along)
    ink = np.where(ink > ink.max() / 4, ink, 0)
    return float((ink * (np.arange(len(ink)) + 0.5)).sum() / ink.sum() * STEP_MM)


def both_sides(found: Laying, off: tuple[float, float] = (0, 0)) -> list[tuple[float, float]]:
    """(in the lower tile, in the upper one) for each pair of ticks, at both ends of the seam."""
    x, pairs = found.seam_mm, []
    for edge, sign in ENDS:
        for level in (1.25, 3.75):
            y = edge + sign * level
            left, right = ((x - 2.5, x - 0.5), (x + 0.5 + off[0], x + 2.0))
            views = [found.over((a, y - 0.6, b, y + 0.6), off) for a, b in (left, right)]
            pairs.append((line_at(views[0], along=1), line_at(views[1], along=1)))
        middle, end = x + OVERLAP_MM / 2, edge + sign * TAB_MM
        inner = sorted((end - sign * 0.4, end - sign * 1.0))
        outer = sorted((end + sign * 0.5, end + sign * 2.5))
        views = [found.over((middle - 0.6, a, middle + 0.6, b), off) for a, b in (outer, inner)]
        pairs.append((line_at(views[0], along=0), line_at(views[1], along=0)))
    return pairs


def test_ticks_of_both_tiles_are_in_view_and_meet(laying: Laying) -> None:
    pairs = both_sides(laying)
    assert len(pairs) == 6
    assert max(abs(a - b) for a, b in pairs) <= 0.05


def test_a_tile_laid_wrong_shows(laying: Laying) -> None:
    across, outwards = 0.2, -0.15
    pairs = both_sides(laying, (across, outwards))
    for k, (lower, upper) in enumerate(pairs):
        assert upper - lower == pytest.approx(across if k % 3 == 2 else outwards, abs=0.05)


def test_the_upper_tiles_cut_edge_lies_on_a_tick_that_runs_on(laying: Laying) -> None:
    x = laying.seam_mm
    for edge, sign in ENDS:
        end = edge + sign * TAB_MM
        low, high = sorted((end + sign * 0.5, end + sign * (SHOW_MM - 1.0)))
        view = laying.over((x - 0.6, low, x + 0.6, high))
        assert line_at(view, along=0) - 0.6 == pytest.approx(0, abs=0.05)
