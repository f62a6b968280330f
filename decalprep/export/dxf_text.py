"""Cut files in DXF R2010, written round a frame that ezdxf made once.

Building a document of ezdxf's for each of many small files takes longer than everything else about
them. ``data/cut-frame.dxf`` is such a document with slots for what differs
(``fixtures/make_dxf_frame.py``); a test holds what is written here against ezdxf's own bytes.
Lengths are in mm; numbers are written with all their digits.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from functools import cache
from importlib.resources import files

Point = tuple[float, float]
Colour = tuple[int, int, int]
OWN_LAYERS = 2
"""Layers that the frame has itself."""


@cache
def _frame() -> tuple[int, str]:
    """(the first free handle, the text with its slots)."""
    text = (files("decalprep") / "data" / "cut-frame.dxf").read_text(encoding="utf-8")
    first, _, framed = text.partition("\n")
    return int(first, 16), framed


class DxfText:
    """A document that grows by layers, then by lines; ``text`` is the whole of it."""

    def __init__(self, layers: Sequence[tuple[str, Colour]]) -> None:
        self._next, self._framed = _frame()
        self._count = len(layers) + OWN_LAYERS
        self._layers = "".join(self._layer(name, colour) for name, colour in layers)
        self._lines: list[str] = []

    def _handle(self) -> str:
        self._next += 1
        return f"{self._next - 1:X}"

    def _layer(self, name: str, colour: Colour) -> str:
        red, green, blue = colour
        tags: list[tuple[int, object]] = [
            (0, "LAYER"), (5, self._handle()), (330, 1), (100, "AcDbSymbolTableRecord"),
            (100, "AcDbLayerTableRecord"), (2, name), (70, 0), (62, 7),
            (420, red << 16 | green << 8 | blue), (6, "Continuous"), (370, -3), (390, 13),
            (347, 21),
        ]  # fmt: skip
        return "".join(_written(tags))

    def _add(
        self, kind: str, subclass: str, layer: str, tags: Sequence[tuple[int, object]]
    ) -> None:
        head: list[tuple[int, object]] = [
            (0, kind), (5, self._handle()), (330, 17), (100, "AcDbEntity"), (8, layer),
            (100, subclass),
        ]  # fmt: skip
        self._lines += _written([*head, *tags])

    def circle(self, layer: str, centre: Point, radius: float) -> None:
        """Add a CIRCLE."""
        x, y = centre
        self._add("CIRCLE", "AcDbCircle", layer, _place(10, x, y) + [(40, float(radius))])

    def line(self, layer: str, start: Point, end: Point) -> None:
        """Add a LINE."""
        self._add("LINE", "AcDbLine", layer, _place(10, *start) + _place(11, *end))

    def polyline(
        self, layer: str, vertices: Sequence[tuple[float, float, float]], *, closed: bool
    ) -> None:
        """Add an LWPOLYLINE of (x, y, bulge)."""
        tags: list[tuple[int, object]] = [(90, len(vertices)), (70, int(closed))]
        for x, y, bulge in vertices:
            tags += [(10, float(x)), (20, float(y))]
            if bulge:
                tags.append((42, float(bulge)))
        self._add("LWPOLYLINE", "AcDbPolyline", layer, tags)

    @property
    def text(self) -> str:
        """The document."""
        text = self._framed.replace("<number of layers>", str(self._count), 1)
        text = text.replace("<layers>", self._layers, 1).replace("<lines>", "".join(self._lines), 1)
        for k, slot in enumerate(("<handle 1>", "<handle 2>", "<handle 3>", "<next handle>")):
            text = text.replace(slot, f"{self._next + k:X}")
        return text


def _place(code: int, x: float, y: float) -> list[tuple[int, object]]:
    return [(code, float(x)), (code + 10, float(y)), (code + 20, 0.0)]


def _written(tags: Sequence[tuple[int, object]]) -> Iterator[str]:
    return (f"{code:>3}\n{value}\n" for code, value in tags)
