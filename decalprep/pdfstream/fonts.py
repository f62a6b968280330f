"""Just enough of a PDF font to say what a string reads and how far it goes."""

from dataclasses import dataclass, field
from typing import Any

import pikepdf

from decalprep.geometry import Affine
from decalprep.pdfstream.glyphnames import text_of_glyph
from decalprep.pdfstream.tokens import operands, operations

_NO_WIDTH_EM = 0.556
_STREAM_LIMIT = 4_000_000


@dataclass(frozen=True)
class Font:
    """A font resource. Widths are in text space units (em for all but Type 3).

    ``exact_widths`` is False where the file states none (the 14 standard fonts): boxes of text
    then are estimates with 0.556 em a letter.
    """

    name: str
    dictionary: Any
    composite: bool = False
    type3: bool = False
    matrix: Affine = field(default_factory=lambda: Affine.scaling(0.001))
    widths: dict[int, float] = field(default_factory=dict)
    default_width: float = _NO_WIDTH_EM
    exact_widths: bool = False
    heights: tuple[float, float] = (0.75, -0.25)
    text_of: dict[int, str] = field(default_factory=dict)

    def codes(self, string: bytes) -> list[int]:
        """Character codes of a shown string: two bytes each in composite fonts."""
        if not self.composite:
            return list(string)
        pairs = zip(string[::2], string[1::2], strict=False)
        return [high << 8 | low for high, low in pairs]

    def width(self, code: int) -> float:
        """Advance of one code, in text space units at size 1."""
        return self.widths.get(code, self.default_width)

    def glyph_streams(self, string: bytes) -> dict[str, Any]:
        """Name and stream of each Type 3 glyph that a string shows, each once."""
        encoding = self.dictionary.get("/Encoding")
        procedures = self.dictionary.get("/CharProcs")
        if not isinstance(encoding, pikepdf.Dictionary) or procedures is None:
            return {}
        names: dict[int, str] = {}
        code = 0
        for item in encoding.get("/Differences", pikepdf.Array()).as_list():
            if isinstance(item, pikepdf.Name):
                names[code] = str(item)
                code += 1
            else:
                code = int(item)
        wanted = dict.fromkeys(names[c] for c in string if c in names)
        streams = {name: procedures.get(name) for name in wanted}
        return {n: s for n, s in streams.items() if isinstance(s, pikepdf.Stream)}

    def text(self, string: bytes) -> str:
        """What a shown string reads, by ToUnicode or the encoding; else the replacement mark."""
        known = self.text_of
        if self.composite:
            return "".join(known.get(code, "\ufffd") for code in self.codes(string))
        return "".join(
            known[code] if code in known else bytes([code]).decode("cp1252", "replace")
            for code in string
        )


def load_font(font: Any) -> Font:
    """The font of a resource; a damaged one yields the defaults rather than an error."""
    try:
        return _load(font)
    except (KeyError, IndexError, TypeError, ValueError, AttributeError, pikepdf.PdfError):
        return Font("unreadable font", font)


def _load(font: Any) -> Font:
    kind = str(font.get("/Subtype", ""))
    name = str(font.get("/BaseFont", font.get("/Name", "/unnamed")))[1:]
    text_of = _to_unicode(font)
    if kind == "/Type0":
        below = font["/DescendantFonts"][0]
        return Font(
            name,
            font,
            composite=True,
            widths=_composite_widths(below.get("/W")),
            default_width=float(below.get("/DW", 1000)) / 1000,
            exact_widths=True,
            text_of=text_of,
            heights=_heights(below.get("/FontDescriptor")),
        )
    matrix = Affine.scaling(0.001)
    if kind == "/Type3":
        matrix = Affine(*(float(v) for v in font.get("/FontMatrix", [0.001, 0, 0, 0.001, 0, 0])))
    descriptor = font.get("/FontDescriptor")
    widths = font.get("/Widths")
    missing = float(descriptor.get("/MissingWidth", 0)) if descriptor is not None else 0.0
    first = int(font.get("/FirstChar", 0))
    unit = matrix.a if kind == "/Type3" else 0.001
    table = (
        {}
        if widths is None
        else {first + i: float(value) * unit for i, value in enumerate(widths.as_list())}
    )
    return Font(
        name,
        font,
        type3=kind == "/Type3",
        matrix=matrix,
        widths=table,
        default_width=_NO_WIDTH_EM if widths is None else missing / 1000,
        exact_widths=widths is not None,
        text_of={**_differences(font), **text_of},
        heights=_heights(descriptor),
    )


def _heights(descriptor: Any) -> tuple[float, float]:
    """(ascent, descent) in em."""
    if descriptor is None:
        return 0.75, -0.25
    up, down = float(descriptor.get("/Ascent", 0)), float(descriptor.get("/Descent", 0))
    return up / 1000 or 0.75, -abs(down) / 1000 or -0.25


def _composite_widths(array: Any) -> dict[int, float]:
    widths: dict[int, float] = {}
    items = [] if array is None else array.as_list()
    at = 0
    while at + 1 < len(items):
        first, second = int(items[at]), items[at + 1]
        if isinstance(second, pikepdf.Array):
            for i, value in enumerate(second.as_list()):
                widths[first + i] = float(value) / 1000
            at += 2
        else:
            for code in range(first, min(int(second), first + 65535) + 1):
                widths[code] = float(items[at + 2]) / 1000
            at += 3
    return widths


def _differences(font: Any) -> dict[int, str]:
    encoding = font.get("/Encoding")
    if not isinstance(encoding, pikepdf.Dictionary) or "/Differences" not in encoding:
        return {}
    result: dict[int, str] = {}
    code = 0
    for item in encoding["/Differences"].as_list():
        if isinstance(item, pikepdf.Name):
            text = text_of_glyph(str(item)[1:])
            if text:
                result[code] = text
            code += 1
        else:
            code = int(item)
    return result


def _to_unicode(font: Any) -> dict[int, str]:
    """Codes to text by the ToUnicode map: bfchar and bfrange."""
    stream = font.get("/ToUnicode")
    if not isinstance(stream, pikepdf.Stream):
        return {}
    data = stream.read_bytes()
    if len(data) > _STREAM_LIMIT:
        return {}
    result: dict[int, str] = {}
    for kind, start, at, _ in operations(data):
        if kind == b"endbfchar":
            values = operands(data, start, at)
            for code, text in zip(values[::2], values[1::2], strict=False):
                if isinstance(code, bytes) and isinstance(text, bytes):
                    result[int.from_bytes(code, "big")] = text.decode("utf-16-be", "replace")
        elif kind == b"endbfrange":
            _ranges(operands(data, start, at), result)
    return result


def _ranges(values: list[object], result: dict[int, str]) -> None:
    for low, high, text in zip(values[::3], values[1::3], values[2::3], strict=False):
        if not (isinstance(low, bytes) and isinstance(high, bytes)):
            continue
        first, last = int.from_bytes(low, "big"), int.from_bytes(high, "big")
        for i, code in enumerate(range(first, min(last, first + 65535) + 1)):
            if isinstance(text, list):
                if i < len(text) and isinstance(text[i], bytes):
                    result[code] = text[i].decode("utf-16-be", "replace")
            elif isinstance(text, bytes) and text:
                start = int.from_bytes(text, "big") + i
                moved = start.to_bytes(len(text) + 1, "big")[-len(text) :]
                result[code] = moved.decode("utf-16-be", "replace")
            if not isinstance(text, list | bytes):
                break
