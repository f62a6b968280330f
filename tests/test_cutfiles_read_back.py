"""Cut files re-read by readers that share nothing with the writer, to 0.001 mm."""

import io
import math
import re
import xml.etree.ElementTree as ET

import ezdxf
import numpy as np
import pytest
from ezdxf import recover

from decalprep.export.cutfiles import (
    CutFunction,
    CutLine,
    CutPlan,
    cut_dxf,
    cut_svg,
    piece_plan,
    sheet_plan,
)
from decalprep.geometry import (
    Affine,
    Arc,
    Box,
    Circle,
    Cubic,
    Line,
    Path,
    circle_path,
    polygon_path,
    rectangle_path,
)
from decalprep.model import (
    Artwork,
    Decal,
    Drawing,
    FillMark,
    Hole,
    HoleKind,
    Layer,
    Sheet,
    StockKind,
    StrokeMark,
)

SVG = "{http://www.w3.org/2000/svg}"
PLATE = rectangle_path(Box(20, 30, 120, 90), 4)
NOTCH = polygon_path([(130, 30), (190, 30), (190, 60.125), (150, 60.125), (150, 80), (130, 80)])
FREE = Path(
    (
        Line((20, 120), (60, 120)),
        Cubic((60, 120), (75, 125), (75, 140), (60, 150)),
        Line((60, 150), (20, 150)),
        Arc((20, 135), 15, 90, 180),
    )
)
TICK = Path((Line((10, 10), (15, 10)),), closed=False)


def drawing(stock: StockKind = StockKind.LABEL) -> Drawing:
    sheet = Sheet("A4 labels", 210, 297, stock=stock)
    return Drawing(
        sheet,
        (
            StrokeMark(Layer.CUT_OUTLINE, PLATE, decal="bow"),
            StrokeMark(Layer.CUT_OUTLINE, NOTCH, decal="winch"),
            StrokeMark(Layer.CUT_OUTLINE, FREE, decal="free"),
            StrokeMark(Layer.HOLE_GUIDE, circle_path(70, 60, 12.2), decal="bow"),
            StrokeMark(Layer.SCREW_CROSS, Path((Line((24, 34), (27, 34)),), closed=False)),
            FillMark(Layer.MASK, (circle_path(100, 200, 30), circle_path(100, 200, 10.5))),
            StrokeMark(Layer.REGISTRATION, TICK),
            StrokeMark(Layer.CHECK_BAR, Path((Line((50, 10), (150, 10)),), closed=False)),
        ),
        page_from_sheet=Affine.scaling(1.01, 0.99),
    )


def reread(data: bytes):
    document, auditor = recover.read(io.BytesIO(data))
    assert not auditor.has_errors
    return document


def test_dxf_is_millimetres_r2010_with_layers_by_function():
    document = reread(cut_dxf(sheet_plan(drawing())))
    assert document.dxfversion == "AC1024"
    assert document.header["$INSUNITS"] == 4
    assert document.header["$MEASUREMENT"] == 1
    used = {e.dxf.layer for e in document.modelspace()}
    assert used == {"kiss cut", "hole guide", "pierce", "mask", "registration"}
    assert used <= {layer.dxf.name for layer in document.layers}


def test_dxf_dimensions_to_a_thousandth_and_arcs_stay_arcs():
    space = reread(cut_dxf(sheet_plan(drawing()))).modelspace()
    plate, notch, free = space.query("LWPOLYLINE")
    bulges = [b for *_, b in plate.get_points("xyb")]
    assert sorted(round(b, 9) for b in bulges) == [0] * 4 + [round(math.tan(math.pi / 8), 9)] * 4
    # area of a rounded rectangle, from the bulges: an independent formula for circle segments
    assert area(plate) == pytest.approx(100 * 60 - (4 - math.pi) * 16, abs=1e-6)
    xs = [x for x, _, _ in plate.get_points("xyb")]
    assert (min(xs), max(xs)) == pytest.approx((20, 120), abs=0.001)
    assert area(notch) == pytest.approx(60 * 30.125 + 20 * 19.875, abs=1e-6)
    assert any(b != 0 for *_, b in free.get_points("xyb"))
    hole = space.query('CIRCLE[layer=="hole guide"]').first
    assert (hole.dxf.radius, *hole.dxf.center) == pytest.approx((6.1, 70, 60, 0), abs=1e-9)
    tick = space.query('LINE[layer=="registration"]').first
    assert (*tick.dxf.start, *tick.dxf.end) == pytest.approx((10, 10, 0, 15, 10, 0))


def area(polyline) -> float:
    """Shoelace plus r^2 (t - sin t) / 2 for every bulge."""
    vertices = polyline.get_points("xyb")
    total = 0.0
    for (x, y, b), (u, v, _) in zip(vertices, vertices[1:] + vertices[:1], strict=True):
        total += (x * v - u * y) / 2
        if b:
            t = 4 * math.atan(b)
            r = math.hypot(u - x, v - y) / 2 / math.sin(t / 2)
            total += r * r * (t - math.sin(t)) / 2
    return abs(total)


def test_free_curve_in_dxf_stays_within_three_thousandths():
    space = reread(cut_dxf(sheet_plan(drawing()))).modelspace()
    *_, free = space.query("LWPOLYLINE")
    path = ezdxf.path.make_path(free)
    points = np.array([(p.x, p.y) for p in path.flattening(0.0002)])
    curve = np.array([FREE.segments[1].at(k / 400) for k in range(401)])
    from shapely import distance
    from shapely import points as as_points
    from shapely.geometry import LineString

    assert distance(as_points(curve), LineString(points)).max() < 0.003


@pytest.mark.parametrize(
    ("stock", "layer"),
    [
        (StockKind.LABEL, "kiss cut"),
        (StockKind.DIE_CUT, "kiss cut"),
        (StockKind.PLAIN, "through cut"),
    ],
)
def test_outline_cut_follows_the_stock(stock, layer):
    plan = sheet_plan(drawing(stock))
    assert {s.function.value for s in plan.lines if s.decal == "winch"} == {layer}


def test_same_plan_same_bytes():
    plan = sheet_plan(drawing())
    assert cut_dxf(plan) == cut_dxf(plan)
    assert cut_svg(plan) == cut_svg(plan)


# ---------------------------------------------------------------- SVG


def svg_root(data: bytes) -> ET.Element:
    return ET.fromstring(data)


def test_svg_is_true_millimetres():
    root = svg_root(cut_svg(sheet_plan(drawing())))
    assert (root.get("width"), root.get("height")) == ("210mm", "297mm")
    assert root.get("viewBox") == "0 0 210 297"
    assert [g.get("id") for g in root.findall(SVG + "g")] == [
        "kiss-cut", "hole-guide", "pierce", "mask", "registration",
    ]  # fmt: skip


def test_svg_dimensions_to_a_thousandth_by_a_reader_of_the_tests_own():
    root = svg_root(cut_svg(sheet_plan(drawing())))
    plate, notch, free = root.find(f"{SVG}g[@id='kiss-cut']").findall(SVG + "path")
    points = flatten(plate.get("d"))
    assert points.min(axis=0) == pytest.approx((20, 297 - 90), abs=0.001)
    assert points.max(axis=0) == pytest.approx((120, 297 - 30), abs=0.001)
    assert shoelace(points) == pytest.approx(100 * 60 - (4 - math.pi) * 16, abs=0.01)
    assert shoelace(flatten(notch.get("d"))) == pytest.approx(60 * 30.125 + 20 * 19.875, abs=0.001)
    assert flatten(free.get("d")).min(axis=0)[0] == pytest.approx(5, abs=0.001)
    hole = root.find(f"{SVG}g[@id='hole-guide']").find(SVG + "circle")
    assert [float(hole.get(k)) for k in ("cx", "cy", "r")] == [70, 237, 6.1]


def flatten(d: str) -> np.ndarray:
    """Absolute M, L, A, C, Z as points; arcs by the end-point formulas of SVG 1.1, F.6.5."""
    points: list[tuple[float, float]] = []
    for command, words in re.findall(r"([MLACZ])([^MLACZ]*)", d):
        v = [float(w) for w in words.split()]
        if command in "ML":
            points.append((v[0], v[1]))
        elif command == "A":
            points.extend(arc(points[-1], v))
        elif command == "C":
            p = np.array([points[-1], v[0:2], v[2:4], v[4:6]])
            for t in np.linspace(0, 1, 200)[1:]:
                w = np.array([(1 - t) ** 3, 3 * t * (1 - t) ** 2, 3 * t * t * (1 - t), t**3])
                points.append(tuple(w @ p))
    return np.array(points)


def arc(start, v):
    rx, ry, turn, large, sweep, x, y = v
    assert rx == ry
    assert turn == 0
    half = np.array([start[0] - x, start[1] - y]) / 2
    scale = math.sqrt(max(rx**4 - rx**2 * (half @ half), 0) / (rx**2 * (half @ half)))
    if large == sweep:
        scale = -scale
    inner = scale * np.array([half[1], -half[0]])
    centre = inner + np.array([(start[0] + x) / 2, (start[1] + y) / 2])
    first = math.atan2(start[1] - centre[1], start[0] - centre[0])
    step = math.atan2(y - centre[1], x - centre[0]) - first
    if sweep and step < 0:
        step += math.tau
    if not sweep and step > 0:
        step -= math.tau
    return [
        (
            centre[0] + rx * math.cos(first + step * k / 400),
            centre[1] + rx * math.sin(first + step * k / 400),
        )
        for k in range(1, 401)
    ]


def shoelace(p: np.ndarray) -> float:
    q = np.roll(p, -1, axis=0)
    return abs(float((p[:, 0] * q[:, 1] - q[:, 0] * p[:, 1]).sum()) / 2)


def test_svg_picture_lies_where_the_plan_says():
    """A third reader: the renderer's own idea of the arcs."""
    import resvg_py
    from PIL import Image

    plan = CutPlan(
        "one", 40, 20, (CutLine(CutFunction.KISS, rectangle_path(Box(5, 4, 35, 16), 5)),)
    )
    data = (
        cut_svg(plan)
        .decode()
        .replace('fill="none"', 'fill="black"')
        .replace('stroke="#7a3b8f"', "")
    )
    png = resvg_py.svg_to_bytes(svg_string=data, dpi=1016)
    alpha = np.asarray(Image.open(io.BytesIO(bytes(png))).convert("RGBA"))[..., 3] / 255
    assert alpha.sum() / 40**2 == pytest.approx(30 * 12 - (4 - math.pi) * 25, rel=2e-4)
    ys, xs = np.nonzero(alpha > 0.5)
    assert (xs.min(), xs.max() + 1, ys.min(), ys.max() + 1) == (200, 1400, 160, 640)


# ---------------------------------------------------------------- pieces


def test_piece_is_fitted_to_its_part_and_crosses_stand_for_screws():
    art = Artwork("bow", "bow.svg", "svg", b"", 72, 72, 25.4, 25.4)
    decal = Decal(
        "bow", "bow", art, rectangle_path(Box(-50, -30, 50, 30)), "part",
        holes=(
            Hole(circle_path(0, 0, 12.2), Circle(0, 0, 12.2), kind=HoleKind.SWITCH),
            Hole(circle_path(45, 25, 3.4), Circle(45, 25, 3.4), kind=HoleKind.SCREW),
        ),
        fitted_from_decal=Affine.scaling(1.002, 0.998),
    )  # fmt: skip
    plan = piece_plan(decal, StockKind.LABEL)
    assert (plan.width_mm, plan.height_mm) == pytest.approx((100.2 + 10, 59.88 + 10))
    space = reread(cut_dxf(plan)).modelspace()
    outline = space.query('LWPOLYLINE[layer=="kiss cut"]').first
    assert area(outline) == pytest.approx(100.2 * 59.88, abs=1e-6)
    crosses = space.query('LINE[layer=="pierce"]')
    assert len(crosses) == 2
    middle = (crosses[0].dxf.start + crosses[0].dxf.end) / 2
    assert (middle.x, middle.y) == pytest.approx((5 + 50.1 + 45.09, 5 + 29.94 + 24.95), abs=1e-6)
