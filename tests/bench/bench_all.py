"""The table of speed in DEVELOPERS.md, and the plot of scaling: run by hand.

    python tests/bench/bench_all.py [--plot fixtures/pictures/scaling.png]

Seconds are of processor time, child processes included, in this process after its modules are
loaded, if nothing else is said; memory is the largest resident size of a process of its own. Whole
jobs are commands in a process of their own, start-up included: the time a person waits depends on
what else the machine does, so its load is told. Ratios are against plain scripts that do the same
step without looking: they neither check, nor clean, nor prove.
"""

from __future__ import annotations

import argparse
import compileall
import io
import math
import os
import resource
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Any

ROOT = Path(__file__).parent.parent.parent
sys.path[:0] = [str(ROOT), str(ROOT / "tests")]

import plain_scripts as plain  # noqa: E402
import shapely  # noqa: E402
from bench_sheets import A4, laid  # noqa: E402
from PIL import Image, ImageDraw  # noqa: E402
from sheet_samples import winch_panel  # noqa: E402

from decalprep.geometry import Affine  # noqa: E402
from decalprep.intake import svg_process  # noqa: E402
from decalprep.model import Decal, Placement  # noqa: E402
from decalprep.proof import ExpectedArtwork, ExpectedDecal, ExpectedJob, ExpectedSheet  # noqa: E402

PANEL = (
    '<svg xmlns="http://www.w3.org/2000/svg" width="60mm" height="40mm" viewBox="0 0 60 40">'
    '<rect width="60" height="40" rx="3" fill="#223"/><g fill="#fff">{}</g></svg>'
)
PATHS = 50_000
SLOPE = 1 + math.log10(math.log(1000) / math.log(100))
"""Of n log n from 100 to 1,000: no step but nesting should grow faster."""
COUNTS = (1, 3, 10, 30, 100, 300, 1000)


def cpu_s() -> float:
    """Processor time of this process, its ended children and the SVG converters, which stay."""
    ended = resource.getrusage(resource.RUSAGE_CHILDREN)
    staying = 0
    for one in svg_process._running.values():
        stat = Path(f"/proc/{one.process.pid}/stat").read_text(encoding="utf-8")
        staying += sum(map(int, stat.rpartition(")")[2].split()[11:13]))
    own = time.process_time() + ended.ru_utime + ended.ru_stime
    return own + staying / os.sysconf("SC_CLK_TCK")


def timed(act: Callable[[], Any], *, times: int = 1) -> tuple[float, Any]:
    """(least processor time in s of some runs, what the last one gave)."""
    best, result = math.inf, None
    for _ in range(times):
        start = cpu_s()
        result = act()
        best = min(best, cpu_s() - start)
    return best, result


def row(what: str, value: str, note: str = "", *, goal: str = "") -> None:
    print(f"| {what} | {value} | {goal} | {note} |", flush=True)


def command(*args: str) -> tuple[float, float]:
    """(wall s, processor s) of one command of the tool, its start and its helpers included.

    As where it is installed, modules are compiled beforehand, whatever this environment says.
    """
    compileall.compile_dir(str(ROOT / "decalprep"), quiet=1)
    program = [sys.executable, "-m", "decalprep.cli", *args]
    environment = os.environ | {"PYTHONPATH": str(ROOT)}
    begun, start = time.perf_counter(), cpu_s()
    subprocess.run(program, check=True, capture_output=True, env=environment)
    return time.perf_counter() - begun, cpu_s() - start


def own_process(code: str, *args: str) -> tuple[float, float, float]:
    """(wall s, processor s, peak MB) of a Python process of its own."""
    start = time.perf_counter()
    cpu, peak = (float(v) for v in said_by(code, *args)[-2:])
    return time.perf_counter() - start, cpu, peak


def said_by(code: str, *args: str) -> list[str]:
    """Words that a Python process of its own prints; the last are its processor s and peak MB."""
    environment = os.environ | {
        "PYTHONPATH": os.pathsep.join([*sys.path[:2], str(ROOT / "tests" / "bench")])
    }
    program = (
        "import resource, sys\n" + code + "\nu = resource.getrusage(resource.RUSAGE_SELF)\n"
        "status = open('/proc/self/status').read().split('VmHWM:')[1]  # of this program alone\n"
        "print(u.ru_utime + u.ru_stime, int(status.split()[0]) / 1024)"
    )
    done = subprocess.run(
        [sys.executable, "-c", program, *args],
        env=environment,
        check=True,
        capture_output=True,
        text=True,
    )
    return done.stdout.split()


# ---------------------------------------------------------------- one drawing


def large_svg(paths: int) -> str:
    side = math.ceil(math.sqrt(paths * 1.5))
    step = 0.9 * 60 / side
    ticks = []
    for k in range(paths):
        x, y = 3 + step * (k % side), 3 + step * (k // side)
        ticks.append(f"M{x:.4f} {y:.4f}h{step / 3:.4f}v{step / 3:.4f}z")
    strokes = '<g fill="none" stroke="#fff" stroke-width="0.05">'
    half = len(ticks) // 2
    filled = "".join(f'<path d="{d}"/>' for d in ticks[:half])
    return PANEL.format(
        filled + strokes + "".join(f'<path d="{d}"/>' for d in ticks[half:]) + "</g>"
    )


def large_drawing(folder: Path) -> None:
    from decalprep.cleaning import strip_hairlines
    from decalprep.intake import read_artwork
    from decalprep.outline import OutlineSettings, find_outline
    from decalprep.pdfstream import read_page

    path = folder / "large.svg"
    path.write_text(large_svg(PATHS))
    took, artwork = timed(lambda: read_artwork(path))
    alone, _ = timed(lambda: plain.svg_to_pdf(path, folder / "plain.pdf"))
    row(f"intake of {PATHS:,} paths, SVG", f"{took:.1f} s", f"svglib + reportlab {alone:.1f} s")
    pdf = folder / "large.pdf"
    pdf.write_bytes(artwork.page_pdf)
    took, _ = timed(lambda: read_artwork(pdf))
    row("the same as PDF", f"{took:.1f} s")
    took, _ = timed(lambda: strip_hairlines(artwork))
    note = f"{PATHS // 2:,} strokes; the converter writes 8 operators round each path"
    row("hairlines stripped from the page made of it", f"{took:.2f} s", note)
    took, contents = timed(lambda: read_page(artwork.page_pdf))
    row("its page read", f"{took:.1f} s")
    took, _ = timed(lambda: find_outline(artwork, contents, None, OutlineSettings()))
    row("its outline found", f"{took:.1f} s")


STRIP = """
import pathlib
import bench_streams as b
from decalprep.model import Artwork
from decalprep.cleaning import strip_hairlines
mm = b.MM_PER_PT
def of(page):
    return Artwork("b", "b.pdf", "pdf", page, 200, 100, 200 * mm, 100 * mm)
strip_hairlines(of(b.drawing(10, b.KINDS[0])))
page = of(pathlib.Path(sys.argv[1]).read_bytes())
before, start = b.peak_mib(), b.time.process_time()
strip_hairlines(page)
print(b.time.process_time() - start, b.peak_mib() - before)
"""


def stripping(folder: Path) -> None:
    """The worst of three kinds of drawing that are written plainly: memory is over that before."""
    import bench_streams as streams

    for paths, (goal_s, goal_mib) in streams.GOALS.items():
        found = []
        for kind in streams.KINDS:
            source = folder / "strokes.pdf"
            source.write_bytes(streams.drawing(paths, kind))
            told = said_by(STRIP, str(source))
            found.append((float(told[-4]), float(told[-3])))
        seconds, mib = (max(values) for values in zip(*found, strict=True))
        row(
            f"hairlines stripped, {paths:,} paths written plainly",
            f"{seconds:.2f} s, {mib:.0f} MiB",
            "the slowest of three kinds of drawing",
            goal=f"{goal_s:g} s, {goal_mib:g} MiB",
        )


def small_drawing(folder: Path) -> None:
    from decalprep.intake import read_artwork

    path = folder / "small.svg"
    path.write_text(PANEL.format('<path d="M10 10h20v5z"/>'))
    read_artwork(path)
    ours, _ = timed(lambda: read_artwork(path), times=3)
    alone, _ = timed(lambda: plain.svg_to_pdf(path, folder / "plain.pdf"), times=3)
    row("intake of a small SVG", f"{ours:.2f} s", f"svglib + reportlab {alone:.3f} s, unchecked")


# ---------------------------------------------------------------- whole jobs


def jobs(folder: Path) -> None:
    os.environ["DECALPREP_HOME"] = str(folder / "records")
    os.chdir(folder)
    (folder / "one.svg").write_text(PANEL.format('<path d="M10 10h20v5z"/>'))
    one = '[job]\npasses = 1\n[[panel]]\nname = "p"\nartwork = "one.svg"\ncopies = {}\n'
    for copies in (1, 40):
        (folder / "copies.toml").write_text(one.format(copies))
        wall, cpu = command("make", "copies.toml", "--anew")
        size = (folder / "copies-out" / "sheets.pdf").stat().st_size
        note = f"{cpu:.1f} s of processor time; {size / 1000:.0f} kB"
        row(f"job of one panel, copies: {copies}, waited for", f"{wall:.1f} s", note)
    forty_panels(folder)
    for kind in ("svg", "pdf"):
        wall, cpu = command("make", f"forty-{kind}.toml", "--anew")
        row(
            f"job of 40 different {kind.upper()} panels, waited for",
            f"{wall:.1f} s",
            f"{cpu:.1f} s of processor time; every one drawn twice, proven",
            goal="3 s",
        )


def forty_panels(folder: Path) -> None:
    """Two jobs of the same 40 panels, as SVG and as PDF."""
    from decalprep.intake import read_artwork

    names: list[str] = []
    for k in range(40):
        width = 40 + k % 7
        text = PANEL.format(f'<path d="M10 10h{10 + k % 9}v5z"/>')
        for old, new in (
            ("60mm", f"{width}mm"),
            ("0 60 40", f"0 {width} 40"),
            ('"60"', f'"{width}"'),
        ):
            text = text.replace(old, new)
        path = folder / f"p{k}.svg"
        path.write_text(text)
        path.with_suffix(".pdf").write_bytes(read_artwork(path).page_pdf)
        names.append(f"p{k}")
    for kind in ("svg", "pdf"):
        panels = [f'[[panel]]\nname = "{n}"\nartwork = "{n}.{kind}"\n' for n in names]
        (folder / f"forty-{kind}.toml").write_text("[job]\npasses = 1\n" + "".join(panels))


# ---------------------------------------------------------------- proof


def expected(decal: Decal, placements: Sequence[Placement], sheets: int) -> ExpectedJob:
    outline, box = tuple(decal.outline.points(0.001)), decal.outline.box
    found = []
    for p in placements:
        m = Affine.translation(p.x_mm, p.y_mm) @ Affine.rotation(p.turn_deg)
        art = decal.artwork
        found.append(
            ExpectedDecal(
                p.decal,
                p.copy,
                p.sheet_index,
                tuple(m.apply_all(outline)),
                (box.width, box.height),
                m,
                ExpectedArtwork(art.page_pdf, art.width_mm, art.height_mm),
                m,
                bleed_mm=decal.bleed_mm,
            )
        )
    return ExpectedJob(tuple(ExpectedSheet(210.0, 297.0) for _ in range(sheets)), tuple(found))


BANDS = """
from decalprep.proof.render import open_pdf
data = open(sys.argv[1], "rb").read()
with open_pdf(data) as opened:
    total = sum(int(p.pixels.size) for p in opened.bands(0, 1200))
assert total > 0
"""


def proof(folder: Path) -> None:
    from decalprep.compose import compose_sheets
    from decalprep.export import write_pdf

    decal = winch_panel(copies=18)
    pdf = folder / "sheet.pdf"
    pdf.write_bytes(write_pdf(compose_sheets([decal], laid(18), [A4])))
    base = own_process("import decalprep.proof.render")
    _, cpu, peak = own_process(BANDS, str(pdf))
    row(
        "A4 drawn and read at 1200 dpi for the proof",
        f"{cpu - base[1]:.2f} s, {peak:.0f} MB",
        goal="1 s, 150 MB",
    )


# ---------------------------------------------------------------- scaling


def steps(count: int) -> dict[str, float]:
    """Processor time of each step for so many decals, 18 on a sheet."""
    from decalprep.compose import compose_sheets
    from decalprep.export import write_pdf
    from decalprep.export.cutfiles import cut_dxf, sheet_plan
    from decalprep.nesting import NestPart, NestSettings, nest
    from decalprep.nesting.checker import check_layout
    from decalprep.proof import prove

    decal, placements = winch_panel(copies=count, holes=()), laid(count)
    sheets = [A4] * (1 + placements[-1].sheet_index)
    found = {}
    found["compose"], drawings = timed(lambda: compose_sheets([decal], placements, sheets))
    found["write"], pdf = timed(lambda: write_pdf(drawings))
    found["cut files"], _ = timed(lambda: [cut_dxf(sheet_plan(d)) for d in drawings])
    job = expected(decal, placements, len(sheets))
    found["proof"], _ = timed(lambda: prove(pdf, job))
    part = NestPart("winch panel", count, decal.outline.polygon(0.01).buffer(2.0))
    settings = NestSettings(budget=1)
    found["nest"], layout = timed(lambda: nest([part], [A4], settings))
    found["check"], _ = timed(lambda: check_layout([part], [A4], settings, layout))
    return found


def scaling() -> dict[str, list[float]]:
    steps(1)
    series: dict[str, list[float]] = {}
    for count in COUNTS:
        for name, took in steps(count).items():
            series.setdefault(name, []).append(took)
    for name, values in series.items():
        # the slope between the largest two, against that of n log n
        a, b = (i for i in (-3, -1))
        worth = math.log(values[b] / max(values[a], 1e-9)) / math.log(COUNTS[b] / COUNTS[a])
        row(
            f"{name}, 1,000 decals",
            f"{values[-1]:.2f} s",
            f"grows as n to the power {worth:.2f} from 100 to 1,000",
            goal="" if name == "nest" else f"power {SLOPE:.2f}",
        )
    return series


def plot(series: dict[str, list[float]], path: Path) -> None:
    """Seconds by number of decals, both on logarithmic scales, with a line of n log n."""
    wide, high, left, low = 900, 600, 80, 60
    picture = Image.new("RGB", (wide, high), "white")
    pen = ImageDraw.Draw(picture)
    x_end, y_from, y_to = math.log10(COUNTS[-1]), -3.0, 2.0

    def at(count: float, seconds: float) -> tuple[float, float]:
        x = left + (wide - left - 150) * math.log10(count) / x_end
        y = (math.log10(max(seconds, 10**y_from)) - y_from) / (y_to - y_from)
        return x, high - low - (high - low - 30) * y

    for power in range(int(y_from), int(y_to) + 1):
        pen.line([at(1, 10**power), at(COUNTS[-1], 10**power)], "#ddd")
        pen.text((8, at(1, 10**power)[1] - 6), f"{10.0**power:g} s", "black")
    for count in (1, 10, 100, 1000):
        pen.line([at(count, 10**y_from), at(count, 10**y_to)], "#ddd")
        pen.text((at(count, 1)[0] - 8, high - low + 10), f"{count:,}", "black")
    pen.text((left, high - 24), "decals; 18 on a sheet; processor time of each step", "black")
    guide = [at(n, 0.002 * n * math.log2(n + 1)) for n in COUNTS]
    pen.line(guide, "#999", 1)
    pen.text((guide[-1][0] + 6, guide[-1][1] - 6), "n log n", "#999")
    colours = ("#1b6ca8", "#b5532a", "#3a7d44", "#7b3f8c", "#222222", "#a8861b")
    ends: list[float] = []
    for (name, values), colour in zip(series.items(), colours, strict=False):
        line = [at(n, v) for n, v in zip(COUNTS, values, strict=True)]
        pen.line(line, colour, 2)
        for x, y in line:
            pen.ellipse((x - 3, y - 3, x + 3, y + 3), colour)
        y = line[-1][1]
        while any(abs(y - other) < 13 for other in ends):
            y += 13
        ends.append(y)
        pen.text((line[-1][0] + 8, y - 6), name, colour)
    out = io.BytesIO()
    picture.quantize(64).save(out, "PNG", optimize=True)
    path.write_bytes(out.getvalue())


# ---------------------------------------------------------------- against plain scripts


def ratios(folder: Path) -> None:
    from decalprep.compose import compose_sheets
    from decalprep.export import write_pdf
    from decalprep.nesting import NestPart, NestSettings, nest

    sizes = {}
    for count in (1, 40):
        decal, placements = winch_panel(copies=count), laid(count)
        sheets = [A4] * (1 + placements[-1].sheet_index)
        sizes[count] = len(write_pdf(compose_sheets([decal], placements, sheets)))
    times = f"{sizes[40] / sizes[1]:.2f} times"
    row("sheets.pdf of 40 copies over that of one", times, "3 sheets", goal="1.6 times")
    decal = winch_panel(copies=40)
    places = laid(40)
    ours, _ = timed(lambda: write_pdf(compose_sheets([decal], places, [A4] * 3)), times=3)
    alone, merged = timed(lambda: plain.merged(decal.artwork.page_pdf, places), times=3)
    one = len(plain.merged(decal.artwork.page_pdf, laid(1)))
    row(
        "40 copies composed and written",
        f"{ours:.2f} s",
        f"pypdf merging {alone:.3f} s, no marks; its file {len(merged) / one:.1f} times one",
    )
    sizes_mm = [(40 + 11 * (k % 5), 30 + 17 * (k % 4)) for k in range(80)]
    parts = [NestPart(f"p{k}", 1, shapely.box(0, 0, w, h)) for k, (w, h) in enumerate(sizes_mm)]
    ours, layout = timed(lambda: nest(parts, [A4], NestSettings(budget=1, gap_mm=2.0)))
    alone, used = timed(lambda: plain.shelves(sizes_mm, A4.width_mm - 12.7, A4.height_mm - 12.7, 2))
    row(
        "80 rectangles nested, one pass",
        f"{ours:.1f} s, {len(layout.sheets)} sheets",
        f"rows of rectangles {alone:.3f} s, {used} sheets",
    )


def main() -> None:
    """Print the table."""
    asked = argparse.ArgumentParser()
    asked.add_argument("--plot", type=Path)
    options = asked.parse_args()
    plot_path = options.plot.resolve() if options.plot else None
    load = os.getloadavg()[0] if hasattr(os, "getloadavg") else math.nan
    print(f"{os.cpu_count()} cores; load before the bench {load:.1f}\n")
    print("| what | takes | goal | beside it |\n|---|---|---|---|")
    _, cpu, peak = own_process("from decalprep.cli import run\nrun(['--help'])")
    row("start-up (--help)", f"{cpu:.2f} s", f"{peak:.0f} MB")
    sys.stdout.flush()
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        small_drawing(folder)
        large_drawing(folder)
        stripping(folder)
        jobs(folder)
        proof(folder)
        ratios(folder)
        series = scaling()
        os.chdir(ROOT)
    if plot_path:
        plot(series, plot_path)
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    print(f"\nlargest memory of all this in one process: {peak:.0f} MB")


if __name__ == "__main__":
    main()
