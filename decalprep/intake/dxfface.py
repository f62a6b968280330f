"""The outline and holes that the lines of a drawing make, exact in mm."""

from __future__ import annotations

import math
import re
from collections.abc import Callable, Sequence
from dataclasses import dataclass

from shapely import STRtree
from shapely.geometry import Polygon

from decalprep.errors import InputProblem
from decalprep.geometry import Affine, Arc, Circle, Path, circle_path
from decalprep.intake.chains import Chained, chained
from decalprep.intake.dxfwalk import Drawn
from decalprep.model import Hole, Notice, PartFace, Severity
from decalprep.units import format_mm

HOLE_WORDS = frozenset(
    ("hole", "holes", "drill", "drills", "drilling", "bore", "bores", "cut", "cuts")
    + ("cutout", "cutouts", "opening", "openings")
)
SAME_CIRCLE = 1e-9


def is_hole_layer(name: str) -> bool:
    """Whether a layer is named for holes or cutting.

    >>> is_hole_layer("Panel-HOLES"), is_hole_layer("legend")
    (True, False)
    """
    return not HOLE_WORDS.isdisjoint(re.split(r"[^a-z]+", name.lower()))


@dataclass(frozen=True)
class LoopRule:
    """Which loops count, and how far apart ends may be that count as one.

    ``hole_layers`` None takes loops of all layers; a test takes those of the outline's own layer
    and of the layers that pass it.
    """

    joining_mm: float
    outline_layer: str | None = None
    hole_layers: Sequence[str] | Callable[[str], bool] | None = None


def face_of(
    shown: Sequence[Drawn], mm_from_drawing: Affine, rule: LoopRule, where: str
) -> PartFace | None:
    """The largest loop and the loops directly inside it; None where no loop closes.

    Text, fills and hatches never make a loop.

    Raises:
        InputProblem: the outline crosses itself.
    """
    chains, loops = _all_loops(shown, mm_from_drawing, rule)
    if not loops:
        return None
    own, outline = max(loops, key=lambda pair: _area(pair[1]))
    if not Polygon(outline.points(0.01)).is_valid:
        raise InputProblem("the outline crosses itself", where=where, do="redraw it as one line")
    taken = _hole_names(chains, own, rule.hole_layers)
    holes, deeper = _direct_holes(outline, [lp for n in taken for lp in chains[n].loops])
    notices = _told(chains, [own, *taken], deeper, rule.joining_mm, where)
    left = sorted(n for n in chains if n not in taken and n != own and chains[n].loops)
    if left and rule.hole_layers is not None:
        text = f"closed lines on the layers {', '.join(map(repr, left))} are not taken for holes"
        notices.append(Notice("dxf-layers-not-holes", text, where, Severity.NOTE))
    box = outline.box
    described = (
        f"drawn outline{f' on layer {own!r}' if own else ''}, "
        f"{format_mm(box.width)} x {format_mm(box.height)}, {len(holes)} holes"
    )
    return PartFace(outline, holes, None, 0.0, described, tuple(notices))


def _all_loops(
    shown: Sequence[Drawn], mm_from_drawing: Affine, rule: LoopRule
) -> tuple[dict[str, Chained], list[tuple[str, Path]]]:
    """(chains by layer, loops that may be the outline); all layers together where none has one."""
    by_layer: dict[str, list[Path]] = {}
    for item in shown:
        if item.kind == "line":
            by_layer.setdefault(item.layer, []).extend(
                p.mapped(mm_from_drawing) for p in item.paths
            )
    wanted = [rule.outline_layer] if rule.outline_layer else list(by_layer)
    chains = {name: chained(paths, rule.joining_mm) for name, paths in by_layer.items()}
    loops = [(name, loop) for name in wanted for loop in chains[name].loops]
    if loops or rule.outline_layer:
        return chains, loops
    mixed = chained([p for paths in by_layer.values() for p in paths], rule.joining_mm)
    return {"": mixed}, [("", loop) for loop in mixed.loops]


def _area(loop: Path) -> float:
    points = loop.points(0.01)
    return float(Polygon(points).area) if len(points) > 2 else 0.0


def _hole_names(
    chains: dict[str, Chained], own: str, chosen: Sequence[str] | Callable[[str], bool] | None
) -> list[str]:
    if chosen is None:
        return list(chains)
    if callable(chosen):
        return [name for name in chains if name == own or chosen(name)]
    return [name for name in chains if name in chosen]


def _direct_holes(outline: Path, loops: Sequence[Path]) -> tuple[tuple[Hole, ...], int]:
    """(loops inside the outline but in no other, how many lie deeper), top to bottom."""
    shape = Polygon(outline.points(0.01))
    inner = []
    for loop in loops:
        if loop is outline or len(loop.points(0.01)) < 3:
            continue
        polygon = Polygon(loop.points(0.01)).buffer(0)
        if polygon.area > 1e-6 and shape.contains(polygon.representative_point()):
            inner.append((polygon, loop))
    if not inner:
        return (), 0
    inner.sort(key=lambda pair: -pair[0].area)
    polygons = [polygon for polygon, _ in inner]
    middles = [polygon.representative_point() for polygon in polygons]
    which, within = STRtree(polygons).query(middles, predicate="within")
    # Sorted by size, a loop lies deeper when an earlier one holds its middle.
    deeper = {int(i) for i, j in zip(which, within, strict=True) if j < i}
    direct = [pair for k, pair in enumerate(inner) if k not in deeper]
    holes = [exact_hole(loop) for _, loop in direct]
    holes.sort(key=lambda hole: (-round(hole.contour.box.centre[1], 3), hole.contour.box.centre[0]))
    return tuple(holes), len(inner) - len(direct)


def exact_hole(loop: Path) -> Hole:
    """The hole of a loop, with its circle where all pieces are arcs of one circle."""
    circle = _one_circle(loop)
    if circle is None:
        return Hole(loop)
    return Hole(circle_path(circle.x, circle.y, circle.diameter), circle)


def _one_circle(loop: Path) -> Circle | None:
    arcs = [s for s in loop.segments if isinstance(s, Arc)]
    if not arcs or len(arcs) != len(loop.segments):
        return None
    (x, y), radius = arcs[0].centre, arcs[0].radius
    slack = max(SAME_CIRCLE * (abs(x) + abs(y) + radius), 1e-6)
    for arc in arcs[1:]:
        if math.dist(arc.centre, (x, y)) > slack or abs(arc.radius - radius) > slack:
            return None
    whole = abs(abs(sum(arc.sweep_deg for arc in arcs)) - 360) < 1e-3
    return Circle(x, y, 2 * radius) if whole else None


def _told(
    chains: dict[str, Chained], names: Sequence[str], deeper: int, joining_mm: float, where: str
) -> list[Notice]:
    used = [chains[name] for name in dict.fromkeys(names)]
    notices = []
    ends = [end for chain in used for end in chain.open_ends]
    if ends:
        x, y = ends[0]
        text = (
            f"{len(ends)} loose line ends (first near {x:.2f}, {y:.2f} mm) make no closed shape; "
            f"ends within {joining_mm:g} mm are joined"
        )
        notices.append(Notice("dxf-open-lines", text, where, Severity.NOTE))
    branches = [place for chain in used for place in chain.branches]
    if branches:
        x, y = branches[0]
        text = (
            f"lines branch in {len(branches)} places (first near {x:.2f}, {y:.2f} mm); no loop is "
            "guessed there: put the outline on a layer of its own"
        )
        notices.append(Notice("dxf-branches", text, where))
    gap = max((chain.largest_gap_mm for chain in used), default=0.0)
    if gap > 1e-6:
        text = f"gaps of up to {gap:.4f} mm between line ends were bridged"
        notices.append(Notice("dxf-gaps", text, where, Severity.NOTE))
    if deeper:
        text = f"{deeper} closed shapes inside holes are left out"
        notices.append(Notice("dxf-inside-holes", text, where, Severity.NOTE))
    return notices
