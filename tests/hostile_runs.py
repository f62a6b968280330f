"""Command lines run under caps, through one ``hostile_runner`` process."""

import json
import os
import subprocess
import sys
from dataclasses import dataclass
from pathlib import Path
from typing import Any


@dataclass(frozen=True)
class Run:
    """What one command line gave; ``code`` is negative where a signal ended it."""

    code: int
    out: str
    err: str
    cpu_s: float
    wall_s: float
    peak_mb: float

    @property
    def told(self) -> str:
        """The message on one line."""
        return " ".join(self.err.split())


class Runs:
    """The runner; ``run`` answers one command line after the other."""

    def __init__(self) -> None:
        here = Path(__file__).parent
        self._process = subprocess.Popen(
            [sys.executable, str(here / "hostile_runner.py")],
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            text=True,
            env=os.environ | {"PYTHONPATH": str(here.parent), "DECALPREP_LIMITS": ""},
        )

    def run(
        self,
        args: list[str],
        folder: Path,
        *,
        limits: dict[str, int] | None = None,
        env: dict[str, str] | None = None,
    ) -> Run:
        """One command line in a folder; ``limits`` are caps by their name in ``resource``."""
        asked: dict[str, Any] = {"args": args, "cwd": str(folder), "limits": limits or {}}
        asked["env"] = {"DECALPREP_HOME": str(folder / "records"), **(env or {})}
        assert self._process.stdin is not None
        assert self._process.stdout is not None
        self._process.stdin.write(json.dumps(asked) + "\n")
        self._process.stdin.flush()
        return Run(**json.loads(self._process.stdout.readline()))

    def close(self) -> None:
        """End the runner."""
        assert self._process.stdin is not None
        assert self._process.stdout is not None
        self._process.stdin.close()
        self._process.wait(timeout=30)
        self._process.stdout.close()
