"""Command lines run under caps, through one ``hostile_runner`` process."""

import atexit
import json
import os
import subprocess
import sys
from dataclasses import dataclass
from functools import lru_cache
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

    def run(self, args: list[str], folder: Path, **how: Any) -> Run:
        """One command line in a folder; ``how`` is as for ``asked``."""
        return self.together(asked(args, folder, **how))[0]

    def together(self, *asked: dict[str, Any]) -> list[Run]:
        """Command lines that are started at the same time."""
        assert self._process.stdin is not None
        assert self._process.stdout is not None
        self._process.stdin.write(json.dumps(asked) + "\n")
        self._process.stdin.flush()
        return [Run(**answer) for answer in json.loads(self._process.stdout.readline())]

    def close(self) -> None:
        """End the runner."""
        assert self._process.stdin is not None
        assert self._process.stdout is not None
        self._process.stdin.close()
        self._process.wait(timeout=30)
        self._process.stdout.close()


def asked(
    args: list[str],
    folder: Path,
    *,
    limits: dict[str, int] | None = None,
    env: dict[str, str] | None = None,
    terminal: bool = False,
    first: str = "",
    kill_after_s: float | None = None,
) -> dict[str, Any]:
    """A command line to be run in a folder, as the runner is told of it.

    ``limits`` are caps by their name in ``resource``. ``first`` is Python that the run's process
    does before. A run at a ``terminal`` shows both its outputs there.
    """
    return {
        "args": args,
        "cwd": str(folder),
        "limits": limits or {},
        "env": {"DECALPREP_HOME": str(folder / "records"), **(env or {})},
        "terminal": terminal,
        "first": first,
        "kill_after_s": kill_after_s,
    }


@lru_cache(maxsize=1)
def shared_runs() -> Runs:
    """One runner for all test modules of a process: to load the modules takes longer than a run."""
    runner = Runs()
    atexit.register(runner.close)
    return runner
