"""Fonts that an SVG brings along in its style sheet (@font-face): used, or named.

Converters pass over @font-face in silence and take another font. Here a font laid into the file
(a data URI) or lying beside it joins the fonts at hand under the name the sheet gives it; any other
is named. Source: CSS Fonts 4, 4 (font-face rules: family, src, weight, style, stretch).
"""

import io
import re
import struct
import zlib
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path

from decalprep.intake.options import Limits
from decalprep.intake.svg_fonts import (
    Face,
    face_of_bytes,
    parse_families,
    parse_stretch,
    parse_weight,
)
from decalprep.intake.svg_links import data_of, file_beside
from decalprep.model import Notice, Severity

MAX_FONT_BYTES = 40_000_000
"""The largest fonts (all of Chinese) are about half of this."""

_SOURCE = re.compile(
    r"""(url|local)\(\s*(?:"((?:[^"\\]|\\.)*)"|'((?:[^'\\]|\\.)*)'|([^)]*?))\s*\)""",
    re.IGNORECASE | re.DOTALL,
)


def embedded_faces(
    rules: Sequence[dict[str, str]], folder: Path | None, *, name: str, limits: Limits
) -> tuple[tuple[Face, ...], tuple[Notice, ...]]:
    """The faces that can be used, each under its declared family, and notices on the others.

    Does not look at a rule without a family or a source: it declares nothing.
    """
    faces: list[Face] = []
    notices: list[Notice] = []
    for rule in rules:
        families = parse_families(rule.get("font-family", ""))
        if not families or not rule.get("src"):
            continue
        try:
            faces.append(_face(rule, families[0], folder, number=len(faces), limits=limits))
        except _Unusable as problem:
            text = f"font {families[0]}, which its style sheet brings along, is not used: {problem}"
            notices.append(Notice("font-embedded", text, name, Severity.DANGER))
    return tuple(faces), tuple(dict.fromkeys(notices))


class _Unusable(Exception):
    """Why a font cannot be used, in words."""


def _face(
    rule: dict[str, str], family: str, folder: Path | None, *, number: int, limits: Limits
) -> Face:
    if "unicode-range" in rule:
        raise _Unusable("it is split by ranges of characters (unicode-range)")
    outside = []
    for match in _SOURCE.finditer(rule["src"]):
        target = next((g for g in match.groups()[1:] if g is not None), "").strip()
        if match[1].lower() == "local":
            continue
        if target.lower().startswith("data:"):
            data = data_of(target)
        else:
            data = file_beside(target, folder, limits)
            outside += [target] if data is None else []
        if data is not None:
            return _described(_read(data, number), rule, family)
    if outside:
        raise _Unusable(f"it lies outside the artwork ({outside[0]}), which is never read")
    raise _Unusable("the file holds no font for it")


def _read(data: bytes, number: int) -> Face:
    if data[:4] == b"wOF2":
        data = _unpacked_woff2(data)
    elif data[:4] == b"wOFF":
        _check_woff(data)
    if len(data) > MAX_FONT_BYTES:
        raise _Unusable(f"it is larger than {MAX_FONT_BYTES / 1e6:.0f} MB")
    try:
        return face_of_bytes(data, number)
    except Exception as problem:
        # A font can be damaged in as many ways as it has tables.
        raise _Unusable(f"it cannot be read ({type(problem).__name__})") from problem


def _check_woff(data: bytes) -> None:
    """Raise where a table unpacks to more than it says, or all to too much (WOFF 1.0, 4 and 5)."""
    try:
        (tables,) = struct.unpack_from(">H", data, 12)
        total = 0
        for i in range(tables):
            _, start, packed, full, _ = struct.unpack_from(">4sIIII", data, 44 + 20 * i)
            total += full
            if total > MAX_FONT_BYTES:
                raise _Unusable(f"it unpacks to more than {MAX_FONT_BYTES / 1e6:.0f} MB")
            if packed < full:
                unpacked = zlib.decompressobj().decompress(data[start : start + packed], full + 1)
                if len(unpacked) != full:
                    raise _Unusable("it is damaged")
    except (struct.error, zlib.error) as problem:
        raise _Unusable("it is damaged") from problem


def _unpacked_woff2(data: bytes) -> bytes:
    """WOFF2 as a plain font; needs the brotli package, which is not one of ours."""
    try:
        from fontTools.ttLib import TTFont

        (size,) = struct.unpack_from(">I", data, 16)
        if size > MAX_FONT_BYTES:
            raise _Unusable(f"it unpacks to more than {MAX_FONT_BYTES / 1e6:.0f} MB")
        with TTFont(io.BytesIO(data)) as font:
            font.flavor = None
            out = io.BytesIO()
            font.save(out, reorderTables=None)
            return out.getvalue()
    except ImportError as problem:
        raise _Unusable("WOFF2 is not read here; save it as TTF, OTF or WOFF") from problem
    except _Unusable:
        raise
    except Exception as problem:
        raise _Unusable(f"it cannot be read ({type(problem).__name__})") from problem


def _described(face: Face, rule: dict[str, str], family: str) -> Face:
    """The face under the family and style that the rule declares, normal where it does not."""
    words = {key: rule.get(f"font-{key}", "normal").split()[0] for key in ("weight", "style")}
    return replace(
        face,
        families=(family,),
        weight=parse_weight(words["weight"], 400),
        slanted=words["style"].lower() in ("italic", "oblique"),
        stretch=parse_stretch(rule.get("font-stretch", "normal"), 5),
    )
