"""Do measured prints lie within the ranges that are stated for them? Virtual prints, truth known.

Run from the project's folder: python tests/bench/bench_ranges.py [how many, 12 if not said]
Each print has its own printer, scanner, turn and place; then as many again with a side cut off.
"""

import math
import sys
import tempfile
from collections import defaultdict
from collections.abc import Iterator
from pathlib import Path

ROOT = Path(__file__).resolve().parent.parent.parent
sys.path[:0] = [str(ROOT), str(ROOT / "tests")]

import cv2  # noqa: E402
import numpy as np  # noqa: E402
from print_jobs import A5, laid_job, line_picture  # noqa: E402
from virtual.hand import Press  # noqa: E402
from virtual.prints import scanned  # noqa: E402
from virtual.scanner import Bed  # noqa: E402

from decalprep.calibration import Scanner  # noqa: E402
from decalprep.errors import DecalprepError  # noqa: E402
from decalprep.jobs.prints import PrintedSheet  # noqa: E402
from decalprep.scan import ExpectedPrint, ScanImage, ScannerScale, measure_print  # noqa: E402

Rows = dict[str, list[tuple[float, float]]]


def one(
    sheet: PrintedSheet, rgb: np.ndarray, rng: np.random.Generator, *, cut: bool
) -> Iterator[tuple[str, float, float]]:
    """(what, how far what was told is from the truth, its stated range) of one print, in mm."""
    sx, sy, k = rng.normal(0, (0.003, 0.003, 0.0008))
    press = Press(scale_x=sx, scale_y=sy, skew=k, ripple_mm=0.01, half_height_mm=A5[1] / 2)
    u, v, shear, lens = rng.normal(0, (0.002, 0.002, 0.0005, 0.1))
    looks = {"noise": rng.uniform(2, 8), "blur_px": rng.uniform(0.6, 1.4)}
    bed = Bed(float(rng.choice([150, 200])), 156, 220, u, v, shear, lens3_mm=lens, **looks)
    scans = []
    for turn in (0.0, 90.0):
        shift = tuple(rng.normal(0, 1.2, 2))
        seen = scanned(rgb, A5, press, bed, turn_deg=turn + rng.normal(0, 0.6), shift_mm=shift)
        if cut:
            seen = seen[: round(rng.uniform(0.6, 0.9) * len(seen))]
        grey = cv2.cvtColor(seen, cv2.COLOR_RGB2GRAY)
        dpi = (bed.dpi, bed.dpi)
        scans.append(ScanImage("scan", grey, dpi, seen.min(axis=2), seen.max(axis=2)))
    expected: ExpectedPrint = sheet.expected
    scale = ScannerScale(bed.dpi / 25.4 * (1 + (u + v) / 2), 1e-4)
    scanner = Scanner(u - v, shear, 0.0, lens * (100 / 108) ** 3)
    found = measure_print(scans, expected, tolerance_mm=0.25, scale=scale, scanner=scanner)
    for d, meant in zip(found.decals, expected.decals, strict=True):
        if not d.width_mm:
            continue
        ring = np.array(meant.outline)
        wide, high = np.ptp(ring, axis=0)
        x, y = (ring.min(axis=0) + ring.max(axis=0)) / 2 - np.array(A5) / 2
        yield "width", d.error_x_mm - sx * wide, d.range_x_mm
        yield "height", d.error_y_mm - sy * high, d.range_y_mm
        yield "lean", d.lean_mm - k * min(wide, high), d.range_lean_mm
        yield "right", d.off_x_mm - sx * x - k * y, d.range_off_x_mm
        yield "up", d.off_y_mm - sy * y, d.range_off_y_mm


def main() -> None:
    """Print the share within the stated ranges, the error's rms and the median range."""
    many = int(sys.argv[1]) if len(sys.argv) > 1 else 12
    rng = np.random.default_rng(1)
    with tempfile.TemporaryDirectory() as name:
        sheet = laid_job(Path(name))[1].sheets[0]
    rgb = line_picture(sheet)
    for cut in (False, True):
        rows: Rows = defaultdict(list)
        refused = 0
        for _ in range(many):
            try:
                for what, error, stated in one(sheet, rgb, rng, cut=cut):
                    rows[what].append((abs(error), stated))
            except DecalprepError:
                refused += 1
        print(f"{many} prints{', a side cut off' if cut else ''}, {refused} refused:")
        for what, pairs in rows.items():
            error, stated = np.array(pairs).T
            rms = math.sqrt(float(np.mean(error**2)))
            print(
                f"  {what:<7} {100 * np.mean(error <= stated):5.1f} % of {len(pairs)} within the "
                f"stated 95 % range; rms {rms:.3f}, median range {np.median(stated):.3f} mm"
            )


if __name__ == "__main__":
    main()
