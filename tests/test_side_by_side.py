"""Work shared out: copies and threads find the same, nothing is lost where a copy dies."""

from __future__ import annotations

import os
import pickle
import signal
import subprocess
import sys
import threading
import time
from pathlib import Path

import pytest

from seatwright.errors import DiskError, Fault, SeatwrightError, StemError
from seatwright.side_by_side import WORTH_SECONDS, can_copy, side_by_side

copies = pytest.mark.skipif(sys.platform != "linux", reason="copies are made on Linux only")
PARENT = os.getpid()


@copies
def test_copies_work_on_what_they_inherit_and_results_come_in_order() -> None:
    table = {number: lambda n=number: n * n for number in range(20)}  # nothing picklable
    found = list(side_by_side(lambda n: (os.getpid(), table[n]()), range(20), 3, 1.0))
    assert [square for _, square in found] == [n * n for n in range(20)]
    assert PARENT not in {pid for pid, _ in found}
    assert threading.active_count() == 1, "copies can be had again afterwards"


@pytest.mark.parametrize(("workers", "seconds"), [(1, 9.0), (3, 0.5 * WORTH_SECONDS)])
def test_one_worker_or_little_work_stays_in_this_process(workers: int, seconds: float) -> None:
    assert set(side_by_side(lambda _: os.getpid(), range(4), workers, seconds)) == {PARENT}


@copies
def test_beside_another_thread_no_copy_is_made() -> None:
    end = threading.Event()
    other = threading.Thread(target=end.wait)
    assert can_copy()
    other.start()
    try:
        assert not can_copy()
        assert set(side_by_side(lambda _: os.getpid(), range(4), 2, 1.0)) == {PARENT}
    finally:
        end.set()
        other.join()


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
    assert not _children(PARENT)
    assert threading.active_count() == 1


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
    assert not _children(PARENT)


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


def _children(parent: int) -> list[int]:
    """Processes that a process's main thread has started."""
    return [int(pid) for pid in Path(f"/proc/{parent}/task/{parent}/children").read_text().split()]
