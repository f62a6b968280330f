"""What a page paints: shapes, texts, images, layers, in page points."""

import math
from collections.abc import Callable
from typing import Any

import pikepdf
import pytest
from pikepdf import Array, Dictionary, Name

from decalprep.errors import InputProblem, TooMuch, Unfaithful
from decalprep.geometry import Affine, Box, fit_circle
from decalprep.pdfstream import WalkLimits, read_page

Dress = Callable[[pikepdf.Pdf, Any], None]


def page_of(content: bytes, dress: Dress | None = None, box: tuple[int, ...] = (0, 0, 200, 100)):
    import io

    document = pikepdf.new()
    page = document.add_blank_page(page_size=(200, 100))
    page.obj.MediaBox = Array(box)
    page.obj.Resources = Dictionary()
    page.obj.Contents = document.make_stream(content)
    if dress:
        dress(document, page.obj)
    out = io.BytesIO()
    document.save(out, deterministic_id=True)
    return out.getvalue()


def form(document: pikepdf.Pdf, content: bytes, **keys: Any) -> Any:
    stream = document.make_stream(content)
    stream.Type, stream.Subtype = Name.XObject, Name.Form
    stream.BBox = Array([0, 0, 100, 100])
    for key, value in keys.items():
        stream["/" + key] = value
    return stream


def test_a_filled_and_stroked_rectangle() -> None:
    contents = read_page(page_of(b"q 2 0 0 3 10 5 cm 1 0 0 rg 0 0 1 RG 0.5 w 1 1 4 2 re B Q"))
    (shape,) = contents.shapes
    assert shape.fill
    assert shape.stroke
    assert not shape.even_odd
    assert shape.fill_colour.rgb == (1, 0, 0)
    assert shape.stroke_colour.rgb == (0, 0, 1)
    assert shape.stroke_width_pt == (1.5, 1.0)
    assert shape.paths[0].closed
    assert shape.paths[0].box == Box(12, 8, 20, 14)


def test_nested_forms_matrix_and_inherited_state() -> None:
    def dress(document: pikepdf.Pdf, page: Any) -> None:
        inner = form(document, b"0 0 m 10 0 l S", Matrix=Array([1, 0, 0, 1, 5, 0]))
        outer = form(
            document,
            b"q 2 0 0 2 0 0 cm /I Do Q",
            Matrix=Array([0, 1, -1, 0, 50, 0]),
            Resources=Dictionary(XObject=Dictionary(I=document.make_indirect(inner))),
        )
        page.Resources.XObject = Dictionary(O=document.make_indirect(outer))

    (shape,) = read_page(page_of(b"3 w /O Do", dress)).shapes
    assert shape.stroke_width_pt == (6.0, 6.0)
    assert (shape.paths[0].segments[0].start, shape.paths[0].segments[0].end) == (
        (50, 10),
        (50, 30),
    )


def test_a_form_in_itself_is_refused() -> None:
    def dress(document: pikepdf.Pdf, page: Any) -> None:
        loop = document.make_indirect(form(document, b"/L Do"))
        loop.Resources = Dictionary(XObject=Dictionary(L=loop))
        page.Resources.XObject = Dictionary(L=loop)

    with pytest.raises(Unfaithful, match="contains itself"):
        read_page(page_of(b"/L Do", dress))


def test_deep_nesting_and_endless_drawings_are_refused() -> None:
    def dress(document: pikepdf.Pdf, page: Any) -> None:
        inner = document.make_indirect(form(document, b"0 0 m 1 1 l S"))
        for _ in range(40):
            resources = Dictionary(XObject=Dictionary(F=inner))
            inner = document.make_indirect(form(document, b"/F Do /F Do", Resources=resources))
        page.Resources.XObject = Dictionary(F=inner)

    with pytest.raises(TooMuch, match="deeper"):
        read_page(page_of(b"/F Do", dress))
    with pytest.raises(TooMuch, match="operations"):
        read_page(page_of(b"q Q " * 60), limits=WalkLimits(max_operations=100))
    with pytest.raises(TooMuch, match="saved"):
        read_page(page_of(b"q " * 3000))


def test_ext_gstate_width_dash_and_soft_mask() -> None:
    def dress(document: pikepdf.Pdf, page: Any) -> None:
        mask = document.make_indirect(form(document, b"0 0 1 1 re f"))
        page.Resources.ExtGState = Dictionary(
            G=Dictionary(LW=4, D=Array([Array([2, 1]), 0]), SMask=Dictionary(S=Name.Alpha, G=mask))
        )

    contents = read_page(page_of(b"/G gs 0 0 m 9 9 l S", dress))
    assert contents.shapes[0].stroke_width_pt == (4, 4)
    assert contents.shapes[0].dashed
    assert contents.features == (("soft mask", 1),)


def test_spot_and_calculated_colours() -> None:
    def dress(document: pikepdf.Pdf, page: Any) -> None:
        tint = Dictionary(
            FunctionType=2, Domain=Array([0, 1]), C0=Array([0, 0, 0, 0]),
            C1=Array([0, 1, 1, 0]), N=1,
        )  # fmt: skip
        program = document.make_stream(b"{ dup 0.5 mul exch 1 exch sub 0 }")
        program.FunctionType, program.Domain = 4, Array([0, 1])
        program.Range = Array([0, 1, 0, 1, 0, 1])
        page.Resources.ColorSpace = Dictionary(
            Cut=Array([Name.Separation, Name("/Cut line"), Name.DeviceCMYK, tint]),
            Calc=Array(
                [Name.Separation, Name.Haze, Name.DeviceRGB, document.make_indirect(program)]
            ),
        )

    cut, haze = read_page(
        page_of(b"/Cut CS 1 SCN 0 0 m 9 9 l S /Calc cs 0.5 scn 0 0 9 9 re f", dress)
    ).shapes
    assert cut.stroke_colour.spot == "Cut line"
    assert cut.stroke_colour.rgb == (1, 0, 0)
    assert haze.fill_colour.spot == "Haze"
    assert haze.fill_colour.rgb == pytest.approx((0.25, 0.5, 0.0))


def layered(document: pikepdf.Pdf, page: Any) -> None:
    groups = [
        document.make_indirect(Dictionary(Type=Name.OCG, Name=pikepdf.String(n)))
        for n in ("Legend", "Notes")
    ]
    document.Root.OCProperties = Dictionary(
        OCGs=Array(groups), D=Dictionary(OFF=Array([groups[1]]), Order=Array(groups))
    )
    either = Dictionary(Type=Name.OCMD, OCGs=Array(groups), P=Name.AnyOn)
    both = Dictionary(Type=Name.OCMD, OCGs=Array(groups), P=Name.AllOn)
    negated = Dictionary(
        Type=Name.OCMD,
        OCGs=Array(groups),
        VE=Array([Name.And, groups[0], Array([Name.Not, groups[1]])]),
    )
    page.Resources.Properties = Dictionary(
        A=groups[0],
        B=groups[1],
        C=document.make_indirect(either),
        D=document.make_indirect(both),
        E=document.make_indirect(negated),
    )


def test_layers_and_what_is_shown() -> None:
    pieces = b" ".join(
        b"/OC /%c BDC /Span BMC 0 0 5 5 re f EMC EMC" % letter for letter in b"ABCDE"
    )
    contents = read_page(page_of(pieces + b" 0 0 5 5 re f", layered))
    assert contents.layers == ("Legend", "Notes")
    assert [s.layer for s in contents.shapes[:2]] == ["Legend", "Notes"]
    assert [s.visible for s in contents.shapes] == [True, False, True, False, True, True]
    assert contents.shapes[-1].layer is None


def test_text_runs_have_place_size_and_words() -> None:
    def dress(document: pikepdf.Pdf, page: Any) -> None:
        page.Resources.Font = Dictionary(
            F=Dictionary(
                Type=Name.Font, Subtype=Name.TrueType, BaseFont=Name.Panel, FirstChar=65,
                Widths=Array([500, 1000]), Encoding=Name.WinAnsiEncoding,
            )
        )  # fmt: skip

    content = b"BT /F 10 Tf 2 0 0 2 20 30 Tm (AB) Tj [(A) -1000 (B)] TJ 0 -12 Td 1 Tr (B) Tj ET"
    first, second, third = read_page(page_of(content, dress)).texts
    assert (first.text, first.font, first.size_pt) == ("AB", "Panel", 20)
    assert first.box_pt == Box(20, 25, 50, 45)
    assert second.box_pt.x0 == 50
    assert second.box_pt.x1 == 100
    assert second.text == "AB"
    assert second.exact_widths
    assert third.render_mode == 1
    assert third.box_pt.y0 == 1
    assert third.stroke_width_pt == (1, 1)


def test_text_by_glyph_names_and_unicode_maps() -> None:
    """Glyph names judged by another library's copy of the Adobe Glyph List."""
    from fontTools.agl import toUnicode

    names = ["H", "E", "seven", "Odieresis", "degree", "quoteright", "uni00C6"]
    cmap = (
        b"1 beginbfchar <0041> <0058> endbfchar 2 beginbfrange <0042> <0044> <0061> "
        b"<0050> <0051> [<0031> <00320033>] endbfrange"
    )

    def dress(document: pikepdf.Pdf, page: Any) -> None:
        listed = Array([1, *(Name("/" + name) for name in names)])
        below = Dictionary(Type=Name.Font, Subtype=Name.CIDFontType2, DW=500)
        page.Resources.Font = Dictionary(
            F=Dictionary(
                Type=Name.Font,
                Subtype=Name.Type1,
                Encoding=Dictionary(Type=Name.Encoding, Differences=listed),
            ),
            G=Dictionary(
                Type=Name.Font,
                Subtype=Name.Type0,
                Encoding=Name("/Identity-H"),
                DescendantFonts=Array([below]),
                ToUnicode=document.make_stream(cmap),
            ),
        )

    content = b"BT /F 9 Tf <01020304050607> Tj /G 9 Tf <00410042004400500051> Tj ET"
    first, second = read_page(page_of(content, dress)).texts
    assert first.text == "".join(toUnicode(name) for name in names)
    assert second.text == "Xac123"
    assert second.box_pt.width == pytest.approx(5 * 0.5 * 9)


def test_images_and_inline_images() -> None:
    def dress(document: pikepdf.Pdf, page: Any) -> None:
        image = document.make_stream(b"\x00" * 6)
        image.Type, image.Subtype = Name.XObject, Name.Image
        image.Width, image.Height, image.BitsPerComponent = 2, 1, 8
        image.ColorSpace = Name.DeviceRGB
        page.Resources.XObject = Dictionary(P=document.make_indirect(image))

    content = b"q 20 0 0 10 5 5 cm /P Do Q q 8 0 0 8 0 0 cm BI /W 8/H 1/IM true ID \x80 EI Q"
    picture, stencil = read_page(page_of(content, dress)).images
    assert picture.page_from_image == Affine(20, 0, 0, 10, 5, 5)
    assert (picture.width_px, picture.height_px, picture.colour_space) == (2, 1, "DeviceRGB")
    assert stencil.inline
    assert stencil.stencil
    assert stencil.bits == 1


def test_clips_are_noted() -> None:
    inside = b"q 0 0 50 50 re W n 10 10 5 5 re f Q "
    across = b"q 0 0 50 50 re W n 40 10 50 5 re f Q "
    shaped = b"q 0 0 m 50 0 l 25 50 l h W n 20 5 5 5 re f Q "
    shapes = read_page(page_of(inside + across + shaped)).shapes
    assert [s.clipped for s in shapes] == [False, True, True]


def test_forms_that_stand_aslant_clip_only_what_reaches_out() -> None:
    def dress(document: pikepdf.Pdf, page: Any) -> None:
        inside = form(document, b"10 10 20 20 re f 90 40 30 5 re f")
        page.Resources.XObject = Dictionary(X=inside)

    content = b"0.8 0.6 -0.6 0.8 60 0 cm /X Do"
    shapes = read_page(page_of(content, dress)).shapes
    assert [s.clipped for s in shapes] == [False, True]


def test_circle_from_four_curves_and_the_files_own_step() -> None:
    """Kappa 0.5522847498: four cubics within 2.7e-4 of the radius (Goldapp 1991, from memory)."""
    k = 0.5522847498 * 10
    content = (
        f"60 50 m 60 {50 + k:.9f} {50 + k:.9f} 60 50 60 c {50 - k:.9f} 60 40 {50 + k:.9f} 40 50 c "
        f"40 {50 - k:.9f} {50 - k:.9f} 40 50 40 c {50 + k:.9f} 40 60 {50 - k:.9f} 60 50 c f"
    )
    contents = read_page(page_of(content.encode()))
    circle, error = fit_circle(contents.shapes[0].paths[0].points(0.001))
    assert math.isclose(circle.diameter, 20, abs_tol=0.01)
    assert error < 0.004
    assert contents.step_pt == pytest.approx(1e-9)
    assert read_page(page_of(b"0.1 0 0 0.1 0 0 cm 1 2 m 300 7 l S")).step_pt == pytest.approx(0.1)


def test_user_unit_is_applied() -> None:
    def dress(document: pikepdf.Pdf, page: Any) -> None:
        page.UserUnit = 2

    (shape,) = read_page(page_of(b"1 w 0 0 m 10 0 l S", dress)).shapes
    assert shape.stroke_width_pt == (2, 2)
    assert shape.paths[0].segments[0].end == (20, 0)


def test_bad_files_are_one_line() -> None:
    with pytest.raises(InputProblem, match="cannot be read"):
        read_page(b"not a pdf")
    with pytest.raises(InputProblem, match="no page 3"):
        read_page(page_of(b""), page=2)


def test_broken_content_does_not_raise() -> None:
    junk = b"Q Q EMC ET cm w /None gs /Q Do 1 2 l S BT (a) Tj 5 Tr /F Tf ET BI ID EI scn d W"
    contents = read_page(page_of(junk))
    assert contents.shapes == ()
