"""Work shared out among copies of this process, or among threads where copies cannot be had.

Only one thread at a time runs Python; work of many short steps gains half of what a second
processor could give. A copy (fork) starts with everything its parent has loaded and read, so that
nothing is loaded twice, and sends back what it found. Where other threads are under way their
locks would be copied as well, shut for ever; then, and on systems without fork, threads do the
work. What comes out is the same.
"""

from __future__ import annotations

import os
import signal
import sys
import threading
import time
from collections import deque
from collections.abc import Callable, Generator, Iterable, Iterator, Sequence
from concurrent.futures import Executor, Future, ThreadPoolExecutor
from contextlib import closing
from itertools import islice
from typing import Any, TypeVar

from seatwright.interrupts import SIGNALS, blocked_signals, take_held_signals

Item = TypeVar("Item")
Result = TypeVar("Result")

WORTH_SECONDS = 0.2
"""Work of one thread from which on it is shared out among copies: they take 20 ms to start."""

_AHEAD = 2
"""Things given out for each worker: one it is at, one to go on with."""

_LOOK_SECONDS = 0.5
"""Between two looks of a copy whether its parent still lives."""


def side_by_side(
    work: Callable[[Item], Result],
    items: Iterable[Item],
    workers: int,
    seconds: float = 0.0,
) -> Generator[Result, None, None]:
    """Do the same work for each of many things, several at a time.

    Parameters
    ----------
    work : callable
        Free of side effects: what a copy changes, its parent does not see. Its results and errors
        must be picklable.
    items : iterable
        Picklable.
    workers : int
        Things done at the same time, 1 or more; does not change the result.
    seconds : float
        About how long one thread would take for all.

    Yields
    ------
    Result
        One for each thing, in their order, few of them made ahead of those that were taken.

    Raises
    ------
    Exception
        The first that `work` raises, in the order of the things; the rest is not begun.
    """
    things = list(items)
    workers = min(workers, len(things))
    given = 0
    if workers > 1 and seconds >= WORTH_SECONDS and can_copy():
        with closing(_by_copies(work, things, workers)) as results:
            for result in results:
                given += 1
                yield result
    if given < len(things):  # all of them, or what a copy that died has left
        with ThreadPoolExecutor(workers) as pool:
            yield from _in_order(pool, work, things[given:], workers)


def can_copy() -> bool:
    """Whether a copy of this process would be whole: a system with fork, and no other thread."""
    return sys.platform == "linux" and threading.active_count() == 1


def _in_order(
    pool: Executor, work: Callable[[Item], Result], things: Sequence[Item], workers: int
) -> Iterator[Result]:
    """Results in order; what is not taken yet is only as much as keeps all workers busy."""
    rest = iter(things)
    waiting: deque[Future[Result]] = deque()
    with blocked_signals():  # copies start with the first of them, and take signals when they can
        waiting.extend(pool.submit(work, thing) for thing in islice(rest, _AHEAD * workers))
    while waiting:
        result = waiting.popleft().result()
        waiting.extend(pool.submit(work, thing) for thing in islice(rest, 1))
        yield result


def _by_copies(
    work: Callable[[Item], Result], things: Sequence[Item], workers: int
) -> Generator[Result, None, None]:
    """Results in order; fewer than there are things where a copy died."""
    import multiprocessing  # takes a while, and most commands need none
    from concurrent.futures import ProcessPoolExecutor
    from concurrent.futures.process import BrokenProcessPool

    fork = multiprocessing.get_context("fork")
    before = set(multiprocessing.active_children())
    pool = ProcessPoolExecutor(workers, fork, _begin, (work, os.getpid()))
    try:
        yield from _in_order(pool, _work_of_copy, things, workers)
    except BrokenProcessPool:  # killed, most likely for want of memory: threads need less
        return
    except BaseException:
        for process in set(multiprocessing.active_children()) - before:
            process.kill()
        raise
    finally:
        pool.shutdown(cancel_futures=True)


_OWN: dict[str, Callable[[Any], Any]] = {}
"""The work of this copy: inherited, as what it closes over may not be picklable."""


def _begin(work: Callable[[Any], Any], parent: int) -> None:
    _OWN["work"] = work
    for number in SIGNALS:  # Ctrl-C goes to all at once, and the parent ends its copies
        signal.signal(number, signal.SIG_IGN if number == signal.SIGINT else signal.SIG_DFL)
    take_held_signals()
    threading.Thread(target=_end_with, args=(parent,), daemon=True).start()


def _work_of_copy(thing: Any) -> Any:
    return _OWN["work"](thing)


def _end_with(parent: int) -> None:
    """End this copy when its parent is gone, killed perhaps, and nobody takes its results."""
    while os.getppid() == parent:
        time.sleep(_LOOK_SECONDS)
    os._exit(1)
