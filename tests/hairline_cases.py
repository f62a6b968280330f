"""The torture table of stroke rules: what is drawn, and the same drawn without the hairlines.

Pages are 200 x 100 pt. The hairline limit is 0.1 mm = 0.2835 pt. Hairlines are red, so that one
left behind shows.
"""

import io
from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Any

import pikepdf
from pikepdf import Array, Dictionary, Name

from decalprep.cleaning import HairlineSettings, LoneHairlines
from decalprep.model import Artwork
from decalprep.units import MM_PER_PT

Dress = Callable[[pikepdf.Pdf, Any, int], None]
HAIR = b"1 0 0 RG 0.2 w "
THICK = b"1 0 0 RG 2 w "
BOX = b"20 20 60 50 re "
OPEN = b"20 20 m 80 20 l 50 70 l "
STAR = b"20 20 m 80 60 l 20 60 l 80 20 l 50 80 l h "
TEXT = b"BT /F 30 Tf 20 30 Td "
PAGE = (200.0, 100.0)


@dataclass(frozen=True)
class Case:
    """``before`` and ``after`` are content; the same ``dress`` gives both their resources.

    ``dress`` is told 0 for the drawing and 1 for the expected one.
    """

    name: str
    before: bytes
    after: bytes
    dress: Dress | None = None
    settings: HairlineSettings = field(default_factory=HairlineSettings)
    size_pt: tuple[float, float] = PAGE
    fates: tuple[int, int, int] | None = None
    notice: str = ""


def page_bytes(content: bytes, dress: Dress | None = None, which: int = 0) -> bytes:
    """A one-page PDF."""
    document = pikepdf.new()
    page = document.add_blank_page(page_size=PAGE)
    helvetica = Dictionary(Type=Name.Font, Subtype=Name.Type1, BaseFont=Name.Helvetica)
    page.obj.Resources = Dictionary(Font=Dictionary(F=helvetica))
    page.obj.Contents = document.make_stream(content)
    if dress:
        dress(document, page.obj, which)
    out = io.BytesIO()
    document.save(out, deterministic_id=True)
    return out.getvalue()


def artwork_of(page_pdf: bytes, size_pt: tuple[float, float] = PAGE) -> Artwork:
    """The page as an artwork whose true size is ``size_pt`` points."""
    return Artwork(
        "case",
        "case.pdf",
        "pdf",
        page_pdf,
        *PAGE,
        size_pt[0] * MM_PER_PT,
        size_pt[1] * MM_PER_PT,
    )


def form(document: pikepdf.Pdf, content: bytes, **keys: Any) -> Any:
    """A form XObject with a large BBox."""
    stream = document.make_stream(content)
    stream.Type, stream.Subtype = Name.XObject, Name.Form
    stream.BBox = Array([-1000, -1000, 1000, 1000])
    for key, value in keys.items():
        stream["/" + key] = value
    return document.make_indirect(stream)


def one_form(before: bytes, after: bytes, *, own_resources: bool = True, **keys: Any) -> Dress:
    """Form /X with other content in the expected drawing."""

    def dress(document: pikepdf.Pdf, page: Any, which: int) -> None:
        if own_resources:
            keys["Resources"] = Dictionary(Font=page.Resources.Font)
        page.Resources.XObject = Dictionary(X=form(document, (before, after)[which], **keys))

    return dress


def gstates(**states: Dictionary) -> Dress:
    def dress(document: pikepdf.Pdf, page: Any, which: int) -> None:
        page.Resources.ExtGState = Dictionary(**states)

    return dress


def twice_in_forms(document: pikepdf.Pdf, page: Any, which: int) -> None:
    """/X drawn as it comes and at 20 times the size; /Y is /X without strokes."""
    page.Resources.XObject = Dictionary(
        X=form(document, b"1 0 0 RG 0.2 w 1 1 3 3 re B"), Y=form(document, b"1 1 3 3 re f")
    )


def nested_forms(document: pikepdf.Pdf, page: Any, which: int) -> None:
    inner = form(document, (b"2 2 6 5 re B", b"2 2 6 5 re f")[which])
    outer = form(
        document,
        b"q 10 0 0 10 0 0 cm 0.02 w /I Do Q",
        Resources=Dictionary(XObject=Dictionary(I=inner)),
    )
    page.Resources.XObject = Dictionary(X=outer)


def type3(document: pikepdf.Pdf, page: Any, which: int) -> None:
    """/T: glyph a has a hairline edge (at small sizes), b has none; /U the same unstroked."""

    def font(glyph_a: bytes) -> Any:
        procs = Dictionary(
            a=document.make_indirect(document.make_stream(b"800 0 d0 " + glyph_a)),
            b=document.make_indirect(document.make_stream(b"800 0 d0 300 0 400 400 re f")),
        )
        return document.make_indirect(
            Dictionary(
                Type=Name.Font, Subtype=Name.Type3, FontBBox=Array([0, 0, 1000, 1000]),
                FontMatrix=Array([0.001, 0, 0, 0.001, 0, 0]), CharProcs=procs, FirstChar=97,
                LastChar=98, Widths=Array([800, 800]), Resources=Dictionary(),
                Encoding=Dictionary(
                    Type=Name.Encoding, Differences=Array([97, Name.a, Name.b])
                ),
            )
        )  # fmt: skip

    page.Resources.Font.T = font(b"1 0 0 RG 9 w 100 0 500 600 re B")
    page.Resources.Font.U = font(b"100 0 500 600 re f")


def tiling(document: pikepdf.Pdf, page: Any, which: int) -> None:
    cell = document.make_stream(b"1 0 0 RG 0.2 w 1 1 6 6 re S 3 3 2 2 re f")
    cell.Type, cell.PatternType, cell.PaintType, cell.TilingType = Name.Pattern, 1, 1, 1
    cell.BBox, cell.XStep, cell.YStep = Array([0, 0, 8, 8]), 8, 8
    cell.Resources = Dictionary()
    page.Resources.Pattern = Dictionary(P=document.make_indirect(cell))


def soft_mask(document: pikepdf.Pdf, page: Any, which: int) -> None:
    group = form(
        document,
        b"1 g 20 20 40 40 re f 1 G 0.2 w 25 25 60 50 re S",
        Group=Dictionary(S=Name.Transparency, CS=Name.DeviceGray),
        Resources=Dictionary(),
    )
    page.Resources.ExtGState = Dictionary(
        M=Dictionary(SMask=Dictionary(S=Name.Luminosity, G=group))
    )


def hidden_layer(document: pikepdf.Pdf, page: Any, which: int) -> None:
    group = document.make_indirect(Dictionary(Type=Name.OCG, Name=pikepdf.String("Fills")))
    document.Root.OCProperties = Dictionary(OCGs=Array([group]), D=Dictionary(OFF=Array([group])))
    page.Resources.Properties = Dictionary(L=group)


def split_content(document: pikepdf.Pdf, page: Any, which: int) -> None:
    """The content cut into three streams, in the middle of a path."""
    parts = [(b"1 0 0 RG 0.2 w 20 20", b"60 50 re B", b"5 5 9 9 re f"),
             (b"20 20", b"60 50 re f", b"5 5 9 9 re f")][which]  # fmt: skip
    page.Contents = Array([document.make_indirect(document.make_stream(p)) for p in parts])


def spot(document: pikepdf.Pdf, page: Any, which: int) -> None:
    tint = Dictionary(
        FunctionType=2, Domain=Array([0, 1]), N=1, C0=Array([1, 1, 1]), C1=Array([0, 0.3, 0])
    )
    page.Resources.ColorSpace = Dictionary(
        S=Array([Name.Separation, Name.Legend, Name.DeviceRGB, tint])
    )


def settings(**values: Any) -> HairlineSettings:
    return HairlineSettings(**values)


INLINE = b"q 40 0 0 40 100 20 cm BI /W 4/H 4/BPC 8/CS/G ID S B b* 0 w S B .\nEI Q "
DROP = settings(lone=LoneHairlines.DROP)
THICKEN = settings(lone=LoneHairlines.THICKEN, thicken_to_mm=0.5)
HALF_MM = b"1.417322835 w "

CASES = (
    Case("S over its fill", HAIR + BOX + b"f " + BOX + b"S", BOX + b"f", fates=(1, 0, 0)),
    Case("s over its fill", HAIR + OPEN + b"f " + OPEN + b"s", OPEN + b"f", fates=(1, 0, 0)),
    Case("S before its fill", HAIR + BOX + b"S " + BOX + b"f", BOX + b"f"),
    Case(
        "S drawn with other operators than its fill",
        HAIR + BOX + b"f 80 20 m 20 20 l 20 70 l 80 70 l s",
        BOX + b"f",
    ),
    Case(
        "S under another map than its fill",
        HAIR + BOX + b"f q 10 0 0 10 0 0 cm 0.02 w 2 2 6 5 re S Q",
        BOX + b"f",
    ),
    Case("B", HAIR + BOX + b"B", BOX + b"f", fates=(1, 0, 0)),
    Case("b", HAIR + OPEN + b"b", OPEN + b"h f"),
    Case("B*", HAIR + STAR + b"B*", STAR + b"f*"),
    Case("b*", HAIR + STAR + b"b*", STAR + b"f*"),
    Case("F and then S", HAIR + BOX + b"F " + BOX + b"S", BOX + b"F"),
    Case("thick S stays", THICK + BOX + b"S", THICK + BOX + b"S", fates=(0, 0, 0)),
    Case("thick B stays", THICK + BOX + b"B", THICK + BOX + b"B", fates=(0, 0, 0)),
    Case("at the limit", b"1 0 0 RG 0.283464567 w " + BOX + b"B", BOX + b"f", fates=(1, 0, 0)),
    Case(
        "just over the limit",
        b"1 0 0 RG 0.286 w " + BOX + b"B",
        b"1 0 0 RG 0.286 w " + BOX + b"B",
        fates=(0, 0, 0),
    ),
    Case(
        "0 w at any scale",
        b"1 0 0 RG 0 w q 9 0 0 9 0 0 cm 2 2 5 5 re B Q",
        b"q 9 0 0 9 0 0 cm 2 2 5 5 re f Q",
    ),
    Case(
        "thick number, small on the page",
        b"1 0 0 RG 10 w q 0.02 0 0 0.02 0 0 cm 1000 1000 3000 2500 re B Q",
        BOX + b"f",
    ),
    Case(
        "thin number, thick on the page",
        b"1 0 0 RG 0.1 w q 20 0 0 20 0 0 cm 1 1 3 3 re B Q",
        b"1 0 0 RG 0.1 w q 20 0 0 20 0 0 cm 1 1 3 3 re B Q",
        fates=(0, 0, 0),
    ),
    Case(
        "turned and mirrored",
        b"1 0 0 RG 0.2 w q 0.6 0.8 0.8 -0.6 20 40 cm 10 0 40 30 re B Q",
        b"q 0.6 0.8 0.8 -0.6 20 40 cm 10 0 40 30 re f Q",
    ),
    Case(
        "width given back by Q",
        b"1 0 0 RG 0.2 w q 3 w Q " + BOX + b"B q 0.2 w Q 3 w 120 20 50 50 re B",
        BOX + b"f 1 0 0 RG 3 w 120 20 50 50 re B",
    ),
    Case("negative width", b"1 0 0 RG -0.2 w " + BOX + b"B", BOX + b"f"),
    Case(
        "width from a graphics state",
        b"1 0 0 RG 5 w /G gs " + BOX + b"B",
        BOX + b"f",
        gstates(G=Dictionary(LW=0.1)),
    ),
    Case(
        "thick width from a graphics state",
        b"1 0 0 RG 0.1 w /G gs " + BOX + b"B",
        b"1 0 0 RG 5 w " + BOX + b"B",
        gstates(G=Dictionary(LW=5)),
    ),
    Case("never set: width 1", b"1 0 0 RG " + BOX + b"B", b"1 0 0 RG " + BOX + b"B"),
    Case(
        "form made small by its Matrix",
        b"1 0 0 RG /X Do",
        b"/X Do",
        one_form(
            b"2 w 200 200 600 500 re B",
            b"200 200 600 500 re f",
            Matrix=Array([0.1, 0, 0, 0.1, 0, 0]),
        ),
    ),
    Case("width from the page", HAIR + b"/X Do", b"/X Do", one_form(BOX + b"B", BOX + b"f")),
    Case(
        "one form, two uses",
        b"q 1 0 0 1 10 10 cm /X Do Q q 10 0 0 10 60 10 cm /X Do Q q 1 0 0 1 20 20 cm /X Do Q",
        b"q 1 0 0 1 10 10 cm /Y Do Q q 10 0 0 10 60 10 cm /X Do Q q 1 0 0 1 20 20 cm /Y Do Q",
        twice_in_forms,
        fates=(2, 0, 0),
    ),
    Case("form in a form", b"1 0 0 RG /X Do", b"/X Do", nested_forms),
    Case(
        "form that borrows the page's resources",
        HAIR + b"/X Do",
        b"/X Do",
        one_form(TEXT + b"2 Tr (Bow) Tj ET", TEXT + b"(Bow) Tj ET", own_resources=False),
    ),
    Case("dashed", HAIR + b"[4 2] 0 d " + BOX + b"B", BOX + b"f"),
    Case(
        "clip and stroke over its fill",
        HAIR + BOX + b"f " + BOX + b"W S 0.5 g 0 0 50 50 re f",
        BOX + b"f " + BOX + b"W n 0.5 g 0 0 50 50 re f",
    ),
    Case(
        "clip, fill and stroke",
        HAIR + STAR + b"W* B* 0.5 g 0 0 50 50 re f",
        STAR + b"W* f* 0.5 g 0 0 50 50 re f",
    ),
    Case("text filled and stroked", HAIR + TEXT + b"2 Tr (HELM) Tj ET", TEXT + b"(HELM) Tj ET"),
    Case(
        "text stroked over its fill",
        HAIR + TEXT + b"(HELM) Tj ET " + TEXT + b"1 Tr (HELM) Tj ET",
        TEXT + b"(HELM) Tj ET",
        fates=(1, 0, 0),
    ),
    Case(
        "text filled, stroked and clipped",
        HAIR + TEXT + b"6 Tr (HELM) Tj ET 0.5 g 0 0 200 45 re f",
        TEXT + b"4 Tr (HELM) Tj ET 0.5 g 0 0 200 45 re f",
    ),
    Case(
        "text stroked and clipped, over its fill",
        HAIR + TEXT + b"(HELM) Tj ET " + TEXT + b"5 Tr (HELM) Tj ET 0.5 g 0 0 200 45 re f",
        TEXT + b"(HELM) Tj ET " + TEXT + b"7 Tr (HELM) Tj ET 0.5 g 0 0 200 45 re f",
    ),
    Case(
        "text with a thick stroke",
        THICK + TEXT + b"2 Tr (HELM) Tj ET",
        THICK + TEXT + b"2 Tr (HELM) Tj ET",
        fates=(0, 0, 0),
    ),
    Case(
        "every show operator",
        HAIR + b"BT /F 12 Tf 14 TL 20 80 Td 2 Tr (A) Tj (B) ' 1 0 (C) \" [(D) -90 (E)] TJ ET",
        b"BT /F 12 Tf 14 TL 20 80 Td (A) Tj (B) ' 1 0 (C) \" [(D) -90 (E)] TJ ET",
    ),
    Case(
        "no room between operators",
        b"1 0 0 RG .2 w BT/F 20 Tf 2 Tr 20 60 TD<424F57>Tj(X)Tj 0 -24 TD[(Y)]TJ ET",
        b"BT/F 20 Tf 20 60 TD<424F57>Tj(X)Tj 0 -24 TD[(Y)]TJ ET",
    ),
    Case(
        "fake bold is weight",
        b"0.28 w BT /F 11 Tf 20 30 Td 2 Tr (HELM) Tj ET",
        b"0.28 w BT /F 11 Tf 20 30 Td 2 Tr (HELM) Tj ET",
        fates=(0, 0, 0),
        notice="fake-bold-kept",
    ),
    Case(
        "hairline on text in the same colour",
        b"0.2 w BT /F 12 Tf 20 30 Td 2 Tr (HELM) Tj ET",
        b"BT /F 12 Tf 20 30 Td (HELM) Tj ET",
        fates=(1, 0, 0),
    ),
    Case(
        "limit as files round it",
        b"1 0 0 RG 0.284 w " + BOX + b"B",
        BOX + b"f",
        fates=(1, 0, 0),
    ),
    Case(
        "glyph drawn by a Type 3 font",
        b"BT /T 30 Tf 20 30 Td (ab) Tj (b) Tj ET",
        b"BT /U 30 Tf 20 30 Td (ab) Tj (b) Tj ET",
        type3,
    ),
    Case(
        "Type 3 font at two sizes",
        b"BT /T 20 Tf 20 30 Td (a) Tj /T 80 Tf (a) Tj (b) Tj ET",
        b"BT /U 20 Tf 20 30 Td (a) Tj /T 80 Tf (a) Tj (b) Tj ET",
        type3,
    ),
    Case("inline image that reads like strokes", HAIR + INLINE + BOX + b"B", INLINE + BOX + b"f"),
    Case(
        "lone S stays",
        HAIR + BOX + b"S",
        HAIR + BOX + b"S",
        fates=(0, 0, 1),
        notice="lone-hairline",
    ),
    Case(
        "lone text stays",
        HAIR + TEXT + b"1 Tr (HELM) Tj ET",
        HAIR + TEXT + b"1 Tr (HELM) Tj ET",
        fates=(0, 0, 1),
        notice="lone-hairline",
    ),
    Case(
        "lone S dropped",
        HAIR + BOX + b"S 0 0 5 5 re f",
        b"0 0 5 5 re f",
        settings=DROP,
        fates=(1, 0, 0),
        notice="lone-hairline-dropped",
    ),
    Case(
        "lone text dropped",
        HAIR + TEXT + b"1 Tr (HELM) Tj 5 0 Td 0 Tr (x) Tj ET",
        TEXT + b"3 Tr (HELM) Tj 5 0 Td 0 Tr (x) Tj ET",
        settings=DROP,
    ),
    Case(
        "lone S thickened",
        b"1 0 0 RG q 0.1 0 0 0.1 0 0 cm 1 w 200 200 m 800 700 l S 4 w 200 100 m 900 100 l S Q",
        b"1 0 0 RG q 0.1 0 0 0.1 0 0 cm 14.17322835 w 200 200 m 800 700 l S "
        b"4 w 200 100 m 900 100 l S Q",
        settings=THICKEN,
        fates=(0, 1, 0),
        notice="hairline-thickened",
    ),
    Case(
        "lone clip and stroke thickened",
        HAIR + BOX + b"W S 0.5 g 0 0 50 50 re f",
        b"1 0 0 RG " + HALF_MM + BOX + b"W S 0.5 g 0 0 50 50 re f",
        settings=THICKEN,
    ),
    Case(
        "stretched: hairline one way only",
        b"1 0 0 RG 0.2 w q 1 0 0 4 0 0 cm 20 5 60 12 re B Q",
        b"1 0 0 RG 0.2 w q 1 0 0 4 0 0 cm 20 5 60 12 re B Q",
        fates=(0, 0, 0),
        notice="uneven-stroke",
    ),
    Case(
        "tiling pattern stays",
        b"/Pattern cs /P scn " + HAIR + BOX + b"B",
        b"/Pattern cs /P scn " + BOX + b"f",
        tiling,
        notice="strokes-not-looked-at",
    ),
    Case(
        "soft mask stays",
        HAIR + b"/M gs " + BOX + b"B",
        b"/M gs " + BOX + b"f",
        soft_mask,
        notice="strokes-not-looked-at",
    ),
    Case(
        "artwork printed five times its page size",
        b"1 0 0 RG 0.1 w " + BOX + b"B 0.05 w 120 20 50 50 re B",
        b"1 0 0 RG 0.1 w " + BOX + b"B 120 20 50 50 re f",
        size_pt=(1000.0, 500.0),
    ),
    Case(
        "artwork printed half its page size",
        b"1 0 0 RG 0.5 w " + BOX + b"B",
        BOX + b"f",
        size_pt=(100.0, 50.0),
    ),
    Case(
        "white plate on bare paper: its edge is all its ink",
        b"0 G 1 g 0.2 w " + BOX + b"B",
        b"0 G 1 g 0.2 w " + BOX + b"B",
        fates=(0, 0, 1),
    ),
    Case(
        "white letter on a dark plate",
        b"0 g 0 0 150 100 re f 1 g " + HAIR + BOX + b"B",
        b"0 g 0 0 150 100 re f 1 g " + BOX + b"f",
        fates=(1, 0, 0),
    ),
    Case(
        "white letter, white hairline, separate, on a dark plate",
        b"0 g 0 0 150 100 re f 1 g 1 G 0.2 w " + BOX + b"f " + BOX + b"S",
        b"0 g 0 0 150 100 re f 1 g " + BOX + b"f",
        fates=(1, 0, 0),
    ),
    Case(
        "transparent fill shows nothing",
        b"/G gs " + HAIR + BOX + b"B",
        b"/G gs " + HAIR + BOX + b"B",
        gstates(G=Dictionary(ca=0)),
        fates=(0, 0, 1),
    ),
    Case(
        "fill on a hidden layer shows nothing",
        HAIR + b"/OC /L BDC " + BOX + b"f EMC " + BOX + b"S",
        HAIR + BOX + b"S",
        hidden_layer,
        fates=(0, 0, 1),
    ),
    Case(
        "filled straight line has no area",
        HAIR + b"20 20 m 90 80 l B 20 10 90 0 re b",
        HAIR + b"20 20 m 90 80 l B 20 10 90 0 re b",
        fates=(0, 0, 2),
    ),
    Case(
        "a fill of the same box is not the same outline",
        HAIR + b"20 20 m 80 20 l 80 80 l h f 80 80 m 20 80 l 20 20 l s",
        HAIR + b"20 20 m 80 20 l 80 80 l h f 80 80 m 20 80 l 20 20 l s",
        fates=(0, 0, 1),
    ),
    Case("content in three streams", b"", b"", split_content, fates=(1, 0, 0)),
    Case(
        "NUL for white space",
        b"1\x000\x000\x00RG\x00.2\x00w\x0020 20 60 50\x00re\x00B\x00",
        BOX + b"f",
    ),
    Case(
        "spot colour fill",
        HAIR + b"/S cs 1 scn " + BOX + b"f " + BOX + b"S",
        b"/S cs 1 scn " + BOX + b"f",
        spot,
        fates=(1, 0, 0),
    ),
    Case(
        "comment between path and painting",
        HAIR + BOX + b"% S B\nB% B\n",
        BOX + b"f",
    ),
)
