"""The drawn parts of a calibration page: verniers, edge ladders, check bar, feed arrow, words."""

import math
from collections.abc import Iterator

from decalprep.geometry import Line, Path, Point, polygon_path
from decalprep.marks.calibration_page_layout import (
    VERNIER_LINES,
    VERNIER_MM,
    VERNIER_PITCH_MM,
)
from decalprep.model import Baseline, FillMark, Item, Layer, StrokeMark, TextMark

LINE_MM = 0.15
_LADDER_STEPS = 14
_LADDER_RUN_MM = 4.0


def line(a: Point, b: Point, width_mm: float = LINE_MM, layer: Layer = Layer.TARGET) -> StrokeMark:
    """A straight stroke."""
    return StrokeMark(layer, Path((Line(a, b),), closed=False), width_mm)


def words(
    text: str,
    at: Point,
    height_mm: float = 1.8,
    *,
    anchor: str = "middle",
    turn_deg: float = 0.0,
) -> TextMark:
    """A line of text on the label layer."""
    return TextMark(Layer.LABEL, text, at[0], at[1], height_mm, turn_deg, anchor=anchor)


def tick_side(baseline: Baseline) -> int:
    """1 where the ticks stand to the left of the way from start to end, else -1.

    The rule lies on the other side: below a line, to the right of an upright one.
    """
    return -1 if baseline.name == "diag2" else 1


def baseline_items(baseline: Baseline) -> Iterator[Item]:
    """The two ends of a baseline, each with its vernier, index line 0 first, and its name."""
    ux, uy = baseline.along
    side = tick_side(baseline)
    nx, ny = -uy * side, ux * side
    turn = math.degrees(math.atan2(uy, ux))
    upright = turn if side > 0 else turn - 180.0
    for x, y in (baseline.start, baseline.end):
        yield line((x - 2 * ux, y - 2 * uy), (x + 11 * ux, y + 11 * uy))
        for k in range(VERNIER_LINES):
            s = k * VERNIER_PITCH_MM
            reach = 6.0 if k == 0 else 5.0 if k in (5, 10) else 4.0
            foot = (x + s * ux, y + s * uy)
            yield line(foot, (foot[0] + reach * nx, foot[1] + reach * ny))
            if k in (0, 5, 10):
                at = (foot[0] + (reach + 0.5) * nx, foot[1] + (reach + 0.5) * ny)
                yield words(str(k), at, 1.5, turn_deg=upright)
        half = VERNIER_MM / 2
        at = (x + half * ux - 2.6 * nx, y + half * uy - 2.6 * ny)
        yield words(baseline.name, at, 1.7, turn_deg=upright)


def ladder(edge: str, width_mm: float, height_mm: float) -> Iterator[Item]:
    """Steps 1 mm apart counted from one sheet edge: the first whole one shows the margin there."""
    run = _LADDER_STEPS * _LADDER_RUN_MM
    middle = width_mm / 2 if edge in ("top", "bottom") else height_mm / 2
    for k in range(1, _LADDER_STEPS + 1):
        start = middle - run / 2 + (k - 1) * _LADDER_RUN_MM
        stop = start + _LADDER_RUN_MM - 0.5
        number = ((start + stop) / 2, k + 0.6)
        ends = [(start, float(k)), (stop, float(k)), number]
        if edge == "top":
            ends = [(u, height_mm - v) for u, v in ends]
            ends[2] = (ends[2][0], ends[2][1] - 1.2)
        elif edge == "left":
            ends = [(v, u) for u, v in ends]
            ends[2] = (ends[2][0] + 0.6, ends[2][1] - 0.6)
        elif edge == "right":
            ends = [(width_mm - v, u) for u, v in ends]
            ends[2] = (ends[2][0] - 0.6, ends[2][1] - 0.6)
        yield line(ends[0], ends[1], 0.3 if k == 10 else LINE_MM)
        yield words(str(k), ends[2], 1.2)


def check_bar(centre: Point, length_mm: float = 100.0) -> Iterator[Item]:
    """A bar of stated true length with end lines and 10 mm steps."""
    x0, y = centre[0] - length_mm / 2, centre[1]
    yield line((x0, y), (x0 + length_mm, y), 0.25, Layer.CHECK_BAR)
    for k in range(11):
        x = x0 + k * length_mm / 10
        reach = 3.0 if k in (0, 10) else 1.5
        yield line((x, y - reach / 2), (x, y + reach), LINE_MM, Layer.CHECK_BAR)
    text = f"{length_mm:g} mm from left edge to left edge of the end lines"
    yield words(text, (centre[0], y + 3.6), 1.7)


def feed_arrow(foot: Point) -> Iterator[Item]:
    """An arrow up the page: which way round the sheet goes into the printer."""
    x, y = foot
    shaft, head, tall = 0.8, 2.6, 10.0
    shape = [
        (x - shaft, y),
        (x + shaft, y),
        (x + shaft, y + tall - 4),
        (x + head, y + tall - 4),
        (x, y + tall),
        (x - head, y + tall - 4),
        (x - shaft, y + tall - 4),
    ]
    yield FillMark(Layer.LABEL, (polygon_path(shape),))


def paragraph(lines: tuple[str, ...], centre: Point, height_mm: float = 1.8) -> Iterator[Item]:
    """Lines of text, centred about a point."""
    step = height_mm * 1.85
    top = centre[1] + step * (len(lines) - 1) / 2 - height_mm / 2
    for k, text in enumerate(lines):
        yield words(text, (centre[0], top - k * step), height_mm)
