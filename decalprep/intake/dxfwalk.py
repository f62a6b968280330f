"""A DXF model space as a list of drawn things with layer, colour and line width resolved.

Blocks are taken apart, nested and scaled ones too. BYLAYER and BYBLOCK are resolved as CAD does:
what lies on layer 0 in a block takes the layer of its insert (DXF reference, BLOCKS section).
"""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field, replace
from typing import Any

from ezdxf import colors

from decalprep.errors import MissingHelper, TooMuch
from decalprep.geometry import Cubic, Line, Path
from decalprep.intake.dxfpaths import filled_paths_of, paths_of
from decalprep.intake.dxftext import text_paths
from decalprep.intake.options import Limits

RGB = tuple[float, float, float]

_COMPOSED = frozenset({"DIMENSION", "ARC_DIMENSION", "LEADER", "MULTILEADER", "MLEADER", "MLINE"})
_TEXTS = frozenset({"TEXT", "MTEXT", "ATTRIB"})
_SILENT = frozenset({"ATTDEF", "SEQEND", "VIEWPORT", "LIGHT", "SUN"})
_NEVER_PLOTTED = "defpoints"


@dataclass(frozen=True)
class Drawn:
    """One thing to draw: paths in drawing units, filled or stroked.

    ``width_mm`` is the pen's width on paper, None where the drawing states none;
    ``width_units`` a width in drawing units that goes before it; ``dash_units`` likewise.
    ``kind`` is "line", "fill" or "text".
    """

    paths: tuple[Path, ...]
    layer: str
    rgb: RGB
    kind: str = "line"
    width_mm: float | None = None
    width_units: float = 0.0
    dash_units: tuple[float, ...] = ()


@dataclass
class Walked:
    """What a drawing holds: drawn things, hidden layers, and what could not be drawn."""

    drawn: list[Drawn] = field(default_factory=list)
    hidden_layers: set[str] = field(default_factory=set)
    undrawn: Counter[str] = field(default_factory=Counter)
    texts: int = 0
    missing_letters: set[str] = field(default_factory=set)
    tapered: int = 0


@dataclass(frozen=True)
class _Pen:
    layer: str = "0"
    rgb: RGB = (0.0, 0.0, 0.0)
    width_mm: float | None = None
    linetype: str = "CONTINUOUS"


class Walker:
    """Walks one document's model space once."""

    def __init__(self, document: Any, limits: Limits, where: str) -> None:
        self._document, self._limits, self._where = document, limits, where
        self._found = Walked()
        self._count = 0
        try:
            self._dash_scale = float(document.header.get("$LTSCALE", 1.0)) or 1.0
        except (TypeError, ValueError):
            self._dash_scale = 1.0

    def walked(self) -> Walked:
        """Everything in the model space.

        Raises:
            TooMuch: more things, or blocks nested deeper, than the limits.
        """
        self._refuse(self._unfolded(self._document.modelspace(), {}, 0))
        self._walk(self._document.modelspace(), None, 0)
        names = {item.layer for item in self._found.drawn}
        hidden = {name for name in names if self._is_hidden(name)}
        self._found.drawn = [replace(i, layer=_writable(i.layer)) for i in self._found.drawn]
        self._found.hidden_layers = {_writable(name) for name in hidden}
        return self._found

    def _walk(self, entities: Iterable[Any], parent: _Pen | None, depth: int) -> None:
        self._refuse_depth(depth)
        for entity in entities:
            self._count += 1
            self._refuse(self._count)
            if not int(entity.dxf.get("invisible", 0) or 0):
                self._one(entity, parent, depth)

    def _refuse_depth(self, depth: int) -> None:
        if depth > self._limits.max_depth:
            raise TooMuch(
                f"blocks are nested more than {self._limits.max_depth} deep",
                where=self._where,
                do="explode them",
            )

    def _refuse(self, count: int) -> None:
        if count > self._limits.max_paths:
            raise TooMuch(
                f"the drawing has more than {self._limits.max_paths:,} things to draw",
                where=self._where,
                do="save only the part you need, or raise the limit (max_paths)",
            )

    def _unfolded(self, entities: Iterable[Any], known: dict[str, int], depth: int) -> int:
        """How many things the entities are once all blocks are taken apart."""
        self._refuse_depth(depth)
        count = 0
        for entity in entities:
            count += 1
            if entity.dxftype() != "INSERT":
                continue
            name = str(entity.dxf.get("name", ""))
            if name not in known:
                block = entity.block()
                inside = [] if block is None or block.block.is_xref else block
                known[name] = self._unfolded(inside, known, depth + 1)
            count += known[name] * max(int(entity.mcount), 1)
        return count

    def _one(self, entity: Any, parent: _Pen | None, depth: int) -> None:
        kind = entity.dxftype()
        pen = self._pen(entity, parent)
        try:
            if kind == "INSERT":
                self._insert(entity, pen, depth)
            elif kind in _COMPOSED:
                self._walk(list(entity.virtual_entities()), pen, depth + 1)
            elif kind in _TEXTS:
                self._text(entity, pen)
            elif kind not in _SILENT:
                self._simple(entity, pen)
        except (TooMuch, MissingHelper, MemoryError):
            raise
        except Exception:
            # A broken entity must not lose the rest; it is named among what was not drawn.
            self._found.undrawn[kind] += 1

    def _insert(self, insert: Any, pen: _Pen, depth: int) -> None:
        block = insert.block()
        if block is None or block.block.is_xref:
            self._found.undrawn["reference to another drawing"] += 1
            return
        for one in insert.multi_insert() if insert.mcount > 1 else (insert,):
            self._walk(_whole(one, self._found.undrawn), pen, depth + 1)
        self._walk(insert.attribs, pen, depth + 1)

    def _text(self, entity: Any, pen: _Pen) -> None:
        paths, missing = text_paths(entity)
        self._found.missing_letters.update(missing)
        if paths and self._sound(paths, "TEXT"):
            self._found.texts += 1
            self._found.drawn.append(Drawn(tuple(paths), pen.layer, pen.rgb, "text"))

    def _simple(self, entity: Any, pen: _Pen) -> None:
        filled = filled_paths_of(entity)
        if filled is not None:
            self._filled(entity, filled, pen)
            return
        paths = paths_of(entity)
        if paths is None or (not paths and entity.dxftype() in ("POLYLINE", "SPLINE")):
            self._found.undrawn[entity.dxftype()] += 1
        elif paths and self._sound(paths, entity.dxftype()):
            width = self._own_width(entity)
            dash = self._dash(entity, pen)
            drawn = Drawn(tuple(paths), pen.layer, pen.rgb, "line", pen.width_mm, width, dash)
            self._found.drawn.append(drawn)

    def _filled(self, entity: Any, filled: list[Path], pen: _Pen) -> None:
        pattern = entity.dxftype() == "HATCH" and not entity.dxf.solid_fill
        if pattern and not entity.has_gradient_data:
            lines = tuple(_pattern_lines(entity))
            self._count += len(lines)
            if lines:
                self._found.drawn.append(Drawn(lines, pen.layer, pen.rgb, "hatch", pen.width_mm))
            return
        if entity.dxftype() == "HATCH" and entity.has_gradient_data:
            self._found.undrawn["colour gradient (drawn plain)"] += 1
        if filled and self._sound(filled, entity.dxftype()):
            self._found.drawn.append(Drawn(tuple(filled), pen.layer, pen.rgb, "fill"))

    def _sound(self, paths: Iterable[Path], kind: str) -> bool:
        """Whether all numbers are numbers; a broken entity is named among what was not drawn."""
        for path in paths:
            for piece in path.segments:
                points = [piece.start, piece.end]
                if isinstance(piece, Cubic):
                    points += [piece.control1, piece.control2]
                values = (v for point in points for v in point)
                if not all(map(math.isfinite, values)):
                    self._found.undrawn[f"{kind} with numbers that are none"] += 1
                    return False
        return True

    def _own_width(self, entity: Any) -> float:
        """A polyline's own width in drawing units; tapering ones are counted and take the mean."""
        kind = entity.dxftype()
        if kind == "LWPOLYLINE":
            widths = [w for point in entity.get_points("se") for w in point]
            constant = float(entity.dxf.get("const_width", 0.0) or 0.0)
        elif kind == "POLYLINE":
            widths = [
                float(v.dxf.get(key, 0.0) or 0.0)
                for v in entity.vertices
                for key in ("start_width", "end_width")
            ]
            constant = float(entity.dxf.get("default_start_width", 0.0) or 0.0)
        else:
            return 0.0
        if not any(widths):
            return constant
        self._found.tapered += max(widths) - min(widths) > 1e-9
        return float(sum(widths) / len(widths))

    # ------------------------------------------------------------ pens

    def _layer(self, name: str) -> Any:
        layers = self._document.layers
        return layers.get(name) if name in layers else None

    def _is_hidden(self, name: str) -> bool:
        layer = self._layer(name)
        if name.lower() == _NEVER_PLOTTED:
            return True
        if layer is None:
            return False
        return bool(layer.is_off() or layer.is_frozen() or not int(layer.dxf.get("plot", 1)))

    def _pen(self, entity: Any, parent: _Pen | None) -> _Pen:
        dxf = entity.dxf
        name = str(dxf.get("layer", "0"))
        if name == "0" and parent is not None:
            name = parent.layer
        layer, above = self._layer(name), parent or _Pen()
        pen = _Pen(name, above.rgb, above.width_mm, above.linetype)
        pen = replace(pen, rgb=_colour(dxf, layer, above.rgb))
        pen = replace(pen, width_mm=_weight(dxf, layer, above.width_mm))
        linetype = str(dxf.get("linetype", "BYLAYER")).upper()
        if linetype == "BYLAYER":
            linetype = str(layer.dxf.get("linetype", "CONTINUOUS")) if layer else "CONTINUOUS"
        return pen if linetype == "BYBLOCK" else replace(pen, linetype=linetype)

    def _dash(self, entity: Any, pen: _Pen) -> tuple[float, ...]:
        linetypes = self._document.linetypes
        if pen.linetype.upper() == "CONTINUOUS" or pen.linetype not in linetypes:
            return ()
        pattern = linetypes.get(pen.linetype).simplified_line_pattern()
        scale = self._dash_scale * float(entity.dxf.get("ltscale", 1.0) or 1.0)
        dash = tuple(abs(float(d)) * scale for d in pattern)
        return dash if len(dash) > 1 and sum(dash) > 0 else ()


def _whole(insert: Any, undrawn: Counter[str]) -> Iterator[Any]:
    """The block's entities in place; those that cannot be placed are counted."""

    def skipped(entity: Any, _reason: str) -> None:
        undrawn[entity.dxftype()] += 1

    yield from insert.virtual_entities(skipped_entity_callback=skipped)


def _pattern_lines(hatch: Any) -> Iterator[Path]:
    from ezdxf.render.hatching import hatch_entity

    pairs = list(hatch_entity(hatch, jiggle_origin=False))
    # In a tilted plane each line is given twice, in world and in plane coordinates.
    for start, end in pairs[::2] if hatch.ocs().transform else pairs:
        if (start.x, start.y) != (end.x, end.y):
            yield Path((Line((start.x, start.y), (end.x, end.y)),), closed=False)


def _rgb(value: Any) -> RGB:
    red, green, blue = value
    return red / 255, green / 255, blue / 255


def _aci(index: int) -> RGB:
    """Colour 7 is black on paper, white on a dark screen."""
    return (0.0, 0.0, 0.0) if index == 7 else _rgb(colors.aci2rgb(min(max(index, 1), 255)))


def _colour(dxf: Any, layer: Any, above: RGB) -> RGB:
    if dxf.hasattr("true_color"):
        return _rgb(colors.int2rgb(int(dxf.true_color)))
    index = int(dxf.get("color", 256))
    if index == 0:
        return above
    if index != 256:
        return _aci(abs(index))
    if layer is None:
        return (0.0, 0.0, 0.0)
    return _rgb(layer.rgb) if layer.rgb is not None else _aci(abs(int(layer.color)))


def _weight(dxf: Any, layer: Any, above: float | None) -> float | None:
    """Pen width in mm; None for the drawing's default. Codes: -1 layer, -2 block, -3 default."""
    code = int(dxf.get("lineweight", -1))
    if code == -1:
        code = int(layer.dxf.get("lineweight", -3)) if layer is not None else -3
    if code == -2:
        return above
    return code / 100 if code >= 0 else None


def _writable(name: str) -> str:
    """The layer's name with "?" for bytes that are no letters in the file's own encoding."""
    return name.encode("utf-8", "replace").decode("utf-8")
