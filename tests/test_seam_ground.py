"""Where seams of tiles hide: along the edge of two grounds, never along a line or on legend."""

import io
from pathlib import Path

import numpy as np
import pytest
import shapely
from reportlab.pdfgen.canvas import Canvas
from shapely.geometry import LineString, box
from stock_cases import MM, panel
from test_tiles_laid import laid_on_sheets

from decalprep.errors import JobProblem
from decalprep.jobs.jobfile import read_job
from decalprep.jobs.prepare import Prepared, prepare_panel
from decalprep.jobs.seam_ground import seam_ground
from decalprep.jobs.spec import Job
from decalprep.jobs.tiling import tiling_of

NAVY, GREEN, WHITE = (0.1, 0.15, 0.3), (0.1, 0.3, 0.15), (1.0, 1.0, 1.0)
Area = tuple[tuple[float, float, float, float], tuple[float, float, float]]
BARS: list[Area] = [
    ((5, 8, 141, 20), WHITE),
    ((151, 8, 295, 20), WHITE),
    ((5, 40, 151, 52), WHITE),
    ((161, 40, 295, 52), WHITE),
]
"""No straight line misses them: the gap above lies further right than the one below."""


def rail(folder: Path, areas: list[Area], more: str = "") -> tuple[Job, Prepared]:
    """A panel of 300 x 60 mm, navy with areas (left, bottom, right, top) in other colours."""
    out = io.BytesIO()
    canvas = Canvas(out, pagesize=(300 * MM, 60 * MM), invariant=1)
    for (x0, y0, x1, y1), colour in [((0.0, 0.0, 300.0, 60.0), NAVY), *areas]:
        canvas.setFillColorRGB(*colour)
        canvas.rect(x0 * MM, y0 * MM, (x1 - x0) * MM, (y1 - y0) * MM, stroke=0, fill=1)
    canvas.save()
    (folder / "rail.pdf").write_bytes(out.getvalue())
    path = folder / "job.toml"
    sheet = '[[sheet]]\nname = "A5"\nsize = "A5"\n'
    path.write_text(sheet + panel("rail", f'tile = true\nholes_from = "none"\n{more}'))
    job = read_job(path)
    return job, prepare_panel(job.panels[0], job, None, lambda words: None)


def seams(job: Job, one: Prepared) -> list[LineString]:
    return [LineString(s.line.points()) for s in tiling_of(one, job.panels[0], job).seams]


def test_a_seam_lies_on_the_edge_of_two_grounds(tmp_path: Path) -> None:
    job, one = rail(tmp_path, [((141.3, 0, 300, 60), GREEN)])
    (seam,) = seams(job, one)
    assert seam.bounds[0] == pytest.approx(141.3, abs=0.51)


def test_a_line_with_the_same_ground_on_both_sides_is_legend(tmp_path: Path) -> None:
    _, one = rail(tmp_path, [((141.3, 3, 142.1, 57), WHITE)])
    ground, across = seam_ground(one.decal)
    assert ground.edges == across.edges == []
    (legend,) = ground.legend
    assert legend.intersects(box(141.3, 20, 142.1, 40))


def test_legend_on_the_edge_of_two_grounds_stays_legend(tmp_path: Path) -> None:
    job, one = rail(
        tmp_path,
        [((141.3, 0, 300, 60), GREEN), ((135, 28, 150, 32), WHITE), ((20, 28, 60, 32), WHITE)],
    )
    ground, across = seam_ground(one.decal)
    assert len(ground.edges) == 2  # below the legend and above it
    assert across.edges == []
    assert all(not edge.intersects(box(135, 28.5, 150, 31.5)) for edge in ground.edges)
    (seam,) = seams(job, one)
    assert not seam.intersects(box(134, 28, 151, 32))


def test_with_leave_to_sway_a_seam_goes_round_legend_rather_than_take_a_tile_more(
    tmp_path: Path,
) -> None:
    job, one = rail(tmp_path, BARS)
    straight = tiling_of(one, job.panels[0], job)
    job, one = rail(tmp_path, BARS, 'seam_sway = "10 mm"')
    swayed = tiling_of(one, job.panels[0], job)
    assert straight.notices
    assert not swayed.notices
    assert len(swayed.tiles) == 2
    (line,) = (LineString(s.line.points()) for s in swayed.seams)
    assert all(not line.intersects(box(*area).buffer(1)) for area, _ in BARS)


def test_tiles_with_a_swayed_seam_make_the_whole_picture_again(tmp_path: Path) -> None:
    """As printed, cut out and laid: no bare paper at the seam, and the legend in its place."""
    job, one = rail(tmp_path, BARS, 'seam_sway = "10 mm"')
    found = laid_on_sheets(job, one, dpi=200)
    x, y = np.meshgrid(np.arange(110, 190, 0.25), np.arange(1, 59, 0.25))
    lower, upper = (found.seen(k, x, y) for k in (0, 1))
    whole = np.where(np.isnan(upper), lower, upper)
    assert not np.isnan(whole).any()
    white = shapely.union_all([box(*area) for area, _ in BARS])
    assert (whole[shapely.contains_xy(white.buffer(-0.4), x, y)] > 200).all()
    drawn = found.pieces.decals[1].outline.polygon().exterior.buffer(0.3)  # the cut line itself
    dark = ~shapely.contains_xy(white.buffer(0.4).union(drawn), x, y)
    assert (whole[dark] < 110).all()
    edge = np.nanmin(np.where(np.isnan(upper), np.inf, x), axis=1)
    assert np.ptp(edge) > 5  # the seam is not straight


def test_sway_is_for_tiles_and_has_limits(tmp_path: Path) -> None:
    with pytest.raises(JobProblem, match="0 to 50 mm"):
        rail(tmp_path, [], 'seam_sway = "80 mm"')
    (tmp_path / "job.toml").write_text(panel("rail", 'seam_sway = "8 mm"'))
    with pytest.raises(JobProblem, match="add tile = true"):
        read_job(tmp_path / "job.toml")
