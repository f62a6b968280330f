"""DXF drawings to Artwork: units, entities, layers, blocks, text, and what cannot be drawn.

Pages are read back with pdfstream and pdfium; the drawings are written with ezdxf.
"""

import math
from itertools import pairwise

import ezdxf
import numpy as np
import pypdfium2
import pytest
from ezdxf.math import BSpline, closed_uniform_bspline

from decalprep.errors import InputProblem, NoSize, TooMuch, UsageProblem
from decalprep.geometry import fit_circle
from decalprep.intake import IntakeOptions, Limits, read_artwork
from decalprep.model import EvidenceRank
from decalprep.pdfstream import read_page

MM, INCH, UNITLESS = 4, 1, 0


def drawing(unit=MM, frame=(0, 0, 80, 40)):
    """A document with a rectangular outline on the layer 'outline'."""
    doc = ezdxf.new(setup=["linetypes"])
    doc.header["$INSUNITS"] = unit
    doc.header["$MEASUREMENT"] = 0 if unit == INCH else 1
    doc.layers.add("outline")
    x0, y0, x1, y1 = frame
    corners = [(x0, y0), (x1, y0), (x1, y1), (x0, y1)]
    doc.modelspace().add_lwpolyline(corners, close=True, dxfattribs={"layer": "outline"})
    return doc


@pytest.fixture
def read(tmp_path):
    def save(doc, **said):
        path = tmp_path / "bow panel.dxf"
        doc.saveas(path)
        return read_artwork(path, IntakeOptions(**said))

    return save


def codes(artwork):
    return {n.code for n in artwork.notices}


def notice(artwork, code):
    (one,) = [n for n in artwork.notices if n.code == code]
    return one


def paths_mm(artwork, layer=None):
    """Every path on the page in true mm, by layer."""
    return [
        p.mapped(artwork.artwork_from_page)
        for s in read_page(artwork.page_pdf).shapes
        for p in s.paths
        if layer is None or s.layer == layer
    ]


def fitted(path):
    """(circle, largest distance from it) through the path's own Bezier points and middles."""
    points = [s.at(t) for s in path.segments if hasattr(s, "at") for t in (0.0, 0.25, 0.5, 0.75)]
    return fit_circle(points)


@pytest.mark.parametrize(
    ("unit", "mm"), [(MM, 1.0), (INCH, 25.4), (5, 10.0), (6, 1000.0), (9, 0.0254), (14, 100.0)]
)
def test_the_drawing_unit_sets_the_size(unit, mm, read):
    scale = 80 / mm
    artwork = read(drawing(unit, (3, 4, 3 + scale, 4 + scale / 2)))
    assert (artwork.width_mm, artwork.height_mm) == pytest.approx((80, 40), abs=1e-9)
    assert artwork.evidence[0].rank is EvidenceRank.FILE_UNITS
    assert artwork.page_width_pt == pytest.approx(80 * 72 / 25.4, abs=1e-9)
    (frame,) = paths_mm(artwork)
    assert (frame.box.x0, frame.box.y0, frame.box.x1, frame.box.y1) == pytest.approx(
        (0, 0, 80, 40), abs=1e-6
    )


def test_no_unit_asks_and_gives_the_numbers(read):
    with pytest.raises(NoSize, match=r"80 x 40 units.*suggest millimetres; say its unit"):
        read(drawing(UNITLESS))


def test_no_unit_in_an_old_file_asks(tmp_path):
    path = tmp_path / "old.dxf"
    lines = [(0, 0, 80, 0), (80, 0, 80, 40), (80, 40, 0, 0)]
    tags = "".join(f"0\nLINE\n8\n0\n10\n{a}\n20\n{b}\n11\n{c}\n21\n{d}\n" for a, b, c, d in lines)
    path.write_text(f"0\nSECTION\n2\nENTITIES\n{tags}0\nENDSEC\n0\nEOF\n")
    with pytest.raises(NoSize, match="80 x 40 units"):
        read_artwork(path)
    assert read_artwork(path, IntakeOptions(unit="mm")).width_mm == pytest.approx(80)


@pytest.mark.parametrize(
    ("said", "width"),
    [({"unit": "mm"}, 80.0), ({"unit": "in"}, 2032.0), ({"width_mm": 100.0}, 100.0)],
)
def test_the_user_can_say_what_it_counts(said, width, read):
    assert read(drawing(UNITLESS), **said).width_mm == pytest.approx(width)


def test_a_unit_against_the_files_own_is_told_with_the_slip(read):
    artwork = read(drawing(MM), unit="in")
    assert artwork.width_mm == pytest.approx(2032)
    assert "inches taken for millimetres" in notice(artwork, "size-conflict").text


def test_an_unknown_unit(read):
    with pytest.raises(UsageProblem, match="'furlong' is not known"):
        read(drawing(UNITLESS), unit="furlong")


def test_metric_patterns_in_an_inch_drawing_are_told(read):
    doc = drawing(INCH, (0, 0, 4, 2))
    doc.header["$MEASUREMENT"] = 1
    assert "dxf-unit-doubtful" in codes(read(doc))


def test_widths_on_paper_do_not_scale_with_the_drawing(read):
    doc = drawing(INCH, (0, 0, 4, 2))
    doc.modelspace().add_line((1, 1), (3, 1), dxfattribs={"lineweight": 50})
    wide = doc.modelspace().add_lwpolyline([(1, 0.5), (3, 0.5)])
    wide.dxf.const_width = 0.1
    widths = sorted(s.stroke_width_pt[0] * 25.4 / 72 for s in read_page(read(doc).page_pdf).shapes)
    assert widths == pytest.approx([0.25, 0.5, 2.54], abs=1e-6)


def test_circles_are_true_to_a_millionth(read):
    doc = drawing(MM, (0, 0, 300, 200))
    wanted = [(40.0, 50.0, 12.0), (200.0, 100.0, 150.0), (60.0, 150.0, 4.3)]
    for x, y, d in wanted:
        doc.modelspace().add_circle((x, y), d / 2, dxfattribs={"layer": "holes"})
    artwork = read(doc)
    found = [fitted(p) for p in paths_mm(artwork, "holes")]
    assert len(found) == 3
    for (x, y, d), (circle, error) in zip(wanted, found, strict=True):
        assert (circle.x, circle.y, circle.diameter) == pytest.approx((x, y, d), abs=1e-6)
        assert error < 1e-6
    circles = sorted(h.circle.diameter for h in artwork.face.holes)
    assert circles == pytest.approx([4.3, 12.0, 150.0], abs=1e-12)


def test_a_slot_of_bulges(read):
    """A slot 20 x 6 mm: straight sides 14 mm, half-circle ends (bulge 1)."""
    doc = drawing()
    corners = [(20, 10, 0), (34, 10, 1), (34, 16, 0), (20, 16, 1)]
    doc.modelspace().add_lwpolyline(
        corners, format="xyb", close=True, dxfattribs={"layer": "holes"}
    )
    (hole,) = read(doc).face.holes
    assert hole.contour.polygon(1e-4).area == pytest.approx(14 * 6 + math.pi * 9, abs=0.01)
    box = hole.contour.box
    assert (box.x0, box.x1, box.y0, box.y1) == pytest.approx((17, 37, 10, 16), abs=2e-3)


@pytest.mark.parametrize("bulge", [-2.0, -1.0, -0.3, 0.05, 0.41421356, 1.0, 3.0])
def test_a_bulge_is_the_arc_that_the_library_says(bulge, read):
    from ezdxf.math import bulge_to_arc

    from decalprep.intake.dxfpaths import bulged

    (arc,) = bulged([(1, 2, bulge), (5, 4, 0)], closed=False).segments
    centre, _, _, radius = bulge_to_arc((1, 2), (5, 4), bulge)
    assert arc.centre == pytest.approx((centre.x, centre.y), abs=1e-12)
    assert arc.radius == pytest.approx(radius, abs=1e-12)
    assert arc.start == pytest.approx((1, 2), abs=1e-12)
    assert arc.end == pytest.approx((5, 4), abs=1e-12)


def test_arcs_ellipses_and_splines_lie_where_the_library_says(read):
    doc = drawing(MM, (0, 0, 200, 200))
    msp = doc.modelspace()
    things = [
        msp.add_arc((50, 50), 20, 350, 100),
        msp.add_ellipse((120, 60), (30, 10), 0.4, 0.3, 4.0),
        msp.add_spline([(10, 120), (30, 160), (60, 110), (90, 150)]),
        msp.add_rational_spline([(110, 120), (140, 180), (180, 120)], [1, 3, 1], degree=2),
        msp.add_spline(degree=3),
    ]
    ring = closed_uniform_bspline([(20, 170), (60, 170), (60, 190), (20, 190)])
    things[-1].apply_construction_tool(ring)
    for k, thing in enumerate(things):
        thing.dxf.layer = f"t{k}"
    artwork = read(doc)
    for k, thing in enumerate(things):
        (path,) = paths_mm(artwork, f"t{k}")
        ours = path.points(1e-3)
        if thing.dxftype() == "SPLINE":
            theirs = list(thing.construction_tool().approximate(400))
        else:
            theirs = list(thing.flattening(1e-3))
        for p in theirs[:: max(1, len(theirs) // 40)]:
            assert min(_distance(p, a, b) for a, b in pairwise(ours)) < 2e-3


def _distance(p, a, b):
    dx, dy = b[0] - a[0], b[1] - a[1]
    length2 = dx * dx + dy * dy or 1e-300
    t = min(max(((p.x - a[0]) * dx + (p.y - a[1]) * dy) / length2, 0), 1)
    return math.hypot(p.x - a[0] - t * dx, p.y - a[1] - t * dy)


def test_a_plain_cubic_spline_keeps_its_own_curve():
    from decalprep.intake.dxfpaths import spline_path

    tool = BSpline([(0, 0), (1, 3), (4, 3), (5, 0), (7, 1)])
    path = spline_path(tool)
    assert len(path.segments) == 2
    assert path.segments[0].end == pytest.approx(tuple(tool.point(tool.max_t / 2))[:2])


def test_mirrored_planes(read):
    """Extrusion (0, 0, -1) mirrors x: common in exported parts."""
    doc = drawing(MM, (-80, 0, 0, 40))
    doc.modelspace().add_circle((20, 10), 3, dxfattribs={"layer": "holes", "extrusion": (0, 0, -1)})
    (hole,) = read(doc).face.holes
    assert (hole.circle.x, hole.circle.y) == pytest.approx((60, 10), abs=1e-12)


def test_blocks_nested_scaled_and_in_rows(read):
    doc = drawing(MM, (0, 0, 100, 60))
    screw = doc.blocks.new("screw")
    screw.add_circle((0, 0), 2)
    pair = doc.blocks.new("pair")
    pair.add_blockref("screw", (0, 0))
    pair.add_blockref("screw", (10, 0), dxfattribs={"xscale": 2, "yscale": 2, "zscale": 2})
    msp = doc.modelspace()
    msp.add_blockref("pair", (20, 20), dxfattribs={"layer": "holes", "rotation": 90})
    rows = msp.add_blockref("screw", (60, 10), dxfattribs={"layer": "holes"})
    rows.dxf.column_count, rows.dxf.column_spacing = 3, 10
    circles = sorted(
        (round(h.circle.x, 9), round(h.circle.y, 9), round(h.circle.diameter, 9))
        for h in read(doc).face.holes
    )
    assert circles == [(20, 20, 4), (20, 30, 8), (60, 10, 4), (70, 10, 4), (80, 10, 4)]


def test_a_stretched_block_makes_an_ellipse(read):
    doc = drawing()
    doc.blocks.new("o").add_circle((0, 0), 5)
    doc.modelspace().add_blockref(
        "o", (40, 20), dxfattribs={"layer": "holes", "xscale": 2, "yscale": 1}
    )
    (hole,) = read(doc).face.holes
    assert hole.circle is None
    assert hole.contour.polygon(1e-4).area == pytest.approx(math.pi * 50, abs=0.01)


def test_a_block_within_itself_is_refused_or_read(read):
    doc = drawing()
    a, b = doc.blocks.new("a"), doc.blocks.new("b")
    a.add_blockref("b", (0, 0))
    b.add_blockref("a", (0, 0))
    doc.modelspace().add_blockref("a", (10, 10))
    try:
        assert read(doc).width_mm == pytest.approx(80)
    except TooMuch as error:
        assert "nested" in str(error)


def test_colours_by_layer_block_and_7_as_black(read):
    doc = drawing()
    doc.layers.add("red", color=1)
    msp = doc.modelspace()
    msp.add_line((1, 1), (9, 1), dxfattribs={"layer": "red"})
    msp.add_line((1, 2), (9, 2), dxfattribs={"color": 7})
    line = msp.add_line((1, 3), (9, 3))
    line.rgb = (0, 128, 255)
    doc.blocks.new("b").add_line((0, 0), (5, 0), dxfattribs={"color": 0})
    msp.add_blockref("b", (1, 4), dxfattribs={"color": 3})
    colours = [s.stroke_colour.rgb for s in read_page(read(doc).page_pdf).shapes[1:]]
    expected = [(1, 0, 0), (0, 0, 0), (0, 128 / 255, 1), (0, 1, 0)]
    for found, wanted in zip(colours, expected, strict=True):
        assert found == pytest.approx(wanted, abs=1e-3)


def test_layers_off_frozen_and_not_plotted_are_hidden(read):
    doc = drawing()
    for name in ("off", "frozen", "unplotted"):
        doc.layers.add(name)
        doc.modelspace().add_line((1, 1), (200, 1), dxfattribs={"layer": name})
    doc.layers.get("off").off()
    doc.layers.get("frozen").freeze()
    doc.layers.get("unplotted").dxf.plot = 0
    artwork = read(doc)
    assert artwork.width_mm == pytest.approx(80)
    assert artwork.layers == ("outline", "off", "frozen", "unplotted")
    assert {s.layer for s in read_page(artwork.page_pdf).shapes if s.visible} == {"outline"}
    shown = read(doc, show_layers=("off",))
    assert shown.width_mm == pytest.approx(200)
    assert {s.layer for s in read_page(shown.page_pdf).shapes if s.visible} == {"outline", "off"}
    with pytest.raises(UsageProblem, match="no layer 'keel' with lines; its layers are"):
        read(doc, hide_layers=("keel",))


def test_solid_and_patterned_hatches(read):
    doc = drawing()
    solid = doc.modelspace().add_hatch(color=1)
    solid.paths.add_polyline_path([(10, 10), (30, 10), (30, 20), (10, 20)])
    edge = solid.paths.add_edge_path()
    edge.add_arc((20, 15), 3, 0, 360)
    pattern = doc.modelspace().add_hatch()
    pattern.set_pattern_fill("ANSI31", scale=1)
    pattern.paths.add_polyline_path([(50, 10), (70, 10), (70, 30), (50, 30)])
    artwork = read(doc)
    image = pypdfium2.PdfDocument(artwork.page_pdf)[0].render(scale=20, grayscale=True).to_numpy()
    dark = (np.squeeze(image) < 200).astype(float)
    per_mm = 20 * 72 / 25.4
    part = dark[int(20 * per_mm) : int(30 * per_mm), int(10 * per_mm) : int(30 * per_mm)]
    assert part.mean() == pytest.approx(1 - math.pi * 9 / 200, abs=0.01)
    hatched = dark[int(11 * per_mm) : int(29 * per_mm), int(51 * per_mm) : int(69 * per_mm)]
    assert 0.02 < hatched.mean() < 0.3


def test_text_has_its_capital_height_and_place_and_is_told(read):
    doc = drawing()
    doc.modelspace().add_text("HELM", height=3.5, dxfattribs={"layer": "legend"}).set_placement(
        (10, 5)
    )
    artwork = read(doc)
    boxes = [p.box for p in paths_mm(artwork, "legend")]
    assert min(b.y0 for b in boxes) == pytest.approx(5.0, abs=1e-3)
    assert max(b.y1 for b in boxes) == pytest.approx(8.5, abs=1e-3)
    assert "dxf-text-stand-in" in codes(artwork)
    assert len(artwork.face.holes) == 0


def test_letters_that_the_font_lacks_are_named(read):
    doc = drawing()
    doc.modelspace().add_mtext("舵 MAIN", dxfattribs={"char_height": 3, "insert": (5, 20)})
    assert "舵" in notice(read(doc), "dxf-letters-missing").text


def test_dashes_follow_the_drawing_scale(read):
    doc = drawing()
    doc.header["$LTSCALE"] = 2.0
    doc.modelspace().add_line((10, 10), (70, 10), dxfattribs={"linetype": "DASHED"})
    assert any(s.dashed for s in read_page(read(doc).page_pdf).shapes)


def test_what_cannot_be_drawn_is_named(read):
    doc = drawing()
    msp = doc.modelspace()
    msp.add_point((1, 1))
    msp.add_xline((0, 0), (1, 1))
    msp.add_ray((0, 0), (1, 1))
    text = notice(read(doc), "dxf-not-drawn").text
    assert all(word in text for word in ("1 POINT", "1 XLINE", "1 RAY"))


def test_dimensions_are_drawn_as_their_block(read):
    doc = ezdxf.new(setup=True)
    doc.header["$INSUNITS"] = MM
    doc.modelspace().add_lwpolyline([(0, 0), (80, 0), (80, 40), (0, 40)], close=True)
    doc.modelspace().add_linear_dim(base=(0, -10), p1=(0, 0), p2=(80, 0)).render()
    assert read(doc).height_mm > 45


def test_an_empty_drawing_is_refused(read):
    doc = ezdxf.new()
    doc.header["$INSUNITS"] = MM
    with pytest.raises(InputProblem, match="nothing in its model space"):
        read(doc)


def test_a_drawing_without_height_is_refused(read):
    doc = ezdxf.new()
    doc.header["$INSUNITS"] = MM
    doc.modelspace().add_line((0, 0), (80, 0))
    with pytest.raises(InputProblem, match="no area"):
        read(doc)


def test_limits(read):
    doc = drawing()
    for k in range(60):
        doc.modelspace().add_line((0, 0), (k + 1, 1))
    with pytest.raises(TooMuch, match="more than 50 things to draw"):
        read(doc, limits=Limits(max_paths=50))


def test_blocks_of_blocks_are_counted_before_they_fill_the_memory(read):
    """Ten in ten in ten, eight times: 10^8 circles from a few lines."""
    doc = drawing()
    doc.blocks.new("b0").add_circle((0, 0), 1)
    for k in range(1, 9):
        block = doc.blocks.new(f"b{k}")
        for i in range(10):
            block.add_blockref(f"b{k - 1}", (i, 0))
    doc.modelspace().add_blockref("b8", (0, 0))
    with pytest.raises(TooMuch, match="more than 2,000 things to draw"):
        read(doc, limits=Limits(max_paths=2000))


def test_only_loops_on_the_outline_and_hole_layers_are_holes(read):
    doc = drawing()
    msp = doc.modelspace()
    msp.add_circle((10, 10), 2, dxfattribs={"layer": "outline"})
    msp.add_circle((30, 10), 2, dxfattribs={"layer": "Switch-Holes"})
    msp.add_circle((50, 10), 2, dxfattribs={"layer": "legend"})
    artwork = read(doc)
    assert [h.circle.x for h in artwork.face.holes] == pytest.approx([10, 30])
    assert "'legend'" in notice(artwork, "dxf-layers-not-holes").text


def test_binary_dxf(tmp_path):
    path = tmp_path / "binary.dxf"
    drawing().saveas(path, fmt="bin")
    assert read_artwork(path).width_mm == pytest.approx(80)


def test_same_drawing_same_bytes(read):
    doc = drawing()
    doc.modelspace().add_text("HELM", height=3)
    assert read(doc).page_pdf == read(doc).page_pdf
