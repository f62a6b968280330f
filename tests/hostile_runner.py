"""Runs command lines one after another, each in a process of its own with caps, and tells of each.

Started as ``python hostile_runner.py``; reads one JSON line for each run and answers with one. The
modules are loaded once, then each run is a fork, so that forty of them cost seconds.
"""

import json
import os
import resource
import sys
import tempfile
import time
from importlib import import_module

CPU_SECONDS = 20
MEMORY_BYTES = 4_000_000_000


def warm() -> None:
    """Load what runs need, so that a run's own time is what is measured."""
    import decalprep.cli.calibrate
    import decalprep.cli.compare
    import decalprep.cli.look
    import decalprep.cli.make
    import decalprep.cli.measure
    import decalprep.cli.part
    import decalprep.cli.unpack
    import decalprep.intake.dxf
    import decalprep.intake.dxfface
    import decalprep.intake.mesh
    import decalprep.intake.pdf
    import decalprep.intake.raster
    import decalprep.intake.svg
    import decalprep.jobs.make
    import decalprep.outline
    import decalprep.scan  # noqa: F401
    from decalprep.jobs import outputs, report  # noqa: F401
    from decalprep.jobs.panels import NEEDED
    from decalprep.proof import prove  # noqa: F401

    for name in (*NEEDED, "cv2", "ezdxf", "PIL.Image", "reportlab.platypus"):
        import_module(name)


def child(asked: dict[str, object], out: int, err: int) -> None:
    """One run; never returns."""
    from decalprep.cli import run

    code = 70
    try:
        os.chdir(str(asked["cwd"]))
        os.environ.update(asked.get("env") or {})
        os.dup2(out, 1)
        os.dup2(err, 2)
        sys.stdout = open(1, "w", encoding="utf-8", closefd=False)  # noqa: SIM115
        sys.stderr = open(2, "w", encoding="utf-8", closefd=False)  # noqa: SIM115
        resource.setrlimit(resource.RLIMIT_CPU, (CPU_SECONDS, CPU_SECONDS))
        resource.setrlimit(resource.RLIMIT_AS, (MEMORY_BYTES, MEMORY_BYTES))
        resource.setrlimit(resource.RLIMIT_CORE, (0, 0))
        for name, value in (asked.get("limits") or {}).items():
            resource.setrlimit(getattr(resource, name), (value, value))
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


def answer(asked: dict[str, object]) -> dict[str, object]:
    """What one run gave: exit code (negative: the signal), both outputs, seconds, peak MB."""
    with tempfile.TemporaryFile() as out, tempfile.TemporaryFile() as err:
        began = time.monotonic()
        process = os.fork()
        if process == 0:
            child(asked, out.fileno(), err.fileno())
        _, status, used = os.wait4(process, 0)
        out.seek(0)
        err.seek(0)
        return {
            "code": os.waitstatus_to_exitcode(status),
            "out": out.read().decode("utf-8", "replace"),
            "err": err.read().decode("utf-8", "replace"),
            "cpu_s": used.ru_utime + used.ru_stime,
            "wall_s": time.monotonic() - began,
            "peak_mb": used.ru_maxrss / 1024,
        }


def main() -> None:
    warm()
    for line in sys.stdin:
        print(json.dumps(answer(json.loads(line))), flush=True)


if __name__ == "__main__":
    main()
