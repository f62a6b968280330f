"""Work shared out over the processor's cores, where that is safe: results and faults in order.

The process is forked as it stands, so that a task needs nothing handed over; only its result comes
back. A task must not depend on another's side effects. Where processes cannot be forked safely
(not Linux, or other threads of Python at work, whose locks a fork would keep shut), with one core
or one task, all is done here, one after another, with the same results.
A helper that dies loses nothing but time: what it had in hand is done again here.
"""

from __future__ import annotations

import contextlib
import os
import pickle
import signal
import sys
import threading
import time
import warnings
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, field
from multiprocessing import Pipe
from multiprocessing.connection import Connection, wait
from typing import Any, TypeVar

Say = Callable[[str], None]
T = TypeVar("T")
Task = Callable[[Say], T]

_KIND_SECONDS = 2.0
_NUMBER_BYTES = 2
MOST_TASKS = 65_535
"""As many numbers as there are; fewer are handed out where the pipe that they wait in is full."""
_PIPE_BYTES = 1_048_576
"""Room for results on their way, so that a helper need not wait for us to fetch each."""


def cores() -> int:
    """How many processes may work at a time: the cores we may use, at most ``max_processes``."""
    from decalprep.intake.options import stated_limits

    if sys.platform != "linux" or not hasattr(os, "fork") or threading.active_count() > 1:
        return 1
    return min(len(os.sched_getaffinity(0)), stated_limits().max_processes)


def all_done(
    tasks: Sequence[Task[T]], say: Say, *, meanwhile: Callable[[], None] | None = None
) -> list[T]:
    """The tasks' results in their order; ``say`` hears what each tells, helpers' words too.

    ``meanwhile`` is done here while helpers begin on the tasks, and not at all without helpers: to
    get something ready that would be waited for later on.

    Raises:
        what the first of the tasks that fail raises; later ones may not have been begun.
    """
    from decalprep.proof.threads import one_threaded

    helpers = min(cores(), len(tasks)) - 1
    with one_threaded():
        if helpers < 1:
            return [task(say) for task in tasks]
        with _crew(tasks, helpers) as crew:
            if meanwhile is not None:
                meanwhile()
            crew.work(say)
            crew.await_helpers(say)
        return [_outcome(crew, k, task, say) for k, task in enumerate(tasks)]


def _outcome(crew: _Crew, number: int, task: Task[T], say: Say) -> T:
    """What a task gave or raises; done here now if it had no number, or its helper died with it."""
    if number not in crew.outcomes:
        return task(say)
    well, value = crew.outcomes[number]
    if not well:
        raise value
    found: T = value
    return found


@dataclass
class _Crew:
    """The helpers at work, the pipe of numbers of tasks not begun, and what has come back."""

    tasks: Sequence[Task[Any]]
    numbers: int
    helpers: dict[Connection, int] = field(default_factory=dict)
    outcomes: dict[int, tuple[bool, Any]] = field(default_factory=dict)

    def begun(self) -> Iterator[int]:
        """Numbers of tasks for this process, until none is left."""
        while number := os.read(self.numbers, _NUMBER_BYTES):
            yield int.from_bytes(number, "big")

    def work(self, say: Say) -> None:
        """Do tasks here, hearing the helpers in between, until none is left or one fails."""
        for k in self.begun():
            try:
                self.outcomes[k] = (True, self.tasks[k](say))
            except Exception as fault:
                self.outcomes[k] = (False, fault)
                self.drop_rest()
            self.hear(say, seconds=0.0)

    def drop_rest(self) -> None:
        """Let nobody begin another task: all that come before the failed one are begun."""
        for _ in self.begun():
            pass

    def await_helpers(self, say: Say) -> None:
        """Hear the helpers to their end."""
        while self.helpers:
            self.hear(say, seconds=None)

    def hear(self, say: Say, *, seconds: float | None) -> None:
        """Take in what helpers have sent; without ``seconds`` wait until one has."""
        while ready := wait(list(self.helpers), seconds):
            for pipe in ready:
                assert isinstance(pipe, Connection)
                try:
                    number, well, value = pickle.loads(pipe.recv_bytes())
                except Exception:  # the end, or a helper that died while it was sending
                    pipe.close()
                    os.waitpid(self.helpers.pop(pipe), 0)
                    continue
                if number is None:
                    say(value)
                else:
                    self.outcomes[number] = (well, value)
            seconds = 0.0


@contextlib.contextmanager
def _crew(tasks: Sequence[Task[Any]], helpers: int) -> Iterator[_Crew]:
    """A crew with its helpers started, and ended whatever happens."""
    numbers, write = os.pipe()
    os.set_blocking(write, False)  # a pipe holds 65,536 bytes, or 4,096 where the system is short
    handed_out = range(min(len(tasks), MOST_TASKS))
    os.write(write, b"".join(k.to_bytes(_NUMBER_BYTES, "big") for k in handed_out))
    os.close(write)
    crew = _Crew(tasks, numbers)
    try:
        for _ in range(helpers):
            _start_helper(crew)
        yield crew
    finally:
        for pipe, pid in crew.helpers.items():
            pipe.close()
            _end(pid)
        os.close(numbers)


def _end(pid: int) -> None:
    """End a helper that is still at work: kindly, so that it tidies up, then surely."""
    os.kill(pid, signal.SIGTERM)
    until = time.monotonic() + _KIND_SECONDS
    while os.waitpid(pid, os.WNOHANG) == (0, 0):
        if time.monotonic() > until:
            os.kill(pid, signal.SIGKILL)
            os.waitpid(pid, 0)
            return
        time.sleep(0.01)


def _start_helper(crew: _Crew) -> None:
    """Fork one helper; it never returns from here."""
    ours, theirs = Pipe(duplex=False)
    with contextlib.suppress(OSError, ImportError, AttributeError):
        import fcntl

        fcntl.fcntl(theirs.fileno(), fcntl.F_SETPIPE_SZ, _PIPE_BYTES)
    with warnings.catch_warnings():
        # Python warns where threads run, for a lock that one holds would stay locked. Those of
        # numpy's BLAS restart after a fork, OpenCV's are stopped, and a helper takes no other lock.
        warnings.simplefilter("ignore", DeprecationWarning)
        pid = os.fork()
    if pid:
        theirs.close()
        crew.helpers[ours] = pid
        return
    try:
        for pipe in (ours, *crew.helpers):
            pipe.close()
        _help(crew, theirs)
    finally:
        os._exit(0)  # not ours to close or flush: the files and handlers of the process we left


def _help(crew: _Crew, pipe: Connection) -> None:
    """In a helper: do tasks until none is left, and send what each gave."""
    signal.signal(signal.SIGTERM, signal.default_int_handler)

    def send(number: int | None, well: bool, value: object) -> None:
        pipe.send_bytes(pickle.dumps((number, well, value), pickle.HIGHEST_PROTOCOL))

    for k in crew.begun():
        try:
            found = (True, crew.tasks[k](lambda words: send(None, True, words)))
        except Exception as fault:
            found = (False, fault)
            crew.drop_rest()
        send(k, *found)
