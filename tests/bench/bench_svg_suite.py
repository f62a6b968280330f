"""How an SVG conformance suite fares: right, refused by name, wrong in silence, slow.

    DECALPREP_SVG_SUITE=/path/to/suite python tests/bench/bench_svg_suite.py [share]

The folder holds SVG files, each with a PNG of the same name beside it that shows what is right;
a folder ``fonts`` in it, where there is one, is laid beside each file. ``share`` takes every n-th
file. Right means: fewer than 1 % of the PNG's pixels off by more than a quarter of the range,
after one pixel is forgiven. Half of the files (by a hash of their path) is for developing the list
of features, the other for judging it; both are printed.

Not part of the fast tests, for the suite is not in this repository.
"""

import hashlib
import io
import os
import sys
import tempfile
import time
from collections import Counter
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import numpy as np
from PIL import Image

from decalprep.errors import DecalprepError
from decalprep.intake.compare import _beyond, page_picture, picture_on_white
from decalprep.intake.options import IntakeOptions
from decalprep.intake.svg import read_svg

OFF_LEVEL, OFF_SHARE, SLOW_SECONDS = 64, 0.01, 10.0
VARIABLE = "DECALPREP_SVG_SUITE"


def laid_out(svg: Path, fonts: list[Path], folder: Path) -> Path:
    """A folder of links: the file, what lies beside it, and the suite's fonts."""
    for beside in svg.parent.iterdir():
        if beside.is_file() and (beside == svg or beside.suffix.lower() not in (".svg", ".png")):
            (folder / beside.name).write_bytes(beside.read_bytes())
    (folder / "fonts").mkdir(exist_ok=True)
    for font in fonts:
        (folder / "fonts" / font.name).symlink_to(font)
    return folder / svg.name


def is_right(page: bytes, png: Path) -> bool:
    """Whether the page looks as the suite's picture does."""
    wanted = picture_on_white(png.read_bytes())
    with Image.open(io.BytesIO(png.read_bytes())) as opened:
        drawn = page_picture(page, opened.size)
    off = np.maximum(_beyond(drawn, wanted), _beyond(wanted, drawn)).max(axis=2) > OFF_LEVEL
    return float(off.mean()) < OFF_SHARE


def verdict(svg: Path, fonts: list[Path]) -> tuple[str, float, str]:
    """One file: what became of it, the seconds it took, and why."""
    started = time.monotonic()
    with tempfile.TemporaryDirectory() as folder:
        try:
            path = laid_out(svg, fonts, Path(folder))
            artwork = read_svg(path, IntakeOptions(allow_missing_fonts=True))
        except DecalprepError as problem:
            return f"refused {type(problem).__name__}", time.monotonic() - started, str(problem)
        except Exception as problem:
            return "BROKE", time.monotonic() - started, repr(problem)
    seconds = time.monotonic() - started
    route = next(n.text.split(";")[0] for n in artwork.notices if n.code == "svg-route")
    told = any(n.severity.value == "danger" for n in artwork.notices)
    right = is_right(artwork.page_pdf, svg.with_suffix(".png"))
    kind = "right" if right else "wrong but told" if told else "WRONG IN SILENCE"
    return f"{kind}, {route}", seconds, ""


def main() -> int:
    """Print the table; 1 where a file broke the reader or took too long."""
    suite = os.environ.get(VARIABLE)
    if not suite:
        sys.stderr.write(f"set {VARIABLE} to the folder of a suite\n")
        return 2
    every = int(sys.argv[1]) if len(sys.argv) > 1 else 1
    root = Path(suite)
    files = sorted(p for p in root.rglob("*.svg") if p.with_suffix(".png").exists())[::every]
    fonts = [p for p in (root / "fonts").rglob("*") if p.suffix.lower() in (".ttf", ".otf", ".ttc")]
    with ThreadPoolExecutor(os.cpu_count()) as pool:
        results = list(pool.map(lambda p: verdict(p, fonts), files))
    bad = 0
    for half in ("0", "1"):
        count: Counter[str] = Counter()
        for path, (kind, seconds, why) in zip(files, results, strict=True):
            digest = hashlib.sha256(str(path.relative_to(root)).encode()).hexdigest()
            if str(int(digest, 16) % 2) != half:
                continue
            count[kind] += 1
            if kind.startswith(("BROKE", "WRONG", "refused")) or seconds > SLOW_SECONDS:
                print(f"{kind:32} {seconds:5.1f} s  {path.relative_to(root)}  {why}")
            bad += kind == "BROKE" or seconds > 2 * SLOW_SECONDS
        print(f"\n{'developing' if half == '0' else 'judging'} half: {sum(count.values())} files")
        for kind, number in count.most_common():
            print(f"  {number:5}  {100 * number / max(sum(count.values()), 1):5.1f} %  {kind}")
    return 1 if bad else 0


if __name__ == "__main__":
    sys.exit(main())
