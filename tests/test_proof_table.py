"""The proof in words, as data, and as pictures."""

import io
import json
import math
from dataclasses import replace

import pytest
from PIL import Image

from decalprep.errors import InputProblem
from decalprep.geometry import Affine, Box
from decalprep.model import Notice
from decalprep.proof import (
    Finding,
    MarkRow,
    Part,
    Proof,
    ProofRow,
    place_picture,
    proof_data,
    proof_table,
    prove,
    sheet_picture,
)
from decalprep.proof.selfcheck import Wrongs, specimen_job

NAN = math.nan
GOOD = ProofRow(
    "bow thruster", 1, 0, (120.0, 80.0), (120.0004, 79.9996), (124.0, 84.0), 0.0012,
    (Part("cut outline", 0.0012, "largest 0.0012 mm"),),
)  # fmt: skip
BAD = ProofRow(
    "a towing winch panel with a long name", 12, 1, (60.0, 60.0), (NAN, NAN), (NAN, NAN), math.inf,
    (), ("the cut outline is missing or more than 0.8 mm off, which is rather a long sentence",),
)  # fmt: skip
PROOF = Proof(
    (GOOD, BAD),
    (MarkRow("check bar across", 0, 0.0003, 100.0, 100.0003), MarkRow("tick", 0, 0.0002)),
    (Finding(True, "fonts", "none used"), Finding(False, "page size", "1 x 1 mm", 0)),
    (Notice("proof-no-picture", "bow thruster #1: no picture"),),
)


def test_the_table_fits_eighty_columns_and_says_everything():
    text = proof_table(PROOF)
    assert max(len(line) for line in text.splitlines()) <= 80
    for words in ("120.00 x 80.00", "120.000 x 80.000", "0.0012", "missing", "#12", "FAILED"):
        assert words in text
    assert "page size: 1 x 1 mm" in text
    assert "100 mm measures 100.0003 mm" in text


def test_a_passed_proof_says_so():
    fine = replace(PROOF, rows=(GOOD,), structure=PROOF.structure[:1])
    assert fine.passed
    assert "proof passed: largest error 0.0012 mm, allowed 0.02 mm" in proof_table(fine)


def test_the_data_is_json_without_infinities():
    text = json.dumps(proof_data(PROOF), allow_nan=False)
    data = json.loads(text)
    assert data["decals"][1]["error_mm"] is None
    assert data["decals"][0]["measured_mm"] == [120.0004, 79.9996]
    assert data["passed"] is False
    assert len(data["faults"]) == 2


def test_pictures_show_passed_outlines_green_and_failed_ones_red():
    pdf, job = specimen_job("sparse")
    wrong_pdf, wrong_job = specimen_job("sparse", wrongs=Wrongs(outline=Affine(e=0.1)))
    for data, expected, colour in ((pdf, job, (0, 140, 60)), (wrong_pdf, wrong_job, (220, 30, 30))):
        png = sheet_picture(data, 0, dpi=60, expected=expected, proof=prove(data, expected))
        picture = Image.open(io.BytesIO(png)).convert("RGB")
        assert picture.size == pytest.approx((210 / 25.4 * 60, 297 / 25.4 * 60), abs=1.5)
        assert colour in {c for _, c in picture.getcolors(100_000)}


def test_layers_can_be_shown_alone_and_places_cut_out():
    pdf, _ = specimen_job("white on dark")
    bare = Image.open(io.BytesIO(sheet_picture(pdf, 0, dpi=40, layers=["check bar"])))
    full = Image.open(io.BytesIO(sheet_picture(pdf, 0, dpi=40)))
    assert sum(bare.convert("L").histogram()[:60]) < 200
    assert sum(full.convert("L").histogram()[:60]) > 5000
    crop = Image.open(io.BytesIO(place_picture(pdf, 0, Box(30, 190, 40, 200), dpi=254)))
    assert crop.size == pytest.approx((140, 140), abs=1.5)


def test_pictures_refuse_what_is_not_there_or_too_large():
    pdf, _ = specimen_job("blank")
    with pytest.raises(InputProblem, match="no page 3"):
        sheet_picture(pdf, 2)
    with pytest.raises(InputProblem, match="too large"):
        sheet_picture(pdf, 0, dpi=5000)
