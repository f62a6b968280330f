"""Other ways to nest, for comparison in the same run: none of them is part of the tool.

* A rectangle packer on bounding boxes: maximal rectangles, best short side fit, best of 4 orders.
* rectpack (Apache-2.0, a general library), where it is installed: best of its rules and orders.
* The strip packer alone, sheet by sheet, on the outer outlines.
* The strip packer on all pieces at once in one endless strip, as if sheets had no ends.
"""

from __future__ import annotations

from collections.abc import Sequence
from importlib.util import find_spec

from shapely.geometry import Polygon

from decalprep.model import Placement, Sheet
from decalprep.nesting import Layout, NestPart, NestSettings, check_layout
from decalprep.nesting.checker import placed_polygon
from decalprep.nesting.strip import StripItem, StripPacker

Free = tuple[float, float, float, float]


def _sizes(parts: Sequence[NestPart], gap: float) -> list[tuple[float, float]]:
    sizes = []
    for part in parts:
        x0, y0, x1, y1 = part.polygon.bounds
        sizes += [(x1 - x0 + gap, y1 - y0 + gap)] * part.copies
    return sizes


def rectangle_packer(parts: Sequence[NestPart], sheet: Sheet, gap: float) -> int:
    """Sheets used by the maximal-rectangles method, best short side fit, turns, several orders.

    J. Jylanki, A Thousand Ways to Pack the Bin, 2010 (from memory): the usual good rectangle rule.
    """
    area = sheet.printable
    bin_size = (area.width + gap, area.height + gap)
    orders = (
        lambda s: -s[0] * s[1],
        lambda s: -max(s),
        lambda s: -min(s),
        lambda s: -(s[0] + s[1]),
    )
    return min(_maxrects(sorted(_sizes(parts, gap), key=order), bin_size) for order in orders)


def _maxrects(sizes: list[tuple[float, float]], size: tuple[float, float]) -> int:
    bins: list[list[Free]] = []
    for w0, h0 in sizes:
        for bin_free in bins:
            if _drop(bin_free, w0, h0):
                break
        else:
            bins.append([(0.0, 0.0, *size)])
            assert _drop(bins[-1], w0, h0)
    return len(bins)


def _fits(free: Free, w: float, h: float) -> bool:
    return w <= free[2] - free[0] + 1e-9 and h <= free[3] - free[1] + 1e-9


def _drop(free: list[Free], w0: float, h0: float) -> bool:
    best = None
    for f in free:
        for w, h in ((w0, h0), (h0, w0)):
            if _fits(f, w, h):
                cost = min(f[2] - f[0] - w, f[3] - f[1] - h)
                if best is None or cost < best[0]:
                    best = (cost, f[0], f[1], f[0] + w, f[1] + h)
    if best is None:
        return False
    _, a, b, c, d = best
    split = []
    for f in free:
        if a >= f[2] - 1e-9 or c <= f[0] + 1e-9 or b >= f[3] - 1e-9 or d <= f[1] + 1e-9:
            split.append(f)
            continue
        if a > f[0]:
            split.append((f[0], f[1], a, f[3]))
        if c < f[2]:
            split.append((c, f[1], f[2], f[3]))
        if b > f[1]:
            split.append((f[0], f[1], f[2], b))
        if d < f[3]:
            split.append((f[0], d, f[2], f[3]))
    free[:] = [
        f
        for k, f in enumerate(split)
        if not any(
            g[0] <= f[0] and g[1] <= f[1] and g[2] >= f[2] and g[3] >= f[3] and (g != f or j < k)
            for j, g in enumerate(split)
            if j != k
        )
    ]
    return True


def library_packer(parts: Sequence[NestPart], sheet: Sheet, gap: float) -> int | None:
    """Sheets used by rectpack, best of three placing rules, two bin rules and three orders."""
    if find_spec("rectpack") is None:
        return None
    import rectpack

    area, sizes = sheet.printable, _sizes(parts, gap)
    best = None
    for rule in (rectpack.MaxRectsBssf, rectpack.MaxRectsBaf, rectpack.MaxRectsBl):
        for order in (rectpack.SORT_AREA, rectpack.SORT_LSIDE, rectpack.SORT_PERI):
            for bins in (rectpack.PackingBin.BFF, rectpack.PackingBin.BBF):
                packer = rectpack.newPacker(
                    rectpack.PackingMode.Offline, bins, rule, order, rotation=True
                )
                packer.add_bin(area.width + gap, area.height + gap, float("inf"))
                for w, h in sizes:
                    packer.add_rect(w, h)
                packer.pack()
                if len(packer.rect_list()) == len(sizes):
                    best = min(best or len(packer), len(packer))
    return best


FILLS = (0.9, 0.84, 0.78, 0.7, 0.6, 0.5)


def strip_by_sheets(
    parts: Sequence[NestPart], sheet: Sheet, gap: float, pack: StripPacker
) -> Layout:
    """A layout by the strip packer alone: the fullest set that it lays on a sheet, then the next.

    Sets are the largest pieces left that go into a share of the sheet's area, which
    is lowered until the strip is no longer than the sheet. Checked by the tool's own checker.
    """
    area = sheet.printable
    width, height = area.width + gap, area.height + gap
    left = sorted(parts, key=lambda p: -p.polygon.area)
    placed: list[Placement] = []
    sheets = 0
    while left:
        for fill in (*FILLS, 0.0):
            chosen = _up_to(left, fill * width * height, gap)
            items = [StripItem(p.key, p.polygon, p.turns) for p in chosen]
            found = pack(height, items, gap, sheets + 1, width)
            if found is not None and found[0] <= width and len(found[1]) == len(items):
                break
        else:
            raise RuntimeError("the packer lays not even one piece")
        x0, y0 = area.x0 - gap / 2, area.y0 - gap / 2
        placed += [
            Placement(pose.name, 1, sheets, pose.x_mm + x0, pose.y_mm + y0, pose.turn_deg)
            for pose in found[1]
        ]
        left = [p for p in left if p not in chosen]
        sheets += 1
    layout = Layout(tuple(placed), (), (sheet,) * sheets, 0, "laid")
    faults = check_layout(parts, [sheet], NestSettings(gap_mm=gap), layout)
    assert not faults, faults
    return layout


def endless_strip(
    parts: Sequence[NestPart], layout: Layout, sheet: Sheet, gap: float, pack: StripPacker
) -> float:
    """Length, in sheets, of one strip with all pieces: what sheets that had no ends would take.

    The packer lays nothing into cut-outs: pieces that the layout has there are left out.
    """
    shapes = {p.key: p.polygon for p in parts}
    lying = [(p, placed_polygon(shapes[p.decal], p)) for p in layout.placements]
    outer = [(p, Polygon(shape.exterior)) for p, shape in lying]
    inside = {
        p.decal
        for p, shape in lying
        if any(
            q.sheet_index == p.sheet_index and q is not p and whole.contains(shape)
            for q, whole in outer
        )
    }
    items = [StripItem(p.key, p.polygon, p.turns) for p in parts if p.key not in inside]
    area = sheet.printable
    found = pack(area.height + gap, items, gap, 1, 0.0)
    if found is None or len(found[1]) != len(items):
        raise RuntimeError("the packer gave up")
    return found[0] / (area.width + gap)


def _up_to(left: Sequence[NestPart], area: float, gap: float) -> list[NestPart]:
    chosen: list[NestPart] = [left[0]]
    total = _grown(left[0].polygon, gap)
    for part in left[1:]:
        more = _grown(part.polygon, gap)
        if total + more <= area:
            chosen.append(part)
            total += more
    return chosen


def _grown(polygon: Polygon, gap: float) -> float:
    return float(Polygon(polygon.exterior).buffer(gap / 2).area)
