"""Cues in several processes of this machine: one that dies takes only its own cue with it.

Each process has a pipe of its own, so that its end is seen at once and its cue is known, and its
share of the threads. Where the parent dies, the next word to it fails and the render cleans up.
"""

from __future__ import annotations

import multiprocessing
import os
import signal
import time
from collections import deque
from collections.abc import Callable, Sequence
from contextlib import suppress
from dataclasses import replace
from multiprocessing.connection import Connection, wait
from multiprocessing.context import SpawnProcess
from pathlib import Path
from threading import Lock

from seatwright.disk.dead_render import tidy_dead_render
from seatwright.executors.attempt import Attempt, Job, attempt, died
from seatwright.interrupts import ENDING, held_signals, take_held_signals

_SPAWN = multiprocessing.get_context("spawn")  # threads and locks do not survive a fork

_WORD_SECONDS = 0.1
"""Between two words about progress."""

_CLEANING_SECONDS = 20.0
"""For renders to clean up after they were told to end."""


class Processes:
    """Runs several jobs at a time, each in its own process.

    Parameters
    ----------
    count : int
        Processes, 1 or more.
    threads : int
        Divided among them; 0 for one a processor.
    """

    def __init__(self, count: int, threads: int = 0):
        self._count, self._threads = count, threads or os.cpu_count() or 1

    def run(
        self,
        jobs: Sequence[Job],
        progress: Callable[[int, str, float], None],
        again: Callable[[Attempt], bool],
    ) -> None:
        """Run all jobs; those that are tried again come last, when others have let go of memory."""
        waiting = deque(jobs)
        seats = [_Seat(n) for n in thread_shares(self._threads, min(self._count, len(jobs)))]
        try:
            while True:
                for seat in seats:
                    if waiting and seat.job is None:
                        seat.begin(waiting.popleft())
                busy = [seat for seat in seats if seat.job is not None]
                if not busy:
                    break
                spoken = wait([seat.connection for seat in busy])
                for seat in (one for one in busy if one.connection in spoken):
                    _heard(seat, progress, again, waiting)
        except BaseException:
            for seat in seats:
                seat.terminate()
            raise
        finally:
            deadline = time.monotonic() + _CLEANING_SECONDS
            for seat in seats:
                seat.close(deadline)


def thread_shares(threads: int, count: int) -> list[int]:
    """Threads of each of `count` processes: as even as can be, at least one each."""
    whole, rest = divmod(threads, max(1, count))
    return [max(1, whole + (number < rest)) for number in range(count)]


def _heard(
    seat: _Seat,
    progress: Callable[[int, str, float], None],
    again: Callable[[Attempt], bool],
    waiting: deque[Job],
) -> None:
    """Take one word of a process, the last one where it died."""
    job, word = seat.job, seat.word()
    assert job is not None
    if not isinstance(word, Attempt):
        progress(job.number, *word)
    elif again(word):
        waiting.append(job)


class _Seat:
    """A place for one process at a time, the job it is at, and our end of its pipe."""

    def __init__(self, threads: int):
        self._threads = threads
        self._process: SpawnProcess | None = None
        self._begun = 0.0
        self.connection: Connection
        self.job: Job | None = None

    def begin(self, job: Job) -> None:
        if self._process is None:
            self._start()
        self.job, self._begun = job, time.monotonic()
        request = replace(job.request, threads=self._threads)
        with suppress(OSError):  # it died meanwhile: its pipe tells
            self.connection.send(replace(job, request=request))

    def _start(self) -> None:
        self.connection, theirs = _SPAWN.Pipe()
        self._process = _SPAWN.Process(target=_serve, args=(theirs,), name="seatwright render")
        with held_signals():
            self._process.start()
        theirs.close()  # else its end would not be seen

    def word(self) -> Attempt | tuple[str, float]:
        """What the process says next: progress, or how the attempt ended."""
        try:
            word: Attempt | tuple[str, float] = self.connection.recv()
        except (EOFError, OSError):
            word = self._death()
        if isinstance(word, Attempt):
            self.job = None
        return word

    def _death(self) -> Attempt:
        """The last word on a process that died at its job."""
        assert self._process is not None and self.job is not None
        self.connection.close()
        self._process.join()
        code, self._process = self._process.exitcode or 0, None
        tidy_dead_render(Path(self.job.folder))
        hint = "often too little memory: fewer --jobs need less" if code == -9 else ""
        return died(self.job, _ending(code), hint, time.monotonic() - self._begun)

    def terminate(self) -> None:
        """Tell the process to end and to clean up."""
        if self._process is not None:
            self._process.terminate()

    def close(self, deadline: float) -> None:
        """Wait for the process, which ends with its pipe, but not for longer than that."""
        if self._process is None:
            return
        self.connection.close()
        self._process.join(max(0.0, deadline - time.monotonic()))
        if self._process.is_alive():
            self._process.kill()
            self._process.join()
        if self.job is not None:
            tidy_dead_render(Path(self.job.folder))
        self._process.close()
        self._process = None


def _ending(code: int) -> str:
    """How a process ended, from its exit code as `multiprocessing` tells it."""
    number = -code if code < 0 else code - 128
    known = {one.value: one.name for one in signal.Signals}
    return f"was ended by {known[number]}" if number in known else f"ended with exit code {code}"


def _serve(connection: Connection) -> None:
    """Run jobs as they come until the pipe ends; in the child."""
    try:
        with ENDING, suppress(EOFError, OSError):  # the parent is gone, or has had enough
            take_held_signals()
            while True:
                job: Job = connection.recv()
                connection.send(attempt(job, _Words(connection)))
    except KeyboardInterrupt:  # the terminal's, which the parent has had as well
        raise SystemExit(128 + signal.SIGINT) from None


class _Words:
    """Progress of a render as words to the parent, from several threads and not too many."""

    def __init__(self, connection: Connection):
        self._connection, self._lock, self._last = connection, Lock(), 0.0

    def __call__(self, what: str, share: float) -> None:
        ENDING.check()
        with self._lock:
            now = time.monotonic()
            if now - self._last >= _WORD_SECONDS:
                self._last = now
                self._connection.send((what, share))
