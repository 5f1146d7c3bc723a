"""The part of a stem that its room is estimated from: as much as needed, not all of a long one."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from seatwright.sound.band_envelopes import EnvelopeMeter, Envelopes

SILENCE_DBFS = -70.0
"""What stays below is silence: the absolute gate of ITU-R BS.1770-4."""

ROOM_SECONDS = 75
"""Of sound, from which the room of a longer stem is estimated."""

_SILENCE = np.float32(10.0 ** (SILENCE_DBFS / 20.0))

Block = NDArray[np.float32]


class RoomPart:
    """Envelopes of the first 75 s that sound, second by second; silent seconds are passed over.

    A silent second is kept after one that sounds, as its decay may end there.

    Parameters
    ----------
    rate : int
        Samples per second.
    channels : int
    """

    def __init__(self, rate: int, channels: int):
        self._meter = EnvelopeMeter(rate, channels)
        self._second = rate
        self._rest: list[Block] = []
        self._waiting, self._taken, self._sounded = 0, 0, False

    def add(self, block: Block) -> None:
        """Take in the next samples, shape (frames, channels); any cut gives the same result."""
        if self.full:
            return
        self._rest.append(block)
        self._waiting += len(block)
        if self._waiting < self._second:
            return
        joined = np.concatenate(self._rest)
        whole = len(joined) // self._second * self._second
        for first in range(0, whole, self._second):
            self._take(joined[first : first + self._second])
        self._rest, self._waiting = [joined[whole:].copy()], len(joined) - whole

    @property
    def full(self) -> bool:
        """Enough was heard: what follows is passed over."""
        return self._taken >= ROOM_SECONDS

    def _take(self, second: Block) -> None:
        if self.full:
            return
        sounds = bool(np.abs(second).max(initial=0.0) >= _SILENCE)
        if sounds or self._sounded:
            self._meter.add(second)
        self._taken += sounds
        self._sounded = sounds

    @property
    def envelopes(self) -> Envelopes:
        """Of the part that was heard; nothing can be added after."""
        if self.full:
            return self._meter.cut_envelopes
        for rest in self._rest:
            self._meter.add(rest)
        self._rest = []
        return self._meter.envelopes
