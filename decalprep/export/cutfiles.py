"""Cut files in true millimetres: what a knife or machine follows, as SVG and DXF.

Layers are named by what is done there, not by a machine's habits. True size: the printer
correction is never applied, since a knife does not share the printer's error. Sheet files have the
sheet's lower left corner as origin (DXF) and lie in register with the printed ticks; piece files
have the piece 5 mm inside the corner.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from enum import StrEnum

from decalprep.errors import InputProblem
from decalprep.export.dxf_text import DxfText
from decalprep.geometry import Affine, Arc, Box, Cubic, Line, Path, Segment
from decalprep.model import Decal, Drawing, FillMark, HoleKind, Layer, StockKind, StrokeMark
from decalprep.outline import arcs_from_points

CURVE_MM = 0.0005
"""Free curves become lines and arcs within this and the 0.002 mm of the arc search, in DXF only."""
PIECE_MARGIN_MM = 5.0
CROSS_MM = 3.0


class CutFunction(StrEnum):
    """What is done along a line."""

    KISS = "kiss cut"
    THROUGH = "through cut"
    HOLE = "hole guide"
    PIERCE = "pierce"
    MASK = "mask"
    REGISTRATION = "registration"


COLOURS: dict[CutFunction, str] = {
    CutFunction.KISS: "#7a3b8f",
    CutFunction.THROUGH: "#b5542a",
    CutFunction.HOLE: "#2f7d5b",
    CutFunction.PIERCE: "#8a7a00",
    CutFunction.MASK: "#4a5fa5",
    CutFunction.REGISTRATION: "#000000",
}
"""Only to tell layers apart on screen; go by the layer names."""


@dataclass(frozen=True)
class CutLine:
    """One line to follow, in mm, and whose it is."""

    function: CutFunction
    path: Path
    decal: str = ""


@dataclass(frozen=True)
class CutPlan:
    """All the lines of one sheet or piece, inside (0, 0, width, height) mm, y up."""

    name: str
    width_mm: float
    height_mm: float
    lines: tuple[CutLine, ...]


def outline_cut(stock: StockKind) -> CutFunction:
    """How an outline is cut: label stock keeps its liner, paper and film are cut through.

    >>> outline_cut(StockKind.PLAIN).value
    'through cut'
    """
    label = stock in (StockKind.LABEL, StockKind.DIE_CUT)
    return CutFunction.KISS if label else CutFunction.THROUGH


def sheet_plan(drawing: Drawing) -> CutPlan:
    """The cut lines of one sheet in true sheet mm, in register with its printed ticks.

    Does not hold artwork, labels or check bars, nor the printer correction.
    """
    sheet = drawing.sheet
    by_layer = {
        Layer.CUT_OUTLINE: outline_cut(sheet.stock),
        Layer.HOLE_GUIDE: CutFunction.HOLE,
        Layer.SCREW_CROSS: CutFunction.PIERCE,
        Layer.MASK: CutFunction.MASK,
        Layer.REGISTRATION: CutFunction.REGISTRATION,
        Layer.TILE_MARK: CutFunction.REGISTRATION,
    }
    lines: list[CutLine] = []
    for item in drawing.items:
        if not isinstance(item, StrokeMark | FillMark) or item.layer not in by_layer:
            continue
        paths = item.paths if isinstance(item, FillMark) else (item.path,)
        function = by_layer[item.layer]
        lines.extend(CutLine(function, path, item.decal) for path in paths if path.segments)
    return CutPlan(drawing.title or sheet.name, sheet.width_mm, sheet.height_mm, tuple(lines))


def piece_plan(decal: Decal, stock: StockKind = StockKind.PLAIN) -> CutPlan:
    """The cut lines of one decal in mm, fitted to its part, 5 mm inside the lower left corner."""
    fit = decal.fitted_from_decal
    lines = [CutLine(outline_cut(stock), decal.outline.mapped(fit), decal.name)]
    for hole in decal.holes:
        if hole.kind is HoleKind.SCREW and hole.circle is not None:
            x, y = fit.apply(hole.circle.x, hole.circle.y)
            lines.extend(CutLine(CutFunction.PIERCE, p, decal.name) for p in _cross(x, y))
        else:
            lines.append(CutLine(CutFunction.HOLE, hole.contour.mapped(fit), decal.name))
    return plan_of(decal.name, lines)


def plan_of(name: str, lines: Sequence[CutLine]) -> CutPlan:
    """A plan in mm just large enough for the lines, with a margin of 5 mm all round.

    Raises:
        InputProblem: there are no lines.
    """
    if not lines:
        raise InputProblem("there is nothing to cut", where=name)
    box = Box.around([c for line in lines for c in line.path.box.corners]).grown(PIECE_MARGIN_MM)
    shift = Affine.translation(-box.x0, -box.y0)
    moved = tuple(CutLine(s.function, s.path.mapped(shift), s.decal) for s in lines)
    return CutPlan(name, box.width, box.height, moved)


def _cross(x: float, y: float) -> tuple[Path, Path]:
    r = CROSS_MM / 2
    return (
        Path((Line((x - r, y), (x + r, y)),), closed=False),
        Path((Line((x, y - r), (x, y + r)),), closed=False),
    )


def _used(lines: Iterable[CutLine]) -> list[CutFunction]:
    present = {line.function for line in lines}
    return [f for f in CutFunction if f in present]


def whole_circle(path: Path) -> Arc | None:
    """The arc whose circle the closed path is, or None."""
    arcs = [s for s in path.segments if isinstance(s, Arc)]
    if not path.closed or not arcs or len(arcs) != len(path.segments):
        return None
    first = arcs[0]
    same = all(a.centre == first.centre and a.radius == first.radius for a in arcs)
    return first if same and abs(abs(sum(a.sweep_deg for a in arcs)) - 360) < 1e-9 else None


# ---------------------------------------------------------------- SVG


def cut_svg(plan: CutPlan) -> bytes:
    """The plan as SVG 1.1 bytes: mm page, one group a function, arcs as arc commands.

    Coordinates have five decimals (0.00001 mm); the same plan gives the same bytes.
    """
    from xml.sax.saxutils import escape

    w, h = _number(plan.width_mm), _number(plan.height_mm)
    out = [
        '<?xml version="1.0" encoding="UTF-8"?>\n'
        f'<svg xmlns="http://www.w3.org/2000/svg" version="1.1" width="{w}mm" height="{h}mm" '
        f'viewBox="0 0 {w} {h}">\n<title>{escape(plan.name)}</title>\n'
    ]
    for function in _used(plan.lines):
        out.append(
            f'<g id="{function.value.replace(" ", "-")}" fill="none" '
            f'stroke="{COLOURS[function]}" stroke-width="0.1"><title>{function.value}</title>\n'
        )
        for line in plan.lines:
            if line.function is function:
                out.append(_svg_element(line.path, plan.height_mm) + "\n")
        out.append("</g>\n")
    out.append("</svg>\n")
    return "".join(out).encode()


def _svg_element(path: Path, height: float) -> str:
    circle = whole_circle(path)
    if circle is not None:
        x, y = circle.centre
        r = _number(circle.radius)
        return f'<circle cx="{_number(x)}" cy="{_number(height - y)}" r="{r}"/>'

    def at(point: tuple[float, float]) -> str:
        return f"{_number(point[0])} {_number(height - point[1])}"

    steps = [f"M{at(path.segments[0].start)}"]
    for segment in path.segments:
        if isinstance(segment, Line):
            steps.append(f"L{at(segment.end)}")
        elif isinstance(segment, Arc):
            steps.extend(_svg_arc(segment, at(segment.at(0.5)), at(segment.end)))
        else:
            steps.append(f"C{at(segment.control1)} {at(segment.control2)} {at(segment.end)}")
    return f'<path d="{"".join(steps)}{"Z" if path.closed else ""}"/>'


def _svg_arc(arc: Arc, middle: str, end: str) -> list[str]:
    r = _number(arc.radius)
    sweep = 0 if arc.sweep_deg > 0 else 1  # y runs down in SVG
    if abs(arc.sweep_deg) > 300:  # nearly whole turns are ill-defined by their ends
        return [f"A{r} {r} 0 0 {sweep} {middle}", f"A{r} {r} 0 0 {sweep} {end}"]
    large = 1 if abs(arc.sweep_deg) > 180 else 0
    return [f"A{r} {r} 0 {large} {sweep} {end}"]


def _number(value: float) -> str:
    text = f"{value:.5f}".rstrip("0").rstrip(".")
    return "0" if text in ("-0", "") else text


# ---------------------------------------------------------------- DXF


def cut_dxf(plan: CutPlan) -> bytes:
    """The plan as DXF R2010 bytes in mm ($INSUNITS 4), one layer a function.

    Circles are CIRCLE, other paths LWPOLYLINE with arcs as bulges; free curves become lines and
    arcs within 0.003 mm. The same plan gives the same bytes.
    """
    colours = [(f.value, COLOURS[f]) for f in _used(plan.lines)]
    layers = [(name, (int(c[1:3], 16), int(c[3:5], 16), int(c[5:], 16))) for name, c in colours]
    document = DxfText(layers)
    for line in plan.lines:
        _add_dxf(document, line)
    return document.text.encode("utf-8")


def _add_dxf(document: DxfText, line: CutLine) -> None:
    path, layer = line.path, line.function.value
    circle = whole_circle(path)
    if circle is not None:
        document.circle(layer, circle.centre, circle.radius)
        return
    pieces = list(lines_and_arcs(path).segments)
    if not path.closed and len(pieces) == 1 and isinstance(pieces[0], Line):
        document.line(layer, pieces[0].start, pieces[0].end)
        return
    vertices = [(*s.start, _bulge(s)) for s in pieces]
    if not path.closed:
        vertices.append((*pieces[-1].end, 0.0))
    document.polyline(layer, vertices, closed=path.closed)


def lines_and_arcs(path: Path) -> Path:
    """The path (mm) with free curves replaced by lines and arcs within 0.003 mm."""
    if not any(isinstance(s, Cubic) for s in path.segments):
        return Path(tuple(h for s in path.segments for h in _halves(s)), path.closed)
    if path.closed:
        return lines_and_arcs(arcs_from_points(path.points(CURVE_MM)))
    points = path.points(CURVE_MM)
    return Path(tuple(Line(points[k], points[k + 1]) for k in range(len(points) - 1)), False)


def _halves(segment: Segment) -> list[Segment]:
    if isinstance(segment, Arc) and abs(segment.sweep_deg) > 180.0001:
        half = segment.sweep_deg / 2
        start = segment.start_deg
        return [
            Arc(segment.centre, segment.radius, start, half),
            Arc(segment.centre, segment.radius, start + half, half),
        ]
    return [segment]


def _bulge(segment: Segment) -> float:
    """Tangent of a quarter of the arc's sweep, positive counter-clockwise (DXF reference)."""
    import math

    return math.tan(math.radians(segment.sweep_deg) / 4) if isinstance(segment, Arc) else 0.0
