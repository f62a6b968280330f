"""Measure the print: decals of a job sheet in scans, judged within what the scans can tell."""

import io
from collections.abc import Iterator
from functools import cache

import numpy as np
import pytest
from PIL import Image
from virtual.hand import Press
from virtual.scanner import Bed, scan_page

from decalprep.calibration import Scanner, mean_scale_uncertainty
from decalprep.errors import InputProblem, ReadingsRefused
from decalprep.geometry import Affine, Box, circle_path, polygon_path, rectangle_path
from decalprep.marks import sheet_marks
from decalprep.model import Drawing, Layer, PrinterRecord, Sheet, StrokeMark
from decalprep.scan import (
    ExpectedPrint,
    PlacedPrint,
    PrintFinding,
    ScanImage,
    ScannerScale,
    Verdict,
    expected_print,
    measure_print,
    place_print,
    print_picture,
)
from decalprep.scan.lines import look_across, sample_lines

A4 = Sheet("A4", 210, 297)
OUTLINES = {
    "helm": rectangle_path(Box(15, 180, 115, 240), 3),
    "gauge": circle_path(160, 210, 60),
    "strip": rectangle_path(Box(15, 40, 40, 170)),
    "corner": polygon_path([(60, 40), (190, 40), (190, 80), (110, 80), (110, 160), (60, 160)]),
}
PRESS = Press(scale_x=0.0008, scale_y=-0.0005, skew=0.0003, ripple_mm=0.01)
BED = Bed(dpi=300, scale_u=0.002, scale_v=-0.001, shear=0.0004, lens3_mm=0.12, noise=4)


def drawing() -> Drawing:
    items = [
        StrokeMark(Layer.CUT_OUTLINE, path, 0.1, (0, 0.5, 0.8), (), name, 1)
        for name, path in OUTLINES.items()
    ]
    marks = [i for i in sheet_marks(A4, title="t", note="n") if isinstance(i, StrokeMark)]
    # The correction is no part of what should be measured: true stays true.
    return Drawing(A4, (*items, *marks), Affine.scaling(1.01))


EXPECTED = expected_print(drawing())


def shot(
    turn: float,
    *,
    dpi: float = 300,
    stretched: tuple[str, float, float] | None = None,
    press: Press = PRESS,
) -> ScanImage:
    """One scan of the sheet; ``stretched`` names a decal printed off by factors across and up."""
    lines = []
    for item in drawing().items:
        assert isinstance(item, StrokeMark)
        p = np.array(item.path.points(0.02))
        p = np.vstack([p, p[:1]]) if item.path.closed else p
        if stretched is not None and item.decal == stretched[0]:
            middle = (p.min(axis=0) + p.max(axis=0)) / 2
            p = middle + (p - middle) * np.array(stretched[1:])
        lines.append((p, item.width_mm))
    bed = Bed(**{**BED.__dict__, "dpi": dpi})
    picture = scan_page(
        press,
        bed,
        np.random.default_rng(int(turn * 10) % 1000),
        discs=np.zeros((0, 2)),
        disc_mm=5,
        filled=[],
        lines=lines,
        turn_deg=turn,
        shift_mm=(1.0, -1.0),
    )
    return ScanImage(f"at {turn:g}", picture, (dpi, dpi))


@cache
def small_pair() -> tuple[ScanImage, ...]:
    return shot(180.3, dpi=200), shot(269.8, dpi=200)


@cache
def pair() -> tuple[ScanImage, ...]:
    return shot(0.4), shot(90.3)


@pytest.fixture(scope="module", autouse=True)
def remembering() -> Iterator[None]:
    """Where a sheet lies in a scan is found once: that is slow, and the scans come often."""
    found: dict[tuple[int, int], tuple[PlacedPrint, ScanImage, ExpectedPrint]] = {}

    def placed(scan: ScanImage, expected: ExpectedPrint) -> PlacedPrint:
        key = (id(scan), id(expected))  # both are kept, so that no other can get their numbers
        if key not in found:
            found[key] = (place_print(scan, expected), scan, expected)
        return found[key][0]

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr("decalprep.scan.sheet.place_print", placed)
        yield


def true_scale(bed: Bed) -> ScannerScale:
    mean = 1 + (bed.scale_u + bed.scale_v) / 2
    return ScannerScale(bed.dpi / 25.4 * mean, 100e-6)


def errors(finding: PrintFinding) -> dict[str, tuple[float, float]]:
    return {d.name: (d.error_x_mm, d.error_y_mm) for d in finding.decals}


def test_sizes_are_found_to_a_hundredth_whatever_the_scanner() -> None:
    found = measure_print(pair(), EXPECTED, tolerance_mm=0.15, scale=true_scale(BED))
    for d in found.decals:
        box = OUTLINES[d.name].box
        assert d.error_x_mm == pytest.approx(0.0008 * box.width, abs=max(0.02, d.range_x_mm))
        assert d.error_y_mm == pytest.approx(-0.0005 * box.height, abs=max(0.02, d.range_y_mm))
        assert d.width_mm == pytest.approx(box.width + d.error_x_mm, abs=1e-6)
        assert d.range_x_mm < 0.06
        assert d.seen_share > 0.8
    by_name = {d.name: d for d in found.decals}
    # Ink lies off where the printer stretches: 52 mm from the middle, 0.0008 of that.
    assert by_name["gauge"].off_x_mm == pytest.approx(0.0008 * 55, abs=0.03)
    assert by_name["helm"].off_y_mm == pytest.approx(-0.0005 * 61.5, abs=0.03)
    assert found.absolute
    assert found.ratio == pytest.approx(-0.0013, abs=120e-6)


def test_a_tenth_in_a_hundred_millimetres_is_found() -> None:
    scans = [shot(t, stretched=("helm", 1.001, 1.0), press=Press()) for t in (0.4, 90.3)]
    found = measure_print(scans, EXPECTED, tolerance_mm=0.06, scale=true_scale(BED))
    by_name = {d.name: d for d in found.decals}
    assert by_name["helm"].error_x_mm == pytest.approx(0.1, abs=0.02)
    assert by_name["helm"].verdict is Verdict.BAD
    assert by_name["helm"].worst_mm == abs(by_name["helm"].error_x_mm)
    assert by_name["gauge"].verdict is Verdict.GOOD
    # Without the scanner's scale the same sheet cannot be judged as finely, and that is said.
    open_ = measure_print(scans, EXPECTED, tolerance_mm=0.06)
    assert {d.verdict for d in open_.decals} == {Verdict.OPEN}
    assert [n.code for n in open_.notices] == ["print-scale-open"]


def test_one_scan_measures_but_does_not_judge() -> None:
    found = measure_print(pair()[:1], EXPECTED, tolerance_mm=0.15, scale=true_scale(BED))
    assert {d.verdict for d in found.decals} == {Verdict.OPEN}
    assert [n.code for n in found.notices] == ["one-scan-only"]
    assert "sizes are open by 0.47 mm over the 130 mm of" in found.notices[0].text
    assert all(
        abs(d.error_x_mm - 0.0008 * OUTLINES[d.name].box.width) < d.range_x_mm for d in found.decals
    )
    known = Scanner(0.003, 0.0004, 0.0, 0.12 * (100 / 108) ** 3)
    better = measure_print(
        pair()[:1], EXPECTED, tolerance_mm=0.5, scale=true_scale(BED), scanner=known
    )
    assert better.decals[0].range_x_mm < found.decals[0].range_x_mm / 3
    assert better.decals[0].verdict is Verdict.GOOD


def test_turns_and_missing_tags() -> None:
    scans = small_pair()
    untagged = [ScanImage(s.name, s.grey) for s in scans]
    tagged = measure_print(scans, EXPECTED, tolerance_mm=0.15)
    plain = measure_print(untagged, EXPECTED, tolerance_mm=0.15)
    for one, two in zip(tagged.decals, plain.decals, strict=True):
        assert one.error_x_mm == pytest.approx(two.error_x_mm, abs=0.005)
        assert one.error_x_mm == pytest.approx(
            0.00065 * OUTLINES[one.name].box.width, abs=max(0.03, one.range_x_mm)
        )


def test_an_outline_that_is_not_there_is_not_measured() -> None:
    more = StrokeMark(Layer.CUT_OUTLINE, circle_path(160, 130, 36), 0.1, (0, 0, 0), (), "ghost", 1)
    ghost = expected_print(Drawing(A4, (*drawing().items, more)))
    found = measure_print(small_pair(), ghost, tolerance_mm=0.15)
    assert found.decals[-1].verdict is Verdict.UNSEEN
    assert found.decals[-1].width_mm == 0


def test_the_picture_shows_each_verdict() -> None:
    found = measure_print(small_pair(), EXPECTED, tolerance_mm=0.15)
    scan = small_pair()[0]
    drawn = Image.open(io.BytesIO(print_picture(place_print(scan, EXPECTED), EXPECTED, found)))
    assert drawn.size[1] == 1600
    picture = np.asarray(drawn).astype(int)
    # A table stands beside the scan.
    assert drawn.size[0] == round(1600 * scan.grey.shape[1] / scan.grey.shape[0]) + 560
    # Amber at the outline of a decal, where the map says it is.
    amber = (picture[:, :, 0] > 140) & (picture[:, :, 2] < 80)
    x, y = found.image_from_mm.apply(*EXPECTED.decals[2].outline[0])
    shrink = 1600 / max(scan.grey.shape)
    c, r = round(x * shrink), round(y * shrink)
    assert amber[r - 3 : r + 4, c - 3 : c + 4].any()


def test_refusals() -> None:
    blank = ScanImage("blank", np.full((1750, 1240), 240, np.uint8), (150, 150))
    with pytest.raises(InputProblem, match="does not show this sheet"):
        measure_print([blank], EXPECTED, tolerance_mm=0.1)
    with pytest.raises(ReadingsRefused, match="turn the page itself"):
        measure_print([small_pair()[0]] * 2, EXPECTED, tolerance_mm=0.1)
    with pytest.raises(InputProblem, match="nothing to measure"):
        measure_print([blank], ExpectedPrint(210, 297, ()), tolerance_mm=0.1)
    others = (circle_path(60, 60, 44), rectangle_path(Box(90, 150, 190, 205), 8))
    drawn = tuple(StrokeMark(Layer.CUT_OUTLINE, p, 0.1, (0, 0, 0), (), "x", 1) for p in others)
    strange = expected_print(Drawing(A4, drawn))
    with pytest.raises(InputProblem, match="does not show this sheet"):
        measure_print(small_pair()[:1], strange, tolerance_mm=0.1)


@pytest.mark.parametrize("left", [40.0, 100.0, 140.0, 200.0])
def test_a_line_at_the_edge_of_an_area_is_not_pulled_aside(left: float) -> None:
    """Ink on one side of the line only: the line's place must not follow the ink."""
    px = 300 / 25.4
    x = (np.arange(600) + 0.5) / px
    cover = np.clip((0.12 / 2 - np.abs(x - 25.03)) * px + 0.5, 0, 1) * 0.9
    ground = 235 - (235 - left) * np.clip((25.03 - x) * px + 0.5, 0, 1)
    row = ground * (1 - cover) + 20 * cover
    kernel = np.exp(-0.5 * (np.arange(-4, 5) / 0.8) ** 2)
    row = np.convolve(row, kernel / kernel.sum(), "same")
    grey = np.tile(row.round().astype(np.uint8), (600, 1))
    samples = sample_lines([[(25.0, 5.0), (25.0, 45.0)]])
    image_from_mm = np.array([[px, 0, 0], [0, px, 0]])
    across = look_across(grey, image_from_mm, samples, reach_mm=0.5)
    # Ink as dark as the line hides it; that is not seen rather than seen in the wrong place.
    assert across.seen.all() or left < 60
    # The normal of an upward line points left.
    if across.seen.any():
        assert np.median(across.offsets_mm[across.seen]) == pytest.approx(-0.03, abs=0.02)


def test_the_record_says_how_well_the_mean_scale_is_known() -> None:
    record = PrinterRecord("p", "s", u_scale_x=3e-4, u_scale_y=4e-4)
    assert mean_scale_uncertainty(record) == pytest.approx(2.5e-4)
