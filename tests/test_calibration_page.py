"""The calibration page: what stands where, and that nothing stands on anything else."""

import math
from itertools import combinations

import cv2
import pytest
from hypothesis import given
from hypothesis import strategies as st
from shapely.geometry import LineString, Point, box

from decalprep.errors import UsageProblem
from decalprep.geometry import Affine
from decalprep.marks.calibration_page import calibration_page, stamp
from decalprep.marks.calibration_page_codes import (
    PAGE_KINDS,
    marker_numbers,
    page_code,
    page_digits,
    pattern_of,
    place_of,
    read_identity,
)
from decalprep.marks.calibration_page_layout import (
    LONGEST_MM,
    VERNIER_MM,
    known_layout,
    target_layout,
)
from decalprep.marks.calibration_page_prompt import rule_picture
from decalprep.marks.letters import text_width_mm
from decalprep.model import FillMark, Layer, Sheet, StrokeMark, TextMark
from decalprep.units import PAGE_SIZES_MM

LONG = "a printer with a very long name, on stock with a name longer still, " * 3


def sheet(name: str) -> Sheet:
    width, height = PAGE_SIZES_MM[name]
    return Sheet(name, width, height)


def words_box(mark: TextMark) -> object:
    long = text_width_mm(mark.text, mark.height_mm)
    start = {"start": 0.0, "middle": -long / 2, "end": -long}[mark.anchor]
    turn = Affine.translation(mark.x_mm, mark.y_mm) @ Affine.rotation(mark.turn_deg)
    line = [turn.apply(start, mark.height_mm / 2), turn.apply(start + long, mark.height_mm / 2)]
    return LineString(line).buffer(mark.height_mm / 2, cap_style="flat")


@pytest.mark.parametrize("name", PAGE_KINDS)
def test_nothing_is_printed_over_a_disc_or_a_marker(name: str) -> None:
    layout = target_layout(sheet(name), record_name="r", correction=Affine())
    drawing = calibration_page(sheet(name), record_name=LONG, note="a note " * 30)
    clear = [Point(d).buffer(layout.disc_diameter_mm / 2 + 0.05) for d in layout.discs]
    quiet = [
        box(*m.corners[3], *m.corners[1]).buffer(1.5, join_style="mitre") for m in layout.markers
    ]
    shapes = [words_box(i) for i in drawing.items if isinstance(i, TextMark)]
    shapes += [
        LineString(i.path.points()).buffer(i.width_mm / 2)
        for i in drawing.items
        if isinstance(i, StrokeMark)
    ]
    for target in clear + quiet:
        assert not any(target.intersects(shape) for shape in shapes)
    for a, b in combinations(clear + quiet, 2):
        assert not a.intersects(b)


@pytest.mark.parametrize("name", PAGE_KINDS)
def test_the_ends_of_the_baselines_keep_clear_of_each_other(name: str) -> None:
    layout = target_layout(sheet(name), record_name="r", correction=Affine())
    ends = []
    for b in layout.baselines:
        side = -1 if b.name == "diag2" else 1
        (ux, uy), reach = b.along, 7.5
        for x, y in (b.start, b.end):
            a = (x - 1 * ux, y - 1 * uy)
            c = (x + (VERNIER_MM + 1) * ux, y + (VERNIER_MM + 1) * uy)
            ends.append(LineString([a, c]).buffer(side * reach, single_sided=True))
    for one, two in combinations(ends, 2):
        assert not one.intersects(two)
    drawing = calibration_page(sheet(name), record_name=LONG, note="a note " * 30)
    texts = [i for i in drawing.items if isinstance(i, TextMark) and len(i.text) > 8]
    for end in ends:
        assert not any(end.intersects(words_box(text)) for text in texts)


@pytest.mark.parametrize("name", PAGE_KINDS)
def test_baselines_suit_a_300_mm_rule_and_the_targets_keep_15_mm_clear(name: str) -> None:
    page = sheet(name)
    layout = target_layout(page, record_name="r", correction=Affine())
    assert [b.name for b in layout.baselines] == [
        "across1",
        "across2",
        "down1",
        "down2",
        "diag1",
        "diag2",
    ]
    inside = box(15, 15, page.width_mm - 15, page.height_mm - 15)
    for b in layout.baselines:
        assert 160 <= b.length_mm <= LONGEST_MM
        ends = [b.start, b.end, (b.end[0] + 9 * b.along[0], b.end[1] + 9 * b.along[1])]
        assert all(inside.buffer(1e-6).contains(Point(p)) for p in ends)
        assert b.read
        assert b.lay
    assert all(inside.contains(Point(d).buffer(2.5)) for d in layout.discs)
    across = math.atan2(layout.baselines[4].along[1], layout.baselines[4].along[0])
    assert 0.6 < across < 1.2


def test_the_page_size_is_found_by_measure_and_others_are_refused() -> None:
    assert target_layout(Sheet("mine", 210.1, 297.0), record_name="", correction=Affine()).page
    with pytest.raises(UsageProblem, match="lies on its side"):
        calibration_page(Sheet("A4 wide", 297, 210), record_name="r")
    with pytest.raises(UsageProblem, match="no calibration page for a sheet of 100 x 150 mm"):
        calibration_page(Sheet("card", 100, 150), record_name="r")


def test_the_patterns_are_those_of_the_published_dictionary() -> None:
    # Source: OpenCV, objdetect, DICT_5X5_250, read through its own drawing function.
    dictionary = cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_5X5_250)
    for number in range(250):
        picture = cv2.aruco.generateImageMarker(dictionary, number, 7)
        assert [[p < 128 for p in row] for row in picture] == [list(r) for r in pattern_of(number)]


@given(
    st.sampled_from(PAGE_KINDS),
    st.tuples(*[st.integers(0, 40)] * 4),
)
def test_identity_comes_back(page: str, digits: tuple[int, int, int, int]) -> None:
    numbers = marker_numbers(page, 1, digits)
    assert [place_of(n) for n in numbers] == list(range(6))
    seen = dict(enumerate(numbers))
    assert read_identity(seen) == (page, 1, digits)
    without = {k: v for k, v in seen.items() if k not in (0, 2)}
    assert read_identity(without) == (page, 1, None)
    layout = known_layout(page, 1, digits)
    assert layout is not None
    assert tuple(m.code for m in layout.markers) == numbers
    assert known_layout(page, 3, digits) is None


def test_two_pages_that_disagree_have_no_identity() -> None:
    a = marker_numbers("A4", 1, (1, 2, 3, 4))
    b = marker_numbers("Letter", 1, (1, 2, 3, 4))
    assert read_identity({0: a[0], 5: b[5]}) is None
    assert read_identity({}) is None


def test_another_correction_or_record_gives_another_code() -> None:
    codes = {
        page_code(page_digits(name, m))
        for name in ("one", "two")
        for m in (Affine(), Affine(a=1.001), Affine(d=1.001), Affine(c=0.001))
    }
    assert len(codes) == 8
    assert all(len(c) == 5 for c in codes)


def test_the_correction_is_set_and_stamped() -> None:
    correction = Affine(a=0.9992, d=1.0011, c=-0.0003).about(105, 148.5)
    drawing = calibration_page(sheet("A4"), record_name="r", correction=correction)
    assert drawing.page_from_sheet == correction
    texts = [i.text for i in drawing.items if isinstance(i, TextMark)]
    assert stamp(correction) in texts
    assert "0.999200" in stamp(correction)
    assert "-0.000300" in stamp(correction)
    assert any("ACTUAL SIZE" in t for t in texts)
    bars = [i for i in drawing.items if isinstance(i, StrokeMark) and i.layer == Layer.CHECK_BAR]
    assert max(i.path.box.width for i in bars) == pytest.approx(100.0, abs=1e-9)
    discs = [i for i in drawing.items if isinstance(i, FillMark) and i.layer == Layer.TARGET]
    assert len(discs) == 88 + 6


@pytest.mark.parametrize("name", ["across1", "down2", "diag1", "diag2"])
def test_the_prompt_picture_lays_the_rule_beside_the_ticks(name: str) -> None:
    layout = target_layout(sheet("A4"), record_name="r", correction=Affine())
    picture = rule_picture(layout, name)
    (rule,) = [i for i in picture.items if isinstance(i, FillMark) and i.layer is Layer.CHECK_BAR]
    area = rule.paths[0].polygon()
    baseline = next(b for b in layout.baselines if b.name == name)
    way = LineString([baseline.start, baseline.end])
    assert area.exterior.distance(way) < 1e-6
    # The vernier ticks lie on the other side of the line.
    page = calibration_page(sheet("A4"), record_name="r")
    ticks = [
        i.path.points() for i in page.items if isinstance(i, StrokeMark) and i.layer is Layer.TARGET
    ]
    ends = (baseline.start, baseline.end)
    near = [t for t in ticks if min(math.dist(t[0], end) for end in ends) < 1e-6]
    assert len(near) == 2
    assert not any(area.contains(Point(t[1])) for t in near)
    with pytest.raises(UsageProblem, match="no line called"):
        rule_picture(layout, "sideways")


@pytest.mark.parametrize("record", ["", "office laser / plain paper", "desk inkjet, label stock"])
def test_names_of_common_length_are_printed_whole(record: str) -> None:
    drawing = calibration_page(sheet("A4"), record_name=record)
    texts = [i.text for i in drawing.items if isinstance(i, TextMark)]
    assert not [t for t in texts if t.endswith("…")]
    assert any(f"record: {record or 'none'}" in t for t in texts)
