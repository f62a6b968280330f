"""The face of a part from its mesh: which face, outline, holes, thickness, and broken meshes."""

import math

import numpy as np
import pytest
import shapely.affinity
import trimesh
from hypothesis import given, settings
from hypothesis import strategies as st
from mesh_parts import HOLES, plate, prism, ring
from shapely.geometry import Polygon, box

from decalprep.errors import DecalprepError, InputProblem, TooMuch, UsageProblem
from decalprep.intake import FaceOptions, Limits, read_face
from decalprep.intake.mesh import read_mesh_face

FORMATS = ("stl", "stl_ascii", "3mf", "obj")


def written(mesh, path, how="stl"):
    data = mesh.export(file_type=how)
    path.write_bytes(data if isinstance(data, bytes) else data.encode())
    return path


@pytest.fixture
def face_of(tmp_path):
    def read(mesh, how="stl", **said):
        path = written(mesh, tmp_path / f"plate.{how.split('_')[0]}", how)
        return read_face(path, FaceOptions(**said))

    return read


def codes(face):
    return {notice.code for notice in face.notices}


@pytest.mark.parametrize("how", FORMATS)
def test_a_plate_gives_its_outline_holes_and_thickness(how, face_of):
    face = face_of(plate(at=(5, -7)), how, direction="top")
    assert face.outline.polygon().area == pytest.approx(80 * 40 - 10 * 15, abs=1e-3)
    assert (face.outline.box.x0, face.outline.box.y0) == pytest.approx((0, 0), abs=1e-9)
    assert face.thickness_mm == pytest.approx(3.0, abs=1e-5)
    round_holes = [h for h in face.holes if h.circle is not None]
    assert len(face.holes) == 3
    for hole, (x, y, d) in zip(sorted(round_holes, key=lambda h: h.circle.x), HOLES, strict=True):
        assert (hole.circle.x, hole.circle.y) == pytest.approx((x, y), abs=1e-5)
        assert hole.circle.diameter == pytest.approx(d, abs=2e-5)
        assert hole.fit_error_mm < 1e-5


@pytest.mark.parametrize("corners", [8, 12, 24, 96])
def test_circles_are_fitted_through_corners_and_the_facet_error_is_told(corners, face_of):
    """Sagitta of a chord, r (1 - cos(pi / n)): plane geometry."""
    face = face_of(plate(corners), direction="top")
    circles = sorted(h.circle.diameter for h in face.holes if h.circle)
    assert circles == pytest.approx([4.3, 12.0], abs=2e-5)
    assert face.facet_error_mm == pytest.approx(6 * (1 - math.cos(math.pi / corners)), abs=1e-5)
    assert f"within {face.facet_error_mm:.3f} mm" in face.described


def test_rounded_corners_tell_their_facets_and_straight_sides_do_not_count(face_of):
    """Corner radius 6 in facets of 15 degrees: r (1 - cos 7.5 degrees) = 0.0513 mm."""
    steps = [math.radians(15 * k) for k in range(7)]
    turns = ((74, 34, 0), (6, 34, 90), (6, 6, 180), (74, 6, 270))
    corners = [
        (x + 6 * math.cos(s + math.radians(q)), y + 6 * math.sin(s + math.radians(q)))
        for x, y, q in turns
        for s in steps
    ]
    face = face_of(prism(Polygon(corners)), direction="top")
    assert face.facet_error_mm == pytest.approx(6 * (1 - math.cos(math.radians(7.5))), abs=1e-4)


def test_a_hexagon_is_no_circle(face_of):
    polygon = Polygon(box(0, 0, 30, 30).exterior.coords, [ring(15, 15, 10, 6)])
    (hole,) = face_of(prism(polygon), direction="top").holes
    assert hole.circle is None
    assert hole.contour.polygon().area == pytest.approx(3 * math.sqrt(3) / 2 * 25, abs=1e-4)


def test_a_round_plate_has_a_round_outline(face_of):
    face = face_of(prism(Polygon(ring(3, 4, 79.375, 128))), direction="top")
    assert face.outline.box.width == pytest.approx(79.375, abs=1e-4)


@pytest.mark.parametrize(
    ("word", "turn"),
    [
        ("top", None),
        ("bottom", (180, (0, 1, 0))),
        ("front", (90, (1, 0, 0))),
        ("right", None),
        ("left", None),
        ("back", None),
    ],
)
def test_seen_from_outside_x_is_right_and_y_is_up(word, turn, face_of):
    """The plate is stood so that its top looks ``word``; a reader there sees it upright."""
    up, out = {
        "top": ((0, 1, 0), (0, 0, 1)),
        "bottom": ((0, 1, 0), (0, 0, -1)),
        "front": ((0, 0, 1), (0, -1, 0)),
        "back": ((0, 0, 1), (0, 1, 0)),
        "right": ((0, 0, 1), (1, 0, 0)),
        "left": ((0, 0, 1), (-1, 0, 0)),
    }[word]
    stand = np.eye(4)
    stand[:3, :3] = np.column_stack([np.cross(up, out), up, out])
    mesh = plate()
    mesh.apply_transform(stand)
    face = face_of(mesh, direction=word)
    biggest = max((h.circle for h in face.holes if h.circle), key=lambda c: c.diameter)
    assert (biggest.x, biggest.y) == pytest.approx((20, 10), abs=1e-5)


def test_the_underside_is_the_mirror_image(face_of):
    face = face_of(plate(), direction="-z")
    biggest = max((h.circle for h in face.holes if h.circle), key=lambda c: c.diameter)
    assert (biggest.x, biggest.y) == pytest.approx((60, 10), abs=1e-5)


def test_a_tie_of_top_and_bottom_takes_the_top_and_says_so(face_of):
    face = face_of(plate())
    assert "looks +z" in face.described
    assert "face-tie" in codes(face)


def test_the_largest_face_is_the_default(face_of):
    face = face_of(trimesh.creation.box((10, 60, 40)))
    assert face.outline.box.width == pytest.approx(60)
    assert "looks +x" in face.described


def test_a_tilted_face_is_measured_in_its_own_plane(face_of):
    mesh = plate()
    mesh.apply_transform(trimesh.transformations.rotation_matrix(math.radians(35), (1, 0, 0)))
    normal = (0, -math.sin(math.radians(35)), math.cos(math.radians(35)))
    face = face_of(mesh, direction=normal)
    assert (face.outline.box.width, face.outline.box.height) == pytest.approx((80, 40), abs=1e-4)
    assert sorted(h.circle.diameter for h in face.holes if h.circle) == pytest.approx(
        [4.3, 12], abs=1e-4
    )


@pytest.mark.parametrize(("turn", "size"), [(90.0, (40, 80)), (180.0, (80, 40))])
def test_the_face_can_be_turned_on_the_paper(turn, size, face_of):
    face = face_of(plate(), direction="top", turn_deg=turn)
    assert (face.outline.box.width, face.outline.box.height) == pytest.approx(size, abs=1e-4)
    assert (face.outline.box.x0, face.outline.box.y0) == pytest.approx((0, 0), abs=1e-9)


def test_the_second_face_that_way(face_of):
    step = trimesh.util.concatenate([plate(), prism(box(100, 0, 120, 20), 0, 8)])
    assert face_of(step, direction="top", rank=2).outline.box.width == pytest.approx(20, abs=1e-5)
    with pytest.raises(UsageProblem, match="no flat face number 3"):
        face_of(step, direction="top", rank=3)


def test_one_body_of_several(face_of):
    both = trimesh.util.concatenate([plate(), prism(box(100, 0, 120, 20))])
    assert face_of(both, direction="top", body=2).outline.box.width == pytest.approx(20, abs=1e-5)
    assert "face-apart" in codes(face_of(both, direction="top"))
    with pytest.raises(UsageProblem, match="no body 3; there are 2"):
        face_of(both, body=3)


def test_blind_recesses_are_told_and_left(face_of):
    """A plate whose upper millimetre has a pocket that the lower two close."""
    pocket = Polygon(box(0, 0, 40, 40).exterior.coords, [box(5, 5, 12, 12).exterior.coords])
    mesh = trimesh.util.concatenate([prism(pocket, 2, 3), prism(box(0, 0, 40, 40), 0, 2)])
    face = face_of(mesh, direction="top")
    assert face.holes == ()
    assert "face-recesses" in codes(face)
    (hole,) = face_of(mesh, direction="top", recesses=True).holes
    assert hole.label == "blind 1.00 mm"


def test_a_hole_over_a_box_goes_through(face_of):
    """A lid with a hole, a floor 30 mm below it: the floor is not the hole's bottom."""
    lid = Polygon(box(0, 0, 40, 40).exterior.coords, [ring(20, 20, 16)])
    mesh = trimesh.util.concatenate([prism(lid, 30, 33), prism(box(0, 0, 40, 40), -2, 0)])
    face = face_of(mesh, direction="top")
    assert [h.circle.diameter for h in face.holes] == pytest.approx([16], abs=1e-5)
    assert face.thickness_mm == pytest.approx(3, abs=1e-5)


def test_what_stands_up_is_cut_round_and_told(face_of):
    base = Polygon(box(0, 0, 40, 40).exterior.coords, [box(5, 5, 12, 12).exterior.coords])
    mesh = trimesh.util.concatenate([prism(base, 0, 3), prism(box(5, 5, 12, 12), 0, 5)])
    face = face_of(mesh, direction="top")
    assert [h.label for h in face.holes] == ["raised 2.00 mm"]
    assert "face-raised" in codes(face)


def test_a_chamfer_beside_the_flat_is_told(face_of):
    mesh = trimesh.convex.convex_hull(
        np.array(
            [(x, y, 0) for x in (0, 40) for y in (0, 30)]
            + [(x, y, 5) for x in (2, 38) for y in (2, 28)]
        )
    )
    face = face_of(mesh, direction="top")
    assert face.outline.box.width == pytest.approx(36, abs=1e-5)
    assert "face-inside-part" in codes(face)


def test_units(tmp_path):
    path = written(prism(box(0, 0, 4, 2), 0, 0.125), tmp_path / "inch.stl")
    face = read_mesh_face(path, FaceOptions(unit="in", direction="top"))
    assert face.outline.box.width == pytest.approx(101.6, abs=1e-5)
    assert "unit-doubtful" in codes(read_mesh_face(path, FaceOptions(direction="top")))
    with pytest.raises(UsageProblem, match="unit 'furlong'"):
        read_mesh_face(path, FaceOptions(unit="furlong"))


def test_the_unit_of_a_3mf_is_honoured(tmp_path):
    mesh = prism(box(0, 0, 4, 2), 0, 0.125)
    mesh.units = "inch"
    path = tmp_path / "inch.3mf"
    data = mesh.export(file_type="3mf")
    path.write_bytes(data)
    if b"inch" not in _model_of(path):
        _rewrite_unit(path, "inch")
    face = read_mesh_face(path, FaceOptions(direction="top"))
    assert face.outline.box.width == pytest.approx(101.6, abs=1e-5)
    other = read_mesh_face(path, FaceOptions(direction="top", unit="mm"))
    assert "unit-conflict" in codes(other)


def _model_of(path):
    import zipfile

    with zipfile.ZipFile(path) as archive:
        return next(archive.read(n) for n in archive.namelist() if n.endswith(".model"))


def _rewrite_unit(path, unit):
    import re
    import zipfile

    with zipfile.ZipFile(path) as archive:
        members = {n: archive.read(n) for n in archive.namelist()}
    with zipfile.ZipFile(path, "w") as archive:
        for name, data in members.items():
            if name.endswith(".model"):
                data = re.sub(rb'unit="\w+"', b'unit="' + unit.encode() + b'"', data)
            archive.writestr(name, data)


# ---------------------------------------------------------------- broken meshes


def soup(mesh, change):
    """The mesh as loose facets after a change, as a broken STL would hold them."""
    triangles = change(mesh.triangles.copy())
    count = len(triangles)
    return trimesh.Trimesh(
        triangles.reshape(-1, 3), np.arange(3 * count).reshape(-1, 3), process=False
    )


def top_area(face):
    return face.outline.polygon().area


def test_facets_turned_over_are_healed(face_of):
    def turn_some(t):
        t[::5] = t[::5, ::-1]
        return t

    face = face_of(soup(plate(), turn_some), direction="top")
    assert top_area(face) == pytest.approx(3050, abs=1e-3)
    assert len(face.holes) == 3
    assert "mesh-healed" in codes(face)


def test_a_mesh_inside_out_is_healed(face_of):
    face = face_of(soup(plate(), lambda t: t[:, ::-1]), direction="top")
    assert top_area(face) == pytest.approx(3050, abs=1e-3)
    assert "looked inward" in " ".join(n.text for n in face.notices)


def test_doubled_and_empty_facets_are_healed(face_of):
    def spoil(t):
        empty = t[:4].copy()
        empty[:, 2] = empty[:, 1]
        return np.concatenate([t, t[::3], empty])

    face = face_of(soup(plate(), spoil), direction="top")
    assert top_area(face) == pytest.approx(3050, abs=1e-3)
    assert len(face.holes) == 3
    told = " ".join(n.text for n in face.notices)
    assert "doubled" in told
    assert "empty" in told


def test_an_open_mesh_is_told(face_of):
    mesh = plate()
    down = mesh.face_normals[:, 2] < -0.5
    mesh.update_faces(~down)
    face = face_of(mesh, direction="top")
    assert top_area(face) == pytest.approx(3050, abs=1e-3)
    assert face.thickness_mm is None
    assert "mesh-open" in codes(face)


def test_small_gaps_between_facets_are_closed(face_of):
    rng = np.random.default_rng(7)
    face = face_of(soup(plate(), lambda t: t + rng.uniform(-1e-4, 1e-4, t.shape)), direction="top")
    assert top_area(face) == pytest.approx(3050, abs=0.1)
    assert len(face.holes) == 3


def test_corners_on_the_edge_of_another_facet_do_no_harm(face_of):
    """Two coplanar halves, one split finer: the inner edges do not match."""
    left, right = prism(box(0, 0, 20, 30)), prism(box(20, 0, 40, 15))
    rest = prism(box(20, 15, 40, 30))
    face = face_of(trimesh.util.concatenate([left, right, rest]), direction="top")
    assert top_area(face) == pytest.approx(1200, abs=0.01)


def test_a_missing_facet_in_the_face_leaves_a_hole_and_is_told(face_of):
    mesh = prism(box(0, 0, 40, 30))
    up = np.flatnonzero(mesh.face_normals[:, 2] > 0.5)
    mesh.update_faces(np.delete(np.arange(len(mesh.faces)), up[0]))
    face = face_of(mesh, direction="top")
    assert "mesh-open" in codes(face)


# ---------------------------------------------------------------- refusals


def test_no_face_looks_there(face_of):
    with pytest.raises(InputProblem, match=r"no flat face looks.*flats look: [-+]"):
        face_of(trimesh.creation.box((10, 20, 30)), direction=(1, 1, 1))


def test_a_ball_has_no_face(face_of):
    with pytest.raises(InputProblem, match="no face to speak of"):
        face_of(trimesh.creation.icosphere(4, 30))


@pytest.mark.parametrize("direction", ["upward", (0, 0, 0), (1, math.nan, 0)])
def test_no_direction(direction, face_of):
    with pytest.raises(UsageProblem, match="no direction"):
        face_of(plate(), direction=direction)


def test_too_many_facets(face_of):
    for how in FORMATS:
        with pytest.raises(TooMuch, match="facets, more than 100"):
            face_of(plate(), how, limits=Limits(max_facets=100))


def test_a_part_of_a_hundred_metres(face_of):
    with pytest.raises(TooMuch, match="check the unit"):
        face_of(prism(box(0, 0, 100_000, 20)))


@pytest.mark.parametrize(
    ("name", "data"),
    [
        ("a.stl", b"solid a\nfacet normal 0 0 1\nouter loop\nvertex 1 2\n"),
        ("b.stl", b"solid b\nfacet normal 0 0 1\nendsolid b\n"),
        ("c.obj", b"v 0 0 0\nv 1 0 0\nf 1 2 9\n"),
        ("d.stl", b"\0" * 84),
        ("e.3mf", b"PK\x03\x04" + b"\0" * 40),
    ],
)
def test_broken_files_are_one_line(name, data, tmp_path):
    (tmp_path / name).write_bytes(data)
    with pytest.raises(DecalprepError) as caught:
        read_face(tmp_path / name)
    assert "\n" not in str(caught.value)
    assert name in str(caught.value)


THREE_MF = plate(12).export(file_type="3mf")


def _packed(model):
    """A 3MF whose model is the given XML."""
    import io
    import zipfile

    out = io.BytesIO()
    with zipfile.ZipFile(out, "w") as archive:
        archive.writestr("3D/3dmodel.model", model)
    return out.getvalue()


def _model(data):
    import io
    import zipfile

    with zipfile.ZipFile(io.BytesIO(data)) as archive:
        return next(archive.read(n) for n in archive.namelist() if n.endswith(".model"))


MODEL = _model(THREE_MF)


def test_entities_in_a_3mf_are_not_followed(tmp_path):
    """Nested entities and one that names a file: refused in one line, in no time."""
    nested = "".join(f'<!ENTITY a{k} "{f"&a{k - 1};" * 10}">' for k in range(1, 10))
    outside = '<!ENTITY a0 "1"><!ENTITY f SYSTEM "file:///etc/hostname">'
    text = MODEL.decode()
    head = f"<!DOCTYPE model [{outside}{nested}]>"
    text = text.replace("<model", head + "<model", 1).replace(' x="', ' x="&a9;', 1)
    path = tmp_path / "bomb.3mf"
    path.write_bytes(_packed(text))
    with pytest.raises(InputProblem, match=r"bomb\.3mf: the mesh cannot be read") as caught:
        read_face(path)
    assert "\n" not in str(caught.value)


def test_corners_of_two_coordinates(tmp_path):
    path = tmp_path / "flat.obj"
    path.write_bytes(b"v 0 0\nv 9 0\nv 9 9\nf 1 2 3\n")
    with pytest.raises(InputProblem, match="flat\\.obj: the mesh has corners without three coord"):
        read_face(path)


@settings(max_examples=15, deadline=None)
@given(st.floats(-180, 180), st.floats(-500, 500), st.integers(16, 64))
def test_where_the_part_stands_does_not_matter(angle, shift, corners):
    import tempfile
    from pathlib import Path

    base = Polygon(box(0, 0, 50, 30).exterior.coords, [ring(20, 15, 16, corners)])
    turned = shapely.affinity.translate(shapely.affinity.rotate(base, angle, (0, 0)), shift, shift)
    with tempfile.TemporaryDirectory() as folder:
        path = written(prism(turned), Path(folder) / "plate.stl")
        face = read_mesh_face(path, FaceOptions(direction="top", turn_deg=-angle))
    assert (face.outline.box.width, face.outline.box.height) == pytest.approx((50, 30), abs=5e-4)
    (hole,) = face.holes
    assert hole.circle.diameter == pytest.approx(16, abs=5e-4)
    assert (hole.circle.x, hole.circle.y) == pytest.approx((20, 15), abs=5e-4)
