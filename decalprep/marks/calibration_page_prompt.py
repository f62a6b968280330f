"""The small picture that shows where to lay the rule for one reading."""

import math

from decalprep.errors import UsageProblem
from decalprep.geometry import Affine, Box, circle_path, polygon_path, rectangle_path
from decalprep.marks.calibration_page_codes import marker_mark
from decalprep.marks.calibration_page_parts import line, tick_side, words
from decalprep.model import Drawing, FillMark, Item, Layer, Sheet, StrokeMark, TargetLayout

_PALE = (0.8, 0.8, 0.8)
_RULE = (0.98, 0.8, 0.3)
_WIDE_MM = 22.0
_OVER_MM = 14.0


def rule_picture(layout: TargetLayout, line_name: str) -> Drawing:
    """The calibration page in grey with a rule laid along one line, its edge on the line.

    Raises:
        UsageProblem: the page has no such line.
    """
    found = [b for b in layout.baselines if b.name == line_name]
    if not found:
        names = ", ".join(b.name for b in layout.baselines)
        raise UsageProblem(f"the page has no line called {line_name!r}", do=f"use one of {names}")
    baseline = found[0]
    (ux, uy), side = baseline.along, tick_side(baseline)
    turn = math.degrees(math.atan2(uy, ux))
    sheet_from_rule = Affine.translation(*baseline.start) @ Affine.rotation(turn)
    long, far = baseline.length_mm, -_WIDE_MM * side
    corners = [(-_OVER_MM, 0.0), (long + _OVER_MM, 0.0), (long + _OVER_MM, far), (-_OVER_MM, far)]
    rule = polygon_path(sheet_from_rule.apply_all(corners))
    # Layers are drawn in their own order: the page, then the rule, then lines and words.
    items = [*_pale_page(layout), FillMark(Layer.CHECK_BAR, (rule,), _RULE)]
    for k in range(0, int(long) + 20, 10):
        ends = [(k - 5.0, 0.0), (k - 5.0, (-6.0 if k % 50 == 0 else -3.5) * side)]
        a, b = sheet_from_rule.apply_all(ends)
        items.append(line(a, b, 0.5, Layer.LABEL))
    for at in (0.0, long):
        a, b = sheet_from_rule.apply_all([(at, 0.0), (at, 12.0 * side)])
        items.append(line(a, b, 1.5, Layer.LABEL))
    place = sheet_from_rule.apply(long / 2, far * (0.75 if side > 0 else 0.5))
    ahead = f"<- 0 of the rule: {baseline.name}"
    text = ahead if side > 0 else f"{baseline.name}: 0 of the rule ->"
    items.append(words(text, place, 6.0, turn_deg=turn if side > 0 else turn - 180.0))
    sheet = Sheet(layout.page, layout.width_mm, layout.height_mm)
    return Drawing(sheet, tuple(items), title=f"Where to lay the rule: {baseline.name}")


def _pale_page(layout: TargetLayout) -> list[Item]:
    border = Box(0.0, 0.0, layout.width_mm, layout.height_mm).grown(-0.5)
    items: list[Item] = [StrokeMark(Layer.REGISTRATION, rectangle_path(border), 1.0)]
    items += [
        FillMark(Layer.REGISTRATION, (circle_path(x, y, layout.disc_diameter_mm),), _PALE)
        for x, y in layout.discs
    ]
    items += [FillMark(Layer.REGISTRATION, marker_mark(m).paths, _PALE) for m in layout.markers]
    return items
