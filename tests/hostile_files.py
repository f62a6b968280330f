"""Files that mean harm, or only come from a broken program; each builder writes one and names it.

A builder takes the folder and returns the file's name. Sizes are kept small on disk: what is large
is only claimed, or unfolds when it is read.
"""

import base64
import io
import struct
import zipfile
import zlib
from collections.abc import Callable
from pathlib import Path

import ezdxf
import pikepdf

Build = Callable[[Path], str]
XMLNS = 'xmlns="http://www.w3.org/2000/svg" xmlns:xlink="http://www.w3.org/1999/xlink"'


def written(name: str, content: bytes | str) -> Build:
    def build(folder: Path) -> str:
        data = content.encode() if isinstance(content, str) else content
        (folder / name).write_bytes(data)
        return name

    return build


# ---------------------------------------------------------------- SVG


def svg(body: str, *, size: str = 'width="60mm" height="40mm" viewBox="0 0 60 40"', head: str = ""):
    plate = '<rect width="60" height="40" fill="#123"/>'
    return written("a.svg", f"{head}<svg {XMLNS} {size}>{plate}{body}</svg>")


def laughs() -> str:
    rows = ['<!ENTITY l0 "haha">']
    rows += [f'<!ENTITY l{k} "{f"&l{k - 1};" * 10}">' for k in range(1, 11)]
    return "<!DOCTYPE svg [" + "".join(rows) + "]>"


def quadratic() -> str:
    return '<!DOCTYPE svg [<!ENTITY a "' + "a" * 20_000 + '">]>'


def uses(levels: int, times: int) -> str:
    groups = ['<g id="g0"><rect width="1" height="1"/></g>']
    for k in range(1, levels):
        inner = "".join(f'<use xlink:href="#g{k - 1}" x="{0.1 * n}"/>' for n in range(times))
        groups.append(f'<g id="g{k}">{inner}</g>')
    return f'<defs>{"".join(groups)}</defs><use xlink:href="#g{levels - 1}"/>'


def png(width: int, height: int, *, rows: int | None = None, extra: bytes = b"") -> bytes:
    """A PNG that claims a size and holds ``rows`` rows of grey zeros (all, if not given)."""
    head = chunk(b"IHDR", struct.pack(">IIBBBBB", width, height, 8, 0, 0, 0, 0))
    packer = zlib.compressobj(9)
    parts = []
    line = b"\0" * (width + 1)
    for _ in range(min(height if rows is None else rows, 20_000)):
        parts.append(packer.compress(line))
    parts.append(packer.flush())
    body = chunk(b"IDAT", b"".join(parts))
    return b"\x89PNG\r\n\x1a\n" + head + extra + body + chunk(b"IEND", b"")


def chunk(kind: bytes, data: bytes) -> bytes:
    return struct.pack(">I", len(data)) + kind + data + struct.pack(">I", zlib.crc32(kind + data))


def linked(data: bytes) -> str:
    return (
        '<image width="10" height="10" xlink:href="data:image/png;base64,'
        f'{base64.b64encode(data).decode()}"/>'
    )


# ---------------------------------------------------------------- PDF


def pdf(change: Callable[[pikepdf.Pdf, pikepdf.Page], None], **saving: object) -> Build:
    """A page of 170 x 113 pt with a dark plate, changed."""

    def build(folder: Path) -> str:
        document = pikepdf.new()
        document.add_blank_page(page_size=(170, 113))
        page = document.pages[0]
        page.obj.Contents = document.make_stream(b"0.1 0.1 0.2 rg 0 0 170 113 re f")
        page.obj.Resources = pikepdf.Dictionary(XObject=pikepdf.Dictionary())
        change(document, page)
        document.save(folder / "a.pdf", **saving)
        return "a.pdf"

    return build


def drawing(content: bytes) -> Build:
    """The plate with more content."""

    def change(document: pikepdf.Pdf, page: pikepdf.Page) -> None:
        before = page.obj.Contents.read_bytes()
        page.obj.Contents = document.make_stream(before + b"\n" + content)

    return pdf(change)


def form(document: pikepdf.Pdf, content: bytes, **names: pikepdf.Object) -> pikepdf.Object:
    made = document.make_stream(content)
    made.Type, made.Subtype = pikepdf.Name.XObject, pikepdf.Name.Form
    made.BBox = pikepdf.Array([0, 0, 170, 113])
    made.Resources = pikepdf.Dictionary(XObject=pikepdf.Dictionary(**names))
    return made


def shows(document: pikepdf.Pdf, page: pikepdf.Page, shown: pikepdf.Object) -> None:
    page.obj.Resources.XObject.Fm = shown
    before = page.obj.Contents.read_bytes()
    page.obj.Contents = document.make_stream(before + b"\n/Fm Do")


def form_in_itself(document: pikepdf.Pdf, page: pikepdf.Page) -> None:
    made = form(document, b"1 1 1 rg 10 10 20 20 re f /Fm Do")
    made.Resources.XObject.Fm = made
    shows(document, page, made)


def forms_in_each_other(document: pikepdf.Pdf, page: pikepdf.Page) -> None:
    one = form(document, b"/Fm Do")
    other = form(document, b"/Fm Do 1 1 1 rg 10 10 20 20 re f", Fm=one)
    one.Resources.XObject.Fm = other
    shows(document, page, one)


def deep_forms(document: pikepdf.Pdf, page: pikepdf.Page) -> None:
    made = form(document, b"1 1 1 rg 10 10 20 20 re f")
    for _ in range(3000):
        made = form(document, b"/Fm Do", Fm=made)
    shows(document, page, made)


def doubling_forms(document: pikepdf.Pdf, page: pikepdf.Page) -> None:
    made = form(document, b"1 1 1 rg 10 10 20 20 re f")
    for _ in range(28):
        made = form(document, b"/Fm Do /Fm Do", Fm=made)
    shows(document, page, made)


def blanks(megabytes: int) -> bytes:
    """A zlib stream of so many spaces: one packed block again and again (RFC 1950 and 1951)."""
    packer = zlib.compressobj(9)
    first = packer.compress(b" " * 1_000_000) + packer.flush(zlib.Z_FULL_FLUSH)
    again = packer.compress(b" " * 1_000_000) + packer.flush(zlib.Z_FULL_FLUSH)
    total = 1
    for _ in range(megabytes):
        total = zlib.adler32(b" " * 1_000_000, total)
    return first + again * (megabytes - 1) + b"\3\0" + struct.pack(">I", total)


def flate_bomb(document: pikepdf.Pdf, page: pikepdf.Page) -> None:
    page.obj.Contents = pikepdf.Stream(document, blanks(260), Filter=pikepdf.Name.FlateDecode)


def packed_twice(document: pikepdf.Pdf, page: pikepdf.Page) -> None:
    twice = pikepdf.Array([pikepdf.Name.FlateDecode, pikepdf.Name.FlateDecode])
    page.obj.Contents = pikepdf.Stream(document, zlib.compress(blanks(260), 1), Filter=twice)


def huge_image(document: pikepdf.Pdf, page: pikepdf.Page) -> None:
    packer = zlib.compressobj(9)
    data = b"".join(packer.compress(b"\0" * 1_000_000) for _ in range(50)) + packer.flush()
    made = pikepdf.Stream(document, data)
    made.Type, made.Subtype = pikepdf.Name.XObject, pikepdf.Name.Image
    made.Width, made.Height, made.BitsPerComponent = 100_000, 100_000, 8
    made.ColorSpace, made.Filter = pikepdf.Name.DeviceGray, pikepdf.Name.FlateDecode
    shows(document, page, made)


def pages_in_a_ring(document: pikepdf.Pdf, page: pikepdf.Page) -> None:
    document.Root.Pages.Kids.append(document.Root.Pages)
    document.Root.Pages.Count = 2


def box(*sides: object) -> Build:
    def change(document: pikepdf.Pdf, page: pikepdf.Page) -> None:
        page.obj.MediaBox = pikepdf.Array(list(sides))

    return pdf(change)


def pattern_in_itself(document: pikepdf.Pdf, page: pikepdf.Page) -> None:
    made = document.make_stream(b"/Pattern cs /P scn 0 0 5 5 re f")
    made.Type, made.PatternType, made.PaintType = pikepdf.Name.Pattern, 1, 1
    made.TilingType, made.BBox = 1, pikepdf.Array([0, 0, 5, 5])
    made.XStep, made.YStep = 5, 5
    made.Resources = pikepdf.Dictionary(Pattern=pikepdf.Dictionary(P=made))
    page.obj.Resources.Pattern = pikepdf.Dictionary(P=made)
    before = page.obj.Contents.read_bytes()
    page.obj.Contents = document.make_stream(before + b"\n/Pattern cs /P scn 10 10 40 40 re f")


def tiny_pattern(document: pikepdf.Pdf, page: pikepdf.Page) -> None:
    made = document.make_stream(b"1 1 1 rg 0 0 1e-5 1e-5 re f")
    made.Type, made.PatternType, made.PaintType = pikepdf.Name.Pattern, 1, 1
    made.TilingType, made.BBox = 1, pikepdf.Array([0, 0, 1, 1])
    made.XStep, made.YStep = 0.0001, 0.0001
    made.Resources = pikepdf.Dictionary()
    page.obj.Resources.Pattern = pikepdf.Dictionary(P=made)
    before = page.obj.Contents.read_bytes()
    page.obj.Contents = document.make_stream(before + b"\n/Pattern cs /P scn 10 10 40 40 re f")


def glyph_in_itself(document: pikepdf.Pdf, page: pikepdf.Page) -> None:
    glyph = document.make_stream(b"1000 0 0 0 750 750 d1 BT /F 1 Tf (a) Tj ET 0 0 500 500 re f")
    font = document.make_indirect(
        pikepdf.Dictionary(
            Type=pikepdf.Name.Font,
            Subtype=pikepdf.Name.Type3,
            FontBBox=[0, 0, 750, 750],
            FontMatrix=[0.001, 0, 0, 0.001, 0, 0],
            CharProcs=pikepdf.Dictionary(a=glyph),
            Encoding=pikepdf.Dictionary(Differences=[97, pikepdf.Name.a]),
            FirstChar=97,
            LastChar=97,
            Widths=[1000],
        )
    )
    font.Resources = pikepdf.Dictionary(Font=pikepdf.Dictionary(F=font))
    page.obj.Resources.Font = pikepdf.Dictionary(F=font)
    before = page.obj.Contents.read_bytes()
    page.obj.Contents = document.make_stream(before + b"\n1 g BT /F 20 Tf 20 20 Td (aa) Tj ET")


def broken_font(document: pikepdf.Pdf, page: pikepdf.Page) -> None:
    program = document.make_stream(b"\0\1\0\0" + b"\xff" * 400)
    font = pikepdf.Dictionary(
        Type=pikepdf.Name.Font,
        Subtype=pikepdf.Name.TrueType,
        BaseFont=pikepdf.Name("/ABCDEF+Broken"),
        FirstChar=65,
        LastChar=66,
        Widths=[600, 600],
        Encoding=pikepdf.Name.WinAnsiEncoding,
        FontDescriptor=pikepdf.Dictionary(
            Type=pikepdf.Name.FontDescriptor,
            FontName=pikepdf.Name("/ABCDEF+Broken"),
            Flags=32,
            FontBBox=[0, -200, 1000, 900],
            ItalicAngle=0,
            Ascent=900,
            Descent=-200,
            CapHeight=700,
            StemV=80,
            FontFile2=program,
        ),
    )
    page.obj.Resources.Font = pikepdf.Dictionary(F=document.make_indirect(font))
    before = page.obj.Contents.read_bytes()
    page.obj.Contents = document.make_stream(before + b"\n1 g BT /F 20 Tf 20 20 Td (AB) Tj ET")


def function_in_itself(document: pikepdf.Pdf, page: pikepdf.Page) -> None:
    made = document.make_indirect(
        pikepdf.Dictionary(FunctionType=3, Domain=[0, 1], Bounds=[], Encode=[0, 1])
    )
    made.Functions = pikepdf.Array([made])
    space = pikepdf.Array(
        [pikepdf.Name.Separation, pikepdf.Name("/Odd"), pikepdf.Name.DeviceRGB, made]
    )
    page.obj.Resources.ColorSpace = pikepdf.Dictionary(Cs=space)
    before = page.obj.Contents.read_bytes()
    page.obj.Contents = document.make_stream(before + b"\n/Cs cs 0.5 scn 10 10 40 40 re f")


def holed_plate_pdf(document: pikepdf.Pdf, page: pikepdf.Page) -> None:
    rows = [b"0.1 0.1 0.2 rg 2 2 166 109 re"]
    rows += [b"%d %d 2 2 re" % (10 + 4 * i, 6 + 3 * j) for i in range(34) for j in range(33)]
    page.obj.Contents = document.make_stream(b"\n".join(rows) + b" f*")


def endless_stream(folder: Path) -> str:
    body = (
        b"%PDF-1.4\n1 0 obj<</Type/Catalog/Pages 2 0 R>>endobj\n"
        b"2 0 obj<</Type/Pages/Kids[3 0 R]/Count 1>>endobj\n"
        b"3 0 obj<</Type/Page/Parent 2 0 R/MediaBox[0 0 100 100]/Contents 4 0 R>>endobj\n"
        b"4 0 obj<</Length 999999999999>>stream\n" + b"0 0 10 10 re f\n" * 200_000
    )
    (folder / "a.pdf").write_bytes(body)
    return "a.pdf"


def xref_ring(folder: Path) -> str:
    body = (
        b"%PDF-1.4\n1 0 obj<</Type/Catalog/Pages 2 0 R>>endobj\n"
        b"2 0 obj<</Type/Pages/Kids[3 0 R]/Count 1>>endobj\n"
        b"3 0 obj<</Type/Page/Parent 2 0 R/MediaBox[0 0 100 100]>>endobj\n"
    )
    at = len(body)
    body += b"xref\n0 1\n0000000000 65535 f \ntrailer<</Size 99999999/Root 1 0 R/Prev %d>>\n" % at
    body += b"startxref\n%d\n%%%%EOF" % at
    (folder / "a.pdf").write_bytes(body)
    return "a.pdf"


# ---------------------------------------------------------------- pictures


def tiff(*entries: tuple[int, int, int, bytes | int], following: int = 0) -> bytes:
    """A little-endian TIFF of one directory; long values are put behind it."""
    count = len(entries)
    after = 8 + 2 + 12 * count + 4
    directory, tail = struct.pack("<H", count), b""
    for tag, kind, number, value in sorted(entries):
        if isinstance(value, int):
            directory += struct.pack("<HHII", tag, kind, number, value)
        else:
            directory += struct.pack("<HHII", tag, kind, number, after + len(tail))
            tail += value
    return b"II*\0" + struct.pack("<I", 8) + directory + struct.pack("<I", following) + tail


def picture_tiff(resolution: bytes, following: int = 0) -> bytes:
    pixels = bytes(64 * 64)
    return (
        tiff(
            (256, 4, 1, 64),
            (257, 4, 1, 64),
            (258, 3, 1, 8),
            (259, 3, 1, 1),
            (262, 3, 1, 1),
            (273, 4, 1, 200),
            (277, 3, 1, 1),
            (278, 4, 1, 64),
            (279, 4, 1, 64 * 64),
            (282, 5, 1, resolution),
            (283, 5, 1, resolution),
            (296, 3, 1, 2),
            following=following,
        )
        + bytes(100)
        + pixels
    )


# ---------------------------------------------------------------- DXF


def dxf(change: Callable[[object, object], None]) -> Build:
    def build(folder: Path) -> str:
        document = ezdxf.new(units=4)
        space = document.modelspace()
        space.add_lwpolyline([(0, 0), (60, 0), (60, 40), (0, 40)], close=True)
        change(document, space)
        document.saveas(folder / "a.dxf")
        return "a.dxf"

    return build


def dxf_text(*rows: object) -> Build:
    """Entities as plain group codes and values after a plate."""
    codes = ["0", "SECTION", "2", "HEADER", "9", "$INSUNITS", "70", "4", "0", "ENDSEC"]
    codes += ["0", "SECTION", "2", "ENTITIES"]
    for x0, y0, x1, y1 in ((0, 0, 60, 0), (60, 0, 60, 40), (60, 40, 0, 40), (0, 40, 0, 0)):
        codes += ["0", "LINE", "8", "0", "10", x0, "20", y0, "11", x1, "21", y1]
    codes += [*rows, "0", "ENDSEC", "0", "EOF", ""]
    return written("a.dxf", "\n".join(str(c) for c in codes))


def doubling_blocks(document, space) -> None:
    inner = document.blocks.new("B0")
    inner.add_circle((0, 0), 1)
    for k in range(1, 30):
        block = document.blocks.new(f"B{k}")
        block.add_blockref(f"B{k - 1}", (0, 0))
        block.add_blockref(f"B{k - 1}", (1, 0))
    space.add_blockref("B29", (10, 10))


def deep_blocks(document, space) -> None:
    document.blocks.new("B0").add_circle((0, 0), 1)
    for k in range(1, 1200):
        document.blocks.new(f"B{k}").add_blockref(f"B{k - 1}", (0, 0))
    space.add_blockref("B1199", (10, 10))


def endless_rows(document, space) -> None:
    document.blocks.new("B").add_circle((0, 0), 1)
    space.add_blockref(
        "B",
        (0, 0),
        dxfattribs={
            "row_count": 30000,
            "column_count": 30000,
            "row_spacing": 1e-4,
            "column_spacing": 1e-4,
        },
    )


def tiny_dashes(document, space) -> None:
    document.linetypes.add("TINY", [2e-7, 1e-7, -1e-7])
    space.add_line((0, 0), (60, 40), dxfattribs={"linetype": "TINY"})


def tiny_hatch(document, space) -> None:
    hatch = space.add_hatch()
    hatch.set_pattern_fill("ANSI31", scale=1e-7)
    hatch.paths.add_polyline_path([(5, 5), (55, 5), (55, 35), (5, 35)], is_closed=True)


def holed_plate_dxf(document, space) -> None:
    for i in range(34):
        for j in range(33):
            space.add_circle((1 + 1.7 * i, 1 + 1.15 * j), 0.12)


def crossing_outline(document, space) -> None:
    document.layers.add("cut")
    points = [(5, 5), (55, 35), (55, 5), (5, 35)]
    space.add_lwpolyline(points, close=True, dxfattribs={"layer": "cut"})


# ---------------------------------------------------------------- meshes


def stl(*facets: tuple[float, ...], count: int | None = None) -> Build:
    body = b"".join(struct.pack("<12fH", 0, 0, 1, *facet, 0) for facet in facets)
    number = len(facets) if count is None else count
    return written("part.stl", b"\0" * 80 + struct.pack("<I", number) + body)


def slab(width: float = 60.0, depth: float = 40.0, height: float = 3.0) -> list[tuple[float, ...]]:
    import trimesh

    mesh = trimesh.creation.box((width, depth, height))
    return [tuple(float(v) for corner in t for v in corner) for t in mesh.triangles]


def packed_model(model: bytes, *, repeat: int = 1) -> bytes:
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as archive:
        archive.writestr("[Content_Types].xml", "<Types/>")
        with archive.open("3D/3dmodel.model", "w", force_zip64=True) as stream:
            for _ in range(repeat):
                stream.write(model)
    return out.getvalue()


def ring_of_components() -> bytes:
    return packed_model(
        b'<model unit="millimeter" xmlns="http://schemas.microsoft.com/3dmanufacturing/core/'
        b'2015/02"><resources><object id="1"><components><component objectid="2"/></components>'
        b'</object><object id="2"><components><component objectid="1"/></components></object>'
        b'</resources><build><item objectid="1"/></build></model>'
    )
