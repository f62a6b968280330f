"""DXF text as outlines in a stand-in font.

A DXF names fonts and carries none. Text is drawn in one font that always comes with the program,
at the stated capital height and place, so the same file gives the same picture everywhere; that it
is a stand-in is told. Does not follow inline changes of font, colour or height in multi-line text.
"""

from __future__ import annotations

from functools import cache
from importlib.util import find_spec
from pathlib import Path as FilePath
from typing import Any

from ezdxf.addons.drawing.text import simplified_text_chunks
from ezdxf.fonts import fonts
from ezdxf.fonts.font_face import FontFace
from ezdxf.path import Command
from fontTools.ttLib import TTFont

from decalprep.errors import MissingHelper
from decalprep.geometry import Cubic, Line, Path, Point, Segment

STAND_IN = "Vera.ttf"


@cache
def font_file() -> FilePath:
    """The stand-in font's file, which comes with the reportlab package.

    Raises:
        MissingHelper: that package is not installed whole.
    """
    spec = find_spec("reportlab")
    for folder in (spec.submodule_search_locations or ()) if spec else ():
        path = FilePath(folder) / "fonts" / STAND_IN
        if path.is_file():
            return path
    raise MissingHelper("the font for DXF text is missing", do="install reportlab again")


@cache
def _known_letters() -> frozenset[int]:
    with TTFont(font_file()) as font:
        return frozenset(font.getBestCmap())


class _Measures:
    """What the line breaker asks about the font."""

    def __init__(self) -> None:
        self.font: Any = fonts.sideload_ttf(font_file(), 1.0)

    def get_text_line_width(self, text: str, _face: Any, cap_height: float = 1.0) -> float:
        return float(self.font.text_width_ex(text, cap_height, 1.0))

    def get_font_measurements(self, _face: Any, cap_height: float = 1.0) -> Any:
        return self.font.measurements.scale_from_baseline(cap_height)


@cache
def _measures() -> _Measures:
    return _Measures()


def text_paths(entity: Any) -> tuple[list[Path], str]:
    """(glyph outlines in drawing units, letters that the font does not have)."""
    measures: Any = _measures()
    found: list[Path] = []
    missing = ""
    face = FontFace()
    for text, m, cap_height in simplified_text_chunks(entity, measures, font_face=face):
        missing += "".join(c for c in text if ord(c) not in _known_letters() and not c.isspace())
        if not text.strip():
            continue
        glyphs = measures.font.text_path_ex(text, cap_height, 1.0).to_path()
        for outline in glyphs.transform(m).sub_paths():
            found.append(_as_path(outline))
    return [p for p in found if p.segments], missing


def _as_path(outline: Any) -> Path:
    here: Point = (float(outline.start.x), float(outline.start.y))
    first, segments = here, list[Segment]()
    for command in outline.commands():
        end = (float(command.end.x), float(command.end.y))
        if command.type == Command.LINE_TO:
            segments.append(Line(here, end))
        elif command.type == Command.CURVE3_TO:
            segments.append(_raised(here, (command.ctrl.x, command.ctrl.y), end))
        elif command.type == Command.CURVE4_TO:
            c1, c2 = command.ctrl1, command.ctrl2
            segments.append(Cubic(here, (c1.x, c1.y), (c2.x, c2.y), end))
        here = end
    if segments and here != first:
        segments.append(Line(here, first))
    return Path(tuple(segments))


def _raised(start: Point, control: Point, end: Point) -> Cubic:
    """The cubic that is the same curve as a quadratic."""
    (x0, y0), (x, y), (x1, y1) = start, control, end
    return Cubic(
        start,
        (x0 + 2 / 3 * (x - x0), y0 + 2 / 3 * (y - y0)),
        (x1 + 2 / 3 * (x - x1), y1 + 2 / 3 * (y - y1)),
        end,
    )
