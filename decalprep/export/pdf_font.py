"""The typeface of the marks as an embedded, subset font that readers can search.

A composite font with two-byte glyph numbers (ISO 32000-1, 9.7): glyph numbers are those of the
whole font, widths are per glyph, and a ToUnicode map gives the letters back.
"""

from __future__ import annotations

import hashlib
import io
from importlib import resources
from typing import Any

import pikepdf
from pikepdf import Array, Dictionary, Name

from decalprep.errors import MissingHelper

BASE_NAME = "BitstreamVeraSans-Roman"
TABLES = {"GlyphOrder", "head", "hhea", "maxp", "hmtx", "loca", "glyf"}


def font_file() -> bytes:
    """The bytes of the typeface's TrueType file.

    Raises:
        MissingHelper: reportlab's font file is not there.
    """
    try:
        return (resources.files("reportlab") / "fonts" / "Vera.ttf").read_bytes()
    except (ModuleNotFoundError, OSError) as e:
        raise MissingHelper(
            "the typeface Vera.ttf of reportlab is missing", do="install reportlab again"
        ) from e


class MarkFont:
    """The letters used so far and, at the end, the font object that shows them."""

    def __init__(self) -> None:
        from fontTools.ttLib import TTFont

        self._bytes = font_file()
        font: Any = TTFont(io.BytesIO(self._bytes), lazy=True)
        self._glyph_of: dict[int, int] = {
            code: font.getGlyphID(name) for code, name in font.getBestCmap().items()
        }
        widths = font["hmtx"].metrics
        self._width_of = {font.getGlyphID(name): width for name, (width, _) in widths.items()}
        self._units = font["head"].unitsPerEm
        self._letters: dict[int, str] = {}

    @property
    def used(self) -> bool:
        """Whether any letter was shown."""
        return bool(self._letters)

    def _glyph(self, letter: str) -> int:
        return self._glyph_of.get(ord(letter), self._glyph_of[ord("?")])

    def show(self, text: str) -> str:
        """The operand of Tj for this text; remembers the letters for the subset."""
        glyphs = [self._glyph(letter) for letter in text]
        for glyph, letter in zip(glyphs, text, strict=True):
            self._letters.setdefault(glyph, letter)
        return "<" + "".join(f"{glyph:04X}" for glyph in glyphs) + ">"

    def width(self, text: str) -> float:
        """Width of the text in parts of the type size."""
        return float(sum(self._width_of[self._glyph(letter)] for letter in text) / self._units)

    def embed(self, pdf: pikepdf.Pdf) -> pikepdf.Object:
        """The font object, holding only the letters that were shown."""
        glyphs = sorted(self._letters)
        tag = "".join(
            chr(65 + byte % 26) for byte in hashlib.sha256(repr(glyphs).encode()).digest()[:6]
        )
        name = Name(f"/{tag}+{BASE_NAME}")
        unit = 1000 / self._units
        widths = Array([x for g in glyphs for x in (g, Array([round(self._width_of[g] * unit)]))])
        descriptor = self._descriptor(pdf, name, self._subset(glyphs))
        descendant = Dictionary(
            Type=Name.Font,
            Subtype=Name.CIDFontType2,
            BaseFont=name,
            CIDSystemInfo=Dictionary(
                Registry=pikepdf.String("Adobe"), Ordering=pikepdf.String("Identity"), Supplement=0
            ),
            FontDescriptor=pdf.make_indirect(descriptor),
            W=widths,
            CIDToGIDMap=Name.Identity,
        )
        return pdf.make_indirect(
            Dictionary(
                Type=Name.Font,
                Subtype=Name.Type0,
                BaseFont=name,
                Encoding=Name("/Identity-H"),
                DescendantFonts=Array([pdf.make_indirect(descendant)]),
                ToUnicode=pdf.make_stream(self._to_unicode(glyphs)),
            )
        )

    def _descriptor(self, pdf: pikepdf.Pdf, name: Name, program: bytes) -> Dictionary:
        """What a reader may want to know of the typeface, in thousandths of its size."""
        return Dictionary(
            Type=Name.FontDescriptor,
            FontName=name,
            Flags=32,
            FontBBox=Array([-183, -236, 1287, 928]),
            ItalicAngle=0,
            Ascent=928,
            Descent=-236,
            CapHeight=729,
            StemV=80,
            FontFile2=pdf.make_stream(program, Length1=len(program)),
        )

    def _subset(self, glyphs: list[int]) -> bytes:
        """The typeface with these glyphs only, each under its own number, without hints.

        Holds the tables that ISO 32000-1, 9.9 asks of a composite font's TrueType program. Outlines
        are those of fontTools' own subsetter, which takes longer to load than all else here.
        """
        from fontTools.ttLib import TTFont
        from fontTools.ttLib.tables._g_l_y_f import Glyph

        font: Any = TTFont(io.BytesIO(self._bytes), recalcTimestamp=False, recalcBBoxes=False)
        order, outlines, metrics = font.getGlyphOrder(), font["glyf"], font["hmtx"].metrics
        kept = _with_components([order[0], *(order[glyph] for glyph in glyphs)], outlines)
        last = max(font.getGlyphID(name) for name in kept)
        for number, name in enumerate(order):
            if name in kept:
                outlines[name].removeHinting()
            elif number <= last:
                outlines.glyphs[name], metrics[name] = Glyph(), (0, 0)
            else:
                del outlines.glyphs[name], metrics[name]
        outlines.setGlyphOrder(order[: last + 1])
        font.setGlyphOrder(order[: last + 1])
        for tag in set(font.keys()) - TABLES:
            del font[tag]
        out = io.BytesIO()
        font.save(out, reorderTables=True)
        return out.getvalue()

    def _to_unicode(self, glyphs: list[int]) -> bytes:
        rows = [f"<{g:04X}> <{self._letters[g].encode('utf-16-be').hex().upper()}>" for g in glyphs]
        blocks = [rows[k : k + 100] for k in range(0, len(rows), 100)]
        body = "\n".join(
            f"{len(block)} beginbfchar\n" + "\n".join(block) + "\nendbfchar" for block in blocks
        )
        return (
            "/CIDInit /ProcSet findresource begin\n12 dict begin\nbegincmap\n"
            "/CIDSystemInfo << /Registry (Adobe) /Ordering (UCS) /Supplement 0 >> def\n"
            "/CMapName /Adobe-Identity-UCS def\n/CMapType 2 def\n"
            "1 begincodespacerange\n<0000> <FFFF>\nendcodespacerange\n"
            f"{body}\nendcmap\nCMapName currentdict /CMap defineresource pop\nend\nend\n"
        ).encode("ascii")


def _with_components(names: list[str], outlines: Any) -> set[str]:
    """The glyphs and those that they are composed of."""
    found: set[str] = set()
    while names:
        name = names.pop()
        if name not in found:
            found.add(name)
            names += outlines[name].getComponentNames(outlines)
    return found
