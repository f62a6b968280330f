"""Faces of meshes against an independent cut through the same mesh, and against handbook sizes.

The parts and the cuts are trimesh's own (creation.annulus, Trimesh.section), which share no code
with the rim gathered from facets. Hole sizes: ISO 273 medium series for M3, M4, M5 (3.4, 4.5,
5.5 mm), as given on two public hardware tables; 3 1/8 in = 79.375 mm.
"""

import math

import pytest
import trimesh
from shapely.geometry import Polygon

from decalprep.intake import FaceOptions, read_face


def ring_of(inner_mm, outer_mm, sections):
    return trimesh.creation.annulus(inner_mm / 2, outer_mm / 2, 3.0, sections=sections)


def cut_areas(mesh):
    """Areas of the closed lines that a level cut at half height makes, largest first."""
    section = mesh.section(plane_origin=mesh.bounds.mean(axis=0), plane_normal=(0, 0, 1))
    return sorted((Polygon(line[:, :2]).area for line in section.discrete), reverse=True)


def face_of(mesh, folder):
    path = folder / "ring.stl"
    path.write_bytes(mesh.export(file_type="stl"))
    return read_face(path, FaceOptions(direction="top"))


def faceted_area(diameter, sections):
    """A polygon of n corners on a circle: n/2 r^2 sin(2 pi / n)."""
    return sections / 2 * (diameter / 2) ** 2 * math.sin(math.tau / sections)


@pytest.mark.parametrize("sections", [16, 32, 128])
def test_rim_and_hole_agree_with_a_cut(sections, tmp_path):
    mesh = ring_of(40.0, 79.375, sections)
    outer, inner = cut_areas(mesh)
    face = face_of(mesh, tmp_path)
    (hole,) = face.holes
    assert faceted_area(face.outline.box.width, sections) == pytest.approx(outer, rel=1e-5)
    assert faceted_area(hole.circle.diameter, sections) == pytest.approx(inner, rel=1e-6)
    assert face.thickness_mm == pytest.approx(3.0, abs=1e-5)


@pytest.mark.parametrize("diameter", [3.4, 4.5, 5.5, 79.375])
@pytest.mark.parametrize("sections", [16, 64])
def test_standard_holes_come_out_at_their_size_whatever_the_facets(diameter, sections, tmp_path):
    (hole,) = face_of(ring_of(diameter, 100.0, sections), tmp_path).holes
    assert hole.circle.diameter == pytest.approx(diameter, abs=2e-5)
    assert hole.fit_error_mm < 2e-5
