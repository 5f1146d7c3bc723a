"""Signals that end the program: the first one cleans up, those after it change nothing."""

from __future__ import annotations

import signal
import threading
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
            signal.signal(one, signal.SIG_IGN)
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
        if self._received is None:  # else the process ends, undisturbed
            for number, old in self._before.items():
                signal.signal(number, old)


ENDING = Ending()
"""That of the process: signals belong to it as a whole."""
