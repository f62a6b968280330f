"""The picture of a measured print: the scan with every outline marked, and a table beside it.

Colour is never the only sign: each decal bears a number and a sign, and the table says the rest in
words. Where a decal is off is drawn many times too large, or nothing of it could be seen.
"""

import io
import math
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from PIL import Image, ImageDraw, ImageFont
from shapely.geometry import Polygon

from decalprep.geometry import Affine
from decalprep.scan.findings import ExpectedPrint, MeasuredDecal, Point, PrintFinding, Verdict
from decalprep.scan.printed import PlacedPrint

COLOURS = {
    Verdict.GOOD: (0, 110, 50),
    Verdict.BAD: (190, 0, 0),
    Verdict.OPEN: (160, 90, 0),
    Verdict.UNSEEN: (90, 90, 90),
}
SIGNS = {Verdict.GOOD: "ok", Verdict.BAD: "X", Verdict.OPEN: "?", Verdict.UNSEEN: "-"}
INK = (20, 20, 20)
_FONT_PX, _SMALL_PX = 24, 19
_MARGIN_PX = 24
_TABLE_PX = 560
_SHOWN_MM = 4.0
"""The tolerance is drawn as long as this."""
_LARGEST_FACTOR = 50.0


@dataclass(frozen=True)
class Pen:
    """Draws lines and words on a picture; ``image_from_mm`` takes mm to its pixels."""

    draw: ImageDraw.ImageDraw
    image_from_mm: Affine

    def line(
        self, points_mm: list[Point], colour: tuple[int, int, int], width: int, *, dashed: int = 0
    ) -> None:
        """A polyline; ``dashed`` px long dashes."""
        px = [(float(x), float(y)) for x, y in self.image_from_mm.apply_all(points_mm)]
        if not dashed:
            self.draw.line(px, fill=colour, width=width, joint="curve")
            return
        for k, piece in enumerate(dashes(px, dashed)):
            if k % 2 == 0:
                self.draw.line(piece, fill=colour, width=width)

    def badge(self, at_px: Point, words: str, colour: tuple[int, int, int]) -> None:
        """Words in white on a coloured plate about a place, or as near it as they show whole."""
        font = ImageFont.load_default(_FONT_PX)
        left, top, right, bottom = self.draw.textbbox(at_px, words, font=font, anchor="mm")
        wide, high = self.draw.im.size
        into_x = max(12 - left, 0) + min(wide - 12 - right, 0)
        into_y = max(10 - top, 0) + min(high - 10 - bottom, 0)
        at_px = (at_px[0] + into_x, at_px[1] + into_y)
        left, top, right, bottom = left + into_x, top + into_y, right + into_x, bottom + into_y
        self.draw.rounded_rectangle(
            (left - 10, top - 8, right + 10, bottom + 8), 8, fill=colour, outline="white", width=2
        )
        self.draw.text(at_px, words, fill="white", font=font, anchor="mm")


def dashes(px: list[Point], length: int) -> list[list[Point]]:
    """A polyline cut into pieces of about one length."""
    pieces: list[list[Point]] = [[px[0]]]
    left = float(length)
    for a, b in pairwise(px):
        at, side = a, math.dist(a, b)
        while side > left > 0:
            at = (at[0] + (b[0] - at[0]) * left / side, at[1] + (b[1] - at[1]) * left / side)
            pieces[-1].append(at)
            pieces.append([at])
            side, left = math.dist(at, b), float(length)
        pieces[-1].append(b)
        left -= side
    return [p for p in pieces if len(p) > 1]


def column(draw: ImageDraw.ImageDraw, x: int, y: int, rows: list[tuple[str, int, object]]) -> int:
    """Rows of (words, px high, colour) one below the other; returns where they end."""
    for words, size, colour in rows:
        draw.text((x, y), words, fill=colour, font=ImageFont.load_default(size))  # type: ignore[arg-type]
        y += round(size * 1.35)
    return y


def signed(value: float) -> str:
    """A length to a hundredth with its sign; nothing is never minus nothing.

    >>> signed(-0.001), signed(-0.126)
    ('+0.00', '-0.13')
    """
    return f"{round(value, 2) + 0.0:+.2f}"


def exaggeration(tolerance_mm: float, worst_mm: float) -> float:
    """How many times too large errors are drawn: the larger of both as some millimetres."""
    return min(_LARGEST_FACTOR, _SHOWN_MM / max(tolerance_mm, worst_mm, 1e-6))


def print_picture(
    placed: PlacedPrint, expected: ExpectedPrint, finding: PrintFinding, *, title: str = ""
) -> bytes:
    """A PNG of the first scan with the outlines marked by number and sign, and a table in words.

    Dashed lines show where each outline came out, errors drawn many times too large.
    """
    high, wide = placed.picture.shape
    rows = [row for k, d in enumerate(finding.decals, 1) for row in _decal_rows(k, d)]
    table_high = sum(round(size * 1.35) for _, size, _ in rows) + 260
    canvas = Image.new("RGB", (wide + _TABLE_PX, max(high, table_high)), "white")
    pale = 140 + placed.picture.astype(np.uint16) * 115 // 255
    canvas.paste(Image.fromarray(pale.astype(np.uint8)), (0, 0))
    draw = ImageDraw.Draw(canvas)
    pen = Pen(draw, Affine.scaling(placed.shrink) @ finding.image_from_mm)
    seen = [d for d in finding.decals if d.verdict is not Verdict.UNSEEN]
    worst = max([max(d.worst_mm, abs(d.lean_mm)) for d in seen], default=0.0)
    factor = exaggeration(finding.tolerance_mm, worst)
    for decal, measured in zip(expected.decals, finding.decals, strict=True):
        colour = COLOURS[measured.verdict]
        pen.line(list(decal.outline), colour, 3)
        if measured.verdict is not Verdict.UNSEEN:
            pen.line(_came_out(decal.outline, measured, factor), colour, 2, dashed=9)
    for k, (decal, measured) in enumerate(zip(expected.decals, finding.decals, strict=True), 1):
        # An L has nothing in the middle of its box.
        inside = Polygon(pen.image_from_mm.apply_all(decal.outline)).representative_point()
        words = f"{k} {SIGNS[measured.verdict]}"
        pen.badge((inside.x, inside.y), words, COLOURS[measured.verdict])
    _table(draw, wide + _MARGIN_PX, rows, finding, factor, title)
    out = io.BytesIO()
    canvas.save(out, "PNG")
    return out.getvalue()


def _came_out(outline: tuple[Point, ...], d: MeasuredDecal, factor: float) -> list[Point]:
    """The outline as printed about its own middle, size and lean errors drawn larger."""
    p = np.array(outline)
    middle = (p.min(axis=0) + p.max(axis=0)) / 2
    width, height = np.ptp(p, axis=0)
    x, y = (p - middle).T
    dx = x * d.error_x_mm / width + y * d.lean_mm / min(width, height)
    dy = y * d.error_y_mm / height
    moved = p + factor * np.column_stack([dx, dy])
    return [(float(a), float(b)) for a, b in moved]


def _decal_rows(number: int, d: MeasuredDecal) -> list[tuple[str, int, object]]:
    why = f" ({', '.join(d.faults)})" if d.faults else ""
    colour = COLOURS[d.verdict]
    head = (f"{number} {SIGNS[d.verdict]}  {d.title}: {d.verdict.value}{why}", _FONT_PX, colour)
    if d.verdict is Verdict.UNSEEN:
        return [head, ("", 8, INK)]

    def off(value: float, uncertain: float) -> str:
        return f"{signed(value)} ±{uncertain:.2f}"

    turn = "round" if d.turn_mm is None else off(d.turn_mm, d.range_turn_mm)
    return [
        head,
        (f"{d.width_mm:.2f} x {d.height_mm:.2f} mm", _SMALL_PX, INK),
        (
            f"size: across {off(d.error_x_mm, d.range_x_mm)}, up {off(d.error_y_mm, d.range_y_mm)}",
            _SMALL_PX,
            INK,
        ),
        (f"lean {off(d.lean_mm, d.range_lean_mm)}", _SMALL_PX, INK),
        (
            f"place: right {off(d.off_x_mm, d.range_off_x_mm)}, up "
            f"{off(d.off_y_mm, d.range_off_y_mm)}",
            _SMALL_PX,
            INK,
        ),
        (f"turn {turn}", _SMALL_PX, INK),
        ("", 10, INK),
    ]


def _table(
    draw: ImageDraw.ImageDraw,
    x: int,
    rows: list[tuple[str, int, object]],
    finding: PrintFinding,
    factor: float,
    title: str,
) -> None:
    head: list[tuple[str, int, object]] = [
        (title or "Measured print", 30, INK),
        (f"allowed {finding.tolerance_mm:g} mm; all in mm, ± 95 %", _SMALL_PX, INK),
        ("solid: outline as meant", _SMALL_PX, INK),
        (f"dashed: as printed, errors x {factor:.0f}", _SMALL_PX, INK),
        ("", 10, INK),
    ]
    column(draw, x, _MARGIN_PX, [*head, *rows])
