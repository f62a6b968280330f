"""Drawn DXF things as a vector PDF page, layers as optional content.

Arcs are written as cubic pieces within 1e-6 mm of the circle, numbers to 1e-7 pt.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace
from itertools import groupby
from typing import Any

import pikepdf
from pikepdf import Array, Dictionary, Name, String

from decalprep.geometry import Affine, Arc, Cubic, Line, Path, Segment
from decalprep.intake.dxfwalk import Drawn
from decalprep.intake.pdfpage import saved
from decalprep.units import pt_from_mm

FINE_RADIUS_PT = 12.0
"""Up to this radius pieces of 30 degrees are within 1e-6 mm; beyond it they are a quarter of it."""


def dxf_page(
    drawn: Sequence[Drawn],
    page_from_drawing: Affine,
    size_pt: tuple[float, float],
    *,
    line_mm: float,
    hidden: frozenset[str],
) -> bytes:
    """A one-page PDF of the drawing; ``hidden`` layers are there and switched off."""
    target = pikepdf.new()
    names = list(dict.fromkeys(item.layer for item in drawn))
    groups = {n: target.make_indirect(Dictionary(Type=Name.OCG, Name=String(n))) for n in names}
    table = Dictionary()
    for k, name in enumerate(names):
        table[f"/L{k}"] = groups[name]
    chunks = []
    for name, run in groupby(drawn, key=lambda item: item.layer):
        chunks.append(f"/OC /L{names.index(name)} BDC")
        chunks.extend(_written(item, page_from_drawing, line_mm) for item in run)
        chunks.append("EMC")
    page = Dictionary(
        Type=Name.Page,
        MediaBox=Array(
            [
                0,
                0,
                pikepdf.Object.parse(_n(size_pt[0]).encode()),
                pikepdf.Object.parse(_n(size_pt[1]).encode()),
            ]
        ),
        Resources=Dictionary(Properties=table),
        Contents=target.make_stream("\n".join(["1 J 1 j", *chunks]).encode()),
    )
    target.pages.append(pikepdf.Page(page))
    target.Root.OCProperties = _layer_table(groups, hidden)
    return saved(target)


def _layer_table(groups: dict[str, Any], hidden: frozenset[str]) -> Dictionary:
    config = Dictionary(
        BaseState=Name.ON,
        ON=Array([g for n, g in groups.items() if n not in hidden]),
        OFF=Array([g for n, g in groups.items() if n in hidden]),
        Order=Array(list(groups.values())),
    )
    return Dictionary(OCGs=Array(list(groups.values())), D=config)


def _n(value: float) -> str:
    text = f"{value:.7f}".rstrip("0").rstrip(".")
    return "0" if text in ("-0", "") else text


def _written(item: Drawn, m: Affine, line_mm: float) -> str:
    scale = m.stretch[0]
    colour = " ".join(_n(round(v, 4)) for v in item.rgb)
    body = "\n".join(_operators(path.mapped(m)) for path in item.paths)
    if item.kind in ("fill", "text"):
        return f"{colour} rg\n{body}\n{'f' if item.kind == 'text' else 'f*'}"
    width_pt = item.width_units * scale
    if width_pt <= 0:
        width_pt = pt_from_mm(line_mm if item.width_mm is None else item.width_mm)
    dash = " ".join(_n(d * scale) for d in item.dash_units)
    return f"{colour} RG {_n(width_pt)} w [{dash}] 0 d\n{body}\nS"


def _operators(path: Path) -> str:
    if not path.segments:
        return ""
    start = path.segments[0].start
    parts = [f"{_n(start[0])} {_n(start[1])} m"]
    for piece in _plain(path.segments):
        if isinstance(piece, Line):
            parts.append(f"{_n(piece.end[0])} {_n(piece.end[1])} l")
        else:
            points = (piece.control1, piece.control2, piece.end)
            parts.append(" ".join(f"{_n(x)} {_n(y)}" for x, y in points) + " c")
    return "\n".join([*parts, "h"] if path.closed else parts)


def _plain(segments: Sequence[Segment]) -> Iterator[Line | Cubic]:
    for segment in segments:
        if not isinstance(segment, Arc):
            yield segment
            continue
        count = (
            1
            if segment.radius <= FINE_RADIUS_PT
            else 4 * max(1, round(abs(segment.sweep_deg) / 30))
        )
        sweep = segment.sweep_deg / count
        for k in range(count):
            part = replace(segment, start_deg=segment.start_deg + k * sweep, sweep_deg=sweep)
            yield from part.cubics()
