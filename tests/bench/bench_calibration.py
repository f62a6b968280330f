"""Times and accuracy of calibration by hand and by scanner, on the virtual devices.

Run from the project's folder: python tests/bench/bench_calibration.py [runs]
"""

import subprocess
import sys
import tempfile
from pathlib import Path

import numpy as np
from PIL import Image

sys.path.insert(0, str(Path(__file__).resolve().parent.parent))

from test_calibration_photos import points as photo_points
from test_calibration_rule import ALL, LAYOUT, named_by, page
from test_calibration_scans import pair, shape_truth
from virtual.hand import Press, draw_press, one_digit_wrong, read, uneven_press
from virtual.pages import picture
from virtual.phone import Curl, draw_phone, five_shots
from virtual.scanner import Bed, draw_bed

from decalprep.calibration import (
    PLAIN,
    VERNIER,
    Hand,
    coverage_factor,
    estimate_part,
    estimate_printer,
    hole_pair,
    plain_rule_u,
    shape_from_photos,
    shape_from_scans,
)
from decalprep.calibration.part import HOLE_PAIR_MM
from decalprep.errors import ReadingsRefused


def ppm(values: np.ndarray) -> str:
    return " ".join(f"{1e6 * v:6.0f}" for v in np.atleast_1d(values))


def by_hand(name: str, hand: Hand, runs: int) -> None:
    """Spread of the estimates, share of 95 % intervals that hold the truth, slips named."""
    rng = np.random.default_rng(3)
    errors, held, accused, asked = [], np.zeros(3), 0, 0
    slips: dict[str, list[bool]] = {}
    for _ in range(runs):
        press = draw_press(rng, 0.003)
        rows = read(press, rng, sigma_mm=hand.sigma_mm)
        got = estimate_printer(page(rows, hand=hand), LAYOUT, accept=ALL)
        truth = np.array([press.scale_x, press.scale_y, press.skew])
        errors.append(np.array([got.scale_x, got.scale_y, got.skew]) - truth)
        held += [low <= t <= high for (low, high), t in zip(got.intervals, truth, strict=True)]
        said = named_by(rows, hand)
        accused += said.startswith("refused")
        asked += said.startswith("asked")
        at = int(rng.integers(len(rows)))
        line, value = rows[at]
        rows[at] = (line, one_digit_wrong(rng, value))
        slip = abs(rows[at][1] - value)
        size = "1 mm" if slip < 1.5 else "2 to 9 mm" if slip < 9.5 else "10 mm or more"
        slips.setdefault(size, []).append(f"{line}={rows[at][1]:g}" in named_by(rows, hand))
    spread = np.sqrt(np.mean(np.square(errors), axis=0))
    print(f"{name}: x y skew {ppm(spread)} ppm, held {100 * held / runs} %")
    named = sum(map(sum, slips.values()))
    print(
        f"  mistyped figure before the point named {100 * named / runs:.1f} %; honest refused "
        f"{100 * accused / runs:.1f} %, asked about {100 * asked / runs:.1f} %"
    )
    for size, hits in sorted(slips.items()):
        print(f"    slips of {size}: {100 * np.mean(hits):.1f} % of {len(hits)} named")


def by_caliper(runs: int) -> None:
    """Spread and coverage of a part's scales and skew of 180 x 140 mm from six hole pairs."""
    rng = np.random.default_rng(13)
    holes = np.array([(6, 6), (174, 6), (174, 134), (6, 134)], float)
    pairs = ((0, 1), (3, 2), (0, 3), (1, 2), (0, 2), (1, 3))
    errors, held = [], np.zeros(3)
    for _ in range(runs):
        truth = rng.normal(0, (0.004, 0.004, 0.001))
        printed = holes @ np.array([[1 + truth[0], 0.0], [truth[2], 1 + truth[1]]])
        shrunk = rng.normal(-0.15, 0.05)
        readings = []
        for i, j in pairs:
            far = np.hypot(*(printed[i] - printed[j]))
            near, over = far - 3.2 - shrunk, far + 3.2 + shrunk
            near, over = (v + rng.normal(0, HOLE_PAIR_MM * 2**0.5) for v in (near, over))
            a, b = (tuple(map(float, holes[k])) for k in (i, j))
            readings.append(
                hole_pair(f"h{i}-h{j}", a, b, near_mm=round(near, 2), far_mm=round(over, 2))
            )
        try:
            got = estimate_part(readings)
        except ReadingsRefused:
            continue
        errors.append(np.array([got.scale_x, got.scale_y, got.skew]) - truth)
        held += [low <= t <= high for (low, high), t in zip(got.intervals, truth, strict=True)]
    spread = np.sqrt(np.mean(np.square(errors), axis=0))
    share = 100 * held / len(errors)
    print(f"part by hole pairs: x y skew {ppm(spread)} ppm, held {share} %, {len(errors)} taken")


def by_scanner(runs: int) -> None:
    """Spread and coverage of ratio and skew from scans at 0 and 90 degrees."""
    rng = np.random.default_rng(5)
    errors, held = [], np.zeros(2)
    for _ in range(runs):
        press = uneven_press(rng)
        found = shape_from_scans(pair(press, draw_bed(rng), rng)).shape
        error = np.array([found.ratio, found.skew]) - shape_truth(press)
        errors.append(error)
        u = np.sqrt(np.diag(np.array(found.covariance)))
        held += np.abs(error) < coverage_factor(found.freedom) * u
    spread = np.sqrt(np.mean(np.square(errors), axis=0))
    print(f"two scans: ratio skew {ppm(spread)} ppm, held {100 * held / runs} %")


def by_phone(runs: int) -> None:
    """Spread and coverage of ratio and skew from five photographs, steady phone to restless."""
    for name, unrest in (("steady", 0.02), ("usual", 0.25), ("restless", 1.0)):
        rng = np.random.default_rng(9)
        errors, held, refused = [], np.zeros(2), 0
        for k in range(runs):
            press = uneven_press(rng)
            phone = draw_phone(rng, breathing=0.004 * unrest, wobble_px=8 * unrest)
            curl = Curl(rng.normal(0, 0.5), float(rng.choice([0, 30, 90])), rng.normal(0, 0.2))
            shots = tuple(five_shots(rng, phone))
            taken = photo_points(shots, curl=curl, phone=phone, press=press, seed=1000 + k)
            try:
                found = shape_from_photos(taken, disc_mm=5.0, rule_u=plain_rule_u(LAYOUT)).shape
            except ReadingsRefused:
                refused += 1
                continue
            error = np.array([found.ratio, found.skew]) - shape_truth(press)
            errors.append(error)
            u = np.sqrt(np.diag(np.array(found.covariance)))
            held += np.abs(error) < coverage_factor(found.freedom) * u
        spread = np.sqrt(np.mean(np.square(errors), axis=0))
        share = 100 * held / len(errors)
        print(
            f"five photos, {name}: ratio skew {ppm(spread)} ppm, held {share} %, {refused} refused"
        )


_CHILD = """
import sys, time
from pathlib import Path
from decalprep.jobs.calibrate_scan import read_pages
start = time.process_time()
page = read_pages([Path(sys.argv[1])]).pages[0].points
took = time.process_time() - start
# Not getrusage: a new process inherits that from the one that started it.
status = Path("/proc/self/status").read_text().split()
peak = int(status[status.index("VmHWM:") + 1]) / 1024
print(f"{len(page.page_mm)} discs in {took:.2f} s of processor time, peak {peak:.0f} MiB")
"""


def scan_times() -> None:
    """Time and most memory to read and measure one scan, each in a process of its own."""
    press = Press(0.003, -0.002, 0.001)
    with tempfile.TemporaryDirectory() as folder:
        for dpi in (150, 300, 600, 1200):
            drawn = picture(press, Bed(dpi=min(dpi, 600)), turn_deg=0.3)
            grey = Image.fromarray(drawn).resize([n * dpi // min(dpi, 600) for n in drawn.T.shape])
            for name, scan in (("grey.png", grey), ("colour.jpg", grey.convert("RGB"))):
                path = Path(folder) / name
                scan.save(path, dpi=(dpi, dpi))
                child = [sys.executable, "-c", _CHILD, str(path)]
                said = subprocess.run(child, check=True, capture_output=True, text=True).stdout
                print(f"{dpi} dpi {name}: {said.strip()}")


if __name__ == "__main__":
    count = int(sys.argv[1]) if len(sys.argv) > 1 else 1000
    by_hand("hand, plain rule", PLAIN, count)
    by_hand("hand, vernier", VERNIER, count)
    by_caliper(count)
    by_scanner(min(count, 400))
    by_phone(min(count, 200))
    scan_times()
