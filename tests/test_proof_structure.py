"""What the proof reads of the file itself: sizes, preferences, layers, actions, fonts."""

import io
from dataclasses import replace

import pytest
from pypdf import PdfReader, PdfWriter

from decalprep.proof import ExpectedJob, ExpectedSheet, check_structure
from decalprep.proof.layers import Layered
from decalprep.proof.specimen import PREFERENCES, polyline, sheet_file

LINE = polyline([(20, 20), (100, 20)], close=False, width_mm=0.2)
SHEET = ExpectedSheet(210.0, 297.0, ("cut outline",))
JOB = ExpectedJob((SHEET,), ())


def made(**more: str) -> bytes:
    return sheet_file((210, 297), {"cut outline": [LINE]}, **more)  # type: ignore[arg-type]


def wrongs(pdf: bytes, job: ExpectedJob = JOB) -> list[str]:
    return [f.what for f in check_structure(pdf, job) if not f.ok]


def test_a_right_file_has_no_wrong_finding():
    assert wrongs(made()) == []


@pytest.mark.parametrize(
    ("more", "wrong"),
    [
        ({"page_entries": "/UserUnit 2"}, "page scale and turn"),
        ({"page_entries": "/Rotate 90"}, "page scale and turn"),
        ({"page_entries": "/CropBox [10 10 500 800]"}, "crop box"),
        (
            {"preferences": PREFERENCES.replace("/None", "/AppDefault")},
            "viewer preference PrintScaling",
        ),
        (
            {"preferences": PREFERENCES.replace("/Enforce [/PrintScaling]", "")},
            "viewer preference Enforce",
        ),
        (
            {"preferences": PREFERENCES.replace("true", "false")},
            "viewer preference PickTrayByPDFSize",
        ),
        ({"preferences": PREFERENCES.replace("/Simplex", "/None")}, "viewer preference Duplex"),
        (
            {"catalogue_entries": "/OpenAction << /S /JavaScript /JS (app.alert) >>"},
            "scripts, actions and annotations",
        ),
        ({"page_entries": "/AA << /O << /S /Launch >> >>"}, "scripts, actions and annotations"),
        (
            {"page_entries": "/Annots [<< /Subtype /Link /Rect [0 0 9 9] >>]"},
            "scripts, actions and annotations",
        ),
    ],
)
def test_each_fault_is_found_alone(more, wrong):
    assert wrongs(made(**more)) == [wrong]


def test_page_size_is_checked_to_a_thousandth_of_a_millimetre():
    """595 x 842 pt, as some programs round A4, is 209.903 x 297.039 mm."""
    rounded = sheet_file((595 / 72 * 25.4, 842 / 72 * 25.4), {"cut outline": [LINE]})
    assert wrongs(rounded) == ["page size"]
    assert wrongs(sheet_file((210.0005, 297), {"cut outline": [LINE]})) == []
    assert wrongs(sheet_file((210.002, 297), {"cut outline": [LINE]})) == ["page size"]


def test_a_missing_layer_and_a_missing_sheet_are_named():
    sheet = replace(SHEET, layers=("cut outline", "hole guide"))
    assert wrongs(made(), ExpectedJob((sheet,), ())) == ['layer "hole guide"']
    assert wrongs(made(), ExpectedJob((SHEET, SHEET), ())) == ["number of sheets"]


def test_a_font_that_is_not_embedded_is_named():
    font = "/Annots [] /Extra << /Type /Font /Subtype /Type1 /BaseFont /Helvetica >>"
    pdf = made(page_entries=font)
    finding = next(f for f in check_structure(pdf, JOB) if f.what == "fonts")
    assert not finding.ok
    assert "Helvetica" in finding.found


def test_an_encrypted_file_is_refused_as_a_finding():
    writer = PdfWriter(io.BytesIO(made()))
    writer.encrypt("", "owner", algorithm="RC4-128")
    out = io.BytesIO()
    writer.write(out)
    assert wrongs(out.getvalue()) == ["encryption"]


def test_switching_layers_appends_to_the_file_and_leaves_the_rest():
    pdf = made()
    shown = Layered(pdf).only(())
    assert shown.startswith(pdf)
    default = PdfReader(io.BytesIO(shown)).root_object["/OCProperties"]["/D"]
    assert len(default["/OFF"]) == 1
    assert Layered(pdf).names == ("cut outline",)
