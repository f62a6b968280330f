"""No-ink white and solid black: what is nearly so becomes exactly so, the rest stays."""

import io
import zlib
from typing import Any

import numpy as np
import pikepdf
import pytest
from hairline_cases import artwork_of, form, page_bytes
from pikepdf import Array, Dictionary, Name
from PIL import Image

from decalprep.cleaning import Cleaned, WhiteSettings, legend_ink, make_white_bare
from decalprep.cleaning.rendering import picture_of, whole_box
from decalprep.errors import UsageProblem


def content_of(cleaned: Cleaned) -> bytes:
    with pikepdf.open(io.BytesIO(cleaned.artwork.page_pdf)) as document:
        return b" ".join(document.pages[0].Contents.read_bytes().split())


def spaces(document: pikepdf.Pdf, page: Any, which: int) -> None:
    tint = Dictionary(
        FunctionType=2, Domain=Array([0, 1]), N=1, C0=Array([0, 0, 0, 0]), C1=Array([1, 1, 0, 0])
    )
    grey_start = Dictionary(
        FunctionType=2, Domain=Array([0, 1]), N=1, C0=Array([0.99, 1, 1]), C1=Array([0, 0, 1])
    )
    lab = Array([Name.Lab, Dictionary(WhitePoint=Array([0.9505, 1, 1.089]))])
    page.Resources.ColorSpace = Dictionary(
        Spot=Array([Name.Separation, Name.Marine, Name.DeviceCMYK, tint]),
        Odd=Array([Name.Separation, Name.Odd, Name.DeviceRGB, grey_start]),
        Lab=lab,
    )


@pytest.mark.parametrize(
    ("before", "after"),
    [
        (b"0.9961 g", b"1 g"),
        (b"0.97 G", b"0.97 G"),  # #F7: below #F8
        (b"0.9726 G", b"1 G"),
        (b"0.98 0.99 1 rg", b"1 1 1 rg"),
        (b"0.98 0.9 1 rg", b"0.98 0.9 1 rg"),
        (b"0.01 0.02 0 RG", b"0 0 0 RG"),
        (b"0.02 0 0.01 0 k", b"0 0 0 0 k"),
        (b"0.01 0 0 0.99 K", b"0 0 0 1 K"),
        (b"0.6 0.4 0.4 1 k", b"0.6 0.4 0.4 1 k"),
        (b"/DeviceRGB cs 0.99 0.99 0.99 sc", b"/DeviceRGB cs 1 1 1 sc"),
        (b"/Spot cs 0.01 scn", b"/Spot cs 0 scn"),
        (b"/Spot cs 0.5 scn", b"/Spot cs 0.5 scn"),
        (b"/Odd cs 0.001 scn", b"/Odd cs 0.001 scn"),
        (b"/Lab CS 99.5 0 0 SCN", b"/Lab CS 99.5 0 0 SCN"),
        (b"1 g 0 0 0 rg", b"1 g 0 0 0 rg"),
    ],
)
def test_vector_colours(before: bytes, after: bytes) -> None:
    cleaned = make_white_bare(artwork_of(page_bytes(before + b" 0 0 9 9 re f", spaces)))
    assert content_of(cleaned) == after + b" 0 0 9 9 re f"


def test_counts_and_what_was_left_alone() -> None:
    content = b"0.99 g 0 0 9 9 re f 0.01 G 1 1 m 9 9 l S /Lab cs 99.5 0 0 scn 0 0 5 5 re f"
    cleaned = make_white_bare(artwork_of(page_bytes(content, spaces)))
    assert {c.what: c.count for c in cleaned.changes} == {
        "near-white fill colours made exact": 1,
        "near-black stroke colours made exact": 1,
    }
    assert [n.code for n in cleaned.notices] == ["white-left-alone"]
    assert "Lab" in cleaned.notices[0].text


def test_black_can_be_left_alone_and_bad_levels_are_refused() -> None:
    content = b"0.01 g 0 0 9 9 re f"
    artwork = artwork_of(page_bytes(content))
    assert make_white_bare(artwork, WhiteSettings(near_black=None)).artwork is artwork
    with pytest.raises(UsageProblem, match="light level"):
        WhiteSettings(near_white=100)
    with pytest.raises(UsageProblem, match="dark level"):
        WhiteSettings(near_black=200)


def test_forms_are_cleaned_where_they_are_drawn() -> None:
    def dress(document: pikepdf.Pdf, page: Any, which: int) -> None:
        page.Resources.XObject = Dictionary(X=form(document, b"0.99 g 0 0 99 99 re f"))

    cleaned = make_white_bare(artwork_of(page_bytes(b"/X Do", dress)))
    assert (picture_of(cleaned.artwork, whole_box(cleaned.artwork), 72) == 255).all()


def type3_font(document: pikepdf.Pdf, page: Any, which: int) -> None:
    """/T: a paints near-white; b states d1, so that its colours mean nothing; c needs nothing."""

    def glyph(data: bytes) -> Any:
        return document.make_indirect(document.make_stream(data))

    procs = Dictionary(
        a=glyph(b"800 0 d0 0.99 g 0 0 800 800 re f"),
        b=glyph(b"800 0 0 0 800 800 d1 0.99 g 0 0 800 800 re f"),
        c=glyph(b"800 0 d0 0 0 800 800 re f"),
    )
    names = Array([97, Name.a, Name.b, Name.c])
    page.Resources.Font = Dictionary(
        T=Dictionary(
            Type=Name.Font,
            Subtype=Name.Type3,
            FontBBox=Array([0, 0, 1000, 1000]),
            FontMatrix=Array([0.001, 0, 0, 0.001, 0, 0]),
            CharProcs=procs,
            FirstChar=97,
            LastChar=99,
            Widths=Array([800, 800, 800]),
            Resources=Dictionary(),
            Encoding=Dictionary(Type=Name.Encoding, Differences=names),
        )
    )
    state = Dictionary(Font=Array([page.Resources.Font.T, 20]))
    page.Resources.ExtGState = Dictionary(F=state)


def test_glyphs_of_a_type_3_font_are_cleaned() -> None:
    content = b"0 0 1 rg BT /T 50 Tf 10 10 Td (ab) Tj (c) Tj ET"
    cleaned = make_white_bare(artwork_of(page_bytes(content, type3_font)))
    assert {c.what: c.count for c in cleaned.changes} == {"near-white fill colours made exact": 1}
    assert cleaned.notices == ()
    words = content_of(cleaned).split()
    assert words[5:7] == [b"/T", b"50"]
    assert words.count(b"/T") == 2  # set again after the string that was changed
    shown = picture_of(cleaned.artwork, whole_box(cleaned.artwork), 72)
    from decalprep.pdfstream import read_page

    assert [t.text for t in read_page(cleaned.artwork.page_pdf).texts]
    boxes = [(15, 255), (55, 0), (95, 0)]  # a white, b and c in the text's blue
    for x, red in boxes:
        assert tuple(shown[-25, x]) == (red, red, 255), x


def test_a_type_3_font_without_a_name_is_told() -> None:
    content = b"/F gs BT 10 10 Td (a) Tj ET"
    cleaned = make_white_bare(artwork_of(page_bytes(content, type3_font)))
    assert [n.text.partition(" (")[0] for n in cleaned.notices] == [
        "Type 3 font set by a graphics state"
    ]


def tiling_cells(document: pikepdf.Pdf, page: Any, which: int) -> None:
    """/P has colours of its own; /U is shape only, in the colour it is used with."""

    def cell(data: bytes, paint: int) -> Any:
        made = document.make_stream(data)
        made.Type, made.PatternType, made.PaintType, made.TilingType = Name.Pattern, 1, paint, 1
        made.BBox, made.XStep, made.YStep = Array([0, 0, 8, 8]), 8, 8
        made.Resources = Dictionary()
        return document.make_indirect(made)

    page.Resources.Pattern = Dictionary(
        P=cell(b"0.99 g 0 0 8 8 re f 1 0 0 rg 0 0 4 4 re f", 1), U=cell(b"0 0 8 8 re f", 2)
    )
    page.Resources.ColorSpace = Dictionary(U=Array([Name.Pattern, Name.DeviceRGB]))


def test_cells_of_tiling_patterns_are_cleaned() -> None:
    content = b"/Pattern cs /P scn 0 0 40 40 re f /U cs 0.99 0.99 1 /U scn 0 40 40 40 re f"
    cleaned = make_white_bare(artwork_of(page_bytes(content, tiling_cells)))
    assert {c.what: c.count for c in cleaned.changes} == {
        "near-white fill colours made exact": 1,
        "near-white or near-black pattern colours made exact": 1,
    }
    assert cleaned.notices == ()
    assert b"/U cs 1 1 1 /U scn" in content_of(cleaned)
    shown = picture_of(cleaned.artwork, whole_box(cleaned.artwork), 288)
    colours = {tuple(c) for c in shown[-140:-20:4, 20:140:4].reshape(-1, 3)}
    assert {(255, 255, 255), (255, 0, 0)} <= colours
    assert (shown[-300:-170, 4:150] == 255).all()
    again = make_white_bare(cleaned.artwork)
    assert again.artwork is cleaned.artwork


def test_a_soft_mask_and_a_shading_are_told() -> None:
    from hairline_cases import soft_mask

    cleaned = make_white_bare(artwork_of(page_bytes(b"/M gs 0 g 10 10 20 20 re f", soft_mask)))
    assert [n.text.partition(" (")[0] for n in cleaned.notices] == ["soft mask"]


def image_page(pixels: "np.ndarray[Any, Any]", *, jpeg: bool = False, **keys: Any) -> bytes:
    def dress(document: pikepdf.Pdf, page: Any, which: int) -> None:
        if jpeg:
            out = io.BytesIO()
            Image.fromarray(pixels).save(out, "JPEG", quality=95)
            stream = document.make_stream(out.getvalue(), Filter=Name.DCTDecode)
        else:
            data = zlib.compress(pixels.astype(pixels.dtype.newbyteorder(">")).tobytes())
            stream = document.make_stream(data, Filter=Name.FlateDecode)
        stream.Type, stream.Subtype = Name.XObject, Name.Image
        stream.Width, stream.Height = pixels.shape[1], pixels.shape[0]
        stream.BitsPerComponent = pixels.dtype.itemsize * 8
        stream.ColorSpace = Name.DeviceRGB if pixels.ndim == 3 else Name.DeviceGray
        for key, value in keys.items():
            stream["/" + key] = value
        page.Resources.XObject = Dictionary(P=document.make_indirect(stream))

    return page_bytes(b"q 100 0 0 50 0 0 cm /P Do Q q 9 0 0 9 0 0 cm /P Do Q", dress)


def image_of(cleaned: Cleaned) -> bytes:
    with pikepdf.open(io.BytesIO(cleaned.artwork.page_pdf)) as document:
        return bytes(document.pages[0].Resources.XObject.P.read_bytes())


def test_image_pixels_are_snapped_and_counted_once() -> None:
    pixels = np.full((4, 5, 3), 0xFE, np.uint8)
    pixels[0, 0] = (0xF8, 0xFF, 0xF8)
    pixels[0, 1] = (0xF7, 0xFF, 0xFF)
    pixels[1, 0] = (3, 7, 0)
    pixels[1, 1] = (3, 8, 0)
    pixels[2, 2] = 255
    cleaned = make_white_bare(artwork_of(image_page(pixels)))
    expected = pixels.copy()
    expected[(pixels >= 0xF8).all(axis=2)] = 255
    expected[1, 0] = 0
    assert image_of(cleaned) == expected.tobytes()
    assert {c.what: c.count for c in cleaned.changes} == {
        "near-white pixels made exact": 20 - 4,
        "near-black pixels made exact": 1,
    }


def test_every_image_is_cleaned_not_the_first_alone() -> None:
    def dress(document: pikepdf.Pdf, page: Any, which: int) -> None:
        page.Resources.XObject = Dictionary()
        for name in "PQR":
            stream = document.make_stream(b"\xfe" * 6)
            stream.Type, stream.Subtype, stream.ColorSpace = (
                Name.XObject,
                Name.Image,
                Name.DeviceGray,
            )
            stream.Width, stream.Height, stream.BitsPerComponent = 3, 2, 8
            page.Resources.XObject["/" + name] = stream

    content = b" ".join(b"q 30 0 0 20 %d 0 cm /%c Do Q" % (40 * k, 80 + k) for k in range(3))
    cleaned = make_white_bare(artwork_of(page_bytes(content, dress)))
    assert {c.what: c.count for c in cleaned.changes} == {"near-white pixels made exact": 18}
    assert make_white_bare(cleaned.artwork).artwork is cleaned.artwork


def test_an_image_of_no_width_is_told() -> None:
    page = image_page(np.full((4, 5, 3), 0xFE, np.uint8), Width=Name.Odd)
    (told,) = make_white_bare(artwork_of(page)).notices
    assert "cannot be decoded" in told.text


@pytest.mark.parametrize(
    ("keys", "left"),
    [
        ({"TR": Dictionary(FunctionType=2, N=1, Domain=[0, 1], C0=[1], C1=[0])}, True),
        ({"TR": Name.Identity, "TR2": Name.Default}, False),
    ],
)
def test_a_transfer_function_leaves_all_as_it_is(keys: dict[str, Any], left: bool) -> None:
    """It may turn black into white: what 2 of 255 looks like cannot be told from the number."""

    def dress(document: pikepdf.Pdf, page: Any, which: int) -> None:
        page.Resources.ExtGState = Dictionary(
            {"/T": Dictionary({f"/{k}": v for k, v in keys.items()})}
        )

    artwork = artwork_of(page_bytes(b"/T gs 0.01 g 0 0 9 9 re f", dress))
    cleaned = make_white_bare(artwork)
    assert (cleaned.artwork is artwork) is left
    assert ["transfer function" in n.text for n in cleaned.notices] == [True] * left


@pytest.mark.parametrize(("gamma", "after"), [(None, b"0.02"), (1.0, b"0.02"), (2.2, b"0")])
def test_calibrated_colours_are_judged_by_their_gamma(gamma: float | None, after: bytes) -> None:
    """Without a Gamma a calibrated grey is linear: 0.02 of it looks like 0.15 of a screen's."""

    def dress(document: pikepdf.Pdf, page: Any, which: int) -> None:
        space = Dictionary(WhitePoint=Array([0.9505, 1, 1.089]))
        if gamma is not None:
            space.Gamma = gamma
        page.Resources.ColorSpace = Dictionary(C=Array([Name.CalGray, space]))

    cleaned = make_white_bare(artwork_of(page_bytes(b"/C cs 0.02 sc 0 0 9 9 re f", dress)))
    assert content_of(cleaned).startswith(b"/C cs %s sc" % after)


def test_sixteen_bit_and_jpeg_images() -> None:
    deep = np.array([[0xFE00, 0xF700, 0x0010]], np.uint16)
    cleaned = make_white_bare(artwork_of(image_page(deep)))
    assert np.frombuffer(image_of(cleaned), ">u2").tolist() == [0xFFFF, 0xF700, 0]
    light = np.full((16, 16), 0xFD, np.uint8)
    cleaned = make_white_bare(artwork_of(image_page(light, jpeg=True)))
    assert image_of(cleaned) == b"\xff" * 256


def test_images_that_cannot_be_changed_safely_are_told() -> None:
    pixels = np.full((2, 2), 0xFE, np.uint8)
    for keys, said in (
        ({"Decode": Array([1, 0])}, "Decode"),
        ({"Mask": Array([254, 254])}, "masked by colour"),
        ({"ColorSpace": Name.Nonsense}, "Nonsense"),
    ):
        artwork = artwork_of(image_page(pixels, **keys))
        cleaned = make_white_bare(artwork)
        assert cleaned.artwork is artwork
        assert said in cleaned.notices[0].text


def test_palettes_are_snapped() -> None:
    palette = Array([Name.Indexed, Name.DeviceRGB, 1, pikepdf.String(b"\xfe\xfe\xfe\x10\x20\x30")])
    pixels = np.array([[0, 1]], np.uint8)
    cleaned = make_white_bare(artwork_of(image_page(pixels, ColorSpace=palette)))
    with pikepdf.open(io.BytesIO(cleaned.artwork.page_pdf)) as document:
        table = bytes(document.pages[0].Resources.XObject.P.ColorSpace[3])
    assert table == b"\xff\xff\xff\x10\x20\x30"


def test_white_survives_a_dither() -> None:
    """#FEFEFE dithers to dots (48 of 65,536 in a published-style check), exact white to none."""
    pixels = np.full((256, 256), 0xFE, np.uint8)
    cleaned = make_white_bare(artwork_of(image_page(pixels)))
    after = Image.frombytes("L", (256, 256), image_of(cleaned)).convert("1")
    before = Image.fromarray(pixels).convert("1")
    assert np.count_nonzero(~np.array(before)) > 0
    assert np.count_nonzero(~np.array(after)) == 0


def test_legend_that_stays_bare_and_one_that_does_not() -> None:
    ground = b"0 g 10 10 180 80 re f "
    bare = legend_ink(artwork_of(page_bytes(ground + b"1 g 40 30 50 40 re f")))
    assert bare.inked_mm2 == 0
    assert bare.notices == ()
    assert bare.legend_mm2 == pytest.approx(50 * 40 * (25.4 / 72) ** 2, rel=0.02)
    tinted = legend_ink(
        artwork_of(page_bytes(ground + b"1 g 40 30 25 40 re f 1 1 0.8 rg 65 30 25 40 re f"))
    )
    assert tinted.share == pytest.approx(0.5, abs=0.02)
    (notice,) = tinted.notices
    assert notice.code == "legend-carries-ink"
    assert notice.box_mm is not None
    assert notice.box_mm.x0 == pytest.approx(65 * 25.4 / 72, abs=0.15)
    none = legend_ink(artwork_of(page_bytes(b"0 g 10 10 20 20 re f")))
    assert [n.code for n in none.notices] == ["no-legend-seen"]
