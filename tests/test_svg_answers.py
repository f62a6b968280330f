"""What the converters' process answers is of the artwork at hand, never of another."""

import threading
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from decalprep.intake import svg_child, svg_process
from decalprep.intake.svg_process import converters, end_converters

CHATTY = """
import os, sys, time
from decalprep.intake import svg_child
def chat(job, folder):
    print('{"step": "svglib", "problem": ""}', flush=True)
    os.write(1, b'{"end": true}\\n')
def slow(job, folder):
    time.sleep(0.05)
    raise ValueError(job["folder"])
svg_child.STEPS.update(typst=chat, picture=slow)
sys.exit(svg_child.main())
"""


@pytest.fixture(autouse=True)
def chatty(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[None]:
    """A child whose steps print what looks like answers, or take long and fail by name."""
    end_converters()
    (tmp_path / "child.py").write_text(CHATTY)
    monkeypatch.setattr(svg_process, "CHILD", tmp_path / "child.py")
    yield
    end_converters()


def job(name: str, *steps: str) -> dict[str, Any]:
    return {"folder": name, "steps": steps, "seconds": 30.0, "memory_bytes": 4 << 30}


def answered(name: str, *steps: str) -> list[tuple[str, str]]:
    said = converters().answers(job(name, *steps), 30.0)
    return [(one["step"], one["problem"]) for one in said]


def test_what_a_library_prints_is_no_answer_and_the_next_artwork_gets_its_own() -> None:
    for name in ("bow.svg", "stern.svg"):
        assert answered(name, "typst", "picture") == [
            ("typst", ""),
            ("picture", f"ValueError: {name}"),
        ]


def test_threads_have_processes_of_their_own() -> None:
    found: dict[str, list[tuple[str, str]]] = {}

    def act(name: str) -> None:
        found[name] = answered(name, "picture", "picture")

    threads = [threading.Thread(target=act, args=[name]) for name in ("bow.svg", "stern.svg")]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert found == {name: [("picture", f"ValueError: {name}")] * 2 for name in found}
    assert len(found) == 2


def test_a_clock_that_strikes_at_the_end_takes_no_later_artwork_along(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    class AtTheEnd(threading.Event):
        def wait(self, timeout: float | None = None) -> bool:
            super().wait()
            return False

    first = converters()
    with monkeypatch.context() as late:
        late.setattr(threading, "Event", AtTheEnd)
        late.setattr(first, "_spent", lambda *since: 1e9)
        assert answered("bow.svg", "typst") == [("typst", "")]
    assert not first.usable
    assert answered("stern.svg", "typst") == [("typst", "")]


@pytest.mark.parametrize(("step", "spent"), [("svglib", True), ("typst", False)])
def test_svglib_which_keeps_fonts_is_not_used_for_two_artworks(
    step: str, spent: bool, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setitem(svg_child.STEPS, step, lambda job, folder: None)
    monkeypatch.setattr(svg_child, "cap_resources", lambda seconds, memory_bytes: None)
    monkeypatch.setattr(svg_child, "_memory_bytes", lambda: 0)
    said: list[dict[str, Any]] = []
    svg_child.work(job("bow.svg", step), said.append)
    assert said == [{"step": step, "problem": ""}, {"end": True, "spent": spent}]
