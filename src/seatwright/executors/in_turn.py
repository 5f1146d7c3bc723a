"""Cues one after the other, in this process."""

from __future__ import annotations

from collections import deque
from collections.abc import Callable, Sequence
from functools import partial

from seatwright.executors.attempt import Attempt, Job, attempt


class InTurn:
    """Runs one job at a time, on all threads that its request allows."""

    def run(
        self,
        jobs: Sequence[Job],
        progress: Callable[[int, str, float], None],
        again: Callable[[Attempt], bool],
    ) -> None:
        """Run all jobs; those that are tried again come last."""
        waiting = deque(jobs)
        while waiting:
            job = waiting.popleft()
            if again(attempt(job, partial(progress, job.number))):
                waiting.append(job)
