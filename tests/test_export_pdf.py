"""The written PDF: its structure by a second reader, its places by rendering and measuring."""

import dataclasses
import hashlib
import io
import os
import re
import shutil
import subprocess
import sys
from pathlib import Path

import numpy as np
import pikepdf
import pypdf
import pytest
from PIL import Image
from sheet_samples import lamp, make_artwork, middle_of_ink, pixels, winch_panel

from decalprep.compose import ComposeSettings, compose_sheets
from decalprep.errors import OutputProblem, UsageProblem
from decalprep.export import PdfSettings, write_pdf
from decalprep.export.pdf_content import number
from decalprep.geometry import Affine, Box, circle_path
from decalprep.model import (
    Drawing,
    FillMark,
    Layer,
    PlacedArtwork,
    Placement,
    PrinterRecord,
    Sheet,
    StrokeMark,
)

A4 = Sheet("A4", 210.0, 297.0)
SPOTS = ((20.0, 30.0), (180.0, 30.0), (20.0, 260.0), (180.0, 260.0), (101.3, 140.7))


def sheet_pdf(copies=1, settings=None, record=None):
    decal = winch_panel(copies=copies)
    placements = [
        Placement("winch panel", k + 1, 0, 16 + 63 * (k % 3), 18 + 42 * (k // 3))
        for k in range(min(copies, 18))
    ]
    placements += [
        Placement(
            "winch panel", k + 1, 1 + (k - 18) // 18, 16 + 63 * (k % 3), 18 + 42 * (k % 18 // 3)
        )
        for k in range(18, copies)
    ]
    sheets = [A4] * (1 + max(p.sheet_index for p in placements))
    drawings = compose_sheets([decal], placements, sheets, ComposeSettings("Harbour tug"), record)
    return write_pdf(drawings, settings)


def all_streams(pdf):
    with pikepdf.open(io.BytesIO(pdf)) as document:
        for thing in document.objects:
            if isinstance(thing, pikepdf.Stream) and thing.get("/Subtype") == "/Form":
                yield thing.read_bytes()
        for page in document.pages:
            yield page.obj.Contents.read_bytes()


@pytest.mark.parametrize(
    ("name", "width", "height"),
    [("A4", 210.0, 297.0), ("Letter", 215.9, 279.4), ("own", 123.456, 171.717)],
)
def test_boxes_are_exact(name, width, height):
    pdf = write_pdf([Drawing(Sheet(name, width, height), ())])
    with pikepdf.open(io.BytesIO(pdf)) as document:
        page = document.pages[0].obj
        for key in ("/MediaBox", "/TrimBox"):
            x0, y0, x1, y1 = (float(v) for v in page[key])
            assert (x0, y0) == (0, 0)
            assert x1 / 72 * 25.4 == pytest.approx(width, abs=1e-9)
            assert y1 / 72 * 25.4 == pytest.approx(height, abs=1e-9)
    assert "/UserUnit" not in page
    assert "/Rotate" not in page


def test_viewer_is_told_to_print_true_size():
    """Keys and values of ISO 32000-2, table 147, read by pypdf."""
    reader = pypdf.PdfReader(io.BytesIO(sheet_pdf()), strict=True)
    assert reader.pdf_header == "%PDF-2.0"
    wanted = reader.trailer["/Root"]["/ViewerPreferences"]
    assert wanted["/PrintScaling"] == "/None"
    assert list(wanted["/Enforce"]) == ["/PrintScaling"]
    assert wanted["/PickTrayByPDFSize"] == True  # noqa: E712  a pypdf BooleanObject
    assert wanted["/Duplex"] == "/Simplex"
    assert wanted["/DisplayDocTitle"] == True  # noqa: E712


def test_layers_are_named_in_order_and_on():
    reader = pypdf.PdfReader(io.BytesIO(sheet_pdf()), strict=True)
    properties = reader.trailer["/Root"]["/OCProperties"]
    names = [group.get_object()["/Name"] for group in properties["/OCGs"]]
    assert names == [
        "artwork",
        "cut outline",
        "hole guide",
        "screw cross",
        "registration ticks",
        "check bar",
        "labels",
    ]
    config = properties["/D"]
    assert config["/BaseState"] == "/ON"
    assert list(config["/OFF"]) == []
    assert [g.get_object()["/Name"] for g in config["/Order"]] == names
    content = reader.pages[0].get_contents().get_data()
    assert content.count(b"/OC /L") == content.count(b"EMC") == len(names)


def test_each_layer_can_be_switched_off():
    pdf = sheet_pdf()
    whole = pixels(pdf, dpi=150)
    names = ("artwork", "cut outline", "hole guide", "screw cross", "check bar", "labels")
    for name in names:
        assert (pixels(pdf, dpi=150, off=(name,)) != whole).any(), name
    bare = pixels(pdf, dpi=150, off=(*names, "registration ticks"))
    assert (bare == 255).all()


def test_same_drawings_same_bytes():
    assert sheet_pdf(3) == sheet_pdf(3)
    assert b"CreationDate" not in sheet_pdf()


def test_nothing_runs_and_nothing_is_linked():
    settings = PdfSettings("t", attachments=(("job.toml", b"x = 1\n"),))
    with pikepdf.open(io.BytesIO(sheet_pdf(2, settings))) as document:
        keys = {
            key
            for thing in document.objects
            if isinstance(thing, pikepdf.Dictionary | pikepdf.Stream)
            for key in thing.keys()  # noqa: SIM118
        }
    assert not keys & {
        "/JS",
        "/JavaScript",
        "/AA",
        "/OpenAction",
        "/A",
        "/URI",
        "/Annots",
        "/Launch",
    }


def test_numbers_have_no_exponents():
    turn = Affine.rotation(1e-7)
    drawing = compose_sheets([lamp()], [Placement("lamp", 1, 0, 1e-8 + 50, 60)], [A4])[0]
    drawing = dataclasses.replace(drawing, page_from_sheet=turn)
    for data in all_streams(write_pdf([drawing])):
        assert not re.search(rb"[\d.]+[eE][-+]?\d", data)
    assert number(-1e-12) == "0"
    assert number(123456789.125) == "123456789.125"


def spots_drawing(page_from_sheet=None):
    marks = [FillMark(Layer.TARGET, (circle_path(x, y, 5.0),)) for x, y in SPOTS]
    return Drawing(A4, tuple(marks), page_from_sheet or Affine())


def test_places_by_rendering():
    grey = pixels(write_pdf([spots_drawing()]), dpi=300)
    for x, y in SPOTS:
        found = middle_of_ink(grey, Box(x - 4, y - 4, x + 4, y + 4), 300, 297.0)
        assert found == pytest.approx((x, y), abs=0.002)


def test_correction_is_applied_once():
    record = PrinterRecord("desk laser", "plain", scale_x=-0.006, scale_y=0.004, skew=0.002)
    correction = record.printed_from_page.inverse().about(105, 148.5)
    grey = pixels(write_pdf([spots_drawing(correction)]), dpi=300)
    for x, y in SPOTS:
        px, py = correction.apply(x, y)
        found = middle_of_ink(grey, Box(px - 4, py - 4, px + 4, py + 4), 300, 297.0)
        assert found == pytest.approx((px, py), abs=0.002)
        printed = record.printed_from_page.about(105, 148.5).apply(*found)
        assert printed == pytest.approx((x, y), abs=0.003)


def poppler(pdf, folder):
    (folder / "s.pdf").write_bytes(pdf)
    command = ["pdftoppm", "-r", "300", "-gray", str(folder / "s.pdf"), str(folder / "s")]
    subprocess.run(command, check=True, capture_output=True)
    return np.array(Image.open(next(folder.glob("s-*.pgm"))))


def mupdf(pdf, folder):
    (folder / "s.pdf").write_bytes(pdf)
    command = ["mutool", "draw", "-q", "-r", "300", "-c", "gray", "-o", str(folder / "s.png")]
    subprocess.run([*command, str(folder / "s.pdf")], check=True, capture_output=True)
    return np.array(Image.open(folder / "s.png").convert("L"))


@pytest.mark.parametrize(("tool", "draw"), [("pdftoppm", poppler), ("mutool", mupdf)])
def test_places_by_a_second_renderer(tool, draw, tmp_path):
    if shutil.which(tool) is None:
        pytest.skip(f"{tool} is not installed")
    grey = draw(write_pdf([spots_drawing()]), tmp_path)
    for x, y in SPOTS:
        found = middle_of_ink(grey, Box(x - 4, y - 4, x + 4, y + 4), 300, 297.0)
        assert found == pytest.approx((x, y), abs=0.03)


def test_artwork_lies_where_its_map_says():
    # a diamond round (15 mm, 12.5 mm): pdfium snaps upright boxes to whole pixels, not diamonds
    corners = [(15 + dx, 12.5 + dy) for dx, dy in ((4, 0), (0, 3), (-4, 0), (0, -3))]
    points = [f"{x / 25.4 * 72:.9f} {y / 25.4 * 72:.9f}" for x, y in corners]
    shape = f"{points[0]} m {points[1]} l {points[2]} l {points[3]} l h f\n".encode()
    mark = b"1 1 1 rg 0 0 500 500 re f 0 g " + shape
    art = make_artwork(60, 40, mark)
    for turn in (0.0, 90.0, 33.0):
        m = Affine.translation(100, 120) @ Affine.rotation(turn)
        drawing = Drawing(A4, (PlacedArtwork(art, m, (), "bow", 1),))
        x, y = m.apply(15.0, 12.5)
        grey = pixels(write_pdf([drawing]), dpi=300)
        found = middle_of_ink(grey, Box(x - 9, y - 9, x + 9, y + 9), 300, 297.0)
        assert found == pytest.approx((x, y), abs=0.002)


def test_forty_copies_cost_little():
    one, forty = len(sheet_pdf(1)), len(sheet_pdf(40))
    assert forty <= 1.6 * one, (one, forty)


def test_copies_share_one_artwork_and_one_clip():
    with pikepdf.open(io.BytesIO(sheet_pdf(6))) as document:
        forms = [
            o
            for o in document.objects
            if isinstance(o, pikepdf.Stream) and o.get("/Subtype") == "/Form"
        ]
        assert sum(b" re f" in form.read_bytes() for form in forms) == 1
        assert sum(b"W* n" in form.read_bytes() for form in forms) == 1


def test_words_can_be_searched_and_the_font_is_inside():
    reader = pypdf.PdfReader(io.BytesIO(sheet_pdf()))
    text = reader.pages[0].extract_text()
    for words in ("winch panel", "Harbour tug · sheet 1 of 1", "lower edge to lower edge"):
        assert words in text
    font = reader.pages[0]["/Resources"]["/Font"]["/F1"]
    inner = font["/DescendantFonts"][0].get_object()
    assert "/FontFile2" in inner["/FontDescriptor"]
    assert re.fullmatch(r"/[A-Z]{6}\+BitstreamVeraSans-Roman", font["/BaseFont"])


def test_cut_lines_have_a_separation_of_their_own():
    reader = pypdf.PdfReader(io.BytesIO(sheet_pdf()))
    spaces = reader.pages[0]["/Resources"]["/ColorSpace"]
    kinds = {space[1] for space in spaces.values() if space[0] == "/Separation"}
    assert kinds == {"/cut outline", "/hole guide"}
    plain = pypdf.PdfReader(io.BytesIO(sheet_pdf(1, PdfSettings(cut_as_spot=False))))
    assert dict(plain.pages[0]["/Resources"]["/ColorSpace"]) == {}


def test_two_colours_of_one_layer_and_white_stay_apart():
    marks = [
        StrokeMark(Layer.HOLE_GUIDE, circle_path(30 + 20 * k, 50, 10), 1.0, colour)
        for k, colour in enumerate(((0.0, 0.5, 0.8), (1.0, 0.0, 0.0), (0.0, 0.5, 0.8)))
    ]
    ground = FillMark(Layer.UNDERLAY, (circle_path(120, 50, 30),))
    white = StrokeMark(Layer.HOLE_GUIDE, circle_path(120, 50, 10), 1.0, (1.0, 1.0, 1.0))
    pdf = write_pdf([Drawing(A4, (ground, *marks, white))])
    spaces = pypdf.PdfReader(io.BytesIO(pdf)).pages[0]["/Resources"]["/ColorSpace"]
    assert len(spaces) == 3
    grey = pixels(pdf, dpi=100)
    y, x = int((297 - 50) / 25.4 * 100), int((120 + 5) / 25.4 * 100)
    assert grey[y, x] > 200
    assert grey[y, int(120 / 25.4 * 100)] < 10


def test_attachments_title_and_date():
    settings = PdfSettings(
        "Tug & <bridge>", "D:20260102030405Z", (("b.toml", b"two"), ("a.toml", b"one"))
    )
    reader = pypdf.PdfReader(io.BytesIO(sheet_pdf(1, settings)), strict=True)
    assert {name: data[0] for name, data in reader.attachments.items()} == {
        "a.toml": b"one",
        "b.toml": b"two",
    }
    assert reader.metadata.title == "Tug & <bridge>"
    assert reader.xmp_metadata.dc_title == {"x-default": "Tug & <bridge>"}
    assert reader.metadata["/CreationDate"] == "D:20260102030405Z"
    assert reader.metadata["/Trapped"] == "/False"


@pytest.mark.parametrize("bad", [float("nan"), float("inf")])
def test_places_that_are_not_finite_are_refused(bad):
    drawing = Drawing(A4, (FillMark(Layer.TARGET, (circle_path(bad, 20.0, 5.0),)),))
    with pytest.raises(OutputProblem, match="not a finite number"):
        write_pdf([drawing])


@pytest.mark.parametrize(("width", "height"), [(5081.0, 100.0), (100.0, 1.0), (0.0, 100.0)])
def test_impossible_pages_are_refused(width, height):
    with pytest.raises(OutputProblem, match="2 to 5080 mm"):
        write_pdf([Drawing(Sheet("odd", width, height), ())])


def test_wrong_settings_are_refused():
    with pytest.raises(UsageProblem, match="no PDF date"):
        write_pdf([], PdfSettings(date="2026-01-01"))
    with pytest.raises(UsageProblem, match="one name"):
        write_pdf([], PdfSettings(attachments=(("a", b""), ("a", b"x"))))


def test_no_drawings_make_no_pages():
    assert len(pypdf.PdfReader(io.BytesIO(write_pdf([]))).pages) == 0


def test_same_bytes_in_another_process_and_order_of_hashing():
    code = "import hashlib, test_export_pdf as t; print(hashlib.sha256(t.sheet_pdf(2)).hexdigest())"
    here = Path(__file__).parent
    found = set()
    for seed in ("1", "2"):
        paths = os.pathsep.join([str(here), str(here.parent), os.environ.get("PYTHONPATH", "")])
        environment = os.environ | {
            "PYTHONHASHSEED": seed,
            "PYTHONPATH": paths,
            "TZ": f"UTC+{seed}",
        }
        command = [sys.executable, "-c", code]
        done = subprocess.run(command, env=environment, capture_output=True, text=True, check=True)
        found.add(done.stdout.strip())
    assert found == {hashlib.sha256(sheet_pdf(2)).hexdigest()}
