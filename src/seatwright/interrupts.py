"""Signals that end the program: the first one cleans up, those after it change nothing."""

from __future__ import annotations

import signal
import sys
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from types import FrameType, TracebackType
from typing import Any, Self

SIGNALS = tuple(
    getattr(signal, name) for name in ("SIGINT", "SIGTERM", "SIGHUP") if hasattr(signal, name)
)
"""Ctrl-C, a request to end, a terminal that is gone (not on every system)."""


class Ending:
    """While it is entered, the first signal raises and all later ones are ignored.

    A signal that was ignored before, as under nohup, stays ignored.
    """

    def __init__(self) -> None:
        self._received: int | None = None
        self._before: dict[int, Any] = {}

    def check(self) -> None:
        """Raise once more after a signal, wherever its first exception was lost."""
        if self._received == signal.SIGINT:
            raise KeyboardInterrupt
        if self._received is not None:
            raise SystemExit(128 + self._received)

    def _receive(self, number: int, _frame: FrameType | None) -> None:
        for one in self._before:  # a second exception would cut off what the first cleans up
            signal.signal(one, _nothing)  # SIG_IGN would be told of where two come at once
        self._received = number
        self.check()

    def __enter__(self) -> Self:
        self._received, self._before = None, {}
        if threading.current_thread() is threading.main_thread():
            before = {number: signal.getsignal(number) for number in SIGNALS}
            self._before = {n: old for n, old in before.items() if old != signal.SIG_IGN}
            for number in self._before:
                signal.signal(number, self._receive)
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        value: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        for number, old in self._before.items():  # after a signal the process ends, undisturbed
            signal.signal(number, old if self._received is None else signal.SIG_IGN)


def _nothing(_number: int, _frame: FrameType | None) -> None:
    """What all later signals do."""


ENDING = Ending()
"""That of the process: signals belong to it as a whole."""


@contextmanager
def held_signals() -> Iterator[None]:
    """Signals wait, here and in processes started meanwhile, until these take them.

    A terminal sends its signals to all processes at once, to one as well that has only begun and
    cannot clean up yet.
    """
    if sys.platform != "win32":
        from multiprocessing import resource_tracker

        resource_tracker.ensure_running()  # when it starts itself, it lets signals through
    with blocked_signals():
        yield


@contextmanager
def blocked_signals() -> Iterator[None]:
    """Signals wait, here and in copies of this process made meanwhile, until these take them."""
    if sys.platform == "win32":
        yield
        return
    before = signal.pthread_sigmask(signal.SIG_BLOCK, SIGNALS)
    try:
        yield
    finally:
        signal.pthread_sigmask(signal.SIG_SETMASK, before)


def take_held_signals() -> None:
    """Let signals through that the parent held back; those that came meanwhile come now."""
    if sys.platform != "win32":
        signal.pthread_sigmask(signal.SIG_UNBLOCK, SIGNALS)
