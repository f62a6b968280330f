"""Compare with the part: a virtual part and a virtual print on the same virtual scanner."""

import io
import math

import cv2
import numpy as np
import pytest
import shapely
from PIL import Image
from virtual.hand import Press
from virtual.scanner import Bed, scan_page

from decalprep.errors import InputProblem, ReadingsRefused
from decalprep.geometry import Affine, Box, rectangle_path
from decalprep.scan import (
    ExpectedPrint,
    ScanImage,
    SheetDecal,
    SheetHole,
    compare_with_part,
    find_part,
    part_picture,
)

BED = Bed(dpi=300, scale_u=0.003, scale_v=-0.002, shear=0.0005, width_mm=170, height_mm=130)
WIDTH, HEIGHT = 150.0, 110.0
OUTLINE = rectangle_path(Box(15, 15, 135, 95), 3).points(0.02)
DECAL = SheetDecal("helm", 1, (*OUTLINE, OUTLINE[0]))
MARKS = (((5.0, 5.0), (5.0, 20.0)), ((5.0, 5.0), (20.0, 5.0)), ((140.0, 105.0), (145.0, 105.0)))
EXPECTED = ExpectedPrint(WIDTH, HEIGHT, (DECAL,), MARKS)
HOLES = (
    SheetHole("h1", 25, 25, 4.5),
    SheetHole("h2", 125, 25, 4.5),
    SheetHole("h3", 125, 85, 4.5),
    SheetHole("h4", 25, 85, 4.5),
    SheetHole("sw", 75, 55, 12.2),
)
PRESS = Press(scale_x=0.0005, scale_y=0.001, half_height_mm=HEIGHT / 2)


def sheet_scan() -> ScanImage:
    lines = [(np.array(p, float), 0.15) for p in (DECAL.outline, *MARKS)]
    picture = scan_page(
        PRESS,
        BED,
        np.random.default_rng(1),
        discs=np.zeros((0, 2)),
        disc_mm=5,
        filled=[],
        lines=lines,
        turn_deg=0.3,
        size_mm=(WIDTH, HEIGHT),
    )
    return ScanImage("sheet", picture, (300, 300))


def part_scan(
    error: tuple[float, float, float] = (0.0, 0.0, 0.0),
    *,
    turn_deg: float = -0.4,
    moved: dict[str, tuple[float, float]] | None = None,
    without: tuple[str, ...] = (),
    grey: float = 70,
    grown_mm: float = 0.0,
    bump_mm: float = 0.0,
) -> ScanImage:
    """A grey plate on white, drawn four times finer and reduced."""
    sx, sy, k = error
    c, s = math.cos(math.radians(turn_deg)), math.sin(math.radians(turn_deg))

    def see(points: np.ndarray) -> np.ndarray:
        p = points - (75, 55)
        x, y = p[:, 0] * (1 + sx) + k * p[:, 1], p[:, 1] * (1 + sy)
        col, row = BED.sees(c * x - s * y + 2, s * x + c * y - 3)
        return np.column_stack([col, row])

    def ring(hole: SheetHole) -> np.ndarray:
        a = np.linspace(0, 2 * math.pi, 200)[:-1]
        dx, dy = (moved or {}).get(hole.name, (0, 0))
        r = hole.diameter_mm / 2 - 0.1
        return np.column_stack([hole.x_mm + dx + r * np.cos(a), hole.y_mm + dy + r * np.sin(a)])

    px = BED.dpi / 25.4
    fine = 4
    shape = (round(BED.height_mm * px) * fine, round(BED.width_mm * px) * fine)
    picture = np.full(shape, 245, np.uint8)
    edge = np.array(shapely.Polygon(OUTLINE).buffer(grown_mm).exterior.segmentize(0.5).coords)
    # A bump on the right edge about 70 mm up, some 12 mm long.
    edge[:, 0] += bump_mm * np.exp(-(((edge[:, 1] - 70) / 6) ** 2)) * (edge[:, 0] > 134)
    rings = [edge, *(ring(h) for h in HOLES if h.name not in without)]
    cv2.fillPoly(
        picture, [np.round(see(r) * fine * 16 - 8).astype(np.int32) for r in rings], grey, 8, 4
    )
    small = cv2.resize(picture, None, fx=1 / fine, fy=1 / fine, interpolation=cv2.INTER_AREA)
    noisy = small + np.random.default_rng(5).normal(0, 3, small.shape)
    return ScanImage("part", np.clip(noisy, 0, 255).round().astype(np.uint8), (300, 300))


@pytest.fixture(scope="module")
def sheet() -> ScanImage:
    return sheet_scan()


def compared(sheet: ScanImage, part: ScanImage):
    return compare_with_part(part, sheet, EXPECTED, DECAL, HOLES, part="helm plate")


def test_the_scanner_cancels(sheet: ScanImage) -> None:
    # Part and print have the same error: through any scanner nothing is off.
    found = compared(sheet, part_scan((0.0005, 0.001, 0.0)))
    assert len(found.holes) == 5
    assert max(h.distance_mm for h in found.holes) < 0.03
    assert found.fitted is not None
    assert abs(found.fitted.scale_x) < 2e-4
    assert abs(found.fitted.scale_y) < 3e-4
    assert "cancels" in found.notices[0].text
    assert found.part_size_mm == pytest.approx((120, 80), abs=0.15)


def test_a_shrunk_part_shows_at_its_holes_and_is_fitted(sheet: ScanImage) -> None:
    found = compared(sheet, part_scan((-0.0045, -0.003, 0.002)))
    assert found.fitted is not None
    # Against the print, which is itself too large.
    assert found.fitted.scale_x == pytest.approx(-0.005, abs=3e-4)
    assert found.fitted.scale_y == pytest.approx(-0.004, abs=3e-4)
    assert found.fitted.skew == pytest.approx(0.002, abs=4e-4)
    assert found.left_mm < 0.03
    by_name = {h.name: h for h in found.holes}
    # The legend at a corner hole lies outside the hole by what the part is short: 50 mm, 0.005.
    assert by_name["h2"].dx_mm == pytest.approx(0.25, abs=0.06)
    assert by_name["h4"].dx_mm == pytest.approx(-0.25, abs=0.06)
    assert by_name["sw"].distance_mm < 0.03
    assert by_name["sw"].part_diameter_mm == pytest.approx(12.0 * 0.9955, abs=0.05)


def test_one_hole_out_of_place_is_seen_there(sheet: ScanImage) -> None:
    found = compared(sheet, part_scan((0.0005, 0.001, 0.0), moved={"sw": (0.6, 0.0)}))
    by_name = {h.name: h for h in found.holes}
    assert by_name["sw"].dx_mm < -0.4
    assert by_name["h1"].distance_mm < 0.2


def test_a_light_part_on_dark_ground_and_a_missing_hole(sheet: ScanImage) -> None:
    part = part_scan((0.0005, 0.001, 0.0), without=("h3",))
    light = ScanImage("part", 255 - part.grey, (300, 300))
    found = compared(sheet, light)
    assert found.missing == ("h3",)
    assert [n.code for n in found.notices] == ["same-scanner", "part-holes-missing"]
    assert max(h.distance_mm for h in found.holes) < 0.03


def test_the_edge_is_compared_place_by_place(sheet: ScanImage) -> None:
    found = compared(sheet, part_scan((0.0005, 0.001, 0.0), grown_mm=0.15, bump_mm=0.6))
    edge = found.edge
    assert edge is not None
    assert edge.share > 0.95
    # Larger all round by 0.15 mm but for the bump; corners are left out.
    assert float(np.median(edge.off_mm)) == pytest.approx(0.15, abs=0.02)
    assert min(edge.off_mm) > 0.08
    assert edge.overhang_mm == 0
    x, y = edge.places_mm[edge.worst]
    assert (x, y) == pytest.approx((135, 70), abs=2)
    assert edge.outward[edge.worst] == pytest.approx((1, 0), abs=0.01)
    assert edge.off_mm[edge.worst] == pytest.approx(0.75, abs=0.05)
    assert edge.uneven_mm == pytest.approx(0.6, abs=0.1)
    # A smaller part is what the decal hangs over; a fitted decal takes that out.
    small = compared(sheet, part_scan((-0.0045, -0.003, 0.0))).edge
    assert small is not None
    assert small.left_mm is not None
    assert small.overhang_mm == pytest.approx(0.005 * 60, abs=0.05)
    assert np.abs(small.left_mm).max() < 0.05


def test_without_holes_the_decal_is_laid_by_its_edge(sheet: ScanImage) -> None:
    part = part_scan((0.0005, 0.001, 0.0), bump_mm=0.6, without=tuple(h.name for h in HOLES))
    found = compare_with_part(part, sheet, EXPECTED, DECAL, (), part="blank")
    assert found.holes == ()
    assert found.fitted is None
    assert found.edge is not None
    assert found.edge.off_mm[found.edge.worst] == pytest.approx(0.6, abs=0.06)
    assert float(np.median(np.abs(found.edge.off_mm))) < 0.02
    assert [n.code for n in found.notices] == ["same-scanner"]


def test_where_the_scanner_does_not_cancel_is_told(sheet: ScanImage) -> None:
    found = compared(sheet, part_scan((0.0005, 0.001, 0.0)))
    assert "It does not cancel if one of them was turned" in found.notices[0].text
    far = part_scan((0.0005, 0.001, 0.0))
    wider = np.full((far.grey.shape[0], far.grey.shape[1] + 600), 245, np.uint8)
    wider[:, 600:] = far.grey
    away = compared(sheet, ScanImage("part", wider, (300, 300)))
    assert [n.code for n in away.notices] == ["same-scanner", "part-elsewhere"]
    assert "elsewhere on the glass" in away.notices[1].text
    assert away.notices[1].numbers[0][1] == pytest.approx(600 / 300 * 25.4 + 2, abs=1)
    # 53 mm apart, 100 mm may differ by 0.08 mm (one sigma): by 0.04 at corner holes 58 mm away.
    near, far_off = ({h.name: h.range_mm for h in c.holes} for c in (found, away))
    assert max(near.values()) < 0.07
    assert far_off["h1"] == pytest.approx(2 * math.hypot(0.03, 0.046), abs=0.02)
    assert far_off["sw"] == pytest.approx(near["sw"], abs=0.005)
    assert away.edge is not None
    assert found.edge is not None
    assert away.edge.range_mm > found.edge.range_mm + 0.02


def test_a_side_of_the_print_that_is_not_seen_widens_what_depends_on_it(sheet: ScanImage) -> None:
    """The right third of the sheet is off the glass: nothing shows how far the print stretches."""
    part = part_scan((0.0005, 0.001, 0.0))
    cut = round((170 / 2 + 25) * 300 / 25.4)
    found = compared(ScanImage("sheet", sheet.grey[:, :cut], (300, 300)), part)
    assert "print-lines-missing" in [n.code for n in found.notices]
    by_name = {h.name: h for h in found.holes}
    # Part and print agree in truth: what is told beyond that is within what it is told to be.
    assert all(h.distance_mm < h.range_mm for h in found.holes)
    assert by_name["h2"].range_mm > 0.15
    assert found.fitted is not None
    assert abs(found.fitted.scale_x) < 2 * found.fitted.u_scale_x
    # Across the sides that are seen it is known as before.
    assert 3 * found.fitted.u_scale_y < found.fitted.u_scale_x
    less = ScanImage("sheet", sheet.grey[:, : round((170 / 2 - 15) * 300 / 25.4)], (300, 300))
    with pytest.raises(InputProblem, match="of the decal's cut line|does not show this sheet"):
        compared(less, part)


def test_the_picture_draws_part_and_decal(sheet: ScanImage) -> None:
    found = compared(sheet, part_scan((-0.0045, -0.003, 0.0)))
    back = Affine.translation(-15, -15)
    data = part_picture(found, DECAL.outline, back, title="helm", tolerance_mm=0.2)
    picture = np.asarray(Image.open(io.BytesIO(data)).convert("RGB")).astype(int)
    blue = (picture[:, :, 2] > 130) & (picture[:, :, 0] < 60)
    brown = (picture[:, :, 0] > 170) & (picture[:, :, 2] < 40) & (picture[:, :, 1] > 50)
    rows, columns = np.nonzero(blue[:, :1400])
    # The decal is 120 x 80 mm, drawn at ten pixels a mm from a margin of 110.
    assert columns.min() == pytest.approx(110, abs=3)
    assert columns.max() == pytest.approx(1310, abs=3)
    assert rows.max() - rows.min() == pytest.approx(800, abs=5)
    # The part is 0.3 mm short at each side, drawn 16 times too large.
    assert brown[300:700, 150:170].any()
    assert not brown[300:700, 60:130].any()


def test_refusals(sheet: ScanImage) -> None:
    with pytest.raises(ReadingsRefused, match="4.3 degrees turned"):
        compared(sheet, part_scan(turn_deg=-4.0))
    with pytest.raises(ReadingsRefused, match="shows 1 round holes, the decal has 5"):
        compared(sheet, part_scan(without=("h1", "h2", "h3", "h4")))
    with pytest.raises(InputProblem, match="shows no part"):
        find_part(ScanImage("empty", np.full((900, 900), 240, np.uint8)), 12)
