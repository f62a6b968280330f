"""The strip packer in a process of its own: one question on standard input, one answer out.

It is a process because the packer panics on an exact fit, swallows Ctrl-C and cannot be cancelled:
the parent kills it. Question: {"height": h, "seconds": s, "seed": n, "enough": w, "processor": p,
"workers": n, "items": [{"id", "points", "angles"}]}; answer: {"width": w, "placed": [[id, angle,
x, y], ...]}, or null.
The answer is given as soon as a strip is no longer than ``enough``, or, where ``processor`` is not
0, after so many seconds of the processor; otherwise after ``seconds`` on the clock.
"""

from __future__ import annotations

import json
import os
import sys
import threading
import time
from typing import Any

POLL_S = 0.02


def _told(solution: Any) -> dict[str, Any]:
    placed = [[p.id, p.rotation, *p.translation] for p in solution.placed_items]
    return {"width": solution.width, "placed": placed}


def answer(question: dict[str, Any]) -> dict[str, Any] | None:
    """The packer's answer to one question, lengths in mm; None where it gave up."""
    import spyrrow

    items = [
        spyrrow.Item(item["id"], [tuple(p) for p in item["points"]], 1, item["angles"])
        for item in question["items"]
    ]
    instance = spyrrow.StripPackingInstance("sheet", question["height"], items)
    config = spyrrow.StripPackingConfig(
        early_termination=True,
        total_computation_time=question["seconds"],
        num_workers=question["workers"],
        seed=question["seed"],
    )
    whole = (spyrrow.ReportType.ExplFeas, spyrrow.ReportType.CmprFeas, spyrrow.ReportType.Final)
    queue, best = spyrrow.ProgressQueue(), None
    work = threading.Thread(target=instance.solve, args=(config, queue), daemon=True)
    work.start()
    start, going = time.process_time(), True
    while going:
        going = work.is_alive()
        for kind, solution in queue.drain():
            if kind in whole and (best is None or solution.width < best.width):
                best = solution
        late = 0 < question["processor"] < time.process_time() - start
        if best is not None and (late or best.width <= question["enough"]):
            break
        time.sleep(POLL_S)
    return _told(best) if best is not None else None


if __name__ == "__main__":
    sys.stdout.write(json.dumps(answer(json.loads(sys.stdin.read()))))
    sys.stdout.flush()
    os._exit(0)  # the packer's own thread may be at work still, and knows no end but its clock
