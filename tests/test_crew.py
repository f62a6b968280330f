"""Work shared out over processes: the same results, words and faults as one after another."""

import os
import signal
import sys
import threading
import time
from collections.abc import Callable
from typing import Any

import pytest

from decalprep.errors import InputProblem, JobProblem, TooMuch
from decalprep.jobs import crew
from decalprep.jobs.crew import all_done

pytestmark = pytest.mark.skipif(not hasattr(os, "fork"), reason="needs: fork")


@pytest.fixture(autouse=True)
def three_processes(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(crew, "cores", lambda: 3)


def quiet(_: str) -> None:
    pass


def slow_first(k: int) -> Callable[[Any], tuple[int, int]]:
    def act(say: Callable[[str], None]) -> tuple[int, int]:
        time.sleep(0.05 if k < 3 else 0.005)
        say(f"task {k}")
        return k, os.getpid()

    return act


def test_results_come_in_order_from_several_processes_and_words_are_heard() -> None:
    heard: list[str] = []
    found = all_done([slow_first(k) for k in range(12)], heard.append)
    assert [k for k, _ in found] == list(range(12))
    assert len({pid for _, pid in found}) == 3
    assert sorted(heard) == sorted(f"task {k}" for k in range(12))


def test_one_core_or_one_task_stays_here(monkeypatch: pytest.MonkeyPatch) -> None:
    assert all_done([lambda _: os.getpid()], quiet) == [os.getpid()]
    monkeypatch.setattr(crew, "cores", lambda: 1)
    assert set(all_done([lambda _: os.getpid()] * 5, quiet)) == {os.getpid()}
    assert all_done([], quiet) == []


def test_something_else_is_done_here_while_helpers_begin(monkeypatch: pytest.MonkeyPatch) -> None:
    where: list[int] = []
    tasks = [slow_first(k) for k in range(6)]
    found = all_done(tasks, quiet, meanwhile=lambda: where.append(os.getpid()) or time.sleep(0.1))
    assert [k for k, _ in found] == list(range(6))
    assert where == [os.getpid()]
    assert found[0][1] != os.getpid()
    monkeypatch.setattr(crew, "cores", lambda: 1)
    all_done(tasks, quiet, meanwhile=lambda: where.append(0))
    assert where == [os.getpid()]


def test_a_fault_of_something_else_ends_the_helpers() -> None:
    ours, theirs = os.pipe()
    begun = bytearray()

    def begin(_: Any) -> None:
        os.write(theirs, b"%d\n" % os.getpid())
        time.sleep(30)

    def wrong() -> None:
        begun.extend(os.read(ours, 99))  # waits until a helper has begun
        raise ValueError("no such module")

    before = time.monotonic()
    with pytest.raises(ValueError, match="no such module"):
        all_done([begin] * 3, quiet, meanwhile=wrong)
    assert time.monotonic() - before < 10
    os.close(theirs)
    os.close(ours)
    assert begun
    for pid in begun.split():
        with pytest.raises(ProcessLookupError):
            os.kill(int(pid), 0)


def test_large_results_do_not_block_anybody() -> None:
    found = all_done([lambda _, k=k: bytes([k]) * 3_000_000 for k in range(6)], quiet)
    assert [(len(data), data[0]) for data in found] == [(3_000_000, k) for k in range(6)]


def test_the_first_fault_in_order_is_told_whoever_was_quicker() -> None:
    def late(_: Any) -> None:
        time.sleep(0.1)
        raise TooMuch("too many paths", where="bow.svg", do="simplify it")

    def soon(_: Any) -> None:
        raise InputProblem("not a picture", where="stern.svg")

    begun: list[Callable[[Any], Any]] = [slow_first(0), late, soon, soon]
    with pytest.raises(TooMuch, match=r"^bow.svg: too many paths; simplify it$") as told:
        all_done([*begun, *(slow_first(k) for k in range(200))], quiet)
    assert told.value.do == "simplify it"


def test_faults_of_several_lines_and_of_other_kinds_cross_over() -> None:
    def wrong(_: Any) -> None:
        time.sleep(0.02)
        raise JobProblem(["line 3: no such key", "line 9: no unit"])

    with pytest.raises(JobProblem) as told:
        all_done([wrong] * 6, quiet)
    assert told.value.faults == ["line 3: no such key", "line 9: no unit"]

    def local(_: Any) -> None:
        class Unknown(Exception):
            """Cannot be sent from one process to another."""

        raise Unknown("here")

    with pytest.raises(Exception, match="here"):
        all_done([local] * 6, quiet)


def test_what_a_dead_helper_had_in_hand_is_done_again_here() -> None:
    import cv2

    here = os.getpid()

    def dies_elsewhere(_: Any) -> int:
        if os.getpid() != here:
            os.kill(os.getpid(), signal.SIGKILL)
        time.sleep(0.02)
        return int(cv2.getNumThreads())

    assert all_done([dies_elsewhere] * 7, quiet) == [1] * 7


def test_a_result_that_cannot_be_sent_is_made_here() -> None:
    found = all_done([lambda _, k=k: (k, lambda: k) for k in range(5)], quiet)
    assert [make() for _, make in found] == list(range(5))


def test_an_interrupt_ends_every_helper(tmp_path: Any) -> None:
    def lasting(_: Any) -> None:
        (tmp_path / str(os.getpid())).touch()
        time.sleep(0.05)

    def stopped(_: str) -> None:
        raise KeyboardInterrupt

    def tells(say: Callable[[str], None]) -> None:
        time.sleep(0.02)
        say("one more")

    with pytest.raises(KeyboardInterrupt):
        all_done([lasting, lasting, lasting, tells, *[lasting] * 200], stopped)
    for path in tmp_path.iterdir():
        if path.name != str(os.getpid()):
            with pytest.raises(ProcessLookupError):
                os.kill(int(path.name), 0)


def test_helpers_do_not_wait_for_threads_of_opencv_that_they_lost() -> None:
    import cv2
    import numpy as np

    large = np.random.default_rng(1).integers(0, 255, (3000, 3000), dtype=np.uint8)
    before = int(cv2.GaussianBlur(large, (31, 31), 8).sum())  # starts OpenCV's threads
    threads = cv2.getNumThreads()
    sums = all_done([lambda _: int(cv2.GaussianBlur(large, (31, 31), 8).sum())] * 4, quiet)
    assert sums == [before] * 4
    assert cv2.getNumThreads() == threads


def test_tasks_that_the_pipe_has_no_room_for_are_done_here(monkeypatch: pytest.MonkeyPatch) -> None:
    fcntl = pytest.importorskip("fcntl")
    pipe = os.pipe

    def small() -> tuple[int, int]:
        """As the system gives to a user who has many."""
        read, write = pipe()
        fcntl.fcntl(write, fcntl.F_SETPIPE_SZ, 4096)
        return read, write

    with monkeypatch.context() as short:
        short.setattr(os, "pipe", small)
        found = all_done([lambda _, k=k: (k, os.getpid()) for k in range(3000)], quiet)
    assert [k for k, _ in found] == list(range(3000))
    assert {pid for _, pid in found[2048:]} == {os.getpid()}


def test_nothing_is_forked_beside_another_thread(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.undo()
    monkeypatch.setattr(threading, "active_count", lambda: 1)
    monkeypatch.setattr(os, "sched_getaffinity", lambda _: {0, 1, 2}, raising=False)
    monkeypatch.setattr(sys, "platform", "linux")
    assert crew.cores() == 3
    monkeypatch.setattr(threading, "active_count", lambda: 2)
    assert crew.cores() == 1
