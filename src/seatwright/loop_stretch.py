"""The stretch of a loop that the music is in, heard before the rest of a new sound is rendered."""

from __future__ import annotations

from dataclasses import dataclass
from time import time

from seatwright.seat_loops import Wanted
from seatwright.sound.loops import Loop

STRETCH_SECONDS = 1.0
"""Of a new loop, to be heard ahead of it."""


@dataclass(frozen=True)
class Playing:
    """Where in the loop the music is.

    Parameters
    ----------
    place : float
        Seconds into the loop that were played at some time.
    at : float
        That time, seconds since 1970 by this machine's clock.
    """

    place: float
    at: float

    def sample(self, rate: int, frames: int) -> int:
        """Sample of the loop that is played now."""
        return int((self.place + time() - self.at) * rate) % frames


@dataclass(frozen=True, eq=False)
class Beginning:
    """A stretch of a sound of which the rest is not rendered yet.

    Parameters
    ----------
    wanted : Wanted
        The seat that is changed.
    after : int
        Version of the sound it follows.
    first : int
        Sample of the loop at which it begins.
    stretch : ndarray of float32, shape (2, frames)
        With the trim.
    """

    wanted: Wanted
    after: int
    first: int
    stretch: Loop
