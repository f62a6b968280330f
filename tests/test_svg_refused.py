"""Bombs, hangs, damage and features that no route draws: refused by name, and soon."""

import gzip
import os
import time
from pathlib import Path

import pytest
from svg_cases import codes, read, svg_file

from decalprep.errors import DecalprepError, InputProblem, TooMuch, Unfaithful
from decalprep.intake import svg_process, svg_workshop
from decalprep.intake.options import IntakeOptions, Limits
from decalprep.intake.svg import read_svg

SQUARE = '<rect width="5" height="5"/>'
OPEN = '<svg xmlns="http://www.w3.org/2000/svg" width="50mm" height="30mm">'


def _entities(levels: int) -> str:
    lines = ['<!ENTITY e0 "aaaaaaaaaa">']
    lines += [f'<!ENTITY e{i} "{f"&e{i - 1};" * 10}">' for i in range(1, levels)]
    return f"<!DOCTYPE svg [{''.join(lines)}]>"


BOMBS = {
    "nested entities": (_entities(9) + OPEN + "<text>&e8;</text></svg>", TooMuch, "entities"),
    "one long entity": (
        f'<!DOCTYPE svg [<!ENTITY a "{"a" * 100_000}">]>{OPEN}<desc>{"&a;" * 10_000}</desc></svg>',
        TooMuch,
        "entities",
    ),
    "entity in an attribute": (
        _entities(9) + OPEN + '<path d="&e8;"/></svg>',
        TooMuch,
        "entities",
    ),
    "external entity": (
        f'<!DOCTYPE svg [<!ENTITY x SYSTEM "file:///etc/hosts">]>{OPEN}<desc>&x;</desc></svg>',
        Unfaithful,
        "external entity 'x' from file:///etc/hosts",
    ),
    "deep nesting": (OPEN + "<g>" * 3000 + "</g>" * 3000 + "</svg>", TooMuch, "too deeply"),
    "empty file": ("", InputProblem, "is empty"),
    "not XML": ("Harbour tug", InputProblem, "not well-formed"),
    "cut off": (OPEN + "<g>", InputProblem, "not well-formed"),
    "not SVG": ("<html/>", InputProblem, "not SVG"),
    "no namespace": ('<svg width="9" height="9"><rect/></svg>', InputProblem, "namespace"),
    "nothing drawn": (OPEN + "</svg>", InputProblem, "draws nothing"),
    "drawn off the page": (
        OPEN + '<rect x="900" width="5" height="5"/></svg>',
        InputProblem,
        "draws nothing",
    ),
    "no size and nothing drawn": (
        '<svg xmlns="http://www.w3.org/2000/svg"/>',
        DecalprepError,
        "panel.svg",
    ),
}


@pytest.mark.parametrize("case", BOMBS)
def test_bad_files_are_refused_soon(case: str, tmp_path: Path) -> None:
    text, kind, words = BOMBS[case]
    path = tmp_path / "panel.svg"
    path.write_text(text, encoding="utf-8")
    started = time.monotonic()
    with pytest.raises(kind, match=words):
        read_svg(path, IntakeOptions())
    assert time.monotonic() - started < 5.0


def test_large_files_are_refused_before_they_are_read(tmp_path: Path) -> None:
    path = svg_file(tmp_path, SQUARE)
    with pytest.raises(TooMuch, match="larger than"):
        read_svg(path, IntakeOptions(limits=Limits(max_bytes=50)))
    packed = tmp_path / "panel.svgz"
    packed.write_bytes(gzip.compress(b" " * 5_000_000))
    with pytest.raises(TooMuch, match="larger than"):
        read_svg(packed, IntakeOptions(limits=Limits(max_bytes=1_000_000)))


def test_packed_files_are_read_and_damaged_ones_refused(tmp_path: Path) -> None:
    data = gzip.compress(svg_file(tmp_path, SQUARE).read_bytes())
    packed = tmp_path / "panel.svgz"
    packed.write_bytes(data)
    assert read_svg(packed, IntakeOptions()).width_mm == pytest.approx(50.0)
    packed.write_bytes(data[:-20])
    with pytest.raises(InputProblem, match="damaged"):
        read_svg(packed, IntakeOptions())


def test_internal_entities_are_read(tmp_path: Path) -> None:
    head = '<!DOCTYPE svg [<!ENTITY tint "#336699">]>'
    artwork = read(tmp_path, '<rect width="5" height="5" fill="&tint;"/>', head=head)
    assert "svg-route" in codes(artwork)


def test_a_child_that_hangs_is_killed(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    # A blur over a hundred thousand px keeps every renderer busy far longer than this.
    monkeypatch.setattr(svg_workshop, "KILL_SECONDS", 1.0)
    effects = '<feTurbulence baseFrequency=".9" numOctaves="9000"/>' * 30
    body = f'<filter id="f">{effects}</filter><rect width="50" height="30" filter="url(#f)"/>'
    started = time.monotonic()
    with pytest.raises(TooMuch, match="longer than 1 s|died|memory"):
        read(tmp_path, body)
    assert time.monotonic() - started < 5.0


def test_a_child_that_dies_takes_nobody_along(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(svg_process.sys, "executable", "/bin/false")
    if not os.path.exists("/bin/false"):
        pytest.skip("needs a program that fails")
    with pytest.raises(TooMuch, match="died"):
        read(tmp_path, SQUARE)


FEATURES = {
    "HTML": "<foreignObject width='9' height='9'/>",
    "an older draft": "<flowRoot><flowPara>A</flowPara></flowRoot>",
    "mesh gradient": "<meshgradient/>",
    "var\\(": "<rect width='5' height='5' style='fill:var(--ink)'/>",
    "oklch": "<rect width='5' height='5' fill='oklch(50% 0.1 20)'/>",
    "vector-effect": "<path d='M0 0h9' stroke='red' vector-effect='non-scaling-stroke'/>",
    "clip shape": "<rect width='5' height='5' style='clip-path:circle(2px)'/>",
    "@media": "<style>@media print { rect { fill: red } }</style>",
    "cannot be read": "<style>rect:::x { fill: red }</style>",
    "wraps by itself": "<text style='inline-size:20px'>A</text>",
    "length in vw": "<rect width='5vw' height='5'/>",
    "transform: rotate\\(1turn\\)": "<rect width='5' height='5' style='transform:rotate(1turn)'/>",
}


@pytest.mark.parametrize("words", FEATURES)
def test_what_no_route_draws_is_refused_by_name(words: str, tmp_path: Path) -> None:
    with pytest.raises(Unfaithful, match=words):
        read(tmp_path, SQUARE + FEATURES[words])


def test_scripts_animations_and_filters_are_told(tmp_path: Path) -> None:
    body = (
        '<script>alert(1)</script><rect width="5" height="5" filter="url(#f)">'
        '<animate attributeName="x" to="9"/></rect>'
        '<filter id="f"><feGaussianBlur stdDeviation=".5"/></filter>'
    )
    artwork = read(tmp_path, body)
    told = " ".join(n.text for n in artwork.notices if n.code == "svg-feature")
    for word in ("script", "animation", "filter"):
        assert word in told


def test_style_sheets_are_carried_out(tmp_path: Path) -> None:
    from decalprep.pdfstream import read_page

    body = (
        "<style>/* */ .a > rect:nth-child(2) { fill: #00f } rect { fill: #f00 !important }"
        "#k { fill: lime }</style>"
        '<g class="a"><rect width="2" height="2"/><rect x="4" width="2" height="2"/></g>'
        '<path id="k" fill="red" d="M9 9h4v4z"/>'
    )
    shapes = read_page(read(tmp_path, body).page_pdf).shapes
    colours = [s.fill_colour.rgb for s in shapes if s.fill_colour is not None]
    assert colours == [(1, 0, 0), (1, 0, 0), (0, 1, 0)]
