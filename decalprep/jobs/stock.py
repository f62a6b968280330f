"""What is known of part-used sheets, and what is marked as gone from them."""

from __future__ import annotations

import re
from collections.abc import Sequence
from pathlib import Path

from decalprep.errors import DecalprepError, UsageProblem
from decalprep.geometry import Box
from decalprep.jobs.leftovers import left_words, stock_name
from decalprep.model import Sheet
from decalprep.records import list_sheets, load_sheet, read_sheet, take_from_sheet
from decalprep.units import parse_length_mm

_LABELS = re.compile(r"(\d+)(?:-(\d+))?$")


def stock_lines(folder: Path) -> list[str]:
    """One line a remembered sheet: its name, what it is, what is left of it."""
    lines = []
    for name, path in list_sheets(folder).items():
        try:
            lines.append(_line(read_sheet(path)))
        except DecalprepError as problem:
            lines.append(f"{name}: {path.name} {problem.found}")
    return lines or ["No part-used sheet is remembered ('decalprep make JOB --keep-leftovers')."]


def _line(sheet: Sheet) -> str:
    kind = stock_name(sheet)
    # A rest that a run named is called by its kind already.
    named = sheet.name == kind or sheet.name.startswith(f"{kind} (")
    return f"{sheet.name}: {left_words(sheet) if named else f'{kind}, {left_words(sheet)}'}"


def mark_gone(folder: Path, name: str, words: Sequence[str]) -> list[str]:
    """Marks labels and rectangles of a remembered sheet as gone; says what is left.

    Raises:
        InputProblem: there is no such sheet.
        UsageProblem: an area that is none, or lies outside the sheet.
    """
    sheet = load_sheet(folder, name)
    labels: list[int] = []
    boxes: list[Box] = []
    for word in words:
        if match := _LABELS.match(word.strip()):
            labels += _labels(match, sheet, word)
        else:
            boxes.append(_box(word, sheet))
    return [_line(take_from_sheet(folder, sheet, areas=boxes, labels=labels))]


def _labels(match: re.Match[str], sheet: Sheet, word: str) -> list[int]:
    first, last = int(match[1]), int(match[2] or match[1])
    count = sheet.grid.rows * sheet.grid.columns if sheet.grid else 0
    if not 1 <= first <= last <= count:
        raise UsageProblem(f"labels {word!r}: the sheet has {count}", do="give 4 or 4-6")
    return list(range(first, last + 1))


def _box(word: str, sheet: Sheet) -> Box:
    parts = word.split(",")
    if len(parts) != 4:
        raise UsageProblem(
            f"the area {word!r} is none", do='give left,bottom,width,height as "0mm,0mm,80mm,60mm"'
        )
    x, y, width, height = (parse_length_mm(part) for part in parts)
    box = Box(x, y, x + width, y + height)
    inside = x >= 0 and y >= 0 and box.x1 <= sheet.width_mm and box.y1 <= sheet.height_mm
    if width <= 0 or height <= 0 or not inside:
        raise UsageProblem(
            f"the area {word!r} is not on the sheet",
            do=f"it is {sheet.width_mm:g} x {sheet.height_mm:g} mm, from its lower left corner",
        )
    return box
