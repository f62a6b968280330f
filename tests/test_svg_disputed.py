"""Features that programs draw each in their own way are refused; what can be made plain is."""

from pathlib import Path

import pytest
from svg_cases import SQUARE, codes, read

from decalprep.errors import Unfaithful
from decalprep.intake.options import IntakeOptions
from decalprep.intake.svg import read_svg
from decalprep.intake.svg_css import SheetFindings
from decalprep.intake.svg_features import check_features
from decalprep.intake.svg_xml import parse_svg
from decalprep.model import Severity
from decalprep.pdfstream import read_page

STAR = '<marker id="m"><path d="M0 0h2v2z"/></marker>'
DISPUTED = {
    "markers on a <circle>": STAR + '<g marker-start="url(#m)"><circle r="5" stroke="red"/></g>',
    "markers on a <rect>": STAR + '<rect width="9" height="9" style="marker:url(#m)"/>',
    "points that are not all numbers": '<polyline points="0 0 9 9 quay" stroke="red"/>',
    "a stroke-width below zero": '<path d="M0 0h9" stroke="red" stroke-width="-2"/>',
    "stroke-linejoin miter-clip": '<path d="M0 0h9v9" stroke-linejoin="miter-clip"/>',
    "dashes measured by pathLength": '<path d="M0 0h9" stroke-dasharray="1" pathLength="9"/>',
    'gradientTransform="scale\\(0\\)"': '<linearGradient gradientTransform="scale(0)"/>',
    "a <pattern> that is switched off": '<pattern display="none"/>',
    "a transform of <radialGradient>": '<radialGradient style="transform:scale(2)"/>',
    'patternUnits="quay"': '<pattern patternUnits="quay"/>',
    "a transform on <symbol>": '<symbol transform="skewX(30)"/>',
    "refX, refY": '<marker refX="center"/>',
    "a mask on a <mask>": '<mask id="a"/><mask mask="url(#a)"/>',
    "mask: url\\(#a\\) luminance": '<mask id="a"/><g style="mask:url(#a) luminance"/>',
    "fill-box": '<clipPath id="a"/><g style="clip-path:url(#a) fill-box"/>',
    "rotate: 9deg in CSS": '<g style="rotate:9deg"/>',
    "transform-box: fill-box": '<g style="transform-box:fill-box"/>',
    "a switch with <quay>": "<switch><quay/><rect/></switch>",
    "gradient without stops": '<linearGradient id="a"/><rect fill="url(#a) red"/>',
    "the colour rgb\\(1%,2,3\\)": '<rect fill="rgb(1%,2,3)"/>',
    "the colour red icc-color": '<rect fill="red icc-color(tug, 0.1)"/>',
    "auto": '<image width="auto" height="9"/>',
    "place programs work out": '<image width="9" height="9" preserveAspectRatio="none" '
    "href=\"data:image/svg+xml,%3Csvg xmlns='http://www.w3.org/2000/svg' viewBox='0 0 9 9'/%3E\"/>",
    "takes over parts": '<filter id="a"/><filter href="#a"/>',
    "a lamp placed": '<filter primitiveUnits="objectBoundingBox"><fePointLight/></filter>',
    "mask on the SVG root": "<style>svg { mask: url(#a) }</style>",
    "<defs> that is switched off": '<defs style="display:none"/>',
    "<defs> for some languages": '<defs systemLanguage="de"/>',
    "<clipPath> that is switched off": '<clipPath display="none"/>',
    "does not say it is one": '<image width="9" height="9" '
    "href=\"data:,%3Csvg xmlns='http://www.w3.org/2000/svg' width='9' height='9'/%3E\"/>",
    "a saturation of 3": '<filter><feColorMatrix type="saturate" values="3"/></filter>',
    "specularExponent=0": '<filter><feSpecularLighting specularExponent="0"/></filter>',
    "the filter 'quay'": '<rect filter="url(#quay)"/>',
    "length in ex": '<rect width="5ex" height="5"/>',
}


@pytest.mark.parametrize("words", DISPUTED)
def test_disputed_features_are_refused_by_name(words: str, tmp_path: Path) -> None:
    with pytest.raises(Unfaithful, match=words):
        read(tmp_path, SQUARE + DISPUTED[words])


def test_colours_and_geometry_of_css_are_carried_out(tmp_path: Path) -> None:
    body = (
        "<style>rect { x: 2px; width: 10px; height: 5px; fill: rgb(0 102 51 / 100%) }"
        " path { d: path('M20 2h10v5z'); stroke: none; fill: hsl(240, 100%, 50%) }</style>"
        '<rect width="1"/><path d="M0 0h1v1z"/><circle r="3" fill="#f00f"/>'
    )
    artwork = read(tmp_path, body)
    shapes = read_page(artwork.page_pdf).shapes
    colours = [s.fill_colour.rgb for s in shapes if s.fill_colour is not None]
    assert colours == [pytest.approx((0, 0.4, 0.2), abs=1e-3), (0, 0, 1), (1, 0, 0)]
    boxes = [s.paths[0].box for s in shapes[:2]]
    for box, (x0, width) in zip(boxes, ((2, 10), (20, 10)), strict=True):
        assert box.x0 == pytest.approx(x0 * 72 / 25.4, abs=1e-3)
        assert box.width == pytest.approx(width * 72 / 25.4, abs=1e-3)


TOLD = {
    "letter-spacing in per cent": '<text letter-spacing="5%">A</text>',
    "mask on a part": '<text><tspan mask="url(#a)">A</tspan></text>',
    "baseline-shift inside": '<text baseline-shift="2"><tspan baseline-shift="2">A</tspan></text>',
    "letters running down": '<g writing-mode="tb"><text>A</text></g>',
    "feDiffuseLighting": "<filter><feDiffuseLighting/></filter>",
    "textLength=0": '<text textLength="0">A</text>',
    "rotated or skewed": '<g transform="matrix(1 .2 0 1 0 0)"><g filter="url(#b)"/></g>',
}


@pytest.mark.parametrize("words", TOLD)
def test_disputed_text_is_told_as_a_danger(words: str) -> None:
    head = '<svg xmlns="http://www.w3.org/2000/svg"><mask id="a"/><filter id="b"/>'
    root = parse_svg(f"{head}{TOLD[words]}</svg>".encode(), "panel.svg")
    told = check_features(root, SheetFindings(), name="panel.svg")
    assert any(words in n.text and n.severity is Severity.DANGER for n in told)


def test_a_ground_set_in_css_fills_the_page_and_no_more(tmp_path: Path) -> None:
    path = tmp_path / "panel.svg"
    path.write_text(
        '<svg xmlns="http://www.w3.org/2000/svg" width="60mm" height="30mm" viewBox="5 5 30 30" '
        'preserveAspectRatio="xMaxYMid" style="background: white; background-color: #036"/>'
    )
    artwork = read_svg(path, IntakeOptions())
    (shape,) = read_page(artwork.page_pdf).shapes
    box = shape.paths[0].box
    assert (box.x0, box.y0) == pytest.approx((0, 0), abs=1e-3)
    assert (box.width, box.height) == pytest.approx((60 * 72 / 25.4, 30 * 72 / 25.4), abs=1e-3)
    assert "svg-beyond-page" not in codes(artwork)


@pytest.mark.parametrize("wish", ["auto", "pixelated"])
def test_enlarged_pictures_are_drawn_smooth_unless_they_ask_for_squares(
    wish: str, tmp_path: Path
) -> None:
    import pikepdf

    png = (
        "iVBORw0KGgoAAAANSUhEUgAAAAIAAAACCAIAAAD91JpzAAAAEklEQVR4nGP4z8DAAMIM/4EAAB/u"
        "BfsL2WiLAAAAAElFTkSuQmCC"
    )
    body = (
        f'<image width="20" height="20" image-rendering="{wish}" '
        f'href="data:image/png;base64,{png}"/>'
    )
    (tmp_path / "page.pdf").write_bytes(read(tmp_path, body).page_pdf)
    with pikepdf.open(tmp_path / "page.pdf") as pdf:
        images = [
            each
            for each in pdf.objects
            if isinstance(each, pikepdf.Stream) and each.get("/Subtype") == "/Image"
        ]
        assert images
        assert all(bool(each.get("/Interpolate", False)) is (wish == "auto") for each in images)
