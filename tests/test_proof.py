"""The proof as a whole: right sheets pass, each injected error is found by name."""

import math
import re
from dataclasses import replace

import pytest

from decalprep.errors import InputProblem
from decalprep.geometry import Affine
from decalprep.proof import ExpectedJob, ExpectedShape, Proof, prove
from decalprep.proof.selfcheck import Wrongs, specimen_job
from decalprep.proof.specimen import polyline

UPRIGHT = Affine(e=20.37, f=180.21)
TURNED = Affine(e=80.11, f=60.43) @ Affine.rotation(90)
CORRECTION = Affine(1.0031, 0, 0.0006, 0.9978).about(105, 148.5)
MIDDLE = (60.0, 205.0)


def proof_of(wrongs: Wrongs | None = None, kind: str = "vector", **more: object) -> Proof:
    pdf, job = specimen_job(kind, wrongs=wrongs, **more)  # type: ignore[arg-type]
    return prove(pdf, job)


def test_a_right_sheet_passes_with_an_error_under_five_micrometres():
    proof = proof_of(shape="notched", placements=(UPRIGHT, TURNED), correction=CORRECTION)
    assert proof.passed, proof.faults
    assert proof.worst_mm < 0.005
    assert [row.copy for row in proof.rows] == [1, 2]
    for row in proof.rows:
        assert row.measured_mm == pytest.approx((80.0, 50.0), abs=0.002)
        assert row.artwork_mm == pytest.approx((84.0, 54.0), abs=0.002)
        assert {p.what for p in row.parts} >= {"cut outline", "size", "artwork", "hole guide A"}


@pytest.mark.parametrize("shape", ["rounded", "diamond"])
def test_shapes_without_straight_sides_measure_their_true_size(shape):
    at_angle = Affine(e=60.0, f=150.0) @ Affine.rotation(17.3)
    proof = proof_of(kind="blank", shape=shape, placements=(at_angle,), correction=CORRECTION)
    assert proof.passed, proof.faults
    assert proof.rows[0].measured_mm == pytest.approx((80.0, 50.0), abs=0.003)


def test_a_blank_artwork_is_told_and_the_outline_stands_for_it():
    proof = proof_of(kind="blank")
    assert proof.passed
    assert [n.code for n in proof.notices] == ["proof-no-picture"]
    assert math.isnan(proof.rows[0].artwork_mm[0])


@pytest.mark.parametrize(
    ("what", "error", "found"),
    [
        ("artwork", Affine.translation(0.03, 0.0), r"the artwork is up to 0\.03\d mm"),
        ("outline", Affine.translation(0.0, 0.03), r"the cut outline is up to 0\.03\d mm"),
        ("outline", Affine.scaling(1.001).about(*MIDDLE), r"measures 80\.080 x 50\.050 mm"),
        ("artwork", Affine.scaling(1.001).about(*MIDDLE), r"the artwork measures 84\.08"),
        ("holes", Affine.translation(0.03, 0.0), r"the hole guide A is up to 0\.03\d mm"),
        ("holes", Affine.translation(0.0, -0.03), r"the screw cross 1 is 0\.0(29|30|31) mm"),
    ],
)
def test_small_errors_fail_and_are_named(what, error, found):
    proof = proof_of(replace(Wrongs(), **{what: error}))
    assert not proof.passed
    assert any(re.search(found, fault) for fault in proof.faults), proof.faults


def test_a_tenth_of_a_percent_fails_the_check_bar_and_shows_its_length():
    proof = proof_of(Wrongs(marks=Affine.scaling(1.001, 1.0).about(100, 11)), kind="blank")
    across = next(m for m in proof.marks if m.name == "check bar across")
    assert across.measured_mm == pytest.approx(100.1, abs=0.002)
    assert across.fault.startswith("measures 100.100 mm")
    assert not proof.passed


@pytest.mark.parametrize(
    ("gone", "found"),
    [
        ("artwork", "the artwork is missing"),
        ("outline", "the cut outline is missing"),
        ("A", "the hole guide A is missing"),
        ("1", "the screw cross 1 is missing"),
        ("check bar up", "check bar up on sheet 1: an end line is missing"),
    ],
)
def test_what_is_left_out_is_missed(gone, found):
    proof = proof_of(Wrongs(leave_out=(gone,)))
    assert any(found in fault for fault in proof.faults), proof.faults
    assert math.isinf(proof.worst_mm)


def test_more_decals_than_expected_are_ink_that_nothing_accounts_for():
    pdf, job = specimen_job("vector", placements=(UPRIGHT, TURNED))
    proof = prove(pdf, replace(job, decals=job.decals[:1]))
    assert not proof.passed
    assert {n.code for n in proof.notices} == {"proof-stray-ink"}
    assert sum("cut outline" in n.text for n in proof.notices) == 1


def test_a_second_outline_a_third_of_a_millimetre_off_is_not_overlooked():
    ring = [(x + 0.7, y + 0.7) for x, y in specimen_job("blank")[1].decals[0].outline_mm]
    second = ("cut outline", polyline(ring, close=True, width_mm=0.1))
    proof = proof_of(Wrongs(extra=(second,)), kind="blank")
    assert [n.code for n in proof.notices if n.severity == "danger"] == ["proof-stray-ink"]


def test_a_cross_where_no_screw_is_fails():
    cross = ("screw cross", polyline([(60, 200), (63, 200)], close=False, width_mm=0.1))
    proof = proof_of(Wrongs(extra=(cross,)), kind="blank")
    assert any('layer "screw cross"' in fault for fault in proof.faults)


@pytest.mark.parametrize("kind", ["vector", "blank"])
@pytest.mark.parametrize("layer", ["bleed", "underlay"])
def test_ink_that_hides_or_tints_the_artwork_fails(kind, layer):
    patch = polyline([(30, 190), (50, 190), (50, 193), (30, 193)], close=True, width_mm=0.1)
    proof = proof_of(Wrongs(extra=((layer, "0.6 0.8 0.6 rg " + patch[:-1] + "h f"),)), kind=kind)
    assert any("over or through the artwork, 6" in fault for fault in proof.faults), proof.faults


def test_filled_shapes_of_a_layer_are_measured_by_their_edges():
    outer = ((30.0, 190.0), (60.0, 190.0), (60.0, 220.0), (30.0, 220.0))
    fill = polyline(outer, close=True, width_mm=0.1)[:-1] + "h f"
    pdf, job = specimen_job("blank", wrongs=Wrongs(extra=(("underlay", fill),)))
    shape = ExpectedShape("underlay", "underlay", (outer,))
    off = replace(shape, name="moved", rings_mm=(tuple((x + 0.03, y) for x, y in outer),))
    sheet = replace(job.sheets[0], shapes=(shape, off))
    marks = {m.name: m for m in prove(pdf, replace(job, sheets=(sheet,))).marks}
    assert marks["underlay"].error_mm < 0.003
    assert not marks["underlay"].fault
    assert marks["moved"].fault.startswith("0.03")


def test_a_decal_on_a_sheet_that_is_not_there_fails():
    pdf, job = specimen_job("blank")
    moved = replace(job, decals=(replace(job.decals[0], page=1),))
    faults = prove(pdf, moved).faults
    assert any("there is no sheet 2" in fault for fault in faults)


def test_an_expectation_that_contradicts_itself_fails():
    pdf, job = specimen_job("blank")
    wrong = replace(job, decals=(replace(job.decals[0], size_mm=(81.0, 50.0)),))
    assert any("not the intended size" in fault for fault in prove(pdf, wrong).faults)


def test_nothing_measured_is_not_a_pass():
    pdf, job = specimen_job("blank")
    sheet = replace(job.sheets[0], lines=(), bars=(), layers=())
    assert not prove(pdf, ExpectedJob((sheet,), ())).passed


@pytest.mark.parametrize("junk", [b"", b"not a pdf", b"%PDF-1.7\n%%EOF\n"])
def test_a_file_that_cannot_be_read_is_told_in_one_line(junk):
    _, job = specimen_job("blank")
    with pytest.raises(InputProblem) as told:
        prove(junk, job)
    assert "\n" not in str(told.value)
