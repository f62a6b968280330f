"""Time and memory of measuring scans of an A4 sheet at 300 dpi in colour, each in its own process.

Run from the project's folder: python tests/bench/bench_measure.py
"""

import subprocess
import sys
import tempfile
from pathlib import Path

ROOT = Path(__file__).resolve().parent.parent.parent
sys.path[:0] = [str(ROOT), str(ROOT / "tests")]

from PIL import Image  # noqa: E402
from virtual.hand import Press  # noqa: E402
from virtual.prints import drawn, scanned  # noqa: E402
from virtual.scanner import Bed  # noqa: E402

from decalprep.cli import run  # noqa: E402

CHILD = """
import sys, time
from decalprep.cli import run
start = time.process_time()
code = run(sys.argv[1:])
took = time.process_time() - start
# VmHWM is of this program alone; getrusage would tell its parent's size as well.
peak = int(open("/proc/self/status").read().split("VmHWM:")[1].split()[0]) / 1024
print(f"MEASURED {code} {took:.2f} {peak:.0f}")
"""


def main() -> None:
    """Print processor seconds and the largest memory for one, two and four scans."""
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        run(["demo", str(folder / "demo")])
        result = folder / "demo"
        job = result / "console" / "bridge-console.toml"
        press = Press(scale_x=-0.001, scale_y=0.0008, skew=0.0006, ripple_mm=0.01)
        bed = Bed(dpi=300, scale_u=0.002, scale_v=-0.001, shear=0.0004, lens3_mm=0.1)
        scans = []
        for page in (0, 1):
            rgb = drawn((result / "sheets.pdf").read_bytes(), page, 400)
            for turn in (0.4, 90.3):
                path = folder / f"sheet{page + 1}-{turn:g}.png"
                picture = scanned(rgb, (210, 297), press, bed, turn_deg=turn)
                Image.fromarray(picture).save(path, dpi=(300, 300))
                scans.append(str(path))
        for count in (1, 2, 4):
            words = ["measure", str(job), *scans[:count], "--result", str(result)]
            words += ["--to", str(folder / "pictures")]
            told = subprocess.run(
                [sys.executable, "-c", CHILD, *words],
                capture_output=True,
                text=True,
                check=True,
                env={"PYTHONPATH": str(ROOT), "PATH": "/usr/bin:/bin", "HOME": str(folder)},
            ).stdout
            code, took, peak = told.split("MEASURED ")[1].split()
            print(f"{count} scan(s): {took} s of processor time, peak {peak} MB, exit {code}")


if __name__ == "__main__":
    main()
