"""The marks of a sheet as drawing items: corner ticks, check bars, title lines.

A check bar is read between like edges of two equal end lines (left to left, lower to lower), so
that ink spread, which makes both lines wider alike, cancels.
"""

from __future__ import annotations

from itertools import pairwise

from decalprep.geometry import Affine, Line, Path
from decalprep.marks.letters import fitted_text, printable_text, text_width_mm
from decalprep.marks.places import (
    BAND_MM,
    LONG_MM,
    PITCH_MM,
    TEXT_MM,
    BarPlace,
    Corner,
    mark_places,
)
from decalprep.model import Item, Layer, Notice, Sheet, StrokeMark, TextMark

TICK_LINE_MM = 0.2
ACTUAL_SIZE = "print at actual size (100 %)"


def _stroke(layer: Layer, points: list[tuple[float, float]], width: float = 0.2) -> StrokeMark:
    lines = tuple(Line(a, b) for a, b in pairwise(points))
    return StrokeMark(layer, Path(lines, closed=False), width)


def _corner(corner: Corner) -> StrokeMark:
    x, y = corner.x_mm, corner.y_mm
    ends = [(b.x0 + b.x1 - x, b.y0 + b.y1 - y) for b in corner.arms]
    return _stroke(Layer.REGISTRATION, [ends[0], (x, y), ends[1]], TICK_LINE_MM)


def bar_words(bar: BarPlace) -> str:
    """What a check bar says of itself: its length and which edges to measure between.

    >>> bar_words(BarPlace(0.0, 0.0, 50.0, True))
    '50 mm, lower edge to lower edge'
    """
    edges = "lower edge to lower edge" if bar.upward else "left edge to left edge"
    words = f"{bar.length_mm:.0f} mm, {edges}"
    if bar.length_mm < LONG_MM:
        return words
    return f"{words} of the end lines" + ("" if bar.upward else f" · {ACTUAL_SIZE}")


def check_bar(bar: BarPlace) -> tuple[Item, ...]:
    """One check bar: base line, end lines exactly ``length_mm`` apart, a tick each 10 mm, words.

    The inner edge of each end line lies on the box of ``bar``; strokes, not filled boxes, as some
    printers snap filled boxes to their dots.
    """
    turn = 90.0 if bar.upward else 0.0
    sheet_from_bar = Affine.translation(bar.x_mm, bar.y_mm) @ Affine.rotation(turn)
    length = bar.length_mm
    runs = [[(0.0, 0.1), (length, 0.1)], [(0.0, 0.0), (0.0, BAND_MM)]]
    runs += [[(length, 0.0), (length, BAND_MM)]]
    runs += [[(x, 0.1), (x, 0.9)] for x in (10.0 * k for k in range(1, int(length) // 10))]
    items: list[Item] = [
        _stroke(Layer.CHECK_BAR, sheet_from_bar.apply_all(run), 0.2 if k in (1, 2) else 0.12)
        for k, run in enumerate(runs)
    ]
    x, y = sheet_from_bar.apply(length / 2, 1.7)
    words = bar_words(bar)
    items.append(TextMark(Layer.CHECK_BAR, words, x, y, TEXT_MM, turn, anchor="middle"))
    return tuple(items)


def _title_lines(sheet: Sheet, title: str, note: str) -> list[str]:
    places = mark_places(sheet)
    lines = [title, note] if places.lines == 2 else [title, ACTUAL_SIZE, note]
    return [printable_text(line)[0] for line in lines]


def title_width_mm(sheet: Sheet) -> float:
    """Width in mm that a title line of this sheet may take; 0 where there is no room for one."""
    area = mark_places(sheet).title
    return area.width if area else 0.0


def sheet_marks(sheet: Sheet, *, title: str, note: str) -> tuple[Item, ...]:
    """The marks of one sheet as drawing items in sheet mm: ticks, check bars, title and note.

    They lie in ``reserved_zones(sheet)``. What did not fit is told by ``sheet_mark_notices``.

    Raises:
        UsageProblem: the printable area is under 30 mm one way.
    """
    places = mark_places(sheet)
    items: list[Item] = [_corner(corner) for corner in places.corners]
    for bar in places.bars:
        items.extend(check_bar(bar))
    if places.title:
        area = places.title
        y = area.y1 - TEXT_MM
        for line in _title_lines(sheet, title, note):
            shown = fitted_text(line, TEXT_MM, area.width)
            if shown:
                items.append(TextMark(Layer.LABEL, shown, area.x0, y, TEXT_MM))
            y -= PITCH_MM
    return tuple(items)


def sheet_mark_notices(sheet: Sheet, *, title: str, note: str) -> tuple[Notice, ...]:
    """What of the marks was left out, shortened or cannot be lettered on this sheet."""
    places = mark_places(sheet)
    found = list(places.notices)
    lost = printable_text(title + note)[1]
    if lost:
        text = f"the title has letters that the marks' typeface lacks, printed as ?: {lost}"
        found.append(Notice("letters-missing", text, sheet.name))
    if places.title:
        for line in _title_lines(sheet, title, note):
            if text_width_mm(line, TEXT_MM) > places.title.width:
                text = f"title line shortened to fit {places.title.width:.0f} mm: {line}"
                found.append(Notice("title-shortened", text, sheet.name))
    return tuple(found)
