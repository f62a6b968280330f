"""Hostile and broken artworks and parts: what was tried, and what each gives.

The table is the record. Words are of the one line that is told; READ means that the file is read as
it stands and what is wrong left out, MADE that sheets were made of it and proven. Whatever happens,
it happens within the caps below, without a traceback, and what is refused leaves nothing behind.
"""

import gzip
import os
import struct
import zlib
from decimal import Decimal
from pathlib import Path

import hostile_files as h
import pikepdf
import pytest
from hostile_files import chunk, drawing, dxf_text, pdf, png, stl, svg, written
from hostile_runs import Runs, shared_runs

pytestmark = pytest.mark.skipif(os.name != "posix", reason="caps on a process are of POSIX systems")

CPU_S, PEAK_MB = 10.0, 1000.0
INF, NAN = float("inf"), float("nan")
MADE, READ = "made", "read"
PLAIN = 'width="60mm" height="40mm" viewBox="0 0 60 40"'
DENSITY = chunk(b"pHYs", struct.pack(">IIB", 10_000, 10_000, 1))


def sized(words: str) -> h.Build:
    return svg("", size=words)


def bent(place: int, value: float) -> h.Build:
    """A slab with one coordinate that is no number."""
    facets = h.slab()
    facets[0] = (*facets[0][:place], value, *facets[0][place + 1 :])
    return stl(*facets)


def ascii_mesh(corner: str) -> str:
    facet = (
        f"facet normal 0 0 1\nouter loop\n{corner}\nvertex 1 0 0\nvertex 0 1 0\nendloop\nendfacet\n"
    )
    return "solid a\n" + facet * 8 + "endsolid a\n"


def zipped_text(kind: bytes) -> bytes:
    bomb = chunk(kind, b"a\0\0" + zlib.compress(b"x" * 100_000_000, 9))
    return png(60, 40, extra=bomb + DENSITY)


def tile(name: str, width: str, inner: str) -> str:
    return (
        f'<defs><pattern id="{name}" width="{width}" height="{width}" '
        f'patternUnits="userSpaceOnUse">{inner}</pattern></defs>'
        f'<rect width="50" height="30" fill="url(#{name})"/>'
    )


SVGS: dict[str, tuple[h.Build, str]] = {
    "entity bomb": (svg("<text>&l10;</text>", head=h.laughs()), "unfold without end"),
    "quadratic entities": (
        svg("<desc>" + "&a;" * 50_000 + "</desc>", head=h.quadratic()),
        "unfold without end",
    ),
    "entity from outside": (
        svg("<text>&x;</text>", head='<!DOCTYPE svg [<!ENTITY x SYSTEM "file:///etc/hosts">]>'),
        "never read",
    ),
    "100,000 groups in each other": (svg("<g>" * 100_000 + "</g>" * 100_000), "nested too deeply"),
    "a use of itself": (svg('<g id="a"><use xlink:href="#a"/></g>'), MADE),
    "uses in a ring": (
        svg('<g id="a"><use xlink:href="#b"/></g><g id="b"><use xlink:href="#a"/></g>'),
        "cannot be drawn",
    ),
    "uses that double 12 times": (svg(h.uses(12, 10)), "cannot be drawn"),
    "3,000 uses in each other": (svg(h.uses(3000, 1)), "cannot be drawn"),
    "gradients in a ring": (
        svg(
            '<defs><linearGradient id="a" xlink:href="#b"/><linearGradient id="b" '
            'xlink:href="#a"/></defs><rect width="9" height="9" fill="url(#a)"/>'
        ),
        READ,
    ),
    "a pattern in itself": (svg(tile("a", "1", '<rect fill="url(#a)"/>')), READ),
    "a pattern of 1e-5 mm": (svg(tile("a", "1e-5", '<rect width="1" height="1"/>')), "repeated"),
    "a width of 1e300 mm": (sized('width="1e300mm" height="40mm"'), "beyond 5080 mm"),
    "a width of 400 digits": (sized(f'width="{"9" * 400}mm" height="40mm"'), "width"),
    "a width of NaN": (sized('width="NaN" height="40mm"'), "not a length"),
    "a width of inf mm": (sized('width="infmm" height="40mm"'), "not a length"),
    "a width of -60 mm": (sized('width="-60mm" height="40mm"'), "not above zero"),
    "a viewBox of NaN": (sized('width="60mm" height="40mm" viewBox="0 0 nan 40"'), "four numbers"),
    "a viewBox of 1e999": (sized(PLAIN.replace("60 40", "1e999 40")), "four numbers"),
    "a path of NaN and 1e308": (svg('<path d="M nan 0 L 5 5 L 1e308 1e999 z" fill="#fff"/>'), MADE),
    "a scale of 1e308": (svg('<g transform="scale(1e308)"><rect width="9" height="9"/></g>'), READ),
    "shapes of no area": (svg('<path d="M5 5 L20 5 z M7 7z" fill="#fff"/>'), READ),
    "an outline that crosses itself": (
        svg('<g id="cut"><path d="M5 5 L55 35 L55 5 L5 35 z" fill="none" stroke="#f0f"/></g>'),
        "crosses itself",
    ),
    "200,100 lines": (svg(f'<path d="{"M0 0L1 1" * 200_100}" stroke="#fff"/>'), "200,000 paths"),
    "a PNG bomb inside": (svg(h.linked(png(100_000, 100_000, rows=500))), "damaged picture"),
    "a picture that holds the file": (
        svg('<image width="9" height="9" xlink:href="a.svg"/>'),
        "not checked",
    ),
    "a picture in the folder above": (
        svg('<image width="9" height="9" xlink:href="../secret.png"/>'),
        READ,
    ),
    "a picture from the network": (
        svg('<image width="9" height="9" xlink:href="http://127.0.0.1:9/x.png"/>'),
        READ,
    ),
    "a style from the system": (svg('<style>@import url("file:///etc/hosts");</style>'), READ),
    "a font that is broken": (
        svg('<style>@font-face{font-family:"F";src:url(data:font/ttf;base64,AAEAAP8=)}</style>'),
        READ,
    ),
    "a font that is not there": (
        svg('<text x="5" y="20" font-family="No Such Face" font-size="5" fill="#fff">A</text>'),
        READ,
    ),
    "bytes of nothing": (written("a.svg", f"<svg {h.XMLNS}>\0</svg>".encode()), "not well-formed"),
    "a packed bomb": (
        written("a.svg", gzip.compress(b"<svg>" + b" " * 300_000_000, 9)),
        "gzip archive",
    ),
}

PDFS: dict[str, tuple[h.Build, str]] = {
    "a stream that unpacks to 260 MB": (pdf(h.flate_bomb), "unpacks to more than 256 MB"),
    "a bomb packed twice": (pdf(h.packed_twice), "unpacks to more than 256 MB"),
    "a form in itself": (pdf(h.form_in_itself), "contains itself"),
    "two forms in each other": (pdf(h.forms_in_each_other), "contains itself"),
    "3,000 forms in each other": (pdf(h.deep_forms), "deeper than 28"),
    "forms that double 28 times": (pdf(h.doubling_forms), "deeper than 28"),
    "pages in a ring": (pdf(h.pages_in_a_ring), "cannot be repaired"),
    "a picture of 10,000,000,000 pixels": (pdf(h.huge_image), "picture of 100000 x 100000"),
    "a page of 350 km": (h.box(0, 0, 10**9, 10**9), "beyond 5080 mm"),
    "a page of 40 digits": (h.box(0, 0, Decimal(10) ** 40, 100), "export it again"),
    "a page of nothing": (h.box(0, 0, 0, 0), "states no size"),
    "a page of words": (h.box(0, 0, pikepdf.Name("/nan"), 100), "states no size"),
    "a pattern in itself": (pdf(h.pattern_in_itself), "pattern in the drawing contains itself"),
    "a pattern of 0.0001 pt": (pdf(h.tiny_pattern), "repeated"),
    "a glyph that shows itself": (pdf(h.glyph_in_itself), "contains itself"),
    "a function in itself": (pdf(h.function_in_itself), READ),
    "a broken font": (pdf(h.broken_font), MADE),
    "a stream without an end": (h.endless_stream, "nothing drawn"),
    "a table of places in a ring": (h.xref_ring, "nothing drawn"),
    "2,000,000 saved states": (drawing(b"q " * 2_000_000), "too deeply"),
    "500,000 open brackets": (drawing(b"[" * 500_000), READ),
    "numbers that are none": (drawing(b"nan inf m 1e999 9" + b"9" * 500 + b" l h f"), MADE),
    "a scale of 1e30": (drawing(b"1e30 0 0 1e30 0 0 cm 0 0 1 1 re f"), READ),
    "a string without an end": (drawing(b"BT ((" * 100_000), READ),
    "dashes of 0.00001 pt": (drawing(b"1 G 2 w [0.00001] 0 d 0 0 m 170 113 l S"), READ),
    "1,122 holes": (pdf(h.holed_plate_pdf), "1,122 holes, more than 1,000"),
}

PICTURES: dict[str, tuple[h.Build, str]] = {
    "PNG bomb": (written("a.png", png(100_000, 100_000, rows=500)), "400,000,000 pixels"),
    "PNG of 0 x 0": (written("a.png", png(0, 0, rows=1)), "damaged"),
    "PNG with a text bomb": (written("a.png", zipped_text(b"zTXt")), "too large"),
    "PNG with a profile bomb": (written("a.png", zipped_text(b"iCCP")), "too large"),
    "PNG of 0 px/m": (
        written("a.png", png(60, 40, extra=chunk(b"pHYs", bytes(8) + b"\1"))),
        "how many go to an inch",
    ),
    "PNG of 4e9 x 1 px/m": (
        written("a.png", png(60, 40, extra=chunk(b"pHYs", struct.pack(">IIB", 2**32 - 1, 1, 1)))),
        "beyond 5080 mm",
    ),
    "TIFF of 1/0 px/in": (
        written("a.tif", h.picture_tiff(struct.pack("<II", 1, 0))),
        "how many go to an inch",
    ),
    "TIFF of 4e9 px/in": (
        written("a.tif", h.picture_tiff(struct.pack("<II", 2**32 - 1, 1))),
        "under 0.5 mm",
    ),
    "TIFF whose pages are a ring": (
        written("a.tif", h.picture_tiff(struct.pack("<II", 300, 1), following=8)),
        "no edge to cut along",
    ),
    "BMP of -2e9 x -2e9": (
        written(
            "a.bmp",
            b"BM"
            + struct.pack("<IHHI", 66, 0, 0, 54)
            + struct.pack("<IiiHHIIiiII", 40, -(2**31), -(2**31), 1, 24, 0, 12, 0, 0, 0, 0)
            + bytes(12),
        ),
        "400,000,000 pixels",
    ),
}

DRAWINGS: dict[str, tuple[h.Build, str]] = {
    "NaN in a line": (dxf_text(0, "LINE", 8, 0, 10, "nan", 20, 0, 11, 5, 21, 5), MADE),
    "inf in a circle": (dxf_text(0, "CIRCLE", 8, 0, 10, "inf", 20, 0, 40, "1e999"), READ),
    "1e300 in a line": (dxf_text(0, "LINE", 8, 0, 10, "1e300", 20, 0, 11, 5, 21, 5), "beyond"),
    "NaN in an arc": (
        dxf_text(0, "ARC", 8, 0, 10, 5, 20, 5, 40, 2, 50, "1e300", 51, "nan"),
        READ,
    ),
    "inf in an ellipse": (
        dxf_text(0, "ELLIPSE", 8, 0, 10, 5, 20, 5, 11, "nan", 21, 0, 40, "inf", 41, 0, 42, "1e308"),
        READ,
    ),
    "a text of NaN mm": (dxf_text(0, "TEXT", 8, 0, 10, 5, 20, 5, 40, "nan", 1, "PUMP"), READ),
    "circles of 0 and -3 mm": (
        dxf_text(0, "CIRCLE", 8, 0, 10, 5, 20, 5, 40, 0, 0, "CIRCLE", 8, 0, 10, 9, 20, 9, 40, -3),
        READ,
    ),
    "blocks that double 29 times": (h.dxf(h.doubling_blocks), "200,000 things"),
    "1,200 blocks in each other": (h.dxf(h.deep_blocks), "cannot be read"),
    "900,000,000 copies of a block": (h.dxf(h.endless_rows), "200,000 things"),
    "dashes of 2e-7 mm": (h.dxf(h.tiny_dashes), READ),
    "a hatch of 1e-7": (h.dxf(h.tiny_hatch), MADE),
    "an outline that crosses itself": (h.dxf(h.crossing_outline), "crosses itself"),
    "1,122 holes": (h.dxf(h.holed_plate_dxf), "1,122 holes, more than 1,000"),
}

PARTS: dict[str, tuple[h.Build, str]] = {
    "STL with NaN": (bent(0, NAN), "no numbers"),
    "STL with inf": (bent(4, INF), "no numbers"),
    "STL with 1e30": (bent(4, 1e30), "no numbers"),
    "STL of facets without area": (stl(*([(0.0,) * 9] * 20)), "0 mm long"),
    "STL that claims 4e9 facets": (stl(*h.slab(), count=4_000_000_000), "this is no SVG"),
    "STL of one facet, a sliver": (stl((0, 0, 0, 60, 0, 0, 0, 3, 0)), MADE),
    "STL text with NaN": (written("part.stl", ascii_mesh("vertex nan 0 0")), "no numbers"),
    "STL text of one endless line": (
        written("part.stl", "solid a\nfacet " + "x" * 3_000_000),
        "no facets",
    ),
    "3MF bomb": (written("part.3mf", h.packed_model(b" " * 1_000_000, repeat=300)), "unpacks to"),
    "3MF whose components are a ring": (written("part.3mf", h.ring_of_components()), "no facets"),
    "3MF with an entity bomb": (
        written(
            "part.3mf",
            h.packed_model((h.laughs().replace("svg", "model") + "<model>&l10;</model>").encode()),
        ),
        "cannot be read",
    ),
    "OBJ with a corner that is not there": (
        written("part.obj", "v 0 0 0\nv 1 0 0\nv 0 1 0\nf 1 2 99999999999\n"),
        "cannot be read",
    ),
    "OBJ with inf": (written("part.obj", "v inf 0 0\nv 1 0 0\nv 0 1 0\nf 1 2 3\n"), "no numbers"),
}


SHEET = '[[sheet]]\nname = "small"\nsize = "100 x 80 mm"\n'
"""Of the size of the work, so that a run that is MADE draws no empty page."""


@pytest.fixture(scope="module")
def runs() -> Runs:
    return shared_runs()


def judge(runs: Runs, folder: Path, name: str, expected: str, panel: str) -> None:
    (folder / "job.toml").write_text(f'{SHEET}[[panel]]\nname = "p"\n{panel}\n')
    before = sorted(p.name for p in folder.iterdir())
    look = ["look", next(p.name for p in sorted(folder.iterdir()) if p.name[:2] == "a.")]
    run = runs.run(look if expected == READ else ["make", "job.toml"], folder)
    assert "Traceback" not in run.err, run.err
    assert "fault of decalprep itself" not in run.told, run.err
    assert run.cpu_s < CPU_S, run
    assert run.peak_mb < PEAK_MB, run
    if expected in (MADE, READ):
        assert run.code == 0, run
        return
    assert run.code == 3, run
    assert expected in run.told, run.err
    assert run.told.count("decalprep: ") == 1, run.err
    assert sorted(p.name for p in folder.iterdir()) == before
    assert name


@pytest.mark.parametrize(
    ("kind", "name"),
    [
        (kind, name)
        for kind, table in (
            ("svg", SVGS),
            ("pdf", PDFS),
            ("picture", PICTURES),
            ("dxf", DRAWINGS),
        )
        for name in table
    ],
)
def test_artwork(kind: str, name: str, runs: Runs, tmp_path: Path) -> None:
    table = {"svg": SVGS, "pdf": PDFS, "picture": PICTURES, "dxf": DRAWINGS}[kind]
    build, expected = table[name]
    judge(runs, tmp_path, name, expected, f'artwork = "{build(tmp_path)}"')


@pytest.mark.parametrize("name", PARTS)
def test_part(name: str, runs: Runs, tmp_path: Path) -> None:
    svg("")(tmp_path)
    build, expected = PARTS[name]
    judge(runs, tmp_path, name, expected, f'artwork = "a.svg"\npart = "{build(tmp_path)}"')


def test_limits_can_be_raised_and_lowered(runs: Runs, tmp_path: Path) -> None:
    svg('<path d="M1 1h9M1 2h9M1 3h9" stroke="#fff"/>')(tmp_path)
    (tmp_path / "job.toml").write_text(SHEET + '[[panel]]\nname = "p"\nartwork = "a.svg"\n')
    low = runs.run(["make", "job.toml"], tmp_path, env={"DECALPREP_LIMITS": "max_paths=3"})
    assert (low.code, "more than 3 paths" in low.told) == (3, True)
    wrong = runs.run(["make", "job.toml"], tmp_path, env={"DECALPREP_LIMITS": "max_paths=nan"})
    assert (wrong.code, "DECALPREP_LIMITS" in wrong.told) == (2, True)
    other = runs.run(["make", "job.toml"], tmp_path, env={"DECALPREP_LIMITS": "max_cats=3"})
    assert (other.code, "no limit 'max_cats'" in other.told) == (2, True)
    fine = runs.run(["make", "job.toml"], tmp_path, env={"DECALPREP_LIMITS": "max_paths=9"})
    assert fine.code == 0, fine
