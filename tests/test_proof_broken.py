"""Broken and hostile files under proof: one clear line or a failed proof, never a traceback."""

import io

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from pypdf import PdfWriter

from decalprep.errors import InputProblem
from decalprep.proof import Proof, prove
from decalprep.proof.selfcheck import specimen_job
from decalprep.proof.specimen import Objects

PDF, JOB = specimen_job("sparse")


def outcome(pdf: bytes) -> Proof | None:
    try:
        return prove(pdf, JOB)
    except InputProblem as told:
        assert "\n" not in str(told)
        return None


@settings(max_examples=12, deadline=None)
@given(st.integers(0, len(PDF) - 1))
def test_a_file_cut_short_never_passes_with_a_traceback(length):
    proof = outcome(PDF[:length])
    assert proof is None or not proof.passed or length > len(PDF) - 40


@settings(max_examples=12, deadline=None)
@given(st.lists(st.tuples(st.integers(0, len(PDF) - 1), st.integers(0, 255)), max_size=40))
def test_damaged_bytes_never_raise_anything_else(changes):
    broken = bytearray(PDF)
    for place, value in changes:
        broken[place] = value
    outcome(bytes(broken))


@pytest.mark.parametrize(
    "catalogue",
    [
        "<< /Type /Catalog >>",
        "<< /Type /Catalog /Pages 1 0 R >>",
        "<< /Type /Catalog /Pages << /Type /Pages /Kids [1 0 R] /Count 9999999 >> >>",
        "<< /Type /Catalog /Pages << /Type /Pages /Kids [] /Count 0 >> /OCProperties 7 >>",
    ],
)
def test_catalogues_that_go_nowhere_or_in_circles(catalogue):
    objects = Objects()
    proof = outcome(objects.file(objects.add(catalogue)))
    assert proof is None or not proof.passed


def test_an_encrypted_copy_fails():
    writer = PdfWriter(io.BytesIO(PDF))
    writer.encrypt("", "owner", algorithm="RC4-128")
    out = io.BytesIO()
    writer.write(out)
    proof = outcome(out.getvalue())
    assert proof is None or not proof.passed


def test_a_file_without_layers_fails_by_name():
    bare = PDF.replace(b"/OCProperties", b"/NoProperties")
    proof = outcome(bare)
    assert proof is not None
    assert not proof.passed
    assert any(f.startswith("sheet 1: layer") for f in proof.faults)
