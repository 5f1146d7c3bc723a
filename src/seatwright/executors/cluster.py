"""Cues on a cluster, through the scheduler of dask.distributed.

The scheduler begins a task again by itself where a worker died; how often is its own setting, so
runs are counted here by what the workers say, and a cue is taken back when it had its tries.
"""

from __future__ import annotations

import importlib
import logging
import queue
import re
import time
import uuid
from collections.abc import Callable, Sequence
from contextlib import suppress
from dataclasses import replace
from pathlib import Path
from typing import Any

from seatwright import __version__
from seatwright.errors import Fault, RenderError, SceneError
from seatwright.executors.attempt import MOST_TRIES, Attempt, Job, died
from seatwright.executors.on_worker import work

_ADDRESS = re.compile(r"((tcp|tls|ws|wss)://)?([^\s/:\[\]]+|\[[0-9A-Fa-f:.]+\]):\d{1,5}")
_LAST_PORT = 65535
_CONNECT_SECONDS = 10
_LOOK_SECONDS = 2.0
"""Without a word before looking whether there are workers at all."""

_ALONE_SECONDS = 60.0
"""Without any worker before giving up."""

_CLEANING_SECONDS = 20.0
"""For workers to clean up after their tasks were taken back."""


class Cluster:
    """Runs jobs on the workers of a scheduler, which all see the same paths.

    Parameters
    ----------
    address : str
        Such as "tcp://10.0.0.5:8786".

    Raises
    ------
    SceneError
        If the address is none, or the package is not installed.
    """

    def __init__(self, address: str):
        if not _ADDRESS.fullmatch(address):
            what = f'found "{address}", wanted the address of a scheduler'
            raise SceneError(Fault(what, hint="such as tcp://10.0.0.5:8786"))
        port = int(address.rpartition(":")[2])
        if not 1 <= port <= _LAST_PORT:
            what = f'found port {port} in "{address}", wanted 1 to {_LAST_PORT}'
            raise SceneError(Fault(what, hint="a scheduler prints its address when it starts"))
        self._address = address
        try:
            self._dask: Any = importlib.import_module("distributed")
        except ModuleNotFoundError as error:
            what = "--scheduler needs the package distributed, which is not installed"
            hint = "pip install distributed, here and on every worker"
            raise SceneError(Fault(what, hint=hint)) from error

    def run(
        self,
        jobs: Sequence[Job],
        progress: Callable[[int, str, float], None],
        again: Callable[[Attempt], bool],
    ) -> None:
        """Run all jobs.

        Raises
        ------
        RenderError
            If there is no scheduler at the address.
        """
        if not jobs:
            return
        client = self._client()
        try:
            _Run(client, jobs, progress, again).run()
        finally:
            with suppress(OSError, TimeoutError):
                client.close(timeout=5)

    def _client(self) -> Any:
        _quiet()
        try:
            return self._dask.Client(
                self._address, timeout=_CONNECT_SECONDS, set_as_default=False, name="seatwright"
            )
        except OSError as error:
            what = f"found no scheduler at {self._address} within {_CONNECT_SECONDS} s"
            hint = "dask scheduler starts one, dask worker ADDRESS a worker"
            raise RenderError(Fault(what, hint=hint)) from error


class _Run:
    """The course of all jobs on a cluster; the client's threads put news into a queue."""

    def __init__(
        self,
        client: Any,
        jobs: Sequence[Job],
        progress: Callable[[int, str, float], None],
        again: Callable[[Attempt], bool],
    ):
        self._client, self._progress, self._again = client, progress, again
        self._jobs = {job.number: _absolute(job) for job in jobs}
        self._futures: dict[int, Any] = {}
        self._runs: dict[int, dict[str, str]] = {job.number: {} for job in jobs}
        self._told = dict.fromkeys(self._jobs, 0)
        self._begun: dict[int, float] = {}
        self._active: set[str] = set()
        self._news: queue.Queue[tuple[Any, ...]] = queue.Queue()
        self._topic = f"seatwright-{uuid.uuid4().hex}"
        self._alone_since: float | None = None
        self._shown = (jobs[0].number, "waiting for a worker", 0.0)

    def run(self) -> None:
        self._client.subscribe_topic(self._topic, lambda event: self._news.put(tuple(event[1])))
        try:
            for job in self._jobs.values():
                self._submit(job)
            while self._futures:
                self._hear()
        except BaseException:
            self._take_back()
            raise

    def _submit(self, job: Job) -> None:
        future = self._client.submit(
            work, job, __version__, self._topic, pure=False, key=f"{self._topic}-{uuid.uuid4().hex}"
        )
        self._futures[job.number] = future
        self._begun[job.number] = time.monotonic()
        future.add_done_callback(lambda done: self._news.put((job.number, "", "future", done)))

    def _hear(self) -> None:
        """Take one word, or look after the workers where there is none."""
        try:
            number, run, word, *rest = self._news.get(timeout=_LOOK_SECONDS)
        except queue.Empty:
            self._look_after_workers()
            return
        if word == "left":
            self._active.discard(run)
        elif word == "begun":
            self._note_begun(number, run, rest[0])
        elif word == "share" and number in self._futures:
            self._shown = (number, rest[0], rest[1])
            self._progress(*self._shown)
        elif word == "future" and self._futures.get(number) is rest[0]:
            self._end(number, self._outcome(number, rest[0]))

    def _note_begun(self, number: int, run: str, worker: str) -> None:
        self._active.add(run)
        if number not in self._futures:
            return
        if not self._runs[number]:
            self._begun[number] = time.monotonic()
        self._runs[number][run] = worker
        if len(self._runs[number]) > MOST_TRIES:
            self._futures[number].cancel()
            self._end(number, self._death(number))

    def _outcome(self, number: int, future: Any) -> Attempt:
        """How a task ended, from what its future holds."""
        if future.status == "finished":
            found: Attempt = future.result()
            return found
        error = future.exception() if future.status == "error" else None
        if type(error).__name__ == "KilledWorker":
            return self._death(number)
        if error is None:
            return self._failure(number, "the scheduler is gone or took the task back")
        what = f"a worker could not run it: {type(error).__name__}: {error}"
        hint = "install the same version of this program on every worker"
        return self._failure(number, what, hint)

    def _failure(self, number: int, what: str, hint: str = "") -> Attempt:
        fault = Fault(what, file=self._jobs[number].scene, hint=hint)
        seconds = time.monotonic() - self._begun[number]
        return Attempt(number, (fault,), RenderError.exit_code, seconds=seconds)

    def _death(self, number: int) -> Attempt:
        """The end of a cue whose workers died."""
        workers = list(dict.fromkeys(self._runs[number].values()))[:MOST_TRIES]
        hint = "often too little memory; on worker " + ", then ".join(workers) if workers else ""
        seconds = time.monotonic() - self._begun[number]
        return died(self._jobs[number], "died", hint, seconds)

    def _end(self, number: int, end: Attempt) -> None:
        """Hand on an end with its number of runs; submit it again where that is asked for."""
        runs = max(self._told[number] + 1, min(len(self._runs[number]), MOST_TRIES))
        del self._futures[number]
        end = replace(end, tries=runs - self._told[number])
        self._told[number] = runs
        if self._again(end):
            self._submit(self._jobs[number])

    def _look_after_workers(self) -> None:
        """Give everything up where no worker is left for long, or the scheduler is gone."""
        self._progress(*self._shown)  # a chance for signals
        try:
            workers = self._client.scheduler_info()["workers"]
        except (OSError, TimeoutError, ValueError):
            self._give_up("the scheduler is gone")
            return
        now = time.monotonic()
        self._alone_since = None if workers else self._alone_since or now
        if self._alone_since is not None and now - self._alone_since > _ALONE_SECONDS:
            self._give_up(f"found no worker at the scheduler for {_ALONE_SECONDS:.0f} s")

    def _give_up(self, what: str) -> None:
        for number in list(self._futures):
            self._futures[number].cancel()
            self._end(number, self._failure(number, what))

    def _take_back(self) -> None:
        """Cancel all tasks, and wait until their workers have cleaned up."""
        with suppress(OSError, TimeoutError):
            self._client.cancel(list(self._futures.values()))
        deadline = time.monotonic() + _CLEANING_SECONDS
        while self._active and time.monotonic() < deadline:
            try:
                _, run, word, *_ = self._news.get(timeout=0.2)
            except queue.Empty:
                continue
            if word == "left":
                self._active.discard(run)


def _quiet() -> None:
    """Keep the package from logging to standard error what is told here as faults."""
    for name in list(logging.root.manager.loggerDict):
        if name.split(".")[0] == "distributed":
            logging.getLogger(name).setLevel(logging.CRITICAL)


def _absolute(job: Job) -> Job:
    """A job whose paths mean the same in every folder a worker may run in."""
    scene, folder = (str(Path(path).absolute()) for path in (job.scene, job.folder))
    return replace(job, scene=scene, folder=folder)
