"""What a stem's name was taken for, and the ending and side that every name may have."""

from __future__ import annotations

import re
from dataclasses import dataclass

_SIDE = re.compile(r"(?<=[._-])[LR]$")


@dataclass(frozen=True)
class NameGuess:
    """What a name was taken for.

    Parameters
    ----------
    name : str
        As given.
    part : str
        Name of the part; "" where nothing fits or it has to be asked.
    candidates : tuple of str
        Parts between which only a person can decide; empty where `part` is known.
    confidence : float
        0 to 1.
    why : str
        The spelling that decided, in words.
    number : str
        Which of several, such as "1" or "1-2"; "" without.
    side : str
        "L", "R" or "".
    group : str
        The family the name itself gives, such as "brass" in "BRASS_Cor"; "" without.
    """

    name: str
    part: str
    candidates: tuple[str, ...] = ()
    confidence: float = 0.0
    why: str = ""
    number: str = ""
    side: str = ""
    group: str = ""

    @property
    def unsided(self) -> str:
        """The name without its side: what a left and a right stem have in common."""
        if not self.side:
            return self.name
        base = without_ending(self.name)
        return without_side(base)[0] + self.name[len(base) :]


def without_ending(name: str) -> str:
    """A file name without the ending of an audio file."""
    base, dot, ending = name.rpartition(".")
    known = ending.lower() in ("wav", "flac", "aif", "aiff", "aifc", "rf64", "wave", "bwf")
    return base if dot and known else name


def without_side(base: str) -> tuple[str, str]:
    """A name without its .L or .R, and which of the two it was."""
    found = _SIDE.search(base)
    if not found:
        return base, ""
    return base[: found.start() - 1], found.group(0)
