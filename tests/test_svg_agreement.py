"""The level at which two drawings agree: right conversions lie under it, faults above.

AGREE_LEVEL was set from cases like these at 50 x 30, 150 x 90 and 400 x 240 mm. Right conversions
measured at most 10.0 of 255 (lines of graded width), faults of 0.3 mm squares, 0.1 mm lines or one
step of colour at least 17. A missing 0.05 mm line (12.7) and the full stop of 1 mm lettering (3.9)
are below what the comparison sees.
"""

from pathlib import Path

import numpy as np
import pytest

from decalprep.intake.compare import (
    AGREE_LEVEL,
    SoftSpot,
    compare_pictures,
    page_picture,
    picture_on_white,
    px_per_mm_for,
    softened,
)
from decalprep.intake.options import IntakeOptions
from decalprep.intake.svg_child import convert_typst, draw_picture
from decalprep.intake.svg_fonts import copy_under
from decalprep.intake.svg_prepass import (
    prepare,
    root_size,
    stretched_svg,
    whole_svg,
    write_plain_root,
)
from decalprep.intake.svg_xml import parse_svg

SIZE_MM = (50.0, 30.0)
VERA = 'font-family="Bitstream Vera Sans"'
SQUARE = '<rect x="40" y="20" width="2" height="2"/>'
GRADIENT = (
    '<linearGradient id="a"><stop stop-color="red"/><stop offset="1" stop-color="blue"/>'
    '</linearGradient><rect width="50" height="30" fill="url(#a)"/>'
)
BLUR = (
    '<filter id="f"><feGaussianBlur stdDeviation="1"/></filter>'
    '<rect x="10" y="8" width="20" height="12" filter="url(#f)"/>'
)
MULTIPLY = (
    '<rect width="30" height="20" fill="#f80"/><rect x="10" y="5" width="30" height="20" '
    'fill="#08f" style="mix-blend-mode:multiply"/>'
)
HATCH = "".join(
    f'<path d="M{i * 0.4} 0L{i * 0.4 + 10} 30" stroke="#000" stroke-width=".1"/>'
    for i in range(100)
)
LETTERING = "".join(
    f'<text x="1" y="{3 * j + 2}" font-size="2" {VERA}>WINCH BRAKE 0123456789</text>'
    for j in range(9)
)
PATH_TEXT = (
    '<path id="t" d="M5 25A20 20 0 0 1 45 25" fill="none"/>'
    f'<text font-size="3" {VERA}><textPath href="#t">STERN THRUSTER</textPath></text>'
)
RIGHT = {
    "hatch": HATCH,
    "lettering": LETTERING,
    "text on a path": PATH_TEXT,
    "gradient": GRADIENT,
    "blur": BLUR,
    "multiply": MULTIPLY,
    "dashes": '<path d="M0 9H50" stroke="#000" stroke-width=".3" stroke-dasharray="1 .5"/>',
    "clip": '<clipPath id="c"><circle cx="25" cy="15" r="12"/></clipPath>'
    '<g clip-path="url(#c)"><rect width="50" height="30" fill="#840"/></g>',
}
LINE = '<path d="M5 10H40" stroke="#000" stroke-width=".2"/>'
FAULTS = {
    "missing 0.3 mm square": ('<rect x="5.2" y="5.1" width=".3" height=".3"/>', ""),
    "missing light grey": ('<rect x="5" y="5" width="1" height="1" fill="#ccc"/>', ""),
    "missing 0.1 mm line": (LINE.replace(".2", ".1"), ""),
    "line twice as wide": (LINE, LINE.replace(".2", ".4")),
    "moved by 0.2 mm": ('<rect width="9.2" height="9"/>', '<rect width="9" height="9"/>'),
    "colour": ('<rect width="9" height="9" fill="#036"/>', '<rect width="9" height="9"/>'),
    "missing letter": (
        f'<text x="1" y="9" font-size="2" {VERA}>TOW</text>',
        f'<text x="1" y="9" font-size="2" {VERA}>TO</text>',
    ),
    "no dashes": (RIGHT["dashes"], RIGHT["dashes"].replace("stroke-dasharray", "data-x")),
    "no blur": (BLUR, BLUR.replace("url(#f)", "none")),
    "no blending": (MULTIPLY, MULTIPLY.replace("multiply", "normal")),
    "no clip": (RIGHT["clip"], RIGHT["clip"].replace("url(#c)", "none")),
}


def _prepared(body: str, folder: Path) -> tuple[bytes, tuple[float, float]]:
    svg = (
        '<svg xmlns="http://www.w3.org/2000/svg" width="50mm" height="30mm" '
        f'viewBox="0 0 50 30">{body}{SQUARE}</svg>'
    )
    root = parse_svg(svg.encode(), "case.svg")
    prepared = prepare(root, IntakeOptions(), name="case.svg", folder=None)
    size = root_size(root, "case.svg")
    assert size is not None
    (folder / "fonts").mkdir(exist_ok=True)
    for face, family in prepared.fonts.families.items():
        copy_under(face, family, folder / "fonts")
    root_px = write_plain_root(root, size)
    return whole_svg(root), root_px


def _level(independent: str, converted: str, folder: Path) -> float:
    scale = px_per_mm_for(*SIZE_MM)
    pixels = (round(SIZE_MM[0] * scale), round(SIZE_MM[1] * scale))
    svg, root_px = _prepared(independent, folder)
    (folder / "picture.svg").write_bytes(stretched_svg(svg, root_px, pixels))
    draw_picture({"picture": "picture.svg", "picture_png": "picture.png"}, folder)
    svg, _ = _prepared(converted, folder)
    (folder / "whole.svg").write_bytes(svg)
    job = {"pages": ["whole.svg"], "width_pt": 50 * 72 / 25.4, "height_pt": 30 * 72 / 25.4}
    convert_typst(job, folder)
    drawn = page_picture((folder / "typst.pdf").read_bytes(), pixels)
    truth, _ = picture_on_white((folder / "picture.png").read_bytes())
    return compare_pictures(drawn, truth, scale).worst_level


@pytest.mark.parametrize("case", RIGHT)
def test_right_conversions_agree(case: str, tmp_path: Path) -> None:
    assert _level(RIGHT[case], RIGHT[case], tmp_path) <= AGREE_LEVEL / 2


@pytest.mark.parametrize("case", FAULTS)
def test_faults_are_seen(case: str, tmp_path: Path) -> None:
    assert _level(*FAULTS[case], tmp_path) > AGREE_LEVEL


def test_the_worst_tile_is_found_where_it_is() -> None:
    white = np.full((300, 500, 3), 255, np.uint8)
    spoilt = white.copy()
    spoilt[100:110, 200:210] = 0
    found = compare_pictures(white, spoilt, 10.0)
    assert found.worst_level == 255.0
    assert found.at_mm == pytest.approx((20.5, 10.5))
    assert not found.within()
    assert compare_pictures(white, white, 10.0).worst_level == 0.0


def test_an_edge_one_pixel_aside_is_forgiven_and_two_are_not() -> None:
    picture = np.full((300, 500, 3), 255, np.uint8)
    picture[:, :200] = 0
    for shift, seen in ((1, 0.0), (2, 51.0)):
        moved = np.full_like(picture, 255)
        moved[:, : 200 + shift] = 0
        assert compare_pictures(picture, moved, 10.0).worst_level == pytest.approx(seen)


def test_pictures_of_different_size_are_refused() -> None:
    with pytest.raises(ValueError, match="differ in size"):
        compare_pictures(np.zeros((9, 9, 3), np.uint8), np.zeros((9, 8, 3), np.uint8), 1.0)


def test_smoothing_keeps_to_its_box_and_shows_a_missing_image() -> None:
    rng = np.random.default_rng(1)
    coarse = rng.integers(0, 255, (10, 10, 3), np.uint8).repeat(20, 0).repeat(20, 1)
    spot = [SoftSpot((0, 0, 100, 200), 20.0)]
    soft = softened(coarse, spot)
    assert (soft[:, 100:] == coarse[:, 100:]).all()
    assert not (soft[:, :100] == coarse[:, :100]).all()
    blank = softened(np.full_like(coarse, 255), spot)
    assert not compare_pictures(soft[:, :100], blank[:, :100], 20.0).within()
