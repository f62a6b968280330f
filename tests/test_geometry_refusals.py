"""Shapes that have no box, inside, circle or inverse say so."""

import pikepdf
import pytest

from decalprep.calibration.leastsquares import weighted_fit
from decalprep.geometry import Affine, Box, Path, fit_circle, path_from_ring, polygon_path
from decalprep.geometry.path import rectangle_path
from decalprep.pdfstream import colour_in, component_count


def test_nothing_has_no_box_points_or_inside():
    with pytest.raises(ValueError, match="no points"):
        Box.around([])
    assert Path(()).points() == []
    with pytest.raises(ValueError, match="inside"):
        polygon_path([(0, 0), (1, 1), (0, 0)]).polygon()
    with pytest.raises(ValueError, match="inside"):
        Path(polygon_path([(0, 0), (1, 0), (1, 1)]).segments, closed=False).polygon()


@pytest.mark.parametrize(
    "points",
    [
        [(0, 0), (1, 1)],
        [(2, 2)] * 5,
        [(0, 0), (1, 1), (2, 2), (3, 3)],
        [(0, 0), (1, 0), (2, 1e-13)],
    ],
)
def test_points_that_make_no_circle(points):
    with pytest.raises(ValueError):
        fit_circle(points)


def test_a_circle_of_points_with_one_in_its_middle_still_ends():
    circle, error = fit_circle([(1, 0), (0, 1), (-1, 0), (0, -1), (0, 0)])
    assert 0 < circle.diameter < 2
    assert error > 0.1


@pytest.mark.parametrize("flat", [Affine(0, 0, 0, 0), Affine(1, 2, 2, 4), Affine(d=float("inf"))])
def test_flat_maps_have_no_inverse(flat):
    with pytest.raises(ValueError, match="no inverse"):
        flat.inverse()


def test_rings_open_or_closed_and_rectangles_too_round():
    ring = [(0, 0), (4, 0), (4, 2), (0, 2)]
    assert path_from_ring(ring) == path_from_ring([*ring, ring[0]])
    stadium = rectangle_path(Box(0, 0, 4, 2), 9)
    assert stadium.polygon(0.0001).area == pytest.approx(2 * 2 + 3.14159, abs=0.001)


@pytest.mark.parametrize(
    ("design", "words"),
    [([[0.0], [0.0]], "do not determine"), ([[1.0, 2.0]], "do not determine"),
     ([[1.0, 1.0], [2.0, 2.0], [3.0, 3.0]], "do not determine")],
)  # fmt: skip
def test_observations_that_determine_nothing(design, words):
    with pytest.raises(ValueError, match=words):
        weighted_fit(design, [1.0] * len(design), [1.0] * len(design))


def test_as_many_unknowns_as_observations_have_no_scatter():
    fit = weighted_fit([[1.0]], [2.0], [0.1])
    with pytest.raises(ValueError, match="no scatter"):
        _ = fit.residual_sd


def test_colour_spaces_of_every_kind_are_counted_and_strange_ones_are_unknown():
    pdf = pikepdf.new()
    name = pikepdf.Name
    assert component_count(name.DeviceCMYK) == 4
    assert component_count(pikepdf.Array([name.ICCBased, pdf.make_stream(b"", N=3)])) == 3
    inks = pikepdf.Array([name("/a"), name("/b")])
    assert component_count(pikepdf.Array([name.DeviceN, inks, name.DeviceRGB])) == 2
    assert component_count(pikepdf.Array([name.ICCBased])) == 0
    assert component_count(name("/Odd")) == 0
    ring = pdf.make_indirect(pikepdf.Array([name.Separation, name("/x")]))
    tint = pikepdf.Dictionary(FunctionType=2, Domain=[0, 1], N=1)
    ring.append(ring)
    ring.append(tint)
    assert colour_in(ring, (1.0,)).rgb is None
    nothing = pikepdf.Array([name.Separation, name("/None"), name.DeviceGray, tint])
    assert colour_in(nothing, (1.0,)).rgb is None
    lab = pikepdf.Array([name.Lab, pikepdf.Dictionary(WhitePoint=[0.9505, 1, 1.089])])
    assert colour_in(lab, (100.0, 0.0, 0.0)).rgb == pytest.approx((1, 1, 1), abs=0.01)
    table = pikepdf.Array([name.Indexed, name.DeviceRGB, 1, pikepdf.String(b"\0\0\0\xff\0\0")])
    assert colour_in(table, (1.0,)).rgb == (1.0, 0.0, 0.0)
