"""A backlit decal in tiles: laid as a hand does it, light passes the openings and nowhere else.

Both sheets of each tile are taken from the finished PDFs as pdfium draws them.
"""

from pathlib import Path

import numpy as np
import pypdfium2
import pytest
import shapely
from stock_cases import panel, plate
from test_tiles_laid import Laying

from decalprep.errors import InputProblem
from decalprep.jobs.finish import finish_panel
from decalprep.jobs.jobfile import read_job
from decalprep.jobs.make import Made, MakeOptions, make_job
from decalprep.jobs.outputs import corrections_of
from decalprep.jobs.prepare import prepare_panel
from decalprep.jobs.spec import Job
from decalprep.jobs.tiling import pieces_of

DPI = 200.0
SPOTS = tuple((float(x), 20.0) for x in range(20, 300, 40))
MORE = 'tile = true\nbacklit = true\nholes_from = "none"'


def job_of(folder: Path, spots: tuple[tuple[float, float], ...]) -> Job:
    plate(folder / "rail.pdf", 300, 40, spots)
    path = folder / "job.toml"
    path.write_text(f'[job]\npasses = 2\n[[sheet]]\nsize = "A5"\n{panel("rail", MORE)}')
    return read_job(path)


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> Made:
    folder = tmp_path_factory.mktemp("lit")
    options = MakeOptions(records=folder, today="2026-01-15", preview_dpi=30)
    return make_job(job_of(folder, SPOTS), options, lambda words: None)


def laid(made: Made, name: str) -> Laying:
    pages = [
        np.asarray(page.render(scale=DPI / 72, grayscale=True).to_pil())
        for page in pypdfium2.PdfDocument(made.files[name])
    ]
    return Laying(made.pieces, made.laid, made.drawings, pages)


def test_light_passes_the_openings_and_nowhere_else(made: Made) -> None:
    found = laid(made, "underlays.pdf")
    x, y = np.meshgrid(np.arange(0.5, 300, 0.4), np.arange(0.5, 40, 0.4))
    layers = [found.seen(k, x, y) for k in range(len(made.pieces.decals))]
    there = ~np.isnan(layers)
    assert there.any(axis=0).all()
    opaque = np.where(there, np.nan_to_num(layers) < 60, False)
    openings = shapely.union_all([shapely.Point(*spot).buffer(2.0) for spot in SPOTS])
    edges = [d.outline.polygon().exterior.buffer(0.3) for d in made.pieces.decals]  # cut lines
    field = ~shapely.contains_xy(openings.buffer(0.2), x, y)
    drawn = shapely.contains_xy(shapely.union_all(edges), x, y)
    assert opaque.any(axis=0)[field & ~drawn].all()
    # at the seam itself, where the upper tile's cut line is, the lower one is dark below it
    assert opaque.sum(axis=0)[field & drawn & (x > 5) & (x < 295) & (y > 5) & (y < 35)].all()
    lit = shapely.contains_xy(openings.buffer(-0.7), x, y)
    assert lit.any()
    assert not opaque.any(axis=0)[lit].any()
    # nothing lit lies under two tiles, where it would be darker
    assert (there.sum(axis=0)[lit] == 1).all()


def test_the_underlay_tiles_bear_the_same_match_ticks_and_all_is_proven(made: Made) -> None:
    assert made.proof.passed
    names = [u.name for u in made.pieces.underlays]
    assert names == ["rail tile 1/2", "rail tile 2/2"]
    assert len(corrections_of(made)) == len(pypdfium2.PdfDocument(made.files["underlays.pdf"]))
    above, below = laid(made, "sheets.pdf"), laid(made, "underlays.pdf")
    for k, one in enumerate(made.pieces.all):
        for tick in one.ticks:
            (x0, y0), (x1, y1) = tick.points()
            x, y = (np.linspace(a, b, 9)[1:-1] for a, b in ((x0, x1), (y0, y1)))
            assert (above.seen(k, x, y) < 200).all()
            assert (below.seen(k, x, y) < 200).all()
    assert "its own underlay first" in " ".join(made.pieces.panels[0].sources)


def test_lit_legend_that_every_strip_would_cross_is_refused(tmp_path: Path) -> None:
    spots = tuple((float(x), 20.0) for x in np.arange(10, 295, 11.0))
    job = job_of(tmp_path, spots)
    one = prepare_panel(job.panels[0], job, None, lambda words: None)
    lit = finish_panel(job.panels[0], one, job)
    with pytest.raises(InputProblem, match="rail: the seam between tiles 1 and 2 would show"):
        pieces_of([one], job, [lit])
