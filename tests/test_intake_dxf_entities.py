"""The less usual DXF entities: filled corners, hatch edges, wide polylines, leaders, references."""

import math

import ezdxf
import numpy as np
import pypdfium2
import pytest

from decalprep.errors import InputProblem
from decalprep.intake import IntakeOptions, Limits, read_artwork
from decalprep.intake.dxfpaths import filled_paths_of, hatch_boundary, paths_of
from decalprep.pdfstream import read_page


@pytest.fixture
def doc():
    made = ezdxf.new(setup=True)
    made.header["$INSUNITS"] = 4
    made.modelspace().add_lwpolyline([(0, 0), (80, 0), (80, 40), (0, 40)], close=True)
    return made


@pytest.fixture
def read(doc, tmp_path):
    def save(**said):
        doc.saveas(tmp_path / "bow.dxf")
        return read_artwork(tmp_path / "bow.dxf", IntakeOptions(**said))

    return save


def texts(artwork):
    return {n.code: n.text for n in artwork.notices}


def ink_share(artwork, x0, y0, x1, y1, scale=10):
    """Share of dark pixels in a box of true mm, by pdfium."""
    image = pypdfium2.PdfDocument(artwork.page_pdf)[0].render(scale=scale, grayscale=True)
    dark = np.squeeze(image.to_numpy()) < 128
    k = scale * 72 / 25.4
    height = artwork.height_mm
    part = dark[int((height - y1) * k) : int((height - y0) * k), int(x0 * k) : int(x1 * k)]
    return float(part.mean())


def test_four_corners_filled_are_no_bow_tie(doc, read):
    """SOLID names its corners in zigzag order."""
    doc.modelspace().add_solid([(10, 10), (30, 10), (10, 20), (30, 20)])
    assert ink_share(read(), 10, 10, 30, 20) == pytest.approx(1.0, abs=0.01)


def test_edges_of_a_3dface(doc):
    face = doc.modelspace().add_3dface([(10, 10), (30, 10), (30, 20), (10, 20)])
    (path,) = paths_of(face)
    assert path.polygon().area == pytest.approx(200)


def test_old_polylines_bulge_and_close(doc):
    line = doc.modelspace().add_polyline2d(
        [(20, 10, 0), (34, 10, 1), (34, 16, 0), (20, 16, 1)], format="xyb", close=True
    )
    (path,) = paths_of(line)
    assert path.polygon(1e-4).area == pytest.approx(14 * 6 + math.pi * 9, abs=0.01)


def test_polylines_in_space_are_seen_from_above(doc):
    line = doc.modelspace().add_polyline3d([(0, 0, 5), (10, 0, 9), (10, 10, 1)])
    (path,) = paths_of(line)
    assert [s.end for s in path.segments] == [(10, 0), (10, 10)]


def test_meshes_are_named_not_drawn(doc, read):
    doc.modelspace().add_polymesh((3, 3))
    assert "1 POLYLINE" in texts(read())["dxf-not-drawn"]


@pytest.mark.parametrize("ccw", [True, False])
def test_hatch_edges_of_every_kind_join_up(doc, ccw):
    """A half disc of radius 5 with a straight foot; and an ellipse; and a spline lid."""
    hatch = doc.modelspace().add_hatch()
    edges = hatch.paths.add_edge_path()
    edges.add_arc((20, 20), 5, 0, 180, ccw=ccw)
    edges.add_line((15, 20), (25, 20))
    (half,) = hatch_boundary(hatch)
    assert half.polygon(1e-4).area == pytest.approx(math.pi * 12.5, abs=0.01)
    other = doc.modelspace().add_hatch()
    other.paths.add_edge_path().add_ellipse((50, 20), (6, 0), 0.5, 0, 360, ccw=ccw)
    (oval,) = hatch_boundary(other)
    assert oval.polygon(1e-4).area == pytest.approx(math.pi * 18, abs=0.01)
    lid = doc.modelspace().add_hatch().paths.add_edge_path()
    lid.add_spline(control_points=[(0, 0), (0, 6), (9, 6), (9, 0)], knot_values=[0] * 4 + [1] * 4)
    lid.add_line((9, 0), (0, 0))
    area = filled_paths_of(doc.modelspace()[-1])[0].polygon(1e-4).area
    # y = 18 t (1 - t), dx = 54 t (1 - t) dt: the area is 972 / 30.
    assert area == pytest.approx(32.4, abs=0.01)


def test_gradients_are_drawn_plain_and_told(doc, read):
    hatch = doc.modelspace().add_hatch(color=1)
    hatch.paths.add_polyline_path([(10, 10), (30, 10), (30, 20), (10, 20)])
    hatch.set_gradient((0, 0, 0), (255, 0, 0))
    assert "colour gradient (drawn plain)" in texts(read())["dxf-not-drawn"]


def test_wide_and_tapering_polylines(doc, read):
    msp = doc.modelspace()
    msp.add_lwpolyline([(10, 10, 2, 2), (30, 10, 2, 2)], format="xyse")
    assert ink_share(read(), 12, 9, 28, 11) == pytest.approx(1.0, abs=0.02)
    msp.add_lwpolyline([(10, 30, 0, 2), (30, 30, 0, 2)], format="xyse")
    msp.add_polyline2d([(40, 30, 1, 1), (60, 30, 1, 1)], format="xyse")
    assert "1 tapering" in texts(read())["dxf-tapered"]


def test_leaders_and_double_lines_are_drawn(doc, read):
    doc.modelspace().add_leader([(10, 10), (20, 20), (30, 20)])
    doc.modelspace().add_mline([(10, 30), (40, 30)])
    before = len(read_page(read().page_pdf).shapes)
    assert before > 3


def test_attributes_of_blocks_are_text(doc, read):
    doc.blocks.new("tag").add_attdef("NAME", (0, 0), height=3)
    insert = doc.modelspace().add_blockref("tag", (10, 10))
    insert.add_attrib("NAME", "WINCH", (10, 10))
    assert "a text is drawn in a stand-in font" in texts(read())["dxf-text-stand-in"]


def test_invisible_things_are_not_drawn(doc, read):
    doc.modelspace().add_line((0, 0), (500, 0), dxfattribs={"invisible": 1})
    assert read().width_mm == pytest.approx(80)


def test_other_drawings_referred_to_are_named(doc, read):
    doc.add_xref_def("other.dxf", "other")
    doc.modelspace().add_blockref("other", (0, 0))
    assert "reference to another drawing" in texts(read())["dxf-not-drawn"]


def test_deep_nesting_is_refused(doc, read):
    from decalprep.errors import TooMuch

    doc.blocks.new("b0").add_circle((0, 0), 1)
    for k in range(1, 12):
        doc.blocks.new(f"b{k}").add_blockref(f"b{k - 1}", (0, 0))
    doc.modelspace().add_blockref("b11", (10, 10))
    with pytest.raises(TooMuch, match="nested more than 5 deep; explode them"):
        read(limits=Limits(max_depth=5))


def test_a_drawing_in_a_layout_alone_says_where_it_is(tmp_path):
    doc = ezdxf.new()
    doc.header["$INSUNITS"] = 4
    doc.layout("Layout1").add_circle((0, 0), 5)
    doc.layout("Layout1").add_circle((0, 0), 6)
    doc.saveas(tmp_path / "bow.dxf")
    with pytest.raises(InputProblem, match="something in the layout 'Layout1'"):
        read_artwork(tmp_path / "bow.dxf")


def test_faults_that_were_repaired_are_told(doc, read):
    doc.modelspace().add_line((1, 1), (9, 1), dxfattribs={"linetype": "UNKNOWN"})
    artwork = read()
    assert artwork.width_mm == pytest.approx(80)
    assert "was repaired" in texts(artwork)["dxf-repaired"]
