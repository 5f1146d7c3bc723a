"""Clipping: samples in a row that stay at a stem's own highest value, close to full scale."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

LEAST_RUN = 3
"""Equal samples in a row that a clipped crest is told by."""

NEAR_FULL_SCALE = 10.0 ** (-1.0 / 20.0)
"""Amplitude below which a flat crest is not taken for clipping: -1 dBFS."""


class ClipMeter:
    """Counts clipped crests of a stream.

    The highest values of both signs are looked at apart, since integers reach further down than
    up; a crest counts while nothing higher is met.

    Parameters
    ----------
    channels : int
    """

    def __init__(self, channels: int):
        self._sides = [(_Crests(1.0), _Crests(-1.0)) for _ in range(channels)]

    def add(self, samples: NDArray[np.float32]) -> None:
        """Take in the next samples, shape (frames, channels); any cut gives the same result."""
        if len(samples) == 0:
            return
        for (upper, lower), channel in zip(self._sides, samples.T, strict=True):
            upper.add(channel, float(channel.max()))
            lower.add(channel, float(channel.min()))

    @property
    def runs(self) -> int:
        """Clipped crests of all channels."""
        return len(self._lengths)

    @property
    def samples(self) -> int:
        """Samples in them."""
        return sum(self._lengths)

    @property
    def _lengths(self) -> list[int]:
        return [length for pair in self._sides for side in pair for length in side.lengths]


class _Crests:
    """Runs at the furthest value of one sign in one channel."""

    def __init__(self, sign: float) -> None:
        self._sign = sign
        self._limit = 0.0
        self._closed: list[int] = []
        self._open = 0

    def add(self, channel: NDArray[np.float32], furthest: float) -> None:
        if self._sign * furthest < max(NEAR_FULL_SCALE, self._sign * self._limit):
            self._close()
            return
        if furthest != self._limit:
            self._limit, self._closed, self._open = furthest, [], 0
        at_limit = np.flatnonzero(channel == np.float32(furthest))
        if at_limit[0] > 0:
            self._close()
        gaps = np.flatnonzero(np.diff(at_limit) > 1)
        firsts = at_limit[np.concatenate([[0], gaps + 1])]
        lasts = at_limit[np.concatenate([gaps, [len(at_limit) - 1]])]
        lengths = (lasts - firsts + 1).tolist()
        lengths[0] += self._open
        self._open = 0
        if lasts[-1] == len(channel) - 1:
            self._open = lengths.pop()
        self._closed += [length for length in lengths if length >= LEAST_RUN]

    def _close(self) -> None:
        if self._open >= LEAST_RUN:
            self._closed.append(self._open)
        self._open = 0

    @property
    def lengths(self) -> list[int]:
        """Of all runs, the open one as well."""
        return [*self._closed, *([self._open] if self._open >= LEAST_RUN else [])]
