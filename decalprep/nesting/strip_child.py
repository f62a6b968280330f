"""The strip packer in a process of its own: one question on standard input, one answer out.

It is a process because the packer panics on an exact fit, swallows Ctrl-C and cannot be cancelled:
the parent kills it. Question: {"height": h, "seconds": s, "seed": n, "items": [{"id", "points",
"angles"}]}; answer: {"width": w, "placed": [[id, angle, x, y], ...]}.
"""

from __future__ import annotations

import json
import sys
from typing import Any


def answer(question: dict[str, Any]) -> dict[str, Any]:
    """The packer's answer to one question; lengths in mm."""
    import spyrrow

    items = [
        spyrrow.Item(item["id"], [tuple(p) for p in item["points"]], 1, item["angles"])
        for item in question["items"]
    ]
    instance = spyrrow.StripPackingInstance("sheet", question["height"], items)
    config = spyrrow.StripPackingConfig(
        early_termination=True,
        total_computation_time=question["seconds"],
        num_workers=1,
        seed=question["seed"],
    )
    found = instance.solve(config)
    placed = [[p.id, p.rotation, *p.translation] for p in found.placed_items]
    return {"width": found.width, "placed": placed}


if __name__ == "__main__":
    sys.stdout.write(json.dumps(answer(json.loads(sys.stdin.read()))))
