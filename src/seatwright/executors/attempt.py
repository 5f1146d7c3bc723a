"""One attempt at a cue: plain data in, plain data out, in whatever process or machine it runs."""

from __future__ import annotations

import errno
import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Protocol

from seatwright.disk.kept_file import DamagedFile
from seatwright.errors import DiskError, Fault, RenderError, SeatwrightError
from seatwright.kept_render import kept_render
from seatwright.render import Progress
from seatwright.stage.request import Request

MOST_TRIES = 2
"""Attempts at a cue whose failures may pass."""

_PASSING = {errno.EIO, errno.ETIMEDOUT, getattr(errno, "ESTALE", errno.EIO)}
_LASTING = (NotADirectoryError, FileExistsError, IsADirectoryError)
"""What stands in the way of an output stands there a moment later too."""


@dataclass(frozen=True)
class Job:
    """What an attempt needs, without anything that belongs to one process.

    Parameters
    ----------
    number : int
        Of the cue, from 0.
    scene, folder : str
        Paths as the process that renders sees them.
    request : Request
    """

    number: int
    scene: str
    folder: str
    request: Request


@dataclass(frozen=True)
class Attempt:
    """How an attempt ended.

    Parameters
    ----------
    number : int
        Of the cue.
    faults : tuple of Fault
        None where it is done.
    exit_code : int
        As a command would end with.
    passing : bool
        Whether the same may go well another time.
    seconds : float
    trim_db : float or None
        Of the render.
    warnings : tuple of str
        Of the render.
    tries : int
        How often it was begun; a cluster begins again by itself.
    """

    number: int
    faults: tuple[Fault, ...] = ()
    exit_code: int = 0
    passing: bool = False
    seconds: float = 0.0
    trim_db: float | None = None
    warnings: tuple[str, ...] = ()
    tries: int = 1


class Executor(Protocol):
    """Runs jobs somewhere until each has ended for good."""

    def run(
        self,
        jobs: Sequence[Job],
        progress: Callable[[int, str, float], None],
        again: Callable[[Attempt], bool],
    ) -> None:
        """Run all jobs.

        Parameters
        ----------
        jobs : sequence of Job
        progress : callable
            Told the number of a cue, what is being done and how much of it is done, 0 to 1.
        again : callable
            Told how an attempt ended; True asks for another one.
        """


def attempt(job: Job, progress: Progress) -> Attempt:
    """Render a cue; whatever goes wrong comes back as faults.

    Parameters
    ----------
    job : Job
    progress : callable
        What it raises that is no `Exception` ends the attempt and goes on to the caller.

    Returns
    -------
    Attempt
    """
    begun, doubts = time.monotonic(), list[Fault]()
    try:
        place = Path(job.scene), Path(job.folder)
        report = kept_render(*place, job.request, progress, doubts.append)
    except Exception as error:
        return replace(failed(job, error), seconds=time.monotonic() - begun)
    return Attempt(
        job.number,
        seconds=time.monotonic() - begun,
        trim_db=report.trim_db,
        warnings=(*report.warnings, *map(str, doubts)),
    )


def failed(job: Job, error: Exception) -> Attempt:
    """The end of an attempt that raised.

    Parameters
    ----------
    job : Job
    error : Exception

    Returns
    -------
    Attempt
        Worth another try where memory or the disk failed, and not where something on the disk is
        in the way.
    """
    if isinstance(error, SeatwrightError):
        return Attempt(job.number, error.faults, error.exit_code, _may_pass(error))
    if isinstance(error, MemoryError):
        fault = Fault("not enough memory for this render", file=job.scene)
        return Attempt(job.number, (fault,), RenderError.exit_code, passing=True)
    if isinstance(error, OSError):
        fault = Fault(error.strerror or str(error), file=str(error.filename or job.scene))
        passing = not isinstance(error, _LASTING)
        return Attempt(job.number, (fault,), DiskError.exit_code, passing)
    what = f"an error of the program itself: {type(error).__name__}: {error}"
    fault = Fault(what, file=job.scene, hint=_place(error))
    return Attempt(job.number, (fault,), RenderError.exit_code)


def died(job: Job, how: str, hint: str, seconds: float) -> Attempt:
    """The end of an attempt whose process can tell nothing any more."""
    fault = Fault(f"the process that rendered this scene {how}", file=job.scene, hint=hint)
    return Attempt(job.number, (fault,), RenderError.exit_code, passing=True, seconds=seconds)


def _may_pass(error: SeatwrightError) -> bool:
    """What the disk refused or lost, also where a stem was being read; nothing judged here."""
    cause = error.__cause__
    while isinstance(cause, SeatwrightError):  # such as what could not be put back after it
        cause = cause.__cause__
    if isinstance(error, DiskError):
        return isinstance(cause, OSError | DamagedFile) and not isinstance(cause, _LASTING)
    return isinstance(cause, OSError) and cause.errno in _PASSING


def _place(error: Exception) -> str:
    """Where in the program it was raised: all that is left of a traceback from elsewhere."""
    trace = error.__traceback__
    while trace is not None and trace.tb_next is not None:
        trace = trace.tb_next
    if trace is None:
        return ""
    return f"at {Path(trace.tb_frame.f_code.co_filename).name}:{trace.tb_lineno}"
