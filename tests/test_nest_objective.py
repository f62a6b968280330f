"""What a nest is judged by after the number of sheets: the rest, pieces together, straight cuts.

Each is shown on a layout small enough to know the best by hand, and the largest rest is measured
again with shapely alone.
"""

from dataclasses import replace

import pytest
import shapely
from shapely.affinity import rotate, translate
from shapely.geometry import Point, box

from decalprep.model import Margins, Sheet
from decalprep.nesting import NestPart, NestSettings, nest
from decalprep.nesting.board import Spot
from decalprep.nesting.objective import score, straight_cuts
from decalprep.nesting.prepare import pieces_of
from decalprep.nesting.regions import kinds_of
from decalprep.nesting.state import Nest, OpenSheet

CARD = Sheet("card", 110, 110, Margins(5, 5, 5, 5))
"""100 x 100 mm to lay on."""
QUICK = NestSettings(gap_mm=2.0, budget=20)


def part(name: str, width: float, height: float, copies: int = 1, panel: str = "") -> NestPart:
    return NestPart(name, copies, box(0, 0, width, height), panel=panel or name)


def free_area(parts, layout):  # type: ignore[no-untyped-def]
    """What is free of the last sheet, the gap kept."""
    shapes = {p.key: p.polygon for p in parts}
    last = len(layout.sheets) - 1
    lying = [
        translate(rotate(shapes[p.decal], p.turn_deg, origin=(0, 0)), p.x_mm, p.y_mm)
        for p in layout.placements
        if p.sheet_index == last
    ]
    return box(5, 5, 105, 105).difference(shapely.union_all(lying).buffer(1.9, join_style="mitre"))


def holds_rectangle(area, width: float, height: float) -> bool:  # type: ignore[no-untyped-def]
    """Whether a rectangle of this size fits somewhere, tried with its corner on a 0.5 mm grid."""
    shapely.prepare(area)
    x0, y0, x1, y1 = area.bounds
    return any(
        area.covers(box(x / 2, y / 2, x / 2 + width, y / 2 + height))
        for x in range(int(2 * x0), int(2 * (x1 - width)) + 1)
        for y in range(int(2 * y0), int(2 * (y1 - height)) + 1)
    )


def test_the_largest_rest_is_left_in_one_rectangle() -> None:
    """Two strips of 48 x 20 end to end leave 100 x 78 mm; one above the other 100 x 56."""
    parts = [part("lamp", 48, 20, 2)]
    layout = nest(parts, [CARD], QUICK)
    wide, high = layout.rest_mm
    assert wide * high >= 0.95 * 100 * 78
    assert holds_rectangle(free_area(parts, layout), wide - 1.0, high - 1.0)


@pytest.mark.parametrize("copies", [1, 3, 5])
def test_the_rest_that_is_told_is_there_and_no_larger_one_in_a_corner(copies: int) -> None:
    parts = [part("helm", 31, 43, copies)]
    layout = nest(parts, [CARD], replace(QUICK, budget=4))
    wide, high = layout.rest_mm
    area = free_area(parts, layout)
    assert holds_rectangle(area, wide - 1.0, high - 1.0)
    assert not holds_rectangle(area, wide + 1.5, high)
    assert not holds_rectangle(area, wide, high + 1.5)


def test_pieces_of_one_panel_come_together_on_one_sheet() -> None:
    """Eight pieces, four a sheet: any pairing needs two sheets, one of them keeps panels whole."""
    parts = [
        part("engine dial", 48, 48, 2, "engine"),
        part("winch dial", 48, 48, 2, "winch"),
        part("engine scale", 48, 47.9, 2, "engine"),
        part("winch scale", 48, 47.9, 2, "winch"),
    ]
    layout = nest(parts, [CARD], QUICK)
    assert len(layout.sheets) == 2
    panels = {(p.decal.split()[0], p.sheet_index) for p in layout.placements}
    assert len(panels) == 2


def test_one_sheet_comes_before_pieces_kept_together() -> None:
    """Panel b is split round a only because one sheet can hold all."""
    parts = [part("a", 60, 60), part("b", 30, 30, 4)]
    assert len(nest(parts, [CARD], QUICK).sheets) == 1


def test_rows_free_every_piece_by_straight_cuts() -> None:
    """Six tiles and one twice as tall: laid in rows, every cut runs from edge to edge."""
    parts = [part("tile", 30, 30, 6), part("tall", 30, 62)]
    layout = nest(parts, [CARD], replace(QUICK, rows=True))
    assert len(layout.sheets) == 1
    assert layout.straight_cuts == 6


# ---------------------------------------------------------------- the terms one by one

Lying = tuple[str, int, float, float]
"""Name, copy, and the lower left corner in mm from that of the printable area."""
SQUARES = [part("a", 40, 40, 2), part("b", 40, 40, 2)]
A1, A2, B1, B2 = ("a", 1), ("a", 2), ("b", 1), ("b", 2)


def laid(parts: list[NestPart], *sheets: tuple[Sheet, list[Lying]]) -> Nest:
    """A nest with every piece where it is told to be; what is told nowhere is left over."""
    pieces = {(p.key, p.copy): p for p in pieces_of(parts, QUICK)}
    found = []
    for sheet, lying in sheets:
        (kind,) = kinds_of((sheet,), QUICK)
        open_sheet = OpenSheet(kind)
        for name, copy, x, y in lying:
            piece = pieces.pop((name, copy))
            step = QUICK.grid_mm
            spot = Spot(piece.shape.turned[0], round(x / step), round(y / step))
            open_sheet.put(piece, 0, spot)
        found.append(open_sheet)
    return Nest(found, list(pieces.values()))


LOW = ((0.0, 0.0), (50.0, 0.0), (0.0, 50.0), (50.0, 50.0))
DIAGONAL = ((0.0, 0.0), (50.0, 50.0))


def at(names, places) -> list[Lying]:  # type: ignore[no-untyped-def]
    return [(*name, *place) for name, place in zip(names, places, strict=False)]


def test_nothing_left_over_comes_first() -> None:
    all_of_it = laid(SQUARES, (CARD, at([A1, B1, A2, B2], LOW)))
    three = laid(SQUARES, (CARD, at([A1, A2, B1], LOW)))
    spread = laid(SQUARES, (CARD, at([A1, B1], DIAGONAL)), (CARD, at([A2, B2], DIAGONAL)))
    assert score(spread, QUICK) < score(three, QUICK)
    assert score(all_of_it, QUICK) < score(spread, QUICK)


def test_less_paper_comes_before_the_rest() -> None:
    large = replace(CARD, name="large", width_mm=160.0)
    small = laid(SQUARES[:1], (CARD, at([A1, A2], DIAGONAL)))
    more = laid(SQUARES[:1], (large, at([A1, A2], LOW)))
    assert score(small, QUICK) < score(more, QUICK)


def test_a_larger_rest_comes_before_togetherness() -> None:
    """Both sheets hold two squares; on the last one they lie end to end, or across."""
    low = laid(SQUARES, (CARD, at([A1, B1], LOW)), (CARD, at([A2, B2], LOW)))
    across = laid(SQUARES, (CARD, at([A1, A2], DIAGONAL)), (CARD, at([B1, B2], DIAGONAL)))
    assert score(low, QUICK) < score(across, QUICK)


def test_togetherness_decides_where_all_else_is_equal() -> None:
    together = laid(SQUARES, (CARD, at([A1, A2], LOW)), (CARD, at([B1, B2], LOW)))
    apart = laid(SQUARES, (CARD, at([A1, B1], LOW)), (CARD, at([A2, B2], LOW)))
    assert score(together, QUICK) < score(apart, QUICK)


def test_straight_cuts_count_only_where_rows_are_asked_for() -> None:
    """Four bars round a middle: no cut runs through. In rows: three cuts free them all."""
    bars = [part("bar", 48, 24, 2), part("post", 24, 48, 2)]
    pinwheel = laid(
        bars,
        (CARD, [("bar", 1, 0, 0), ("post", 1, 52, 0), ("bar", 2, 28, 52), ("post", 2, 0, 28)]),
    )
    rows = laid(
        bars,
        (CARD, [("bar", 1, 0, 0), ("bar", 2, 0, 30), ("post", 1, 50, 0), ("post", 2, 76, 0)]),
    )
    assert straight_cuts(pinwheel) == 0
    assert straight_cuts(rows) == 3
    asked = replace(QUICK, rows=True)
    assert [score(n, QUICK)[-1] for n in (pinwheel, rows)] == [0, 0]
    assert score(rows, asked)[-1] < score(pinwheel, asked)[-1]


SQUARE = Sheet("square", 100, 100, Margins(0, 0, 0, 0))


def test_a_near_miss_of_one_sheet_fewer_is_told_with_what_it_lacked():
    parts = [NestPart("plate", 4, box(0, 0, 50, 46)), NestPart("lamp", 1, box(0, 0, 13, 13))]
    layout = nest(parts, [SQUARE], NestSettings(gap_mm=0.0, budget=40))
    (notice,) = (n for n in layout.notices if n.code == "near-miss")
    assert len(layout.sheets) == 2
    assert "lacked room for 2% of a sheet (lamp); more than 40 passes" in notice.text
    assert dict(notice.numbers)["share"] == pytest.approx(0.0169, abs=1e-6)


def test_no_near_miss_is_told_where_the_fewest_is_proved():
    parts = [NestPart("plate", 5, box(0, 0, 52, 52))]
    layout = nest(parts, [SQUARE], NestSettings(gap_mm=0.0, budget=40))
    assert layout.lower_bound == len(layout.sheets) == 5
    assert "near-miss" not in {n.code for n in layout.notices}


def test_passes_are_saved_where_one_sheet_fewer_is_far_off():
    passes = []
    discs = [NestPart("disc", 2, Point(0, 0).buffer(34))]
    nest(
        discs, [SQUARE], NestSettings(gap_mm=0.0, budget=400), lambda *told: passes.append(told[2])
    )
    assert 100 <= passes[-1] < 200
