"""A cue on a worker of a cluster: the function that is sent there.

A worker's thread cannot be interrupted, so it looks with every word of progress whether its task
is still wanted. That ends it as well where the client or the scheduler is gone.
"""

from __future__ import annotations

import os
import time
from dataclasses import replace
from threading import Lock
from typing import Any

from seatwright import __version__
from seatwright.errors import Fault, RenderError
from seatwright.executors.attempt import Attempt, Job, attempt

_WORD_SECONDS = 0.5
"""Between two words about progress."""


def work(job: Job, version: str, topic: str) -> Attempt:
    """Render a cue in a thread of a worker.

    Parameters
    ----------
    job : Job
        With absolute paths; of no given number of threads it takes the worker's share.
    version : str
        Of the program that asks; with another one the sound could differ.
    topic : str
        Where the client listens for words about progress.

    Returns
    -------
    Attempt
        Its faults name the worker.
    """
    from distributed import get_worker

    words = _Words(get_worker(), job.number, topic)
    words.say("begun", words.name)
    try:
        if version != __version__:
            end = _other_version(job, version)
        else:
            threads = job.request.threads or words.threads
            request = replace(job.request, threads=threads)
            end = attempt(replace(job, request=request), words)
    finally:
        words.say("left", "")
    return replace(end, faults=tuple(_named(fault, words.name) for fault in end.faults))


def _other_version(job: Job, version: str) -> Attempt:
    what = f"found version {__version__} of this program, wanted {version} as it was asked by"
    fault = Fault(what, file=job.scene, hint="install the same one everywhere")
    return Attempt(job.number, (fault,), RenderError.exit_code)


def _named(fault: Fault, worker: str) -> Fault:
    hint = f"{fault.hint}; on worker {worker}" if fault.hint else f"on worker {worker}"
    return replace(fault, hint=hint)


class _Unwanted(Exception):
    """The task was taken back, or its worker is closing."""


class _Words:
    """Progress of a task as events on the client's topic, from several threads."""

    def __init__(self, worker: Any, number: int, topic: str):
        self._worker, self._number, self._topic = worker, number, topic
        self._key = worker.get_current_task()
        self._lock, self._last = Lock(), 0.0

    @property
    def name(self) -> str:
        """Name of the worker, with its address where that is not its name."""
        name, address = str(self._worker.name), str(self._worker.address)
        return address if name == address else f"{name} at {address}"

    @property
    def threads(self) -> int:
        """Processors of this machine for each task that the worker runs at a time."""
        return max(1, (os.cpu_count() or 1) // max(1, int(self._worker.state.nthreads)))

    def say(self, word: str, what: str, share: float = 0.0) -> None:
        """Log an event: number of the cue, which run of it, and what is said."""
        run = f"{self._worker.id} {self._key}"
        self._worker.log_event(self._topic, [self._number, run, word, what, share])

    def __call__(self, what: str, share: float) -> None:
        self._check()
        with self._lock:
            now = time.monotonic()
            if now - self._last >= _WORD_SECONDS:
                self._last = now
                self.say("share", what, share)

    def _check(self) -> None:
        task = self._worker.state.tasks.get(self._key)
        closing = self._worker.status.name in ("closing", "closed", "failed")
        if closing or task is None or task.state == "cancelled":
            raise _Unwanted("taken back")
