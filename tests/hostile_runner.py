"""Runs command lines one after another, each in a process of its own with caps, and tells of each.

Started as ``python hostile_runner.py``; reads a JSON line with a list of runs, starts them at the
same time and answers with such a line. The modules are loaded once, then each run is a fork, so
that forty of them cost seconds.
"""

import contextlib
import gc
import json
import os
import pty
import resource
import signal
import sys
import tempfile
import time
from importlib import import_module
from pkgutil import walk_packages
from typing import BinaryIO

CPU_SECONDS = 20
MEMORY_BYTES = 4_000_000_000
LIBRARIES = (
    "cv2",
    "ezdxf",
    "fontTools.subset",
    "http.client",
    "pypdfium2.raw",
    "reportlab.platypus",
    "scipy.sparse.csgraph",
    "scipy.spatial",
    "trimesh",
)
WORDS_OF_TERMINALS = ("NO_COLOR", "COLUMNS", "TERM")


def warm() -> None:
    """Load what runs need, so that a run's own time is what is measured."""
    import decalprep

    for found in walk_packages(decalprep.__path__, "decalprep."):
        if not found.name.endswith(("__main__", "_child")):
            import_module(found.name)
    for name in LIBRARIES:
        import_module(name)
    import_module("PIL.Image").init()


def child(asked: dict[str, object], out: int, err: int) -> None:
    """One run; never returns."""
    from decalprep.cli import run

    code = 70
    try:
        os.chdir(str(asked["cwd"]))
        for name in WORDS_OF_TERMINALS:
            os.environ.pop(name, None)
        os.environ.update(asked.get("env") or {})
        os.dup2(os.open(os.devnull, os.O_RDONLY), 0)  # not our questions
        os.dup2(out, 1)
        os.dup2(err, 2)
        sys.stdout = open(1, "w", encoding="utf-8", closefd=False)  # noqa: SIM115
        sys.stderr = open(2, "w", encoding="utf-8", closefd=False)  # noqa: SIM115
        resource.setrlimit(resource.RLIMIT_CPU, (CPU_SECONDS, CPU_SECONDS))
        resource.setrlimit(resource.RLIMIT_AS, (MEMORY_BYTES, MEMORY_BYTES))
        resource.setrlimit(resource.RLIMIT_CORE, (0, 0))
        for name, value in (asked.get("limits") or {}).items():
            resource.setrlimit(getattr(resource, name), (value, value))
        exec(str(asked.get("first") or ""), {})
        code = run(list(asked["args"]))
    except BaseException:
        import traceback

        traceback.print_exc()
    finally:
        for stream in (sys.stdout, sys.stderr):
            try:
                stream.flush()
            except (OSError, ValueError):
                code = code or 71
        os._exit(code)


def answers(together: list[dict[str, object]]) -> list[dict[str, object]]:
    """What runs gave that were started at the same time.

    That is the exit code (negative: the signal), both outputs, seconds, and peak MB. On a terminal,
    all that a run shows is ``out``.
    """
    with contextlib.ExitStack() as stack:
        started = [begun(asked, stack) for asked in together]
        return [ended(*one) for one in started]


def begun(
    asked: dict[str, object], stack: contextlib.ExitStack
) -> tuple[dict[str, object], float, int, BinaryIO, BinaryIO]:
    """A run just started: what was asked, when, its process, and where its outputs can be read."""
    began = time.monotonic()
    err = stack.enter_context(tempfile.TemporaryFile())  # noqa: SIM115
    if asked.get("terminal"):
        mine, theirs = pty.openpty()
        out = stack.enter_context(open(mine, "rb", buffering=0))  # noqa: SIM115
    else:
        out = stack.enter_context(tempfile.TemporaryFile())  # noqa: SIM115
    process = os.fork()
    if process == 0:
        child(asked, *([theirs] * 2 if asked.get("terminal") else (out.fileno(), err.fileno())))
    if asked.get("terminal"):
        os.close(theirs)
    return asked, began, process, out, err


def ended(
    asked: dict[str, object], began: float, process: int, out: BinaryIO, err: BinaryIO
) -> dict[str, object]:
    """A run's answer, when it has ended or was killed."""
    if asked.get("kill_after_s"):
        time.sleep(float(str(asked["kill_after_s"])))
        os.kill(process, signal.SIGKILL)
    shown = b""
    if asked.get("terminal"):
        with contextlib.suppress(OSError):  # how Linux tells that the other end is closed
            while data := out.read(65536):
                shown += data
    _, status, used = os.wait4(process, 0)
    if not asked.get("terminal"):
        out.seek(0)
        shown = out.read()
    err.seek(0)
    return {
        "code": os.waitstatus_to_exitcode(status),
        "out": shown.decode("utf-8", "replace"),
        "err": err.read().decode("utf-8", "replace"),
        "cpu_s": used.ru_utime + used.ru_stime,
        "wall_s": time.monotonic() - began,
        "peak_mb": used.ru_maxrss / 1024,
    }


def main() -> None:
    warm()
    gc.freeze()  # what is loaded stays: not looked through, and so not copied, in each run
    for line in sys.stdin:
        print(json.dumps(answers(json.loads(line))), flush=True)


if __name__ == "__main__":
    main()
