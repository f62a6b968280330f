"""How public SVG suites fare: right, refused by name, wrong in silence, slow, dead.

    DECALPREP_SVG_SUITE=/path/to/suites python tests/bench/bench_svg_suite.py [--half 1]

The folder holds SVG files, each with a PNG that shows what is right (``svg_suite_cases``). Each is
read by our own intake in a process of its own. A page is right where fewer than 1 % of the
picture's pixels are off by more than a quarter of the range, after one pixel is forgiven; all are
drawn over four times the pixels and reduced. The truth is known where the suite's picture and a
headless browser agree so; elsewhere a file is only counted as open. A refusal is false where the
rasteriser's drawing of the file as it comes would have been right. Of the open ones it is counted
whether our page looks as the browser's, and whether a danger was told where it does not. Files
with text and with filters are counted apart. Half of the files (by a hash of the name) is for
developing the list of features, the other for judging it.

Drawings are kept in $DECALPREP_SVG_KEEP, so that a later run draws only what is new; ``--fresh``
reads all files anew, ``--coarse`` compares at half the pixels a mm. Not part of the fast tests, for
no suite is in this repository.
"""

import argparse
import io
import json
import multiprocessing
import os
import resource
import sys
import tempfile
import time
from collections import Counter
from collections.abc import Sequence
from functools import partial
from pathlib import Path
from typing import Any

import numpy as np
from PIL import Image

sys.path.insert(0, str(Path(__file__).resolve().parent))

from svg_suite_browser import draw_in_browser, draw_raw
from svg_suite_cases import FAMILIES, Case, cases_under

from decalprep.errors import DecalprepError
from decalprep.intake import svg_convert, svg_fonts, svg_prepass
from decalprep.intake.compare import _beyond, page_picture, picture_on_white, px_per_mm_for
from decalprep.intake.options import IntakeOptions
from decalprep.intake.svg import read_svg
from decalprep.intake.svg_process import end_converters

OFF_LEVEL, OFF_SHARE, SLOW_SECONDS, HANG_SECONDS = 64, 0.01, 10.0, 60.0
VARIABLE, KEEP = "DECALPREP_SVG_SUITE", "DECALPREP_SVG_KEEP"
PROCESSES = 2


def read_case(case: Case, kept: Path) -> None:
    """Read one file and write down what became of it; runs in a process of its own."""
    svg_fonts.GENERIC.update(FAMILIES)
    svg_fonts.STAND_IN = next(
        (
            n
            for n in ("Noto Serif", "Roboto")
            if any(n.replace(" ", "") in f.name for f in case.fonts)
        ),
        svg_fonts.STAND_IN,
    )
    folders = tuple(sorted({font.parent for font in case.fonts}))
    shelf = partial(svg_fonts.FontShelf, extra=folders, use_system=False)
    svg_prepass.FontShelf = shelf  # type: ignore[assignment,misc]
    started, told = time.monotonic(), {}
    try:
        with tempfile.TemporaryDirectory() as folder:
            artwork = read_svg(case.beside(Path(folder)), IntakeOptions(allow_missing_fonts=True))
    except DecalprepError as problem:
        told = {"refused": type(problem).__name__, "why": str(problem)}
    except BaseException as problem:
        told = {"broke": repr(problem)}
    else:
        (kept / f"{case.key}.pdf").write_bytes(artwork.page_pdf)
        route = next(n.text for n in artwork.notices if n.code == "svg-route")
        told = {
            "route": route.split(";")[0].removeprefix("drawn by "),
            "told": [f"{n.severity.value} {n.code}: {n.text}" for n in artwork.notices],
        }
    told["seconds"] = time.monotonic() - started
    end_converters()  # their time counts once they have ended
    used = [resource.getrusage(w) for w in (resource.RUSAGE_SELF, resource.RUSAGE_CHILDREN)]
    told["cpu"] = sum(u.ru_utime + u.ru_stime for u in used)
    (kept / f"{case.key}.json").write_text(json.dumps(told))


def read_all(cases: Sequence[Case], kept: Path) -> None:
    """Read the files, some at a time; a process that dies or hangs is written down as such."""
    for folder in {font.parent for case in cases for font in case.fonts}:
        svg_fonts.faces_in(folder, deep=False)
    context = multiprocessing.get_context("fork")
    waiting, running = list(cases)[::-1], {}
    while waiting or running:
        while waiting and len(running) < PROCESSES:
            case = waiting.pop()
            process = context.Process(target=read_case, args=(case, kept))
            process.start()
            running[process] = (case, time.monotonic())
        for process, (case, started) in list(running.items()):
            late = time.monotonic() - started > HANG_SECONDS
            if late:
                process.kill()
            process.join(0.01)
            if process.is_alive():
                continue
            del running[process]
            if process.exitcode:
                told = {"broke": "hung" if late else f"died ({process.exitcode})"}
                told |= {"seconds": time.monotonic() - started, "cpu": 0.0}
                (kept / f"{case.key}.json").write_text(json.dumps(told))


def share_off(one: Any, other: Any) -> float:
    """The share of pixels that differ, one pixel forgiven; 1 where the sizes differ."""
    if one is None or other is None or one.shape != other.shape:
        return 1.0
    off = np.maximum(_beyond(one, other), _beyond(other, one)).max(axis=2) > OFF_LEVEL
    return float(off.mean())


def picture_of(path: Path) -> Any:
    data = path.read_bytes() if path.exists() else b""
    return picture_on_white(data)[0] if data else None


def judged(case: Case, kept: Path) -> dict[str, Any]:
    """What was told at reading, and how the page compares with what others draw."""
    told: dict[str, Any] = json.loads((kept / f"{case.key}.json").read_text())
    suite, seen = picture_of(case.png), picture_of(kept / f"{case.key}.browser.png")
    agreed = share_off(suite, seen)
    told |= {"case": case, "agreed": agreed < OFF_SHARE, "against": (agreed,)}
    told["seen"] = seen is not None
    if "route" in told:
        with Image.open(io.BytesIO(case.png.read_bytes())) as opened:
            page = page_picture((kept / f"{case.key}.pdf").read_bytes(), opened.size)
        told["against"] = (share_off(page, suite), share_off(page, seen))
    elif "refused" in told:
        blank = suite is not None and int(suite.min()) == 255
        raw = picture_of(draw_raw(case, kept))
        told["against"] = (share_off(raw, suite), share_off(raw, seen))
        told["blank"] = blank
    return told


def verdict(row: dict[str, Any]) -> str:
    """One of the table's columns."""
    right = min(row["against"]) < OFF_SHARE
    if "broke" in row:
        return "BROKE"
    if "refused" in row:
        if not row["agreed"]:
            return "open, refused"
        if row["blank"]:
            return "refused, nothing on it"
        return "refused falsely" if right else "refused rightly"
    danger = any(line.startswith("danger") for line in row["told"] if "svg-route" not in line)
    if not row["agreed"]:
        if row["against"][1] < OFF_SHARE:
            return "open, as the browser"
        if not row["seen"]:
            return "open, the browser fails"
        return "open, other but told" if danger else "open, other in silence"
    if right:
        return "right as pixels" if row["route"] == "pixels" else "right as vector"
    return "wrong but told" if danger else "WRONG IN SILENCE"


COLUMNS = (
    "right as vector",
    "right as pixels",
    "refused rightly",
    "refused, nothing on it",
    "refused falsely",
    "wrong but told",
    "WRONG IN SILENCE",
    "BROKE",
    "open, as the browser",
    "open, the browser fails",
    "open, other but told",
    "open, other in silence",
    "open, refused",
)


def show_table(rows: Sequence[dict[str, Any]]) -> None:
    """Counts for each half and kind; shares are of the files whose truth is known."""
    for judging, half in ((False, "developing half"), (True, "judging half")):
        of_half = [row for row in rows if row["case"].judging is judging]
        kinds = {"rest": ("rest",), "text": ("text",), "filter": ("filter",), "all": None}
        for kind, wanted in kinds.items():
            part = [r for r in of_half if wanted is None or r["case"].kind in wanted]
            if not part:
                continue
            count = Counter(verdict(row) for row in part)
            known = sum(n for name, n in count.items() if not name.startswith("open"))
            print(f"\n{half}, {kind}: {len(part)} files, truth known of {known}")
            for column in COLUMNS:
                share = (
                    ""
                    if column.startswith("open")
                    else f"{100 * count[column] / max(known, 1):6.2f} %"
                )
                print(f"  {column:24} {count[column]:5} {share}")


def main() -> int:
    """Print what went wrong and the table; 1 where a file broke the reader or took too long."""
    parser = argparse.ArgumentParser()
    parser.add_argument("--only", default="")
    parser.add_argument("--half", type=int, choices=(0, 1))
    parser.add_argument("--kind", choices=("rest", "text", "filter"))
    parser.add_argument("--share", type=int, default=1)
    parser.add_argument("--coarse", action="store_true")
    parser.add_argument("--fresh", action="store_true")
    wanted = parser.parse_args()
    suite = os.environ.get(VARIABLE)
    if not suite:
        sys.stderr.write(f"set {VARIABLE} to the folder of a suite\n")
        return 2
    cases = [c for c in cases_under(Path(suite)) if wanted.only in c.name]
    cases = [c for c in cases if wanted.half in (None, int(c.judging))]
    cases = [c for c in cases if wanted.kind in (None, c.kind)][:: wanted.share]
    if wanted.coarse:
        svg_convert.px_per_mm_for = lambda width_mm, height_mm: (
            px_per_mm_for(width_mm, height_mm) / 2
        )
    with tempfile.TemporaryDirectory() as folder:
        kept = Path(os.environ.get(KEEP) or folder)
        kept.mkdir(exist_ok=True)
        unread = [c for c in cases if wanted.fresh or not (kept / f"{c.key}.json").exists()]
        read_all(unread, kept)
        draw_in_browser(cases, kept)
        rows = [judged(case, kept) for case in cases]
    for row in sorted(rows, key=verdict):
        kind = verdict(row)
        if not kind.startswith("right") or row["cpu"] > SLOW_SECONDS:
            off = "/".join(f"{100 * share:.1f}" for share in row["against"])
            why = row.get("why") or row.get("broke") or row["route"]
            print(f"{kind:22} {row['case'].kind:6} {off:10} {row['case'].name}  {why}")
    show_table(rows)
    slow = [row for row in rows if row["cpu"] > SLOW_SECONDS]
    seconds = sorted(row["cpu"] for row in rows)
    print(f"\n{sum('broke' in r for r in rows)} died or broke, {len(slow)} over {SLOW_SECONDS:g} s")
    middle = seconds[len(seconds) // 2]
    print(f"processor seconds a file: middle {middle:.2f}, longest {seconds[-1]:.1f}")
    return 1 if slow or any("broke" in row for row in rows) else 0


if __name__ == "__main__":
    sys.exit(main())
