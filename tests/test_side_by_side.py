"""Work shared out: copies and threads find the same, nothing is lost where a copy dies."""

from __future__ import annotations

import os
import pickle
import signal
import subprocess
import sys
import threading
import time
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from seatwright.errors import DiskError, Fault, SeatwrightError, StemError
from seatwright.side_by_side import WORTH_SECONDS, can_copy, side_by_side

PARENT = os.getpid()


@pytest.fixture
def alone(monkeypatch: pytest.MonkeyPatch) -> Iterator[None]:
    """As where no other thread runs, whatever the tests before and their runner have left."""
    monkeypatch.setattr(threading, "active_count", lambda: 1)
    before = _children(PARENT)
    yield
    assert set(_children(PARENT)) <= set(before), "a copy stays"


def copies(test: Callable[..., None]) -> Callable[..., None]:
    """A test that needs copies."""
    skip = pytest.mark.skipif(sys.platform != "linux", reason="copies are made on Linux only")
    return skip(pytest.mark.usefixtures("alone")(test))  # type: ignore[no-any-return]


@copies
def test_copies_work_on_what_they_inherit_and_results_come_in_order() -> None:
    table = {number: lambda n=number: n * n for number in range(20)}  # nothing picklable
    found = list(side_by_side(lambda n: (os.getpid(), table[n]()), range(20), 3, 1.0))
    assert [square for _, square in found] == [n * n for n in range(20)]
    assert PARENT not in {pid for pid, _ in found}


@pytest.mark.parametrize(("workers", "seconds"), [(1, 9.0), (3, 0.5 * WORTH_SECONDS)])
def test_one_worker_or_little_work_stays_in_this_process(workers: int, seconds: float) -> None:
    assert set(side_by_side(lambda _: os.getpid(), range(4), workers, seconds)) == {PARENT}


@copies
def test_beside_another_thread_no_copy_is_made(monkeypatch: pytest.MonkeyPatch) -> None:
    assert can_copy()
    monkeypatch.setattr(threading, "active_count", lambda: 2)
    assert not can_copy()
    assert set(side_by_side(lambda _: os.getpid(), range(4), 2, 1.0)) == {PARENT}


def test_of_nothing_comes_nothing() -> None:
    assert list(side_by_side(str, [], 2, 1.0)) == []


@copies
@pytest.mark.parametrize("dies_at", [0, 5, 11])
def test_what_a_killed_copy_leaves_is_done_here(dies_at: int) -> None:
    def work(number: int) -> int:
        if number == dies_at and os.getpid() != PARENT:
            os.kill(os.getpid(), signal.SIGKILL)
        return -number

    assert list(side_by_side(work, range(12), 2, 1.0)) == [-number for number in range(12)]


@copies
def test_results_are_made_as_they_are_taken_and_nothing_stays_of_the_rest(tmp_path: Path) -> None:
    def work(number: int) -> int:
        (tmp_path / str(number)).touch()
        return number

    results = side_by_side(work, range(100), 2, 1.0)
    assert [next(results) for _ in range(3)] == [0, 1, 2]
    time.sleep(0.3)
    assert len(list(tmp_path.iterdir())) <= 3 + 2 * 2
    results.close()


@copies
def test_an_error_comes_back_whole_and_no_copy_stays() -> None:
    faults = (Fault("found 3, wanted 4", "a.wav", 7, "seats.oboe.stem", "try 4"), Fault("late"))

    def work(number: int) -> int:
        if number == 2:
            raise StemError(faults)
        time.sleep(0.01)
        return number

    with pytest.raises(StemError) as caught:
        list(side_by_side(work, range(50), 2, 1.0))
    assert caught.value.faults == faults


@pytest.mark.parametrize("kind", [SeatwrightError, StemError, DiskError])
def test_errors_survive_the_way_between_processes(kind: type[SeatwrightError]) -> None:
    error = pickle.loads(pickle.dumps(kind([Fault("x", key="a.b"), Fault("y", line=3)])))
    assert type(error) is kind
    assert error.faults == (Fault("x", key="a.b"), Fault("y", line=3))


SLOW = """
import os, time
from seatwright.side_by_side import side_by_side
list(side_by_side(lambda _: (os.write(1, b"at work\\n"), time.sleep(60)), range(4), 2, 1.0))
"""


@copies
@pytest.mark.parametrize("number", [signal.SIGINT, signal.SIGKILL])
def test_copies_end_with_their_parent(number: signal.Signals, tmp_path: Path) -> None:
    parent = subprocess.Popen(
        [sys.executable, "-c", SLOW], stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True
    )
    assert parent.stdout is not None
    assert parent.stdout.readline() == "at work\n"
    assert parent.stdout.readline() == "at work\n"
    copies_of = _children(parent.pid)
    assert len(copies_of) == 2
    parent.send_signal(number)
    parent.communicate(timeout=10)
    deadline = time.monotonic() + 10
    while any(Path(f"/proc/{pid}").exists() for pid in copies_of):
        assert time.monotonic() < deadline, "a copy outlives its parent"
        time.sleep(0.05)


LARGE = """
import os, time
from seatwright.interrupts import ENDING
from seatwright.side_by_side import side_by_side
def work(number):
    return bytes(40_000_000)  # most of the time goes into handing it over
with ENDING:
    for _ in side_by_side(work, range(4000), 2, 1.0):
        os.write(1, b".")
"""


@copies
@pytest.mark.parametrize(
    ("number", "code"), [(signal.SIGINT, -signal.SIGINT), (signal.SIGTERM, 143)]
)
def test_a_signal_while_an_answer_is_handed_over_ends_all(
    number: signal.Signals, code: int
) -> None:
    parent = subprocess.Popen(
        [sys.executable, "-c", LARGE], stdout=subprocess.PIPE, stderr=subprocess.DEVNULL
    )
    assert parent.stdout is not None
    assert parent.stdout.read(4) == b"...."
    copies_of = _children(parent.pid)
    parent.send_signal(number)
    try:
        parent.communicate(timeout=20)
    finally:
        parent.kill()
    assert parent.returncode == code
    assert copies_of
    assert not any(Path(f"/proc/{pid}").exists() for pid in copies_of)


@copies
def test_a_copy_killed_in_the_middle_of_an_answer_is_noticed() -> None:
    def work(number: int) -> bytes:
        if number == 1 and os.getpid() != PARENT:
            threading.Timer(0.3, os.kill, (os.getpid(), signal.SIGKILL)).start()
            return bytes(100_000_000)
        return bytes(8)

    found = []
    for each in side_by_side(work, range(3), 2, 1.0):
        found.append(len(each))
        time.sleep(0.6)  # meanwhile the answer waits in a full pipe, and its copy is killed
    assert found == [8, 8, 8]


@copies
def test_signals_that_are_ignored_stay_ignored_in_copies() -> None:
    before = signal.signal(signal.SIGHUP, signal.SIG_IGN)  # as nohup does
    try:
        found = list(
            side_by_side(lambda _: (os.getpid(), signal.getsignal(signal.SIGHUP)), range(4), 2, 1.0)
        )
    finally:
        signal.signal(signal.SIGHUP, before)
    assert PARENT not in {pid for pid, _ in found}
    assert {handler for _, handler in found} == {signal.SIG_IGN}


@copies
def test_where_no_copy_can_be_had_threads_do_the_work(monkeypatch: pytest.MonkeyPatch) -> None:
    real, made = os.fork, []

    def refused() -> int:
        made.append(1)
        if len(made) == 2:
            raise BlockingIOError(11, "Resource temporarily unavailable")
        return real()

    monkeypatch.setattr(os, "fork", refused)
    found = list(side_by_side(lambda n: (os.getpid(), n), range(4), 3, 1.0))
    assert found == [(PARENT, n) for n in range(4)]


@copies
def test_an_error_that_cannot_be_sent_is_raised_all_the_same() -> None:
    class Odd(Exception):
        def __init__(self, one: int, two: int):
            super().__init__("neither can be sent nor made anew")

    def work(number: int) -> int:
        if number == 2:
            raise Odd(1, 2)
        return number

    with pytest.raises(Odd):
        list(side_by_side(work, range(5), 2, 1.0))


def _children(parent: int) -> list[int]:
    """Processes that a process's main thread has started."""
    return [int(pid) for pid in Path(f"/proc/{parent}/task/{parent}/children").read_text().split()]
