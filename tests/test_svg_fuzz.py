"""Whatever stands in an SVG's root or file: an answer in finite mm, or one of our own errors."""

import contextlib
import math

from hypothesis import example, given, settings
from hypothesis import strategies as st

from decalprep.errors import DecalprepError
from decalprep.intake.options import IntakeOptions
from decalprep.intake.svg_prepass import prepare, root_size
from decalprep.intake.svg_size import read_root_size
from decalprep.intake.svg_xml import parse_svg

LENGTHISH = st.one_of(
    st.none(),
    st.text(max_size=8),
    st.from_regex(r"\A ?[-+]?[0-9]{0,3}\.?[0-9]{0,3}(e[-+]?[0-9]{1,3})?[a-zA-Z%]{0,4}\Z"),
)
BOXISH = st.one_of(
    st.none(), st.text(max_size=8), st.from_regex(r"\A([-+]?[0-9.e]{1,4}[ ,]){3}\d\Z")
)
XML = st.text("<>/=\"'&;#gsvruse xmln:0123456789.%-{}()", max_size=120)


@settings(max_examples=300, deadline=None)
@given(width=LENGTHISH, height=LENGTHISH, box=BOXISH, aspect=st.text(max_size=12))
@example(width="1e308mm", height="1e-320mm", box="0 0 1e-320 1e308", aspect="none")
@example(width="1e-300", height=None, box="0 0 1e-300 1e300", aspect="")
@example(width="٣mm", height="10mm", box=None, aspect="")
def test_any_root_gives_finite_mm_or_our_error(
    width: str | None, height: str | None, box: str | None, aspect: str
) -> None:
    try:
        size = read_root_size(width, height, view_box=box, aspect=aspect, name="panel.svg")
    except DecalprepError:
        return
    if size is not None:
        for side in (size.claim.width_mm, size.claim.height_mm):
            assert math.isfinite(side)
            assert side > 0


@settings(max_examples=200, deadline=None)
@given(inside=XML, style=st.text("abcx:;{}()!#.@ -\\\"'/*0123456789", max_size=60))
@example(inside="", style="a:b!important;@media{")
@example(inside="<use href='#a' id='a'/>", style="")
@example(inside="<g id='a'><use href='#a'/></g>", style="}}{{")
def test_any_content_is_prepared_or_our_error(inside: str, style: str) -> None:
    attribute = style.replace("&", "").replace("<", "").replace('"', "'")
    text = (
        '<svg xmlns="http://www.w3.org/2000/svg" width="9mm" height="9mm">'
        f'<style>{attribute}</style><rect style="{attribute}"/>{inside}</svg>'
    )
    with contextlib.suppress(DecalprepError):
        root = parse_svg(text.encode(), "panel.svg")
        prepare(root, IntakeOptions(), name="panel.svg", folder=None)
        root_size(root, "panel.svg")


@settings(max_examples=200, deadline=None)
@given(data=st.binary(max_size=80))
def test_any_bytes_are_parsed_or_our_error(data: bytes) -> None:
    with contextlib.suppress(DecalprepError):
        parse_svg(data, "panel.svg")
        parse_svg(b"<?xml version='1.0'?>" + data, "panel.svg")
