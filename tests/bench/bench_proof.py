"""How long the proof takes and how much memory: run by hand, ``python tests/bench/bench_proof.py``.

Times in seconds of one process, memory as the largest resident size in MiB.
"""

import resource
import sys
import time

from decalprep.geometry import Affine
from decalprep.proof import prove
from decalprep.proof.render import open_pdf
from decalprep.proof.selfcheck import KINDS, error_budget, specimen_job

SMALL = Affine.scaling(0.6)


def memory_mib() -> float:
    size = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    return size / (1024 * 1024 if sys.platform == "darwin" else 1024)


def clocked(what: str, act) -> None:
    start, used = time.perf_counter(), time.process_time()
    act()
    wall, cpu = time.perf_counter() - start, time.process_time() - used
    print(f"{what:<44} {wall:7.2f} s {cpu:7.2f} s CPU {memory_mib():7.0f} MiB")


def bands(pdf: bytes, dpi: float) -> None:
    with open_pdf(pdf) as opened:
        total = sum(int(picture.pixels.size) for picture in opened.bands(0, dpi))
    assert total > 0


def main() -> None:
    twelve = tuple(
        Affine(e=22.0 + 60.0 * column, f=25.0 + 62.0 * row) @ Affine.scaling(0.7)
        for column in range(3)
        for row in range(4)
    )
    pdf, _ = specimen_job("vector")
    clocked("A4 drawn at 1200 dpi in bands", lambda: bands(pdf, 1200))
    for kind in KINDS:
        pdf, job = specimen_job(kind, placements=twelve)
        clocked(f"12 decals of 56 x 35 mm, {kind}", lambda pdf=pdf, job=job: prove(pdf, job))
    clocked("the whole error budget", lambda: print(*error_budget(), sep="\n"))


if __name__ == "__main__":
    main()
