"""Leaving out a layer or a spot colour takes away just that, whatever it is drawn with."""

import numpy as np
import pikepdf
import pypdfium2
import pytest
from sheet_samples import make_artwork

from decalprep.cleaning import leave_out
from decalprep.model import Artwork

INLINE = b"q 20 0 0 20 10 10 cm BI /W 1 /H 1 /BPC 8 /CS /G ID \0 EI Q\n"


def page(content: bytes) -> Artwork:
    """60 x 40 mm of white paper with one optional layer "cut", a spot colour "guide" and a font."""

    def prepare(pdf: pikepdf.Pdf, page: pikepdf.Page) -> None:
        layer = pdf.make_indirect(pikepdf.Dictionary(Type=pikepdf.Name.OCG, Name="cut"))
        pdf.Root.OCProperties = pikepdf.Dictionary(
            OCGs=[layer], D=pikepdf.Dictionary(Order=[layer], ON=[layer])
        )
        tint = pikepdf.Dictionary(FunctionType=2, Domain=[0, 1], C0=[1, 1, 1], C1=[0, 0, 0], N=1)
        spot = pikepdf.Array(
            [pikepdf.Name.Separation, pikepdf.Name.guide, pikepdf.Name.DeviceRGB, tint]
        )
        stencil = pdf.make_stream(b"\0")
        stencil.Type, stencil.Subtype = pikepdf.Name.XObject, pikepdf.Name.Image
        stencil.Width, stencil.Height, stencil.ImageMask = 8, 1, True
        stencil.BitsPerComponent = 1
        shading = pikepdf.Dictionary(
            ShadingType=2,
            ColorSpace=pikepdf.Name.DeviceGray,
            Coords=[0, 0, 100, 0],
            Function=pikepdf.Dictionary(FunctionType=2, Domain=[0, 1], C0=[0], C1=[0], N=1),
            Extend=[True, True],
        )
        font = pikepdf.Dictionary(
            Type=pikepdf.Name.Font, Subtype=pikepdf.Name.Type1, BaseFont=pikepdf.Name.Helvetica
        )
        page.obj.Resources = pikepdf.Dictionary(
            Properties=pikepdf.Dictionary(L=layer),
            ColorSpace=pikepdf.Dictionary(Cs=spot),
            XObject=pikepdf.Dictionary(Im=stencil),
            Shading=pikepdf.Dictionary(Sh=shading),
            Font=pikepdf.Dictionary(F=font),
        )
        page.obj.Contents = pdf.make_stream(content)

    return make_artwork(60, 40, prepare=prepare)


def ink(artwork: Artwork) -> int:
    """Dark pixels of the page as pdfium draws it."""
    document = pypdfium2.PdfDocument(artwork.page_pdf)
    pixels = np.asarray(document[0].render(scale=2).to_numpy())
    document.close()
    return int((pixels[..., :3].min(axis=2) < 128).sum())


LAYER = b"/OC /L BDC\n%s EMC\n"
SPOT = b"/Cs cs /Cs CS 1 scn 1 SCN\n%s"
DRAWN = {
    "fill": b"20 20 40 40 re f\n",
    "stroke": b"4 w 20 20 40 40 re S\n",
    "both": b"4 w 20 20 40 40 re B\n",
    "text": b"BT /F 30 Tf 20 20 Td (AB) Tj ET\n",
    "outlined text": b"BT /F 30 Tf 2 w 1 Tr 20 20 Td (AB) Tj ET\n",
    "both text": b"BT /F 30 Tf 2 w 2 Tr 20 20 Td (AB) Tj ET\n",
    "stencil": b"q 40 0 0 40 20 20 cm /Im Do Q\n",
}


@pytest.mark.parametrize("how", DRAWN)
@pytest.mark.parametrize(("form", "names"), [(LAYER, "layers"), (SPOT, "spots")])
def test_all_kinds_of_ink_go(how, form, names):
    artwork = page(form % DRAWN[how])
    assert ink(artwork) > 100
    name = "cut" if names == "layers" else "guide"
    cleaned = leave_out(artwork, **{names: (name.upper(),)})
    assert ink(cleaned.artwork) == 0
    assert [c.what for c in cleaned.changes] == ["left out"]
    assert cleaned.notices == ()


@pytest.mark.parametrize("content", [INLINE, b"/Sh sh\n"], ids=["inline image", "shading"])
def test_images_and_shadings_of_a_layer_go(content):
    artwork = page(LAYER % content)
    assert ink(artwork) > 100
    assert ink(leave_out(artwork, layers=("cut",)).artwork) == 0


@pytest.mark.parametrize("how", ["both", "both text"])
@pytest.mark.parametrize("which", [b"/Cs cs 1 scn 0 G\n", b"/Cs CS 1 SCN 0 g\n"])
def test_of_fill_and_stroke_only_the_one_in_the_spot_goes(how, which):
    whole = page(which + DRAWN[how])
    left = leave_out(whole, spots=("guide",)).artwork
    assert 0 < ink(left) < ink(whole)


@pytest.mark.parametrize("how", [*DRAWN, "inline", "shading"])
def test_the_rest_stays(how):
    content = DRAWN.get(how, INLINE if how == "inline" else b"/Sh sh\n")
    whole = page(content + LAYER % b"100 20 20 20 re f\n")
    alone = page(content)
    left = leave_out(whole, layers=("cut",), spots=("guide",))
    assert ink(left.artwork) == ink(alone)
    assert [n.code for n in left.notices] == ["nothing-left-out"]
