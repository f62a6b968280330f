"""Cut files in DXF are, to the byte, what ezdxf writes of the same lines.

Source: ezdxf itself, a reader and writer of the DXF reference; it is not used to write them.
"""

import io
import re

import ezdxf
import pytest
from ezdxf import units
from hypothesis import given, settings
from hypothesis import strategies as st

from decalprep.export.cutfiles import CutFunction, CutLine, CutPlan, cut_dxf, lines_and_arcs
from decalprep.geometry import Arc, Box, Line, Path, circle_path, polygon_path, rectangle_path

MADE_BY = re.compile(r"^[\d.]+\w* @ ", re.M)
"""The writer's version, the only difference that another one may make."""
RGB = {
    CutFunction.KISS: (122, 59, 143),
    CutFunction.HOLE: (47, 125, 91),
    CutFunction.PIERCE: (138, 122, 0),
    CutFunction.REGISTRATION: (0, 0, 0),
}


def by_ezdxf(plan: CutPlan, monkeypatch: pytest.MonkeyPatch) -> str:
    monkeypatch.setattr(ezdxf.options, "write_fixed_meta_data_for_testing", True)
    document = ezdxf.new("R2010", units=units.MM)
    document.header["$MEASUREMENT"] = 1
    for function, rgb in RGB.items():
        if any(line.function is function for line in plan.lines):
            document.layers.add(function.value).rgb = rgb
    space = document.modelspace()
    for line in plan.lines:
        layer = {"layer": line.function.value}
        segments = lines_and_arcs(line.path).segments
        arcs = [s for s in segments if isinstance(s, Arc)]
        if len(arcs) == len(segments):
            space.add_circle(arcs[0].centre, arcs[0].radius, dxfattribs=layer)
        elif len(segments) == 1:
            space.add_line(segments[0].start, segments[0].end, dxfattribs=layer)
        else:
            points = [(*s.start, 0.0 if isinstance(s, Line) else bulge(s)) for s in segments]
            if not line.path.closed:
                points.append((*segments[-1].end, 0.0))
            space.add_lwpolyline(points, format="xyb", close=line.path.closed, dxfattribs=layer)
    for kind in sorted(document.entitydb.dxf_types_in_use()):
        document.classes.add_class(kind)
    stream = io.StringIO()
    document.write(stream)
    return MADE_BY.sub("", stream.getvalue())


def bulge(arc: Arc) -> float:
    from math import radians, tan

    return tan(radians(arc.sweep_deg) / 4)


def plan_of(*lines: tuple[CutFunction, Path]) -> CutPlan:
    return CutPlan("tug", 200, 100, tuple(CutLine(f, p) for f, p in lines))


def cross(x: float, y: float) -> Path:
    return Path((Line((x - 1.5, y), (x + 1.5, y)),), closed=False)


def test_every_kind_of_line_on_every_layer(monkeypatch):
    corner = Path((Line((0, 5), (0.1, 0)), Line((0.1, 0), (5, 1 / 3))), closed=False)
    plan = plan_of(
        (CutFunction.KISS, rectangle_path(Box(5, 5, 100.25, 80), 4)),
        (CutFunction.KISS, polygon_path([(0, 0), (30, 1e-7), (12, 25)])),
        (CutFunction.HOLE, circle_path(50, 40, 12.2)),
        (CutFunction.PIERCE, cross(20, 20)),
        (CutFunction.REGISTRATION, corner),
    )
    assert MADE_BY.sub("", cut_dxf(plan).decode()) == by_ezdxf(plan, monkeypatch)


numbers = st.floats(-1e4, 1e4, allow_nan=False)


@settings(max_examples=15, deadline=None)
@given(st.lists(st.tuples(st.sampled_from(list(RGB)), numbers, numbers), max_size=20))
def test_any_number_of_lines(places):
    lines = [
        (f, circle_path(x, y, 3) if k % 2 else cross(x, y)) for k, (f, x, y) in enumerate(places)
    ]
    with pytest.MonkeyPatch.context() as patch:
        plan = plan_of(*lines)
        assert MADE_BY.sub("", cut_dxf(plan).decode()) == by_ezdxf(plan, patch)
