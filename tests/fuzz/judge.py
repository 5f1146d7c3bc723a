"""The verdict on one case: a result or a SeatwrightError in good words, or else a finding."""

from __future__ import annotations

import re
import signal
import traceback
from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from random import Random
from types import FrameType
from typing import Protocol

from seatwright.errors import Fault, SeatwrightError

SECONDS, SECONDS_A_MIB = 2.0, 4.0
"""Of processor time that a case may take: as long, and so much longer for its size."""

LONGEST_TEXT = 2000
"""Letters of one fault."""

_SHORTEST_WHAT = 12
_OWN = f"{Path(__file__).parents[2] / 'src'}"


class Target(Protocol):
    """One way into the package for bytes from strangers."""

    name: str

    def make(self, chance: Random) -> bytes:
        """A case by chance: the same chance gives the same bytes."""

    def run(self, data: bytes) -> Iterable[Fault | str]:
        """Read the case as the package does; what a person would be told.

        Raises
        ------
        SeatwrightError
            If the package refuses it, which is as good as a result.
        """


@dataclass(frozen=True)
class Finding:
    """What went wrong: `signature` is alike for cases of one cause."""

    signature: str
    detail: str


@dataclass(frozen=True)
class Verdict:
    """Of one case: a finding or none, and whether the package took it for good."""

    finding: Finding | None
    taken: bool = False


class TooSlow(BaseException):
    """Raised in the middle of a case; no `except Exception` holds it."""


def judged(target: Target, data: bytes) -> Verdict:
    """Run a case and look at how it ended and at what was said."""
    taken = False
    try:
        with limited(SECONDS + SECONDS_A_MIB * len(data) / 2**20):
            told = list(target.run(data))
        taken = True
    except SeatwrightError as error:
        told = list(error.faults)
        if not told:
            return Verdict(Finding("error without a fault", repr(error)))
    except TooSlow as error:
        return Verdict(Finding(f"slow at {_where(error)}", _trace(error)))
    except MemoryError as error:
        return Verdict(Finding(f"memory at {_where(error)}", _trace(error)))
    except Exception as error:
        return Verdict(Finding(f"{type(error).__name__} at {_where(error)}", _trace(error)))
    return Verdict(next((found for one in told if (found := _ill_worded(one))), None), taken)


@contextmanager
def limited(seconds: float) -> Iterator[None]:
    """Raise TooSlow in what takes more processor time; a busy machine changes nothing."""

    def stop(_signal: int, _frame: FrameType | None) -> None:
        raise TooSlow(f"more than {seconds:g} s")

    before = signal.signal(signal.SIGPROF, stop)
    signal.setitimer(signal.ITIMER_PROF, seconds)
    try:
        yield
    finally:
        signal.setitimer(signal.ITIMER_PROF, 0.0)
        signal.signal(signal.SIGPROF, before)


def shape_of(told: Fault | str) -> str:
    """A message without its names and numbers, so that each kind is listed once."""
    text = told.what if isinstance(told, Fault) else told
    return re.sub(r"\d+", "9", re.sub(r'"[^"]*"|`[^`]*`', '"x"', text))[:120]


def _ill_worded(told: Fault | str) -> Finding | None:
    text = str(told)
    kind = shape_of(told)[:40]
    if len(text) > LONGEST_TEXT and isinstance(told, Fault):
        return Finding(f"message of too many letters: {kind}", f"{len(text)}: {text[:300]}")
    if not all(letter.isprintable() or letter == "\n" for letter in text):
        return Finding(f"message with control characters: {kind}", repr(text[:300]))
    if isinstance(told, Fault) and len(told.what.strip()) < _SHORTEST_WHAT:
        return Finding("message that says nothing", repr(told))
    return None


def _where(error: BaseException) -> str:
    """The innermost line of the package, else of whatever raised."""
    frames = traceback.extract_tb(error.__traceback__)
    own = [frame for frame in frames if frame.filename.startswith(_OWN)] or frames
    return f"{Path(own[-1].filename).name}:{own[-1].name}" if own else "nowhere"


def _trace(error: BaseException) -> str:
    return "".join(traceback.format_exception(error))[-3000:]
