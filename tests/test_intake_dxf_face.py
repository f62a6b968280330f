"""The face of a part from a DXF: loops joined from lines and arcs, holes, layers, gaps."""

import math

import ezdxf
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from decalprep.errors import InputProblem, NoSize, UsageProblem
from decalprep.geometry import Arc, Line, Path, rectangle_path
from decalprep.geometry import Box as GBox
from decalprep.intake import FaceOptions, IntakeOptions, read_artwork, read_face
from decalprep.intake.chains import chained


def new(unit=4):
    doc = ezdxf.new()
    doc.header["$INSUNITS"] = unit
    return doc


@pytest.fixture
def face_of(tmp_path):
    def save(doc, **said):
        path = tmp_path / "plate.dxf"
        doc.saveas(path)
        return read_face(path, FaceOptions(**said))

    return save


def rounded(msp, x0=10.0, y0=5.0, w=80.0, h=40.0, r=6.0, gap=0.0):
    """A rounded rectangle of loose lines and arcs, in no order, some drawn backwards."""
    x1, y1 = x0 + w, y0 + h
    msp.add_arc((x1 - r, y0 + r), r, 270, 360)
    msp.add_line((x1 - r, y0), (x0 + r + gap, y0))
    msp.add_line((x0, y1 - r), (x0, y0 + r))
    msp.add_arc((x0 + r, y1 - r), r, 90, 180)
    msp.add_line((x0 + r, y1), (x1 - r, y1))
    msp.add_arc((x1 - r, y1 - r), r, 0, 90)
    msp.add_line((x1, y0 + r), (x1, y1 - r))
    msp.add_arc((x0 + r, y0 + r), r, 180, 270)


def test_loose_lines_and_arcs_make_the_outline_and_arcs_stay_arcs(face_of):
    doc = new()
    rounded(doc.modelspace())
    doc.modelspace().add_circle((30, 25), 6)
    face = face_of(doc)
    assert face.outline.polygon(1e-4).area == pytest.approx(80 * 40 - (4 - math.pi) * 36, abs=0.02)
    assert sum(isinstance(s, Arc) for s in face.outline.segments) == 4
    assert (face.outline.box.x0, face.outline.box.y0) == pytest.approx((0, 0), abs=1e-9)
    (hole,) = face.holes
    assert (hole.circle.x, hole.circle.y, hole.circle.diameter) == pytest.approx(
        (20, 20, 12), abs=1e-12
    )
    assert face.thickness_mm is None
    assert face.facet_error_mm == 0.0


def test_a_circle_of_two_arcs_is_a_circle(face_of):
    doc = new()
    rounded(doc.modelspace())
    doc.modelspace().add_arc((30, 25), 6, 40, 220)
    doc.modelspace().add_arc((30, 25), 6, 220, 40)
    (hole,) = face_of(doc).holes
    assert hole.circle.diameter == pytest.approx(12, abs=1e-12)


def test_inches(face_of):
    doc = new(1)
    doc.modelspace().add_circle((0, 0), 3.125 / 2)
    assert face_of(doc).outline.box.width == pytest.approx(79.375, abs=1e-6)


def test_no_unit(face_of):
    doc = new(0)
    doc.modelspace().add_circle((0, 0), 10)
    with pytest.raises(NoSize, match="say its unit"):
        face_of(doc)
    assert face_of(doc, unit="in").outline.box.width == pytest.approx(508)


def test_another_unit_than_the_files_is_told(face_of):
    doc = new(4)
    doc.modelspace().add_circle((0, 0), 10)
    assert "unit-conflict" in {n.code for n in face_of(doc, unit="in").notices}


def test_turned(face_of):
    doc = new()
    rounded(doc.modelspace())
    doc.modelspace().add_circle((30, 25), 6)
    face = face_of(doc, turn_deg=90)
    assert (face.outline.box.width, face.outline.box.height) == pytest.approx((40, 80), abs=1e-9)
    assert (face.holes[0].circle.x, face.holes[0].circle.y) == pytest.approx((20, 20), abs=1e-9)


@pytest.mark.parametrize(("gap", "closed"), [(0.005, True), (0.2, False)])
def test_small_gaps_are_bridged_and_told_large_ones_refused(gap, closed, face_of):
    doc = new()
    rounded(doc.modelspace(), gap=gap)
    if not closed:
        with pytest.raises(InputProblem, match=r"no closed outline.*within 0\.01 mm"):
            face_of(doc)
        return
    face = face_of(doc)
    assert "gaps of up to 0.0050 mm" in " ".join(n.text for n in face.notices)


def test_lines_drawn_twice_count_once(face_of):
    doc = new()
    rounded(doc.modelspace())
    rounded(doc.modelspace())
    assert len(face_of(doc).outline.segments) == 8


def test_holes_in_holes_are_left_out_and_told(face_of):
    doc = new()
    rounded(doc.modelspace())
    doc.modelspace().add_circle((30, 25), 6)
    doc.modelspace().add_circle((30, 25), 3)
    face = face_of(doc)
    assert [h.circle.diameter for h in face.holes] == [12.0]
    assert "dxf-inside-holes" in {n.code for n in face.notices}


def test_branching_lines_are_told_not_guessed(face_of):
    doc = new()
    rounded(doc.modelspace())
    doc.modelspace().add_line((16, 5), (84, 45))
    with pytest.raises(InputProblem, match="no closed outline"):
        face_of(doc)
    doc.modelspace().add_circle((200, 25), 6)
    assert "dxf-branches" in {n.code for n in face_of(doc).notices}


def test_layers_are_chosen_by_name(face_of):
    doc = new()
    msp = doc.modelspace()
    msp.add_lwpolyline([(0, 0), (200, 0), (200, 100), (0, 100)], close=True)
    for layer, x in (("plate", 50), ("drill", 50)):
        msp.add_circle((x, 50), 30 if layer == "plate" else 4, dxfattribs={"layer": layer})
    face = face_of(doc, outline_layer="plate", hole_layers=("drill",))
    assert face.outline.box.width == pytest.approx(60, abs=1e-9)
    assert [h.circle.diameter for h in face.holes] == [8.0]
    with pytest.raises(UsageProblem, match="no layer 'keel'"):
        face_of(doc, outline_layer="keel")


def test_an_outline_on_several_layers(face_of):
    doc = new()
    for k, (a, b) in enumerate([((0, 0), (9, 0)), ((9, 0), (0, 9)), ((0, 9), (0, 0))]):
        doc.modelspace().add_line(a, b, dxfattribs={"layer": f"l{k}"})
    assert face_of(doc).outline.polygon().area == pytest.approx(40.5)


def test_an_outline_that_crosses_itself_is_refused(face_of):
    doc = new()
    doc.modelspace().add_lwpolyline([(0, 0), (10, 10), (10, 0), (0, 10)], close=True)
    with pytest.raises(InputProblem, match="crosses itself"):
        face_of(doc)


def test_text_and_hatches_are_no_outline(face_of):
    doc = new()
    doc.modelspace().add_text("O", height=50)
    hatch = doc.modelspace().add_hatch()
    hatch.paths.add_polyline_path([(0, 0), (100, 0), (100, 100)])
    with pytest.raises(InputProblem, match="no closed outline"):
        face_of(doc)


def test_the_artworks_face_lies_in_the_artwork_frame(tmp_path):
    doc = new()
    rounded(doc.modelspace())
    doc.modelspace().add_circle((30, 25), 6)
    path = tmp_path / "plate.dxf"
    doc.saveas(path)
    artwork = read_artwork(path, IntakeOptions(width_mm=40.0))
    (hole,) = artwork.face.holes
    assert (hole.circle.x, hole.circle.y, hole.circle.diameter) == pytest.approx((10, 10, 6))
    assert artwork.face.outline.box.width == pytest.approx(40)


@settings(max_examples=25, deadline=None)
@given(
    st.integers(3, 30),
    st.randoms(use_true_random=False),
    st.lists(st.booleans(), min_size=30, max_size=30),
)
def test_any_order_and_direction_gives_the_same_loop(corners, random, backwards):
    ring = [
        (50 * math.cos(math.tau * k / corners), 30 * math.sin(math.tau * k / corners))
        for k in range(corners)
    ]
    pieces = []
    for k in range(corners):
        a, b = ring[k], ring[(k + 1) % corners]
        pieces.append(Path((Line(b, a) if backwards[k] else Line(a, b),), closed=False))
    random.shuffle(pieces)
    found = chained([*pieces, pieces[0]], 0.01)
    (loop,) = found.loops
    area = 1500 * corners / 2 * math.sin(math.tau / corners)
    assert loop.polygon().area == pytest.approx(area)
    assert found.open_ends == ()


def test_loose_tails_are_left_out():
    tail = [Path((Line((10, 0), (20, 0)),), False), Path((Line((20, 0), (30, 5)),), False)]
    sides = [
        Path((Line(a, b),), False)
        for a, b in (((0, 0), (10, 0)), ((10, 0), (10, 8)), ((10, 8), (0, 0)))
    ]
    found = chained([*tail, *sides], 0.01)
    assert [loop.polygon().area for loop in found.loops] == pytest.approx([40])
    assert found.open_ends == ((30, 5),)


def test_closed_paths_pass_through():
    square = rectangle_path(GBox(0, 0, 5, 5))
    assert chained([square, square], 0.01).loops == (square,)
