"""An artwork looks the same on a sheet as on its own page: patterns, masks, blends, demo files."""

import io
from pathlib import Path

import numpy as np
import pikepdf
import pytest
from pikepdf import Array, Dictionary, Name
from sheet_samples import make_artwork, pixels

import decalprep
from decalprep.export import write_pdf
from decalprep.geometry import Affine
from decalprep.intake import IntakeOptions, read_artwork
from decalprep.model import Drawing, PlacedArtwork, Sheet

DEMO = Path(decalprep.__file__).parent / "data" / "demo"
DPI = 100.0


def tiling(pdf, page):
    cell = pdf.make_stream(b"1 0 0 rg 0 0 6 6 re f 0 0 1 rg 6 6 6 6 re f")
    for key, value in {
        "PatternType": 1,
        "PaintType": 1,
        "TilingType": 1,
        "BBox": Array([0, 0, 12, 12]),
        "XStep": 12,
        "YStep": 12,
        "Resources": Dictionary(),
        "Matrix": Array([1, 0, 0, 1, 5, 3]),
    }.items():
        cell[f"/{key}"] = value
    page.obj.Resources = Dictionary(Pattern=Dictionary(P0=cell))


def shading(pdf, page):
    ramp = Dictionary(FunctionType=2, Domain=[0, 1], C0=[1, 1, 0], C1=[0, 0, 1], N=1)
    axial = Dictionary(
        ShadingType=2,
        ColorSpace=Name.DeviceRGB,
        Coords=[20, 0, 150, 0],
        Function=ramp,
        Extend=[True, True],
    )
    pattern = Dictionary(PatternType=2, Shading=axial, Matrix=[1, 0.2, 0, 1, 0, 0])
    page.obj.Resources = Dictionary(Pattern=Dictionary(P0=pdf.make_indirect(pattern)))


def states(**entries):
    def prepare(pdf, page):
        page.obj.Resources = Dictionary(
            ExtGState=Dictionary(G0=Dictionary(Type=Name.ExtGState, **entries))
        )

    return prepare


def soft_mask(pdf, page):
    group = pdf.make_stream(b"0 g 0 0 200 200 re f 1 g 40 30 80 50 re f")
    group.Type, group.Subtype, group.BBox = Name.XObject, Name.Form, Array([0, 0, 200, 200])
    group.Group = Dictionary(S=Name.Transparency, CS=Name.DeviceGray)
    mask = Dictionary(Type=Name.Mask, S=Name.Luminosity, G=group)
    states(SMask=mask)(pdf, page)


def image(pdf, page):
    rows = np.tile(np.arange(16, dtype=np.uint8) * 16, (16, 1))
    rows[8:] = 255 - rows[8:]
    picture = pdf.make_stream(rows.tobytes())
    picture.Type, picture.Subtype = Name.XObject, Name.Image
    picture.Width = picture.Height = 16
    picture.BitsPerComponent, picture.ColorSpace = 8, Name.DeviceGray
    page.obj.Resources = Dictionary(XObject=Dictionary(I0=picture))


PATTERN = b"/Pattern cs /P0 scn 10 10 140 90 re f\n"
SQUARES = b"/G0 gs 1 0.5 0 rg 20 20 80 60 re f 0 0.5 1 rg 60 40 80 60 re f\n"
CASES = {
    "tiling pattern": (PATTERN, tiling),
    "shading pattern": (PATTERN, shading),
    "half opaque": (SQUARES, states(ca=0.5)),
    "multiplied": (SQUARES, states(BM=Name.Multiply)),
    "soft mask": (SQUARES, soft_mask),
    "picture": (b"q 100 20 -20 80 40 20 cm /I0 Do Q\n", image),
}


def on_its_own(artwork):
    return pixels(artwork.page_pdf, dpi=DPI)


def on_a_sheet(artwork, turn=0.0):
    """The artwork on a sheet of its own size, turned about the middle and the page back again."""
    sheet = Sheet("own", artwork.width_mm, artwork.height_mm)
    middle = (artwork.width_mm / 2, artwork.height_mm / 2)
    placed = PlacedArtwork(artwork, Affine.rotation(turn).about(*middle), (), "bow")
    back = Affine.rotation(-turn).about(*middle)
    return pixels(write_pdf([Drawing(sheet, (placed,), back)]), dpi=DPI)


def assert_alike(a, b, most=0.25):
    assert a.shape == b.shape
    off = np.abs(a.astype(int) - b.astype(int))
    assert off.mean() < most, off.mean()
    assert (off > 64).mean() < most / 100, (off > 64).mean()


@pytest.mark.parametrize("turn", [0.0, 90.0])
@pytest.mark.parametrize("name", CASES)
def test_torture_artwork_looks_the_same(name, turn):
    content, prepare = CASES[name]
    artwork = make_artwork(60, 40, content, prepare=prepare)
    plain = pixels(make_artwork(60, 40).page_pdf, dpi=DPI)
    own = on_its_own(artwork)
    assert (own != plain).any(), "the case shows nothing"
    assert_alike(own, on_a_sheet(artwork, turn))


@pytest.mark.parametrize("name", ["navlights.pdf", "bezel.pdf", "engine.svg", "alarms.png"])
def test_demo_artwork_looks_the_same(name):
    artwork = read_artwork(DEMO / name, IntakeOptions())
    # pdfium lays a picture on whole pixels, which shifts its edges by part of one
    most = 1.0 if artwork.pixels else 0.25
    assert_alike(on_its_own(artwork), on_a_sheet(artwork), most)


def test_artwork_bytes_are_carried_as_they_are():
    artwork = make_artwork(60, 40, b"% a remark\n0.1234567 0 0 rg 1 2 3 4 re f\n")
    with pikepdf.open(
        io.BytesIO(
            write_pdf(
                [Drawing(Sheet("own", 60, 40), (PlacedArtwork(artwork, Affine(), (), "bow"),))]
            )
        )
    ) as document:
        contents = [
            o.read_bytes()
            for o in document.objects
            if isinstance(o, pikepdf.Stream) and o.get("/Subtype") == "/Form"
        ]
    with pikepdf.open(io.BytesIO(artwork.page_pdf)) as source:
        assert source.pages[0].obj.Contents.read_bytes() in contents
