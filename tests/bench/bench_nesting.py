"""Nesting benchmark: fresh panel-like sets against a rectangle packer on bounding boxes.

Run: python tests/bench/bench_nesting.py [--sizes 12 30 80] [--jobs 3] [--first-seed N] [--budget N]
Seeds 1 to 9 were used while tuning; give others for a fair result. Prints one line a job: sheets
of the rectangle packer, of the first answer and of the final answer, the bound, and the times.
"""

from __future__ import annotations

import argparse
import json
import os
import pathlib
import random
import resource
import sys
import time
from dataclasses import replace

from shapely.affinity import rotate
from shapely.affinity import scale as affine_scale
from shapely.geometry import Point, Polygon, box

from decalprep.model import Margins, Sheet, Turns
from decalprep.nesting import Layout, NestPart, NestSettings, check_layout, nest
from decalprep.nesting.strip import StripItem, child_packer

A4 = Sheet("A4", 210, 297, Margins(5, 5, 5, 5))


def _notched(rng: random.Random, w: float, h: float) -> Polygon:
    shape = box(0, 0, w, h)
    for _ in range(rng.randint(1, 2)):
        a, b = w * rng.uniform(0.15, 0.4), h * rng.uniform(0.15, 0.4)
        x, y = rng.choice(((0, 0), (w - a, 0), (0, h - b), (w - a, h - b)))
        shape = shape.difference(box(x, y, x + a, y + b))
    return shape


def _l_shape(rng: random.Random, w: float, h: float) -> Polygon:
    return box(0, 0, w, h).difference(
        box(w * rng.uniform(0.3, 0.6), h * rng.uniform(0.3, 0.6), w, h)
    )


def _u_shape(rng: random.Random, w: float, h: float) -> Polygon:
    a = rng.uniform(0.25, 0.35)
    return box(0, 0, w, h).difference(box(w * a, h * a, w * (1 - a), h))


def _ring(rng: random.Random, w: float, h: float) -> Polygon:
    d = min(w, h)
    return (
        Point(d / 2, d / 2)
        .buffer(d / 2)
        .difference(Point(d / 2, d / 2).buffer(d / 2 * rng.uniform(0.55, 0.8)))
    )


def _frame(rng: random.Random, w: float, h: float) -> Polygon:
    t = min(w, h) * rng.uniform(0.12, 0.25)
    return box(0, 0, w, h).difference(box(t, t, w - t, h - t))


def _plain(rng: random.Random, w: float, h: float) -> Polygon:
    return box(0, 0, w, h)


def _disc(rng: random.Random, w: float, h: float) -> Polygon:
    return Point(0, 0).buffer(min(w, h) / 2)


def _strip(rng: random.Random, w: float, h: float) -> Polygon:
    return box(0, 0, rng.uniform(100, 185), rng.uniform(12, 25))


MAKERS = (_plain, _notched, _l_shape, _u_shape, _ring, _frame, _disc, _strip)
WEIGHTS = (20, 20, 15, 15, 10, 10, 5, 5)


def panel_set(count: int, seed: int, small: bool = False) -> list[NestPart]:
    """``count`` panel-like parts: rectangles, notched, L, U, rings, frames, discs, strips.

    With ``small`` every second part is a small plate (15 to 60 mm), as a console's labels and
    switch plates are: these can lie in notches and cut-outs.
    """
    rng = random.Random(seed)
    parts = []
    for k in range(count):
        w, h = rng.uniform(40, 150), rng.uniform(30, 110)
        if small and k % 2:
            w, h = rng.uniform(20, 60), rng.uniform(15, 45)
        shape = rng.choices(MAKERS, WEIGHTS)[0](rng, w, h)
        shape = rotate(shape, rng.choice((0, 90)), origin=(0, 0))
        parts.append(NestPart(f"panel {k}", 1, shape, panel=f"group {k % 5}"))
    return parts


def _fits(free: tuple[float, float, float, float], w: float, h: float) -> bool:
    return w <= free[2] - free[0] + 1e-9 and h <= free[3] - free[1] + 1e-9


def rectangle_packer(parts: list[NestPart], sheet: Sheet, gap: float) -> int:
    """Sheets used by the maximal-rectangles method, best short side fit, turns, several orders.

    J. Jylanki, A Thousand Ways to Pack the Bin, 2010 (from memory): the usual good rectangle rule.
    """
    sizes = []
    for part in parts:
        x0, y0, x1, y1 = part.polygon.bounds
        sizes += [(x1 - x0 + gap, y1 - y0 + gap)] * part.copies
    area = sheet.printable
    bin_size = (area.width + gap, area.height + gap)
    orders = (
        lambda s: -s[0] * s[1],
        lambda s: -max(s),
        lambda s: -min(s),
        lambda s: -(s[0] + s[1]),
    )
    return min(_maxrects(sorted(sizes, key=order), bin_size) for order in orders)


def _maxrects(sizes: list[tuple[float, float]], size: tuple[float, float]) -> int:
    bins: list[list[tuple[float, float, float, float]]] = []
    for w0, h0 in sizes:
        for bin_free in bins:
            if _drop(bin_free, w0, h0):
                break
        else:
            bins.append([(0.0, 0.0, *size)])
            assert _drop(bins[-1], w0, h0)
    return len(bins)


def _drop(free: list[tuple[float, float, float, float]], w0: float, h0: float) -> bool:
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


def one_job(
    count: int, seed: int, budget: int, small: bool = False, strip_s: int = 0
) -> tuple[int, int, Layout]:
    """Nest one set and print its line: (rectangle sheets, first sheets, layout)."""
    parts = panel_set(count, seed, small)
    settings = NestSettings(gap_mm=2.0, budget=budget)
    t = time.perf_counter()
    rectangles = rectangle_packer(parts, A4, 2.0)
    rectangle_s = time.perf_counter() - t
    t = time.perf_counter()
    seen: list[tuple[float, int]] = []
    layout = nest(
        parts,
        [A4],
        settings,
        on_progress=lambda sheets, bound, n: seen.append((time.perf_counter() - t, sheets)),
        strip=child_packer(strip_s) if strip_s else None,
    )
    total = time.perf_counter() - t
    assert not check_layout(parts, [A4], settings, layout)
    reached = next((at for at, sheets in seen if sheets == len(layout.sheets)), total)
    print(
        f"{count:5d} {seed:6d} {rectangles:6d} ({rectangle_s:5.2f} s) {seen[0][1]:6d} "
        f"({seen[0][0]:5.2f} s) {len(layout.sheets):6d} ({reached:6.2f} s) {layout.lower_bound:6d} "
        f"{total:7.2f} s  {layout.stopped}",
        flush=True,
    )
    return rectangles, seen[0][1], layout


def strip_density(folder: pathlib.Path, seconds: int) -> None:
    """Density of the strip helper on published sets (ESICUP in jagua-rs form), percent."""
    turns = {1: Turns.NONE, 2: Turns.HALF, 4: Turns.QUARTER}
    found = []
    for name in ("albano", "fu", "marques", "swim", "shirts"):
        file = folder / f"{name}.json"
        if not file.exists():
            print(f"{name}: no {file.name} in the folder, left out")
            continue
        data = json.loads(file.read_text())
        items = [
            StripItem(
                f"{item['id']}.{copy}",
                Polygon(item["shape"]["data"]),
                turns[len(item.get("allowed_orientations") or [0])],
            )
            for item in data["items"]
            for copy in range(item["demand"])
        ]
        area, height = sum(item.polygon.area for item in items), data["strip_height"]
        scale = 200.0 / height
        items = [
            replace(i, polygon=affine_scale(i.polygon, scale, scale, origin=(0, 0))) for i in items
        ]
        answer = child_packer(seconds)(200.05, items, 0.0, 1)
        if answer is None:
            print(f"{name}: the packer gave up")
            continue
        density = 100 * area / (height * answer[0] / scale)
        found.append(density)
        print(f"{name}: {density:.1f} %", flush=True)
    if found:
        print(f"mean of {len(found)}: {sum(found) / len(found):.1f} % in {seconds} s each")


def main() -> None:
    """Print the table and its sums."""
    options = argparse.ArgumentParser(description=__doc__)
    options.add_argument("--sizes", type=int, nargs="+", default=[12, 30, 80])
    options.add_argument("--jobs", type=int, default=3)
    options.add_argument("--first-seed", type=int, default=1)
    options.add_argument("--budget", type=int, default=NestSettings().budget)
    options.add_argument("--small", action="store_true", help="every second part a small plate")
    options.add_argument("--strip", type=int, default=0, help="seconds a try of the strip packer")
    options.add_argument("--density", type=int, default=0, help="seconds a published strip set")
    chosen = options.parse_args()
    if chosen.density:
        folder = os.environ.get("DECALPREP_NEST_DATA")
        if not folder:
            sys.exit("set DECALPREP_NEST_DATA to a folder with albano.json, fu.json, ...")
        strip_density(pathlib.Path(folder), chosen.density)
        return
    print("parts   seed  rectangles      first answer      final (reached)   bound   total")
    sums = [0, 0, 0, 0, 0, 0]
    for count in chosen.sizes:
        for seed in range(chosen.first_seed, chosen.first_seed + chosen.jobs):
            rectangles, first, layout = one_job(
                count, seed, chosen.budget, chosen.small, chosen.strip
            )
            row = (rectangles, first, len(layout.sheets), layout.lower_bound)
            for k, value in enumerate(row):
                sums[k] += value
            sums[4] += 1
            sums[5] += len(layout.sheets) == layout.lower_bound
    saved = 100 * (1 - sums[2] / sums[0])
    print(
        f"sheets: rectangles {sums[0]}, first {sums[1]}, final {sums[2]} ({saved:.1f} % fewer), "
        f"bound {sums[3]}; proved fewest {sums[5]} of {sums[4]}; "
        f"peak {resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024:.0f} MB"
    )


if __name__ == "__main__":
    sys.exit(main())
