"""The converters' own process: started once, given one artwork after another, replaced when lost.

A converter can hang, crash or eat memory; then this process is ended, only the artwork at hand is
refused, and the next one gets a new process. It is also replaced after ``MOST_ARTWORKS``, and
when it says that it is spent: so large that one artwork's memory would be counted against another,
or left with something of an artwork.
"""

import atexit
import contextlib
import json
import os
import subprocess
import sys
import threading
import time
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import decalprep

CHILD = Path(__file__).with_name("svg_child.py")
MOST_ARTWORKS = 100
PATIENCE = 5
LOOK_SECONDS = 0.2
_KEEP = ("PATH", "SYSTEMROOT", "TEMP", "TMP", "TMPDIR", "HOME", "LD_LIBRARY_PATH", "VIRTUAL_ENV")


class Lost(Exception):
    """The process is gone, and why, in words."""


@dataclass
class Converters:
    """One running process, how many artworks it has had, and how long the last one took."""

    process: subprocess.Popen[bytes]
    executable: str
    artworks: int = 0
    spent_s: float = 0.0

    @property
    def usable(self) -> bool:
        """Whether it may have another artwork."""
        return (
            self.process.poll() is None
            and self.artworks < MOST_ARTWORKS
            and self.executable == sys.executable
        )

    def answers(self, work: dict[str, Any], seconds: float) -> Iterator[dict[str, Any]]:
        """What it says of each step, as it says it; it is ended when it takes longer.

        Seconds on the clock in which it had no processor, as on a busy machine, do not count, up
        to ``PATIENCE`` times as many in all.

        Raises:
            Lost: it took too long, or died.
        """
        late, done = threading.Event(), threading.Event()
        started, used = time.monotonic(), self._processor_s()

        def watch() -> None:
            left = seconds
            while not done.wait(left):
                if self._spent(started, used) >= seconds:
                    late.set()
                    self.process.kill()
                    return
                left = LOOK_SECONDS

        self.artworks += 1
        ended = False
        clock = threading.Thread(target=watch, daemon=True)
        clock.start()
        try:
            for said in self._said(work):
                if "end" in said:
                    ended = not said.get("spent")
                    return
                if "step" in said and "problem" in said:
                    yield said
        finally:
            done.set()
            clock.join()  # so that it kills now or never, not the next artwork's process
            self.spent_s = self._spent(started, used)
            if late.is_set() or not ended:
                self.end()
        if late.is_set():
            raise Lost(f"took longer than {seconds:.2g} s")
        raise Lost(f"its process died (code {self.process.returncode})")

    def _spent(self, started: float, used: float | None) -> float:
        """Seconds since then: of the clock, or of its processor if these are fewer."""
        clock, now = time.monotonic() - started, self._processor_s()
        if used is None or now is None:
            return clock
        return min(clock, max(now - used, clock / PATIENCE))

    def _processor_s(self) -> float | None:
        """Seconds of the processor it has had so far; None where the system does not tell."""
        try:
            told = Path(f"/proc/{self.process.pid}/stat").read_text("ascii", "replace")
            user, system = told.rpartition(")")[2].split()[11:13]
            return (int(user) + int(system)) / os.sysconf("SC_CLK_TCK")
        except (OSError, ValueError, AttributeError):
            return None

    def _said(self, work: dict[str, Any]) -> Iterator[dict[str, Any]]:
        """Every answer; a line that a dying process left unfinished is none."""
        assert self.process.stdin is not None
        assert self.process.stdout is not None
        with contextlib.suppress(OSError):  # died before: told by its end
            self.process.stdin.write(json.dumps(work).encode() + b"\n")
            self.process.stdin.flush()
        for line in self.process.stdout:
            with contextlib.suppress(ValueError):
                said = json.loads(line)
                if isinstance(said, dict):
                    yield said

    def end(self) -> None:
        """End the process."""
        self.process.kill()
        self.process.wait()
        for pipe in (self.process.stdin, self.process.stdout):
            if pipe is not None:
                with contextlib.suppress(OSError):
                    pipe.close()


_running: dict[tuple[int, int], Converters] = {}
"""By the process and thread they belong to: two of either must not read each other's answers."""


def converters() -> Converters:
    """This thread's converters, started if they are not running."""
    mine = os.getpid(), threading.get_ident()
    running = _running.get(mine)
    if running is None or not running.usable:
        if running is not None:
            running.end()
        running = _running[mine] = Converters(_started(), sys.executable)
    return running


def end_converters() -> None:
    """End this process's converters, those of all its threads, if they are running."""
    for mine in [key for key in list(_running) if key[0] == os.getpid()]:
        _running.pop(mine).end()


atexit.register(end_converters)


def _started() -> "subprocess.Popen[bytes]":
    # by its path, not as a module: the package's own imports take longer than the drawing
    return subprocess.Popen(
        [sys.executable, str(CHILD)],
        env=_child_environment(),
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        stderr=subprocess.DEVNULL,
    )


def _child_environment() -> dict[str, str]:
    """Only what Python needs to start, and this package's own place on the path."""
    kept = {key: os.environ[key] for key in _KEEP if key in os.environ}
    package = str(Path(decalprep.__file__).resolve().parent.parent)
    return {**kept, "PYTHONPATH": package, "PYTHONSAFEPATH": "1", "PYTHONDONTWRITEBYTECODE": "1"}
