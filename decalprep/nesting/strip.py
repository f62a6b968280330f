"""The strip packer as a helper of the improver: does this set of pieces fit one sheet?

spyrrow (MIT) lays pieces in a strip of fixed height and tries to make it short; where the strip is
no longer than the sheet is wide, the set fits. It runs under a clock, so that its answers are not
repeatable; it is used only where the caller asks for it. It runs in a child process that is killed
on cancel. It knows no cut-outs: pieces that lie in one are laid again by the engine afterwards.
"""

from __future__ import annotations

import json
import subprocess
import sys
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from importlib.util import find_spec
from typing import Any

import shapely
from shapely.geometry import Polygon

from decalprep.model import Turns
from decalprep.nesting.poses import Posed

ANGLES: dict[Turns, list[float] | None] = {
    Turns.NONE: [0.0],
    Turns.HALF: [0.0, 180.0],
    Turns.QUARTER: [0.0, 90.0, 180.0, 270.0],
    Turns.FREE: None,
}
SPARE_MM = 0.02
"""Extra growth of each piece: the packer works in 32-bit floats and only nearly without overlap."""
WAIT_S = 0.2


@dataclass(frozen=True)
class StripItem:
    """A piece for the packer: its polygon in mm and how it may be turned."""

    name: str
    polygon: Polygon
    turns: Turns
    turn_step_deg: float = 0.0

    @property
    def angles(self) -> list[float] | None:
        """The angles in degrees it may be turned to; None: any."""
        step = self.turn_step_deg
        if self.turns is Turns.FREE and step:
            return [k * step for k in range(round(360 / step))]
        return ANGLES[self.turns]


StripPacker = Callable[
    [float, Sequence[StripItem], float, int, float], tuple[float, list[Posed]] | None
]
"""(height mm, items, gap mm, seed, length mm that is short enough) -> (length mm, poses from the
strip's lower left), or None where the packer gave up."""


def strip_packer_there() -> bool:
    """Whether the strip packer is installed."""
    return find_spec("spyrrow") is not None


def _rows(items: Sequence[StripItem], gap_mm: float) -> list[dict[str, Any]]:
    rows = []
    for item in items:
        reach = gap_mm / 2 + SPARE_MM  # mitred: round corners would be many points, and slow
        grown = item.polygon.buffer(reach, join_style="mitre", mitre_limit=2.0)
        outer = Polygon(shapely.simplify(Polygon(grown.exterior), SPARE_MM / 2).exterior)
        points = [list(p) for p in outer.exterior.coords[:-1]]
        rows.append({"id": item.name, "points": points, "angles": item.angles})
    return rows


def child_packer(
    seconds: int,
    cancel: Callable[[], bool] | None = None,
    *,
    processor_s: float = 0.0,
    workers: int = 1,
) -> StripPacker:
    """A packer that runs at most ``seconds`` (whole) in a child and is killed on ``cancel``.

    It answers early where the strip is short enough, or after ``processor_s`` of the processor,
    those of its ``workers`` added up.
    """

    def pack(
        height_mm: float, items: Sequence[StripItem], gap_mm: float, seed: int, enough_mm: float
    ) -> tuple[float, list[Posed]] | None:
        question = {
            "height": height_mm,
            "seconds": max(1, seconds),
            "seed": seed,
            "enough": enough_mm,
            "processor": processor_s,
            "workers": workers,
            "items": _rows(items, gap_mm),
        }
        text = _ask(json.dumps(question), seconds, cancel)
        if text is None:
            return None
        try:
            found = json.loads(text)
            return float(found["width"]), [Posed(*row) for row in found["placed"]]
        except (ValueError, KeyError, TypeError):
            return None

    return pack


def _ask(question: str, seconds: int, cancel: Callable[[], bool] | None) -> str | None:
    """The child's answer; None where it failed, was cancelled, or took far too long."""
    child = subprocess.Popen(
        [sys.executable, "-m", "decalprep.nesting.strip_child"],
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        stderr=subprocess.DEVNULL,
        text=True,
        start_new_session=sys.platform != "win32",
    )
    pending: str | None = question
    try:
        for _ in range(int((3 * seconds + 10) / WAIT_S)):
            try:
                out, _err = child.communicate(pending, timeout=WAIT_S)
                return out if child.returncode == 0 else None
            except subprocess.TimeoutExpired:
                pending = None
            if cancel is not None and cancel():
                return None
        return None
    finally:
        if child.poll() is None:
            child.kill()
            child.communicate()
