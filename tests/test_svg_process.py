"""The converters' process: one for many artworks, and another as soon as it is lost or large."""

import json
import os
import signal
import subprocess
import sys
import threading
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from decalprep.intake import svg_process
from decalprep.intake.options import IntakeOptions, Limits
from decalprep.intake.svg_process import Lost, converters, end_converters
from decalprep.intake.svg_workshop import KILL_SECONDS, Workshop

SVG = (
    '<svg xmlns="http://www.w3.org/2000/svg" width="40" height="30">'
    '<rect width="20" height="30" fill="#246"/></svg>'
)
HANG = '<feTurbulence baseFrequency=".9" numOctaves="9000"/>' * 30


@pytest.fixture
def work(tmp_path: Path) -> Iterator[dict[str, Any]]:
    """A drawing to be made, by converters that nobody had before."""
    end_converters()
    (tmp_path / "fonts").mkdir()
    (tmp_path / "a.svg").write_text(SVG)
    yield {
        "folder": str(tmp_path),
        "steps": ["picture"],
        "picture": "a.svg",
        "picture_png": "a.png",
        "seconds": 8.0,
        "memory_bytes": 2_000_000_000,
    }
    end_converters()


def done(work: dict[str, Any], seconds: float = 8.0) -> int:
    """Number of the process that did the work."""
    running = converters()
    said = list(running.answers(work, seconds))
    assert said == [{"step": "picture", "problem": ""}]
    assert (Path(work["folder"]) / work["picture_png"]).read_bytes().startswith(b"\x89PNG")
    return running.process.pid


def test_one_process_serves_one_artwork_after_another(work: dict[str, Any]) -> None:
    assert done(work) == done(work)


def test_what_fails_is_told_and_the_process_stays(work: dict[str, Any]) -> None:
    first = done(work)
    said = list(converters().answers({**work, "picture": "absent.svg"}, 8.0))
    assert said[0]["problem"]
    assert done(work) == first


@pytest.mark.skipif(os.name != "posix", reason="needs signals of POSIX systems")
def test_a_process_that_died_costs_only_the_artwork_at_hand(work: dict[str, Any]) -> None:
    first = converters()
    os.kill(first.process.pid, signal.SIGKILL)
    with pytest.raises(Lost, match="died"):
        list(first.answers(work, 8.0))
    assert done(work) != first.process.pid


def test_a_process_that_hangs_is_ended_and_the_next_artwork_gets_another(
    work: dict[str, Any],
) -> None:
    first = done(work)
    busy = SVG.replace("<rect", f'<filter id="f">{HANG}</filter><rect filter="url(#f)"')
    (Path(work["folder"]) / "busy.svg").write_text(busy.replace('"40"', '"4000"'))
    with pytest.raises(Lost, match="longer than 0.5 s|died"):
        list(converters().answers({**work, "picture": "busy.svg"}, 0.5))
    assert done(work) != first


@pytest.mark.skipif(sys.platform != "linux", reason="elsewhere only the clock is there to go by")
def test_seconds_without_a_processor_do_not_count(work: dict[str, Any]) -> None:
    """A converter held for twice its seconds, as others hold it on a busy machine."""
    first = converters()
    done(work)
    os.kill(first.process.pid, signal.SIGSTOP)
    threading.Timer(1.2, os.kill, (first.process.pid, signal.SIGCONT)).start()
    assert done(work, 0.6) == first.process.pid
    assert first.spent_s < 0.6


@pytest.mark.skipif(os.name != "posix", reason="needs signals of POSIX systems")
def test_a_process_that_does_nothing_is_ended_all_the_same(work: dict[str, Any]) -> None:
    running = converters()
    os.kill(running.process.pid, signal.SIGSTOP)
    with pytest.raises(Lost, match="longer than 0.1 s"):
        list(running.answers(work, 0.1))


def test_a_raised_limit_gives_an_artwork_longer_and_a_lowered_one_shorter(tmp_path: Path) -> None:
    def seconds(words: str) -> float:
        return Workshop(tmp_path, "a.svg", IntakeOptions(limits=Limits().changed(words))).seconds

    assert [seconds(f"max_seconds={s}") for s in (2, 30, 60)] == [2.0, KILL_SECONDS, 14.0]


def test_a_process_that_has_become_large_is_not_used_again(work: dict[str, Any]) -> None:
    pytest.importorskip("resource")
    first = done({**work, "memory_bytes": 2_000_000_000})
    assert done(work) == first
    small = {**work, "memory_bytes": 80_000_000}  # an eighth of it is less than Python itself
    list(converters().answers(small, 8.0))
    assert done(work) != first


@pytest.mark.skipif(sys.platform != "linux", reason="other systems hand no peak down")
def test_a_large_parent_does_not_make_it_large(work: dict[str, Any]) -> None:
    script = (
        "import json, sys, test_svg_process as t\n"
        "held = bytearray(400_000_000)\n"
        "work = json.loads(sys.argv[1])\n"
        "print(t.done(work) == t.done(work))"
    )
    here = str(Path(__file__).parent)
    run = subprocess.run(
        [sys.executable, "-c", script, json.dumps(work)],
        capture_output=True,
        cwd=here,
        env={**os.environ, "PYTHONPATH": os.pathsep.join([here, str(Path(here).parent)])},
        check=True,
    )
    assert run.stdout.split() == [b"True"]


def test_after_its_share_of_artworks_it_is_replaced(
    work: dict[str, Any], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(svg_process, "MOST_ARTWORKS", 2)
    pids = [done(work) for _ in range(4)]
    assert pids[0] == pids[1] != pids[2] == pids[3]


@pytest.mark.skipif(sys.platform != "linux", reason="only forked processes have a parent's table")
def test_a_forked_process_does_not_speak_to_its_parents_converters(work: dict[str, Any]) -> None:
    from decalprep.jobs.crew import all_done

    mine = done(work)

    def other(_: Any) -> tuple[int, int]:
        own = {**work, "picture_png": f"{os.getpid()}.png"}  # both draw at the same time
        found = os.getpid(), done(own)
        if os.getpid() != here:
            end_converters()
        return found

    here = os.getpid()
    for pid, used in all_done([other] * 4, lambda _: None):
        assert (used == mine) == (pid == here)
