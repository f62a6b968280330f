"""The picture of a part against its decal: edges and holes, what is off drawn many times too large.

Drawn the way the decal is read, whichever way it lay on its sheet.
"""

import io
import math
from collections.abc import Sequence

import numpy as np
from PIL import Image, ImageDraw, ImageFont

from decalprep.geometry import Affine
from decalprep.scan.findings import Point
from decalprep.scan.part import HoleOffset, PartComparison
from decalprep.scan.picture import INK, Pen, column, signed

_DECAL = (20, 90, 150)
_PART = (190, 80, 0)
_WORST = (190, 0, 0)
_LONG_PX = 1200
_MARGIN_PX = 110
_TABLE_PX = 540
_LARGEST = 100.0
_SHOWN_SHARE = 0.04
"""The worst error is drawn as long as this share of the decal."""
_BARS_MM = (0.05, 0.1, 0.2, 0.5, 1.0, 2.0)
_FAR_SPAN_MM = 6.0


def part_picture(
    found: PartComparison,
    outline: Sequence[Point],
    decal_from_sheet: Affine,
    *,
    title: str,
    tolerance_mm: float,
) -> bytes:
    """A PNG: the decal's edge and holes, the part's with errors drawn too large, and a table.

    ``outline`` is the decal's in sheet mm; a bar says how long an error of so many mm is drawn.
    """
    ring = np.array(decal_from_sheet.apply_all(outline))
    low, side = ring.min(axis=0), float(np.ptp(ring, axis=0).max())
    px = _LONG_PX / side
    high = round(float(np.ptp(ring[:, 1])) * px) + 2 * _MARGIN_PX
    wide = round(float(np.ptp(ring[:, 0])) * px) + 2 * _MARGIN_PX
    factor = _factor(found, side)
    rows = _rows(found, factor, title, tolerance_mm)
    table_high = sum(round(size * 1.35) for _, size, _ in rows) + 2 * _MARGIN_PX
    canvas = Image.new("RGB", (wide + _TABLE_PX, max(high + 60, table_high)), "white")
    image_from_decal = Affine(
        px, 0.0, 0.0, -px, _MARGIN_PX - low[0] * px, high - _MARGIN_PX + low[1] * px
    )
    pen = Pen(ImageDraw.Draw(canvas), image_from_decal @ decal_from_sheet)
    pen.line(list(outline), _DECAL, 3)
    _draw_edge(pen, found, factor)
    middle = image_from_decal.apply(*((ring.min(axis=0) + ring.max(axis=0)) / 2).tolist())
    for hole in found.holes:
        _draw_hole(pen, hole, factor, middle)
    _draw_bar(pen.draw, factor * px, high)
    column(pen.draw, wide + 10, _MARGIN_PX // 2, rows)
    out = io.BytesIO()
    canvas.quantize(64).save(out, "PNG", optimize=True)
    return out.getvalue()


def _factor(found: PartComparison, side_mm: float) -> float:
    """How many times too large errors are drawn."""
    worst = max([h.distance_mm for h in found.holes], default=0.0)
    if found.edge is not None:
        worst = max(worst, float(np.max(np.abs(found.edge.off_mm))))
    wanted = _SHOWN_SHARE * side_mm / max(worst, 0.05)
    return float(min(_LARGEST, max(1.0, round(wanted))))


def _draw_edge(pen: Pen, found: PartComparison, factor: float) -> None:
    """The part's edge, and its worst place with what it is off."""
    edge = found.edge
    if edge is None:
        return
    places, outward = np.array(edge.places_mm), np.array(edge.outward)
    moved = places + factor * np.array(edge.off_mm)[:, None] * outward
    # Places come run by run; where corners or unseen parts lie between them nothing is drawn.
    breaks = np.flatnonzero(np.hypot(*np.diff(places, axis=0).T) > _FAR_SPAN_MM / 2) + 1
    for run in np.split(moved, breaks):
        if len(run) > 1:
            pen.line([(float(x), float(y)) for x, y in run], _PART, 3, dashed=10)
    at, to = places[edge.worst], moved[edge.worst]
    pen.line([tuple(at.tolist()), tuple(to.tolist())], _WORST, 5)
    # Its words stand off the line, so that they do not hide it.
    ahead = to + outward[edge.worst] * (45 / math.sqrt(abs(pen.image_from_mm.determinant)))
    where = pen.image_from_mm.apply(*ahead.tolist())
    pen.badge(where, f"worst {signed(edge.off_mm[edge.worst])}", _WORST)


def _draw_hole(pen: Pen, hole: HoleOffset, factor: float, middle_px: Point) -> None:
    """Where the legend has the hole, where the part has it, and the way from there to here."""
    r = hole.part_diameter_mm / 2
    part = (hole.x_mm - factor * hole.dx_mm, hole.y_mm - factor * hole.dy_mm)
    pen.line(_circle((hole.x_mm, hole.y_mm), r), _DECAL, 3)
    pen.line(_circle(part, r), _PART, 3, dashed=8)
    pen.line([part, (hole.x_mm, hole.y_mm)], _PART, 4)
    x, y = pen.image_from_mm.apply(hole.x_mm, hole.y_mm)
    words = f"{hole.name}  {hole.distance_mm:.2f}"
    font = ImageFont.load_default(22)
    # Towards the middle, where no edge is written over.
    at = (x + (60 if x < middle_px[0] else -60), y + (44 if y < middle_px[1] else -44))
    left, top, right, bottom = pen.draw.textbbox(at, words, font=font, anchor="mm")
    pen.draw.rectangle((left - 4, top - 3, right + 4, bottom + 3), fill="white")
    pen.draw.text(at, words, fill=INK, font=font, anchor="mm")


def _circle(middle: Point, radius: float) -> list[Point]:
    angles = [2 * math.pi * k / 60 for k in range(61)]
    return [(middle[0] + radius * math.cos(a), middle[1] + radius * math.sin(a)) for a in angles]


def _draw_bar(draw: ImageDraw.ImageDraw, px_per_error_mm: float, y: int) -> None:
    """A bar as long as an error of a round number of mm is drawn."""
    length = next((b for b in _BARS_MM if b * px_per_error_mm >= 60), _BARS_MM[-1])
    x0, x1 = _MARGIN_PX, _MARGIN_PX + round(length * px_per_error_mm)
    draw.line([(x0, y), (x1, y)], fill=INK, width=4)
    for x in (x0, x1):
        draw.line([(x, y - 10), (x, y + 10)], fill=INK, width=4)
    words = f"an error of {length:g} mm is drawn as long as this"
    draw.text((x1 + 16, y), words, fill=INK, font=ImageFont.load_default(22), anchor="lm")


def _rows(
    found: PartComparison, factor: float, title: str, tolerance_mm: float
) -> list[tuple[str, int, object]]:
    rows: list[tuple[str, int, object]] = [
        (title, 30, INK),
        (f"allowed {tolerance_mm:g} mm; all in mm, ± 95 %", 19, INK),
        ("solid: the decal as printed", 19, _DECAL),
        (f"dashed: the part, errors x {factor:.0f}", 19, _PART),
        ("", 12, INK),
    ]
    if found.holes:
        rows.append(("legend off at the holes", 22, INK))
        rows += [(f"{h.name}: {h.distance_mm:.2f} ±{h.range_mm:.2f}", 19, INK) for h in found.holes]
        rows.append(("", 12, INK))
    edge = found.edge
    if edge is not None:
        rows += [
            ("part's edge outside the decal's", 22, INK),
            (f"mean {signed(edge.mean_mm)}, from {signed(min(edge.off_mm))}", 19, INK),
            (f"to {signed(max(edge.off_mm))}, ±{edge.range_mm:.2f}", 19, INK),
            ("", 12, INK),
        ]
    if found.fitted is not None:
        rows += [
            ("left by a decal fitted to the part", 22, INK),
            (f"at the holes {found.left_mm:.2f} (rms)", 19, INK),
        ]
        if edge is not None and edge.left_mm is not None:
            worst = max(edge.left_mm, key=abs)
            rows.append((f"at the edge at worst {signed(worst)}", 19, INK))
    return rows
