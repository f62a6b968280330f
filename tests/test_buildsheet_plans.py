"""Plans on the build sheets: every hole and every piece can be told from the others."""

import io
import re
from itertools import combinations

import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st
from pypdf import PdfReader

from decalprep.export.buildsheet import BuildSheetPanel, build_sheets_pdf
from decalprep.export.buildsheet_plans import (
    HolePlan,
    PlanHole,
    PlanPiece,
    SheetPlan,
    place_tags,
)
from decalprep.geometry import Box, circle_path, rectangle_path

FRAME = (0.0, 0.0, 280.0, 200.0)


@settings(max_examples=20, deadline=None)
@given(st.data())
def test_tags_keep_apart_and_reach_their_own_hole(data: st.DataObject) -> None:
    pitch = data.draw(st.sampled_from([9.0, 14.0, 30.0]))
    radius = data.draw(st.sampled_from([2.0, 4.0, 20.0])) if pitch == 30.0 else 2.0
    count = data.draw(st.integers(1, 6))
    circles = [(40 + pitch * c, 60 + 2 * pitch * r, radius) for r in range(2) for c in range(count)]
    tags = place_tags(circles, [(12.0, 5.0)] * len(circles), FRAME)
    boxes = [shapely.box(*tag.box) for tag in tags]
    assert all(not a.intersects(b) for a, b in combinations(boxes, 2))
    rings = [shapely.Point(x, y).buffer(r) for x, y, r in circles]
    for k, (tag, box) in enumerate(zip(tags, boxes, strict=True)):
        assert not any(box.intersects(ring) for n, ring in enumerate(rings) if n != k)
        if tag.leader is None:
            assert box.distance(rings[k]) < 2.0
        else:
            line = shapely.LineString(tag.leader)
            assert line.distance(box) < 1e-6
            assert line.distance(rings[k]) < 0.1
            assert not any(line.intersects(ring) for n, ring in enumerate(rings) if n != k)


def test_a_label_goes_inside_a_hole_that_is_large_enough() -> None:
    (tag,) = place_tags([(50.0, 50.0, 20.0)], [(12.0, 5.0)], FRAME)
    assert shapely.Point(50, 50).buffer(20).contains(shapely.box(*tag.box))


def test_labels_keep_off_the_outline() -> None:
    line = [(0.0, 0.0), (100.0, 0.0), (100.0, 80.0), (0.0, 80.0)]
    (tag,) = place_tags([(94.0, 40.0, 2.0)], [(12.0, 5.0)], FRAME, line=line)
    assert not shapely.LinearRing(line).intersects(shapely.box(*tag.box))


@pytest.fixture(scope="module")
def pages() -> list[str]:
    from PIL import Image

    picture = io.BytesIO()
    Image.new("RGB", (40, 30)).save(picture, "PNG")
    ring = tuple(rectangle_path(Box(0, 0, 100, 60)).points())
    spots = (("H1", 10, 10), ("H2", 90, 10), ("shaft", 50, 30))
    holes = tuple(
        PlanHole(name, tuple(circle_path(x, y, 4).points(0.01)), (x, y)) for name, x, y in spots
    )
    boxes = {"winch 1/2": Box(10, 10, 90, 70), "winch 2/2": Box(10, 80, 90, 140)}
    boxes["fog horn"] = Box(120, 10, 126, 16)
    pieces = tuple(
        PlanPiece(k, name, tuple(rectangle_path(box).points()))
        for k, (name, box) in enumerate(boxes.items(), 1)
    )
    panel = BuildSheetPanel("winch", picture.getvalue(), holes=HolePlan(ring, holes))
    plan = SheetPlan("sheet 1 of 1 (A4)", 210, 297, pieces)
    pdf = build_sheets_pdf([panel], "Tug", plans=[plan])
    return [" ".join(page.extract_text().split()) for page in PdfReader(io.BytesIO(pdf)).pages]


def test_every_hole_is_labelled_on_its_panels_page(pages: list[str]) -> None:
    for word in ("Holes by label", "H1", "H2", "shaft"):
        assert word in pages[0]


def test_every_piece_is_named_on_the_sheets_page(pages: list[str]) -> None:
    """One too small for its name has its number, and the name in a list."""
    assert len(pages) == 2
    for word in ("Plan of sheet 1 of 1 (A4)", "1 winch 1/2", "2 winch 2/2", "3 = fog horn"):
        assert word in pages[1]
    assert "1 = winch" not in pages[1]


def test_a_long_list_has_columns_and_says_what_it_leaves_out() -> None:
    """Small pieces on Tabloid, 400 of them: names cut to the column, the rest in the report."""
    from PIL import Image

    picture = io.BytesIO()
    Image.new("RGB", (40, 30)).save(picture, "PNG")
    pieces = tuple(
        PlanPiece(k, f"{'winch ' * 12}{k}", tuple(rectangle_path(Box(x, y, x + 5, y + 5)).points()))
        for k in range(1, 401)
        for x, y in [(10 + 12 * (k % 20), 10 + 12 * (k // 20))]
    )
    plan = SheetPlan("sheet 1 of 1", 279, 432, pieces)
    pdf = build_sheets_pdf([BuildSheetPanel("winch", picture.getvalue())], "Tug", plans=[plan])
    text = PdfReader(io.BytesIO(pdf)).pages[1].extract_text()
    listed = [line for line in text.splitlines() if " = winch" in line]
    left = re.search(r"and (\d+) more: report.html lists all", text)
    assert left is not None
    assert len(listed) + int(left[1]) == 400
    assert all(line.endswith("...") for line in listed)
