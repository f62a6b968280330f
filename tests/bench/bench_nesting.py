"""Nesting benchmark: generated sets against other ways to nest, published strips, jigsaws, size.

Run: python tests/bench/bench_nesting.py [--only sets strips jigsaws large] [--jobs 10]
     [--sizes 30 80] [--kinds faces console] [--first-seed N] [--budget N] [--strip S]
     [--endless S]
Published sets are read from the folder that DECALPREP_NEST_DATA names (albano.json, fu.json, ...).
Seeds 1 to 10 of every hundred up to 800 have been looked at; give others for a fair result.
Seconds are of the processor (ours and our children's), as on a free machine of one core; the strip
packer, which works under a clock, is given more of it where the machine is busy.
"""

from __future__ import annotations

import argparse
import math
import os
import pathlib
import resource
import sys
import time
from collections.abc import Sequence

from nest_others import endless_strip, library_packer, rectangle_packer, strip_by_sheets
from nest_sets import (
    A4,
    GAP_MM,
    JIGSAWS,
    KINDS,
    PUBLISHED,
    Published,
    panel_set,
    read_published,
)
from shapely.affinity import scale, translate
from shapely.geometry import Polygon

from decalprep.model import Margins, Sheet
from decalprep.nesting import Layout, NestPart, NestSettings, check_layout, nest
from decalprep.nesting.shapes import turn
from decalprep.nesting.strip import StripItem, StripPacker, child_packer, strip_packer_there

STRIP_MM = 2000.0
"""Published strips are scaled to this height: the packer's own growth of 0.02 mm counts little."""


def processor_s() -> float:
    """Seconds of the processor, this process and its ended children."""
    used = [resource.getrusage(who) for who in (resource.RUSAGE_SELF, resource.RUSAGE_CHILDREN)]
    return sum(u.ru_utime + u.ru_stime for u in used)


def busyness() -> float:
    """Seconds on the clock for a second of the processor just now."""
    wall, own = time.perf_counter(), time.process_time()
    while time.process_time() - own < 0.5:
        math.sqrt(2.0)
    return max(1.0, (time.perf_counter() - wall) / 0.5)


def peak_mb() -> tuple[float, float]:
    """Largest memory of this process, and of a child, in MB."""
    both = (resource.RUSAGE_SELF, resource.RUSAGE_CHILDREN)
    mine, child = (resource.getrusage(who).ru_maxrss / 1024 for who in both)
    return mine, child


def _packer(strip_s: int) -> StripPacker:
    return child_packer(max(1, round(strip_s * busyness())), processor_s=strip_s)


def one_job(
    kind: str, count: int, seed: int, budget: int, strip_s: int, others: bool, endless_s: int = 0
) -> dict[str, float]:
    """Nest one set and print its line."""
    parts = panel_set(count, seed, kind)
    row: dict[str, float] = {
        "jobs": 1,
        "pieces": count,
        "rectangles": rectangle_packer(parts, A4, GAP_MM),
    }
    row["library"] = library_packer(parts, A4, GAP_MM) or 0
    start = processor_s()
    seen: list[tuple[float, int]] = []
    layout = nest(
        parts,
        [A4],
        NestSettings(gap_mm=GAP_MM, budget=budget),
        on_progress=lambda sheets, bound, n: seen.append((processor_s() - start, sheets)),
        strip=_packer(strip_s) if strip_s else None,
    )
    total = processor_s() - start
    assert not check_layout(parts, [A4], NestSettings(gap_mm=GAP_MM), layout)
    count_now = len(layout.sheets)
    reached = next((at for at, sheets in seen if sheets == count_now), total)
    row |= {"first": seen[0][1], "sheets": count_now, "bound": layout.lower_bound}
    row |= {"proved": count_now <= layout.lower_bound, "first s": seen[0][0], "s": total}
    told = ""
    if others and strip_packer_there():
        start = processor_s()
        alone = strip_by_sheets(parts, A4, GAP_MM, child_packer(max(1, round(busyness()))))
        row |= {"strip jobs": 1, "strip": len(alone.sheets), "strip against": count_now}
        told = f"  strip packer alone {len(alone.sheets)} in {processor_s() - start:.0f} s"
    if endless_s and strip_packer_there():
        length = endless_strip(parts, layout, A4, GAP_MM, _packer(endless_s))
        row |= {"endless": math.ceil(length), "endless against": count_now}
        told += f"  endless strip {length:.2f} sheets"
    print(
        f"{kind:8s}{count:4d}{seed:6d}{row['rectangles']:7.0f}{row['library']:7.0f}"
        f"{seen[0][1]:6d} {seen[0][0]:6.2f} s{count_now:6d} {reached:6.2f} s"
        f"{layout.lower_bound:6d}{total:8.1f} s  {layout.stopped}{told}",
        flush=True,
    )
    return row


def sums(rows: Sequence[dict[str, float]]) -> str:
    """One line over several jobs."""
    total = {key: sum(row.get(key, 0) for row in rows) for row in rows for key in row}
    best = 100 * (1 - total["bound"] / total["rectangles"])
    line = (
        f"{total['jobs']:.0f} jobs: rectangles {total['rectangles']:.0f}, "
        f"rectpack {total['library']:.0f}, ours {total['sheets']:.0f} = "
        f"{100 * (1 - total['sheets'] / total['rectangles']):.1f} % fewer (the bounds allow "
        f"{best:.1f} %); proved fewest {total['proved']:.0f}; first answer at most "
        f"{max(row['first s'] for row in rows):.2f} s"
    )
    more = sum(row["sheets"] > min(row["rectangles"], row["library"] or 999) for row in rows)
    line += f"; more than a rectangle packer {more} times"
    if "strip" in total:
        worse = sum(row["strip against"] > row["strip"] for row in rows if "strip" in row)
        line += (
            f"; strip packer alone {total['strip']:.0f} to our {total['strip against']:.0f} on "
            f"{total['strip jobs']:.0f}, ours more {worse} times"
        )
    if "endless" in total:
        line += (
            f"; endless strips, each rounded up to whole sheets, {total['endless']:.0f} to our "
            f"{total['endless against']:.0f}"
        )
    return line


def generated(chosen: argparse.Namespace) -> None:
    """The generated sets."""
    print("kind   parts  seed  rect. rectpack  first          final (reached)  bound    all")
    for kind in chosen.kinds:
        rows = []
        for count in chosen.sizes:
            mine = []
            for k in range(chosen.jobs):
                seed = chosen.first_seed + k
                others = k < chosen.others
                row = one_job(
                    kind, count, seed, chosen.budget, chosen.strip, others, chosen.endless
                )
                mine.append(row)
            print(f"  {kind} {count}: {sums(mine)}", flush=True)
            rows += mine
        print(f"{kind}, all: {sums(rows)}", flush=True)
        large_ones = [row for row in rows if row["pieces"] in (30, 80)]
        if large_ones and len(large_ones) < len(rows):
            print(f"{kind}, 30 and 80: {sums(large_ones)}", flush=True)


def large(chosen: argparse.Namespace) -> None:
    """200 pieces: seconds and memory, with a try of the strip packer's child."""
    start = processor_s()
    row = one_job("console", 200, chosen.first_seed, chosen.budget, chosen.strip, False)
    print(
        f"200 pieces: {row['sheets']:.0f} sheets, at least {row['bound']:.0f}, "
        f"{processor_s() - start:.1f} s, {sum(peak_mb()):.0f} MB ours and largest child"
    )


def _laid_in_strip(pieces: Sequence[Polygon], poses: Sequence, height: float) -> float:  # type: ignore[type-arg]
    """The exact length of the packer's answer; fails where pieces overlap by more than 0.001 %."""
    laid = []
    for pose in poses:
        laid.append(translate(turn(pieces[int(pose.name)], pose.turn_deg), pose.x_mm, pose.y_mm))
    tolerance = 1e-5 * height * height
    for k, piece in enumerate(laid):
        assert piece.bounds[1] > -0.01, "below the strip"
        assert piece.bounds[3] < height * 1.0002, "above the strip"
        assert all(piece.intersection(other).area < tolerance for other in laid[:k]), "overlap"
    return max(p.bounds[2] for p in laid) - min(p.bounds[0] for p in laid)


def strip_density(folder: pathlib.Path, known: Published, seconds: int) -> float | None:
    """Percent of the strip that is covered in ``seconds`` of two processors, as one child."""
    pieces, height = read_published(folder, known)
    times = STRIP_MM / height
    pieces = [scale(p, times, times, origin=(0, 0)) for p in pieces]
    items = [StripItem(str(k), p, known.turns) for k, p in enumerate(pieces)]
    clock, start = max(1, round(seconds * busyness())), processor_s()
    pack = child_packer(clock, processor_s=2 * seconds, workers=2)
    answer = pack(STRIP_MM * 1.0001, items, 0.0, 1, 0.0)
    if answer is None:
        print(f"{known.name}: the packer gave up")
        return None
    density = (
        100 * sum(p.area for p in pieces) / STRIP_MM / _laid_in_strip(pieces, answer[1], STRIP_MM)
    )
    print(
        f"{known.name:8s} {density:5.1f} %, published {known.reference:.1f} %, "
        f"{processor_s() - start:.0f} s of the processor",
        flush=True,
    )
    return density


def strips(chosen: argparse.Namespace) -> None:
    """The published strip sets."""
    folder = _folder()
    wanted = [known for known in PUBLISHED if known.name in chosen.names]
    found = [strip_density(folder, known, chosen.seconds) for known in wanted]
    good = [density for density in found if density is not None]
    if good:
        print(f"mean of {len(good)}: {sum(good) / len(good):.1f} % in {chosen.seconds} s each")


def jigsaws(chosen: argparse.Namespace) -> None:
    """Jigsaws: our engine on shorter and shorter strips, and the strip packer; optimum 100 %."""
    folder = _folder()
    for known in JIGSAWS:
        pieces, height = read_published(folder, known)
        strip_density(folder, known, max(1, chosen.seconds // 3))
        for length in (140.0, 130.0, 125.0, 120.0, 115.0, 110.0, 105.0, 100.0):
            sheet = Sheet("strip", 2 * length, 2 * height, Margins(0, 0, 0, 0))
            parts = [
                NestPart(f"p{k}", 1, scale(p, 2, 2, origin=(0, 0)), known.turns)
                for k, p in enumerate(pieces)
            ]
            rules = NestSettings(gap_mm=0.0, budget=chosen.budget)
            layout: Layout = nest(parts, [sheet], rules)
            if len(layout.sheets) > 1:
                print(f"{known.name}: our own engine fails at {10000 / length / height:.1%}")
                break
            print(f"{known.name}: our own engine lays it at {10000 / length / height:.1%}")


def _folder() -> pathlib.Path:
    folder = os.environ.get("DECALPREP_NEST_DATA")
    if not folder:
        sys.exit("set DECALPREP_NEST_DATA to a folder with albano.json, fu.json, ...")
    return pathlib.Path(folder)


PARTS = {"sets": generated, "large": large, "strips": strips, "jigsaws": jigsaws}


def main() -> None:
    """Print the tables."""
    options = argparse.ArgumentParser(description=__doc__)
    options.add_argument("--only", nargs="+", choices=PARTS, default=list(PARTS))
    options.add_argument("--kinds", nargs="+", choices=KINDS, default=KINDS)
    options.add_argument("--sizes", type=int, nargs="+", default=[12, 30, 80])
    options.add_argument("--jobs", type=int, default=10)
    options.add_argument("--first-seed", type=int, default=901)
    options.add_argument("--budget", type=int, default=2000)
    options.add_argument("--strip", type=int, default=0, help="seconds a try of the strip packer")
    options.add_argument("--others", type=int, default=2, help="jobs a row with the strip packer")
    options.add_argument(
        "--endless", type=int, default=0, help="seconds of the strip packer for one endless strip"
    )
    every = [known.name for known in PUBLISHED]
    options.add_argument("--names", nargs="+", choices=every, default=every)
    options.add_argument("--seconds", type=int, default=30, help="a published strip set")
    chosen = options.parse_args()
    for name in chosen.only:
        PARTS[name](chosen)


if __name__ == "__main__":
    sys.exit(main())
