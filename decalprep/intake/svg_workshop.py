"""The folder of one artwork's conversion, and what the converters' process does in it."""

from collections.abc import Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from decalprep.intake.options import IntakeOptions, Limits
from decalprep.intake.svg_process import Lost, converters

KILL_SECONDS = 7.0
LEAST_SECONDS = 1.5
"""All routes of one artwork together take 10 s at most: the first may take 7, two more 1.5.

Longer where ``max_seconds`` is raised above its usual value, in proportion.
"""


@dataclass
class Workshop:
    """The temporary folder of one artwork, with the prepared files and the caps."""

    folder: Path
    name: str
    options: IntakeOptions
    why: list[str] = field(default_factory=list)
    spent: float = 0.0

    @property
    def seconds(self) -> float:
        """The cap of the next work: what that before it left of one budget."""
        most = self.options.limits.max_seconds
        budget = min(KILL_SECONDS * max(1.0, most / Limits().max_seconds), most)
        return max(budget - self.spent, min(LEAST_SECONDS, budget))

    def run(
        self, steps: Sequence[str], job: dict[str, Any], seconds: float | None = None
    ) -> dict[str, str]:
        """Each step's problem in words, "" where it succeeded; ends who is too slow."""
        seconds = self.seconds if seconds is None else seconds
        caps = {"seconds": seconds, "memory_bytes": self.options.limits.max_memory_bytes}
        work = {**job, **caps, "folder": str(self.folder), "steps": list(steps)}
        told: dict[str, str] = {}
        running = converters()
        try:
            for said in running.answers(work, seconds):
                told[said["step"]] = said["problem"]
        except Lost as lost:
            for step in steps:
                told.setdefault(step, str(lost))
        self.spent += running.spent_s
        return {step: told.get(step, "stopped before it finished") for step in steps}
