"""The folder of one artwork's conversion, and the child process that works in it, with its caps."""

import json
import os
import subprocess
import sys
import time
from collections.abc import Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import decalprep
from decalprep.intake.options import IntakeOptions

KILL_SECONDS = 8.0
LEAST_SECONDS = 1.0
CHILD = Path(__file__).with_name("svg_child.py")


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
        """The wall-clock cap of the next child: what those before it left of one budget."""
        left = min(KILL_SECONDS, self.options.limits.max_seconds) - self.spent
        return max(left, LEAST_SECONDS)

    def run(
        self, steps: Sequence[str], job: dict[str, Any], seconds: float | None = None
    ) -> dict[str, str]:
        """Each step's problem in words, "" where it succeeded; kills a child that is too slow."""
        path = self.folder / "job.json"
        seconds = self.seconds if seconds is None else seconds
        caps = {"seconds": seconds, "memory_bytes": self.options.limits.max_memory_bytes}
        path.write_text(json.dumps({**job, **caps, "steps": list(steps)}), encoding="utf-8")
        # by its path, not as a module: the package's own imports take longer than the drawing
        command = [sys.executable, str(CHILD), str(path)]
        ended = "stopped before it finished"
        started = time.monotonic()
        try:
            done = subprocess.run(
                command,
                cwd=self.folder,
                env=_child_environment(),
                stdin=subprocess.DEVNULL,
                capture_output=True,
                timeout=seconds,
                check=False,
            )
            output, code = done.stdout, done.returncode
            if code:
                ended = f"its process died (code {code})"
        except subprocess.TimeoutExpired as late:
            output, ended = late.stdout or b"", f"took longer than {seconds:.2g} s"
        self.spent += time.monotonic() - started
        told = dict.fromkeys(steps, ended)
        for line in output.decode("utf-8", "replace").splitlines():
            try:
                said = json.loads(line)
                told[said["step"]] = said["problem"]
            except (ValueError, KeyError, TypeError):
                continue
        return told


def _child_environment() -> dict[str, str]:
    """Only what Python needs to start, and this package's own place on the path."""
    keep = ("PATH", "SYSTEMROOT", "TEMP", "TMP", "TMPDIR", "HOME", "LD_LIBRARY_PATH", "VIRTUAL_ENV")
    kept = {key: os.environ[key] for key in keep if key in os.environ}
    package = str(Path(decalprep.__file__).resolve().parent.parent)
    return {**kept, "PYTHONPATH": package, "PYTHONSAFEPATH": "1", "PYTHONDONTWRITEBYTECODE": "1"}
