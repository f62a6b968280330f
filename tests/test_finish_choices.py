"""What a job says about holes, outline, margins and stock, as each panel's decal takes it."""

from pathlib import Path

import pytest

from decalprep.errors import DecalprepError, InputProblem, JobProblem
from decalprep.geometry import Arc
from decalprep.jobs.finish import light_advice
from decalprep.jobs.jobfile import read_job
from decalprep.jobs.prepare import Prepared, prepare_panel

SVG = '<svg xmlns="http://www.w3.org/2000/svg" width="60mm" height="40mm" viewBox="0 0 60 40">'
LINE = 'fill="none" stroke="#e0007a" stroke-width="0.1"'
PANEL = (
    SVG
    + '<g id="ground"><rect width="60" height="40" fill="#123"/></g>'
    + '<g id="legend"><rect x="20" y="{mark}" width="4" height="2" fill="#fff"/></g>'
    + f'<g id="holes" {LINE}><circle cx="10" cy="10" r="1.7"/><circle cx="30" cy="20" r="6.1"/>'
    + '<circle cx="50" cy="30" r="1.7"/></g>'
    + f'<g id="cut" {LINE}><rect x="1" y="1" width="58" height="38"/></g></svg>'
)
DXF_HOLES = ((10.0, 30.0, 3.4), (30.5, 20.0, 12.2), (50.0, 10.0, 3.4))
LAYERS = 'outline_layer = "cut"\nhole_layer = "holes"\n'


def plate(path: Path, holes: tuple[tuple[float, float, float], ...] = DXF_HOLES) -> None:
    """The part as DXF in mm, 58 x 38 mm."""
    import ezdxf
    from ezdxf import units

    document = ezdxf.new("R2010", units=units.MM)
    space = document.modelspace()
    space.add_lwpolyline([(1, 1), (59, 1), (59, 39), (1, 39)], close=True)
    for x, y, d in holes:
        space.add_circle((x, y), d / 2)
    document.saveas(path)


def prepared(folder: Path, words: str = LAYERS, *, mark: float = 15, sheet: str = "") -> Prepared:
    job = job_of(folder, words, mark=mark, sheet=sheet)
    return prepare_panel(job.panels[0], job, None, lambda _: None)


def job_of(folder: Path, words: str = LAYERS, *, mark: float = 15, sheet: str = ""):
    (folder / "bilge.svg").write_text(PANEL.format(mark=mark))
    head = f'[[sheet]]\nname = "A4"\nsize = "A4"\n{sheet}'
    text = f'{head}\n[[panel]]\nname = "bilge"\nartwork = "bilge.svg"\n{words}'
    (folder / "job.toml").write_text(text)
    return read_job(folder / "job.toml")


def told(one: Prepared, code: str):
    return [n for n in one.notices if n.code == code]


def centres(one: Prepared) -> dict[tuple[int, int], str]:
    """Use of each hole by its centre in the drawing."""
    back = one.decal.decal_from_artwork.inverse()
    found = {}
    for hole in one.decal.holes:
        x, y = back.apply(*hole.contour.box.centre)
        found[round(x), round(y)] = hole.kind.value
    return found


def test_the_job_puts_holes_to_another_use_adds_and_leaves_out(tmp_path: Path) -> None:
    plain = centres(prepared(tmp_path))
    assert plain == {(10, 30): "screw", (30, 20): "switch", (50, 10): "screw"}
    words = LAYERS + "".join(
        f'[[panel.hole]]\nx = "{x} mm"\ny = "{y} mm"\n{rest}\n'
        for x, y, rest in (
            (10, 30, 'kind = "switch"'),
            (50, 10, 'kind = "none"'),
            (45, 33, 'diameter = "5.2 mm"\nkind = "free"\nlabel = "lamp"'),
        )
    )
    one = prepared(tmp_path, words)
    assert centres(one) == {(10, 30): "switch", (30, 20): "switch", (45, 33): "free"}
    assert {h.classed_by for h in one.decal.holes if h.label == "lamp"} == {"the job file"}


def test_a_hole_that_is_not_there_is_refused_by_its_line(tmp_path: Path) -> None:
    words = LAYERS + '[[panel.hole]]\nx = "55 mm"\ny = "5 mm"\nkind = "screw"\n'
    with pytest.raises(InputProblem, match=r"no hole near 55, 5 mm \(line \d+\)"):
        prepared(tmp_path, words)


def test_misfit_of_a_hole_is_told_with_its_vector_and_lone_holes_too(tmp_path: Path) -> None:
    plate(tmp_path / "plate.dxf")
    one = prepared(tmp_path, LAYERS + 'part = "plate.dxf"\n')
    (misfit,) = told(one, "hole-misfit")
    numbers = dict(misfit.numbers)
    vector = [abs(v) for k, v in numbers.items() if k in ("dx_mm", "dy_mm")]
    assert sorted(vector) == pytest.approx([0.0, 0.5], abs=0.01)
    plate(tmp_path / "plate.dxf", (*DXF_HOLES[:1], *DXF_HOLES[2:], (30.0, 8.0, 5.0)))
    one = prepared(tmp_path, LAYERS + 'part = "plate.dxf"\n')
    assert [len(told(one, f"hole-only-in-{where}")) for where in ("part", "artwork")] == [1, 1]


def test_legend_inside_the_safe_margin_is_told_with_its_place(tmp_path: Path) -> None:
    words = LAYERS + 'safe_margin = "1.5 mm"\n'
    assert told(prepared(tmp_path, words), "legend-near-edge") == []
    (notice,) = told(prepared(tmp_path, words, mark=2), "legend-near-edge")
    assert dict(notice.numbers)["distance_mm"] == pytest.approx(1.0, abs=0.01)
    assert notice.box_mm is not None


@pytest.mark.parametrize(
    ("words", "size", "source"),
    [
        ('outline_from = "layer"\noutline_layer = "cut"', (58, 38), "layer 'cut'"),
        ('outline_from = "path"', (58, 38), "path"),  # the line inside the ground that bleeds
        ('outline_from = "part"\npart = "plate.dxf"', (58, 38), "part"),
        ('outline_from = "page"', (60, 40), "page"),
        ('outline_from = "layer"\noutline_layer = "cut"\noffset = "-0.5 mm"', (57, 37), "-0.5"),
        ('outline_from = "layer"\noutline_layer = "cut"\noffset = "0.5 mm"', (59, 39), "0.5"),
    ],
)
def test_each_source_of_the_outline(
    tmp_path: Path, words: str, size: tuple[float, float], source: str
) -> None:
    plate(tmp_path / "plate.dxf")
    decal = prepared(tmp_path, words + '\nhole_layer = "holes"\n').decal
    box = decal.outline.box
    assert (box.width, box.height) == pytest.approx(size, abs=0.001)
    assert source in decal.outline_from


def test_corners_are_rounded_by_true_arcs(tmp_path: Path) -> None:
    outline = prepared(tmp_path, LAYERS + 'round_corners = "3 mm"\n').decal.outline
    assert [s.radius for s in outline.segments if isinstance(s, Arc)] == pytest.approx([3.0] * 4)


def test_no_outline_is_refused_rather_than_a_box_taken(tmp_path: Path) -> None:
    job_of(tmp_path)
    text = SVG + '<rect x="5" y="5" width="4" height="3" fill="#000"/><path d="M20 20h10"/></svg>'
    job = read_job(tmp_path / "job.toml")
    (tmp_path / "bilge.svg").write_text(
        text.replace("</svg>", '<path d="M30 9l9 9" stroke="#000"/></svg>')
    )
    with pytest.raises(DecalprepError, match="cut"):
        prepare_panel(job.panels[0], job, None, lambda _: None)


@pytest.mark.parametrize(
    ("sheet", "lit", "code", "word"),
    [
        ('stock = "plain paper"\ntransmittance = 0.15', "true", "stock-passes-light", "0.15"),
        (
            'stock = "full-sheet label stock"\nblock_out = true',
            "true",
            "stock-blocks-light",
            "unlit",
        ),
        (
            'stock = "full-sheet label stock"\ntransmittance = 0.0005',
            "true",
            "stock-blocks-light",
            "0.0005",
        ),
        ('stock = "full-sheet label stock"', "true", "stock-test-light", "against the light"),
        ('stock = "plain paper"', "false", "stock-shows-through", "block-out"),
    ],
)
def test_stock_advice_follows_the_sheet(
    tmp_path: Path, sheet: str, lit: str, code: str, word: str
) -> None:
    job = job_of(tmp_path, LAYERS + f"backlit = {lit}\n", sheet=sheet)
    (notice,) = light_advice(job.panels[0], job)
    assert notice.code == code
    assert word in notice.text
    assert "opacity" not in notice.text


def test_block_out_and_a_transmittance_contradict_each_other(tmp_path: Path) -> None:
    with pytest.raises(JobProblem, match="give one"):
        job_of(tmp_path, sheet="block_out = true\ntransmittance = 0.2")
    with pytest.raises(JobProblem, match="transmittance"):
        job_of(tmp_path, sheet="transmittance = 15.0")
