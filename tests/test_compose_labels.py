"""Names beside the pieces: none touches a piece, a mark, a margin or another name."""

import dataclasses

import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st
from sheet_samples import lamp, make_artwork, winch_panel

from decalprep.compose import ComposeSettings, compose_sheets
from decalprep.compose.pieces import Piece
from decalprep.geometry import Box, rectangle_path
from decalprep.marks import descent_mm, label_cells, reserved_zones, text_width_mm
from decalprep.model import Decal, DieCutGrid, FillMark, Layer, Placement, Sheet, TextMark

A4 = Sheet("A4", 210.0, 297.0)


def ink_box(mark):
    """The area of a label's letters, descenders included unless it is a number."""
    w = text_width_mm(mark.text, mark.height_mm)
    low = 0.0 if mark.text.isdigit() else descent_mm(mark.height_mm)
    if mark.turn_deg == 90:
        return shapely.box(mark.x_mm - mark.height_mm, mark.y_mm, mark.x_mm + low, mark.y_mm + w)
    assert mark.turn_deg == 0
    return shapely.box(mark.x_mm, mark.y_mm - low, mark.x_mm + w, mark.y_mm + mark.height_mm)


def labels_of(drawing):
    return [i for i in drawing.items if isinstance(i, TextMark) and i.decal]


def shapes_of(drawing):
    """Everything printed for labels, as shapes: names, keys and pointers."""
    texts = [i for i in drawing.items if isinstance(i, TextMark) and i.layer is Layer.LABEL]
    fills = [i for i in drawing.items if isinstance(i, FillMark) and i.layer is Layer.LABEL]
    return [ink_box(t) for t in texts] + [p.polygon() for f in fills for p in f.paths]


def check(drawing, decals, placements):
    """No label touches what it must not, and each is large enough to read."""
    by_name = {d.name: d for d in decals}
    pieces = [Piece(by_name[p.decal], p, ComposeSettings()).area for p in placements]
    solid = shapely.union_all(pieces)
    shapes = shapes_of(drawing)
    inside = drawing.sheet.printable
    for k, one in enumerate(shapes):
        assert not one.intersects(solid)
        assert inside.contains(Box(*one.bounds))
        assert not any(one.intersects(other) for other in shapes[k + 1 :])
    zones = shapely.union_all(list(reserved_zones(drawing.sheet)))
    for mark in labels_of(drawing):
        assert mark.height_mm >= 1.5
        assert not ink_box(mark).intersects(zones)
        own = next(
            area
            for area, p in zip(pieces, placements, strict=True)
            if (p.decal, p.copy) == (mark.decal, mark.copy)
        )
        assert ink_box(mark).distance(own) < 2.0


def left_out(drawing, code="label-left-out"):
    """How many pieces the notices of that kind are about."""
    return sum(int(dict(n.numbers)["left_out"]) for n in drawing.notices if n.code == code)


def assert_clear(drawing):
    """A name with another within 3 mm has a pointer; keys stand 1.5 mm from all names."""
    labels = labels_of(drawing)
    pointed = {
        (i.decal, i.copy)
        for i in drawing.items
        if isinstance(i, FillMark) and i.layer is Layer.LABEL
    }
    for one in labels:
        near = [o for o in labels if o is not one and ink_box(o).distance(ink_box(one)) < 2.5]
        assert not near or (one.decal, one.copy) in pointed, one.text
    keys = [i for i in drawing.items if isinstance(i, TextMark) and " = " in i.text]
    for key in keys:
        assert all(ink_box(key).distance(ink_box(one)) > 1.4 for one in labels)


def grid(name, columns, rows, pitch, start=(20.0, 20.0)):
    return [
        Placement(name, r * columns + c + 1, 0, start[0] + c * pitch, start[1] + r * pitch)
        for r in range(rows)
        for c in range(columns)
    ]


def test_single_piece_has_its_name_under_it():
    placements = [Placement("winch panel", 1, 0, 60, 100)]
    drawing = compose_sheets([winch_panel()], placements, [A4])[0]
    (label,) = labels_of(drawing)
    assert (label.text, label.turn_deg, label.height_mm) == ("winch panel", 0.0, 1.8)
    check(drawing, [winch_panel()], placements)


@pytest.mark.parametrize("pitch", [20.0, 15.0, 14.0, 13.0])
def test_dense_grid_is_named_or_numbered_with_a_key(pitch):
    decal = lamp(copies=30)
    placements = grid("lamp", 5, 6, pitch)
    drawing = compose_sheets([decal], placements, [A4])[0]
    check(drawing, [decal], placements)
    assert {(m.decal, m.copy) for m in labels_of(drawing)} == {("lamp", k) for k in range(1, 31)}
    assert drawing.notices == ()
    assert_clear(drawing)
    texts = [i.text for i in drawing.items if isinstance(i, TextMark)]
    for mark in labels_of(drawing):
        if mark.text.isdigit():
            assert f"{mark.text} = lamp {mark.copy}/30" in texts
        else:
            assert mark.text == f"lamp {mark.copy}/30"


def test_full_sheet_tells_which_labels_it_left_out():
    decal = lamp(copies=120)
    placements = grid("lamp", 10, 12, 12.05, (12.5, 18.0))
    sheet = Sheet("own", 140.0, 170.0)
    drawing = compose_sheets([decal], placements, [sheet])[0]
    check(drawing, [decal], placements)
    named = {m.copy for m in labels_of(drawing)}
    assert left_out(drawing) + len(named) == 120
    numbers = [m for m in labels_of(drawing) if m.text.isdigit()]
    shown = [i for i in drawing.items if isinstance(i, TextMark) and " = lamp" in i.text]
    assert left_out(drawing, "label-key-left-out") + len(shown) == len(numbers)
    assert len(drawing.notices) <= 2  # one for each sheet and kind, not one for each piece
    assert all("build-sheets.pdf" in n.text for n in drawing.notices)


@settings(max_examples=15, deadline=None)
@given(st.data())
def test_random_rows_of_pieces(data):
    placements, y = [], 20.0
    for row in range(4):
        x = 20.0
        gap = data.draw(st.sampled_from([0.6, 2.0, 3.0, 5.0]))
        for _ in range(4):
            turn = data.draw(st.sampled_from([0.0, 180.0]))
            at = (x, y) if turn == 0 else (x + 12, y + 12)
            placements.append(Placement("lamp", len(placements) + 1, 0, *at, turn))
            x += 12 + gap
        y += 12 + (gap if row % 2 else 2.0)
    decal = lamp(copies=len(placements))
    drawing = compose_sheets([decal], placements, [A4])[0]
    check(drawing, [decal], placements)
    assert len(labels_of(drawing)) + left_out(drawing) == len(placements)
    assert_clear(drawing)


def test_near_neighbours_get_a_pointer_on_the_right_side():
    strip = Decal(
        "alarm strip", "alarms", make_artwork(188, 12), rectangle_path(Box(0, 0, 188, 12)), "u"
    )
    decals = [dataclasses.replace(strip, name=f"alarm strip {k}") for k in range(5)]
    placements = [Placement(d.name, 1, 0, 13.2, 60.0 + 14.9 * k) for k, d in enumerate(decals)]
    drawing = compose_sheets(decals, placements, [A4])[0]
    check(drawing, decals, placements)
    assert {m.text for m in labels_of(drawing)} == {d.name for d in decals}
    pointers = [i for i in drawing.items if isinstance(i, FillMark)]
    assert len(pointers) >= 3
    for mark in pointers:
        own = decals.index(next(d for d in decals if d.name == mark.decal))
        area = Piece(decals[own], placements[own], ComposeSettings()).area
        tip, *back = (shapely.Point(p) for p in mark.paths[0].points())
        assert all(tip.distance(area) < p.distance(area) - 0.1 for p in back)


def test_labels_keep_off_unused_die_cut_labels():
    cells = DieCutGrid(4, 2, 80.0, 50.0, 20.0, 30.0, 85.0, 55.0)
    sheet = Sheet("labels", 210.0, 297.0, grid=cells)
    first = label_cells(sheet)[0]
    placements = [Placement("winch panel", 1, 0, first.x0 + 5, first.y0 + 2)]
    drawing = compose_sheets([winch_panel()], placements, [sheet])[0]
    (label,) = labels_of(drawing)
    edges = [shapely.box(c.x0, c.y0, c.x1, c.y1) for c in label_cells(sheet)]
    assert not any(ink_box(label).intersects(cell) for cell in edges[1:])
    assert not ink_box(label).intersects(edges[0].exterior)


def test_letters_the_typeface_lacks_are_told():
    decal = lamp(name="\u8239 lamp")
    drawing = compose_sheets([decal], [Placement(decal.name, 1, 0, 50, 50)], [A4])[0]
    assert labels_of(drawing)[0].text == "? lamp"
    assert [n.code for n in drawing.notices] == ["letters-missing"]
