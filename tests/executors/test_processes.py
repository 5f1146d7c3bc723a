"""Cues in several processes: the bits of one by one, and nothing lost when one of them dies."""

from __future__ import annotations

import os
import signal
import sys
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from seatwright.executors.processes import Processes, thread_shares

pytestmark = pytest.mark.skipif(sys.platform == "win32", reason="signals of POSIX")


def test_two_processes_render_the_bits_of_one_by_one(score: Any) -> None:
    rows, watch = score.render(Processes(2), "two", "a", "b", "c")
    assert [(row.state, row.tries, row.exit_code) for row in rows] == [("done", 1, 0)] * 3
    assert sorted(watch.told) == [("ended", 0), ("ended", 1), ("ended", 2)]
    alone = {file: h for file, h in score.files("alone").items() if not file.startswith("long")}
    assert len(alone) == 3 * 5
    assert score.files("two") == alone


def test_a_killed_process_is_named_and_its_cue_tried_again(
    score: Any, killer: Callable[[Path, int], Any]
) -> None:
    before = score.stems()
    killed = killer(score.folder / "once" / "long", 1)
    rows, watch = score.render(Processes(2), "once", "long", "a", "b", "c")
    assert len(killed.killed) == 1
    assert [(row.state, row.tries) for row in rows] == [("done", 2), *[("done", 1)] * 3]
    assert ("again", 0) in watch.told
    assert score.files("once") == score.files("alone")
    assert score.stems() == before


def test_a_cue_whose_process_dies_twice_fails_and_the_rest_is_delivered(
    score: Any, killer: Callable[[Path, int], Any]
) -> None:
    before = score.stems()
    killed = killer(score.folder / "twice" / "long", 2)
    rows, watch = score.render(Processes(2), "twice", "long", "a", "b")
    assert len(set(killed.killed)) == 2
    failed, *others = rows
    assert (failed.state, failed.tries, failed.exit_code) == ("failed", 2, 1)
    (fault,) = failed.faults
    assert fault.file == str(score.folder / "long.toml")
    assert "was ended by SIGKILL" in fault.what and "--jobs" in fault.hint
    assert [(row.state, row.tries) for row in others] == [("done", 1)] * 2
    assert watch.told.count(("again", 0)) == 1
    assert not (score.folder / "twice" / "long").exists()
    assert score.stems() == before


@pytest.mark.parametrize("whole_group", [True, False], ids=["terminal", "parent only"])
def test_an_interrupt_stops_all_and_leaves_nothing(
    score: Any, wait_for_render: Callable[[Path], int], whole_group: bool
) -> None:
    out = f"interrupted {whole_group}"
    for name in ("longer", "longest"):
        score.add(name, 40.0, 48_000)
    child = score.command("longer.toml", "longest.toml", "--jobs", "2", "--out", out)
    workers = [wait_for_render(score.folder / out / name) for name in ("longer", "longest")]
    (os.killpg if whole_group else os.kill)(child.pid, signal.SIGINT)
    said, err = child.communicate(timeout=120)
    assert (child.returncode, said) == (130, "")
    assert err == "seatwright: interrupted, no output is half written\n"
    assert not any(alive(worker) for worker in workers)
    assert not any((score.folder / out).glob("*"))


def test_processes_whose_parent_is_killed_end_and_clean_up(
    score: Any, wait_for_render: Callable[[Path], int]
) -> None:
    for name in ("longer", "longest"):
        score.add(name, 40.0, 48_000)
    child = score.command("longer.toml", "longest.toml", "--jobs", "2", "--out", "orphans")
    workers = [wait_for_render(score.folder / "orphans" / name) for name in ("longer", "longest")]
    child.kill()
    child.communicate(timeout=120)
    deadline = time.monotonic() + 60.0
    while any(alive(worker) for worker in workers) and time.monotonic() < deadline:
        time.sleep(0.02)
    assert not any(alive(worker) for worker in workers)
    assert not any((score.folder / "orphans").glob("*"))


def alive(process: int) -> bool:
    """Whether a process runs; one that has ended and was not waited for does not."""
    stat = Path(f"/proc/{process}/stat")
    if Path("/proc/self/stat").exists():
        try:
            return stat.read_text().rpartition(")")[2].split()[0] != "Z"
        except OSError:
            return False
    try:
        os.kill(process, 0)
    except ProcessLookupError:
        return False
    return True


@pytest.mark.parametrize(
    ("threads", "count", "shares"),
    [(8, 3, [3, 3, 2]), (2, 2, [1, 1]), (1, 3, [1, 1, 1]), (5, 1, [5]), (4, 0, [])],
)
def test_threads_are_divided_and_nobody_has_none(
    threads: int, count: int, shares: list[int]
) -> None:
    assert thread_shares(threads, count) == shares
