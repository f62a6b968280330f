"""Artworks inside the sheet: hidden layers stay hidden, groups and resources come along."""

import dataclasses
import io
import struct
import zlib

import pikepdf
import pytest
from pikepdf import Array, Dictionary, Name
from sheet_samples import make_artwork, pixels

from decalprep.errors import InputProblem
from decalprep.export import write_pdf
from decalprep.geometry import Affine
from decalprep.model import Drawing, PlacedArtwork, Sheet

SMALL = Sheet("small", 80.0, 60.0)
HALF = b"/OC /P1 BDC 0 g 0 0 85 200 re f EMC /OC /P2 BDC 0 g 85 0 85 200 re f EMC\n"


def show(artwork, **kwargs):
    drawing = Drawing(SMALL, (PlacedArtwork(artwork, Affine.translation(10, 10), (), "bow"),))
    return write_pdf([drawing], **kwargs)


def layered(base=None, off=(), on=()):
    def prepare(pdf, page):
        groups = [
            pdf.make_indirect(Dictionary(Type=Name.OCG, Name=pikepdf.String(name)))
            for name in ("legend", "construction")
        ]
        page.obj.Resources = Dictionary(Properties=Dictionary(P1=groups[0], P2=groups[1]))
        config = Dictionary(Order=Array(groups))
        if base:
            config.BaseState = base
        config.OFF = Array([groups[k] for k in off])
        config.ON = Array([groups[k] for k in on])
        pdf.Root.OCProperties = Dictionary(OCGs=Array(groups), D=config)

    return make_artwork(60, 40, b"1 1 1 rg 0 0 200 200 re f\n" + HALF, prepare=prepare)


@pytest.mark.parametrize(
    ("artwork", "shown"),
    [
        (layered(), (True, True)),
        (layered(off=(1,)), (True, False)),
        (layered(off=(0,)), (False, True)),
        (layered(base=Name.OFF, on=(0,)), (True, False)),
    ],
    ids=["all on", "second off", "first off", "all off but the first"],
)
def test_hidden_layers_stay_hidden(artwork, shown):
    grey = pixels(show(artwork), dpi=72)
    row = grey[grey.shape[0] - int(30 / 25.4 * 72)]
    left, right = row[int(25 / 25.4 * 72)], row[int(55 / 25.4 * 72)]
    assert (left < 128, right < 128) == shown


def test_layers_of_the_artwork_are_listed_under_its_name():
    with pikepdf.open(io.BytesIO(show(layered(off=(1,))))) as document:
        properties = document.Root.OCProperties
        assert [str(g.Name) for g in properties.OCGs] == ["artwork", "legend", "construction"]
        nested = properties.D.Order[1]
        assert str(nested[0]) == "bow"
        assert [str(g.Name) for g in nested[1:]] == ["legend", "construction"]
        assert [str(g.Name) for g in properties.D.OFF] == ["construction"]


def test_two_artworks_with_layers_keep_their_own_states():
    first, second = layered(off=(1,)), layered(off=(0,))
    items = (
        PlacedArtwork(first, Affine.translation(0, 0), (), "first"),
        PlacedArtwork(second, Affine.translation(20, 20), (), "second"),
    )
    with pikepdf.open(io.BytesIO(write_pdf([Drawing(SMALL, items)]))) as document:
        assert len(document.Root.OCProperties.OCGs) == 5
        assert sorted(str(g.Name) for g in document.Root.OCProperties.D.OFF) == [
            "construction",
            "legend",
        ]


def groups_of_forms(pdf):
    """The groups of all forms, as plain text."""
    with pikepdf.open(io.BytesIO(pdf)) as document:
        return [
            thing.Group.unparse(resolved=True).decode()
            for thing in document.objects
            if isinstance(thing, pikepdf.Stream) and "/Group" in thing
        ]


def test_group_of_the_page_is_kept():
    def prepare(pdf, page):
        page.obj.Group = Dictionary(Type=Name.Group, S=Name.Transparency, CS=Name.DeviceRGB, K=True)

    groups = groups_of_forms(show(make_artwork(60, 40, prepare=prepare)))
    assert len(groups) == 1
    assert "/CS /DeviceRGB" in groups[0]
    assert "/K true" in groups[0]


def test_blending_page_without_a_group_becomes_one():
    def prepare(pdf, page):
        multiply = pdf.make_indirect(Dictionary(Type=Name.ExtGState, BM=Name.Multiply))
        page.obj.Resources = Dictionary(ExtGState=Dictionary(G0=multiply))

    art = make_artwork(60, 40, b"/G0 gs 1 0 0 rg 10 10 50 50 re f\n", prepare=prepare)
    groups = groups_of_forms(show(art))
    assert len(groups) == 1
    assert "/I true" in groups[0]
    assert groups_of_forms(show(make_artwork(60, 40))) == []


def test_resources_come_from_the_page_tree_too():
    def prepare(pdf, page):
        colour = Array([Name.Separation, Name.Deck, Name.DeviceGray, tint(pdf)])
        pdf.Root.Pages.Resources = Dictionary(ColorSpace=Dictionary(C0=colour))
        del page.obj["/Resources"]

    def tint(pdf):
        return Dictionary(FunctionType=2, Domain=[0, 1], C0=[1], C1=[0], N=1)

    art = make_artwork(
        60, 40, b"1 g 0 0 200 200 re f /C0 cs 1 scn 0 0 200 200 re f\n", prepare=prepare
    )
    grey = pixels(show(art), dpi=72)
    assert grey[grey.shape[0] // 2, grey.shape[1] // 2] < 10


def test_content_in_pieces_is_joined_with_space():
    def prepare(pdf, page):
        page.obj.Contents = Array([pdf.make_stream(b"0 g 0 0 100"), pdf.make_stream(b"100 re f")])

    grey = pixels(show(make_artwork(60, 40, prepare=prepare)), dpi=72)
    assert (grey < 10).sum() > 8000


def test_page_without_content_is_blank():
    def prepare(pdf, page):
        del page.obj["/Contents"]

    assert (pixels(show(make_artwork(60, 40, prepare=prepare)), dpi=72) == 255).all()


@pytest.mark.parametrize("data", [b"", b"no PDF at all", b"%PDF-1.7\n%%EOF"])
def test_broken_artwork_is_named(data):
    art = dataclasses.replace(make_artwork(60, 40), page_pdf=data)
    with pytest.raises(InputProblem, match=r"bow\.svg: the artwork's page cannot be read"):
        show(art)


def images_of(pdf):
    with pikepdf.open(io.BytesIO(pdf)) as document:
        return [
            (
                int(o.BitsPerComponent),
                bytes(o.ColorSpace[1].read_bytes()) if isinstance(o.ColorSpace, Array) else None,
                bytes(o.read_raw_bytes()),
            )
            for o in document.objects
            if isinstance(o, pikepdf.Stream) and o.get("/Subtype") == Name.Image
        ]


def test_pictures_reach_the_sheet_with_their_depth_profile_and_bytes(tmp_path):
    """A 16-bit picture with a colour profile and a CMYK JPEG, cleaned and laid on a sheet."""
    import cv2
    import numpy as np
    from PIL import Image, ImageCms

    from decalprep.cleaning import make_white_bare
    from decalprep.intake.options import IntakeOptions
    from decalprep.intake.raster import read_raster

    profile = ImageCms.ImageCmsProfile(ImageCms.createProfile("sRGB")).tobytes()
    ramp = np.linspace(9000, 60000, 24 * 16).astype(np.uint16).reshape(16, 24)
    plain = cv2.imencode(".png", np.dstack([ramp, ramp, ramp]))[1].tobytes()
    chunk = b"iCCPa\0\0" + zlib.compress(profile)
    icc = struct.pack(">I", len(chunk) - 4) + chunk + struct.pack(">I", zlib.crc32(chunk))
    (tmp_path / "deep.png").write_bytes(plain[:33] + icc + plain[33:])
    Image.effect_noise((24, 16), 50).convert("CMYK").save(tmp_path / "inks.jpg")
    for name, bits, carried in (("deep.png", 16, profile), ("inks.jpg", 8, None)):
        artwork = read_raster(tmp_path / name, IntakeOptions(width_mm=30))
        ((depth, found, raw),) = images_of(show(make_white_bare(artwork).artwork))
        assert (depth, found) == (bits, carried), name
        assert name != "inks.jpg" or raw == (tmp_path / name).read_bytes()
