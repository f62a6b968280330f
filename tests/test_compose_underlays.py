"""Underlays lie in register with their decals, and the pieces' own ticks collide with nothing."""

import shapely
from sheet_samples import winch_panel

from decalprep.compose import ComposeSettings, compose_sheets, underlay_drawings
from decalprep.compose.pieces import Piece
from decalprep.geometry import Box, rectangle_path
from decalprep.model import FillMark, Layer, Placement, PrinterRecord, Sheet, StrokeMark
from decalprep.outline.legend import LegendShapes
from decalprep.outline.lightblock import pair_ticks, underlay

A4 = Sheet("A4", 210.0, 297.0)
PLACES = [Placement("winch panel", 1, 0, 20, 30), Placement("winch panel", 2, 0, 130, 30, 90)]
BAR = rectangle_path(Box(20, 30, 40, 34))


def made(placements, decal=None):
    decal = decal or winch_panel(copies=len(placements))
    legend = LegendShapes(BAR.polygon(), "drawn shapes", 0.0)
    under = underlay(decal.outline, legend, name=decal.name)
    ticks = tuple(StrokeMark(Layer.REGISTRATION, t) for t in pair_ticks(decal.outline))
    settings = ComposeSettings("Harbour tug", decal_marks=((decal.name, ticks),))
    record = PrinterRecord("desk laser", "film", scale_x=0.002)
    sheets = [A4] * (1 + max(p.sheet_index for p in placements))
    args = ([decal], placements, sheets, settings, record)
    return compose_sheets(*args), underlay_drawings([under], *args), decal


def own_ticks(drawing):
    ticks = [i for i in drawing.items if i.layer is Layer.REGISTRATION and i.decal]
    return sorted((t.copy, *(round(v, 6) for p in t.path.points() for v in p)) for t in ticks)


def test_openings_lie_under_the_legend():
    _, (drawing,), _ = made(PLACES)
    fields = [i for i in drawing.items if isinstance(i, FillMark) and i.layer is Layer.UNDERLAY]
    assert [f.copy for f in fields] == [1, 2]
    for field, placement in zip(fields, PLACES, strict=True):
        m = placement.sheet_from_fitted
        bar = BAR.mapped(m).box.grown(-0.4)
        holes = [p.box for p in field.paths if p.box.width < 30 and p.box.height < 30]
        assert any(h.contains(bar, 0.01) and bar.contains(h, 0.01) for h in holes), (holes, bar)
    assert drawing.page_from_sheet.a < 1
    assert "underlay of sheet 1 of 1" in drawing.title


def test_both_layers_keep_the_same_ticks():
    (top,), (under,), _ = made(PLACES)
    assert own_ticks(top) == own_ticks(under)
    assert len(own_ticks(top)) == 16


def test_ticks_on_neighbours_are_left_out_of_both_layers():
    near = [Placement("winch panel", 1, 0, 20, 30), Placement("winch panel", 2, 0, 82, 30)]
    (top,), (under,), decal = made(near)
    assert own_ticks(top) == own_ticks(under)
    assert len(own_ticks(top)) < 16
    areas = [Piece(decal, p, ComposeSettings()).area for p in near]
    for item in top.items:
        if item.layer is Layer.REGISTRATION:
            line = shapely.LineString(item.path.points())
            assert not any(line.intersects(area) for area in areas)


def test_piece_without_room_for_ticks_is_told():
    places = [
        Placement("winch panel", 3 * r + c + 1, 0, 12 + 60.5 * c, 20 + 40.5 * r)
        for r in range(3)
        for c in range(3)
    ]
    (top,), _, _ = made(places)
    told = [n.subject for n in top.notices if n.code == "piece-ticks-left-out"]
    assert "winch panel 5" in told


def test_sheets_without_underlay_make_none():
    places = [PLACES[0], Placement("winch panel", 2, 1, 20, 30)]
    top, under, decal = made(places)
    assert len(top) == len(under) == 2
    codes = [[n.code for n in d.notices].count("underlay-layers") for d in under]
    assert codes == [1, 0]
    assert underlay_drawings([], [decal], places, [A4, A4]) == ()
