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
from concurrent.futures import ThreadPoolExecutor
from contextlib import closing, suppress
from itertools import islice
from typing import TYPE_CHECKING, Any, TypeVar

from seatwright.interrupts import SIGNALS, blocked_signals, take_held_signals

if TYPE_CHECKING:
    from multiprocessing.connection import Connection
    from multiprocessing.context import ForkProcess

    _Copy = tuple[ForkProcess, Connection]

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
        Free of side effects: what a copy changes, its parent does not see. Its results must be
        picklable.
    items : iterable
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
        yield from _by_threads(work, things[given:], workers)


def can_copy() -> bool:
    """Whether a copy of this process would be whole: a system with fork, and no other thread."""
    return sys.platform == "linux" and threading.active_count() == 1


def _by_threads(
    work: Callable[[Item], Result], things: Sequence[Item], workers: int
) -> Iterator[Result]:
    rest = iter(things)
    with ThreadPoolExecutor(workers) as pool:
        waiting = deque(pool.submit(work, thing) for thing in islice(rest, _AHEAD * workers))
        while waiting:
            result = waiting.popleft().result()
            waiting.extend(pool.submit(work, thing) for thing in islice(rest, 1))
            yield result


def _by_copies(
    work: Callable[[Item], Result], things: Sequence[Item], workers: int
) -> Generator[Result, None, None]:
    """Results in order; fewer than there are things where a copy died or none can be had."""
    copies: list[_Copy] = []
    try:
        with suppress(OSError), blocked_signals():  # until a copy knows what to do with them
            for _ in range(workers):
                copies.append(_new_copy(work, things))
        if len(copies) < workers:
            return
        for good, outcome in _in_order([pipe for _, pipe in copies], len(things)):
            if not good:
                raise outcome
            yield outcome
    finally:
        with blocked_signals():  # one that came in between would leave some behind
            for process, pipe in copies:
                process.kill()
                process.join()
                pipe.close()


def _new_copy(work: Callable[[Any], Any], things: Sequence[Any]) -> _Copy:
    """A copy at work, and the pipe to it: places of things go in, what came of them comes out.

    The copy alone holds the other end, so that when it dies in the middle of an answer the wait
    for the rest is over. A queue between all copies has no such end.
    """
    import multiprocessing  # takes a while, and most commands need none

    fork = multiprocessing.get_context("fork")
    ours, theirs = fork.Pipe()
    with theirs:
        asked = (work, things, theirs, os.getpid())
        process = fork.Process(target=_serve, args=asked, daemon=True)
        process.start()
    return process, ours


def _in_order(pipes: Sequence[Connection], count: int) -> Iterator[tuple[bool, Any]]:
    """Results and errors in the order of the things; ends early where a copy died."""
    from multiprocessing.connection import wait

    found: dict[int, tuple[bool, Any]] = {}
    idle = list(pipes)
    turn, given, failed = 0, 0, False
    while turn < count:
        most = turn if failed else min(count, turn + _AHEAD * len(pipes))
        try:
            while idle and given < most:
                idle.pop().send(given)
                given += 1
            busy = [pipe for pipe in pipes if pipe not in idle]
            ready = wait(busy)
            for pipe in (each for each in busy if each in ready):
                place, good, outcome = pipe.recv()
                idle.append(pipe)
                found[place] = good, outcome
                failed = failed or not good
        except Exception:  # killed, for want of memory perhaps, or an error that cannot be sent
            return
        while turn in found:
            yield found.pop(turn)
            turn += 1


def _serve(
    work: Callable[[Any], Any], things: Sequence[Any], pipe: Connection, parent: int
) -> None:
    """What a copy does until it is ended."""
    for number in SIGNALS:  # Ctrl-C goes to all at once, and the parent ends its copies
        if signal.getsignal(number) != signal.SIG_IGN:  # as under nohup
            ends = number != signal.SIGINT
            signal.signal(number, signal.SIG_DFL if ends else signal.SIG_IGN)
    take_held_signals()
    threading.Thread(target=_end_with, args=(parent,), daemon=True).start()
    try:
        while True:
            place = pipe.recv()
            pipe.send((place, *_outcome(work, things[place])))
    except BaseException:  # what cannot be sent: the parent finds out by itself
        os._exit(1)


def _outcome(work: Callable[[Any], Any], thing: Any) -> tuple[bool, Any]:
    try:
        return True, work(thing)
    except Exception as error:
        return False, error


def _end_with(parent: int) -> None:
    """End this copy when its parent is gone, killed perhaps, and nobody takes its results."""
    while os.getppid() == parent:
        time.sleep(_LOOK_SECONDS)
    os._exit(1)
