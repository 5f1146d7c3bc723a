"""Sample peak and true peak, measured while a signal streams by.

Conventions: signals are (frames, channels) at +-1 full scale; dBFS and dBTP.

Source
------
ITU-R BS.1770-4, annex 2: the signal oversampled to at least 192 kHz.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property, lru_cache
from math import inf, log10

import numpy as np
from numpy.typing import NDArray

FINEST_RATE = 192_000
_CHUNK = 65_536
_TAPS = 24
"""Of every phase of the interpolating filter."""

_BEFORE = _TAPS // 2 - 1
_OVERLAP = 2 * _TAPS
_HALVINGS = 4
_GROUP = 2**_HALVINGS
_KAISER_BETA = 7.0
_SLACK = np.float32(1.0 + 1e-4)
_NOTHING = np.zeros(1, dtype=np.float32)


class PeakMeter:
    """Sample peak and true peak of a stream.

    Between two samples the signal is at most b (|x0| + |x1|) + c m, where b is the smaller of the
    filter's two middle taps, m the largest sample around and c what remains of the sum of all
    taps. Only gaps where this exceeds the peak so far are computed; that does not change the
    result. Before the first sample and after the last there is silence.

    Parameters
    ----------
    rate : int
        Samples per second.
    channels : int
    between : bool
        False leaves the true peak out.
    """

    def __init__(self, rate: int, channels: int = 2, between: bool = True):
        self._filter = _interpolation(max(1, -(-FINEST_RATE // rate)) if between else 1)
        self._tail = np.zeros((channels, _OVERLAP), dtype=np.float32)
        self._highest = 0.0
        self.sample_peak = 0.0

    def add(self, samples: NDArray[np.float32]) -> None:
        """Take in the next samples, shape (frames, channels)."""
        signal = np.concatenate([self._tail, samples.T], axis=1, dtype=np.float32)
        for first in range(0, len(samples), _CHUNK):
            self._take(signal[:, first : first + _CHUNK + _OVERLAP])
        self._tail = signal[:, signal.shape[1] - _OVERLAP :].copy()

    def _take(self, chunk: NDArray[np.float32]) -> None:
        if self._filter.factor == 1:
            highest = max(float(chunk.max(initial=0.0)), -float(chunk.min(initial=0.0)))
            self.sample_peak = self._highest = max(self._highest, highest)
            return
        courses = [_Course(row) for row in chunk]
        self.sample_peak = max(self.sample_peak, *(course.highest for course in courses))
        self._highest = max(self._highest, self.sample_peak)
        for course in courses:
            self._highest = self._between(course)

    def _between(self, course: _Course) -> float:
        """Peak between the samples of a course, or the peak so far where that is higher."""
        windows = course.windows(self._filter, self._highest).astype(np.float64)
        values = np.einsum("gt,pt->gp", windows, self._filter.phases)
        return float(np.abs(values).max(initial=self._highest))

    @property
    def true_peak(self) -> float:
        """Of all that was taken in; full scale is 1."""
        if self._filter.factor == 1:
            return self._highest
        ending = np.concatenate([self._tail, np.zeros_like(self._tail)], axis=1)
        return max(self._between(_Course(row)) for row in ending)

    @property
    def sample_peak_db(self) -> float:
        """dBFS."""
        return decibels(self.sample_peak)

    @property
    def true_peak_db(self) -> float:
        """dBTP."""
        return decibels(self.true_peak)


@dataclass(frozen=True, eq=False)
class _Interpolation:
    """An interpolating filter.

    Parameters
    ----------
    factor : int
        How many times finer.
    phases : ndarray, shape (factor - 1, 24)
        What the samples around a gap give at each place within it.
    """

    factor: int
    phases: NDArray[np.float64]

    @cached_property
    def bounds(self) -> tuple[tuple[np.float32, np.float32], ...]:
        """b and c of each phase once, rounded up."""
        size = np.abs(self.phases)
        smaller = size[:, _BEFORE : _BEFORE + 2].min(axis=1)
        rows = np.stack([smaller, size.sum(axis=1) - 2.0 * smaller], axis=1)
        up = np.ceil(rows * 1e6) / 1e6
        return tuple(dict.fromkeys((np.float32(b), np.float32(c)) for b, c in up.tolist()))


class _Course:
    """One channel's samples with the largest magnitude of every 16 of them.

    Parameters
    ----------
    row : ndarray, shape (samples,)
    """

    def __init__(self, row: NDArray[np.float32]):
        groups = -(-len(row) // _GROUP)
        self._row = row
        self._size = np.zeros((groups + 1) * _GROUP, dtype=np.float32)
        np.abs(row, out=self._size[: len(row)])
        self._largest = _largest_of_16(self._size)[:groups]

    @property
    def highest(self) -> float:
        """The largest magnitude of all."""
        return float(self._largest.max(initial=0.0))

    def windows(self, interpolation: _Interpolation, highest: float) -> NDArray[np.float32]:
        """Samples around each gap between two that may exceed `highest`, shape (gaps, 24).

        Gaps that are too close to an end for all their surroundings to be there are left out.
        """
        edged = np.concatenate([_NOTHING, self._largest, _NOTHING])
        around = np.maximum(np.maximum(edged[:-2], edged[2:]), self._largest) * _SLACK
        limits = [(np.float32(highest) - c * around) / b for b, c in interpolation.bounds]
        limit = np.minimum.reduce(limits) / _SLACK
        groups = np.flatnonzero(limit < 2.0 * around)
        if len(groups) == 0:
            return np.zeros((0, _TAPS), dtype=np.float32)
        pairs = self._size[:-_GROUP] + self._size[1 : 1 - _GROUP]
        loud = pairs.reshape(-1, _GROUP).take(groups, axis=0) > limit.take(groups)[:, None]
        group, place = np.divmod(np.flatnonzero(loud), _GROUP)
        first = groups[group] * _GROUP + place - _BEFORE
        every = np.lib.stride_tricks.sliding_window_view(self._row, _TAPS)
        return np.asarray(every[first[(first >= 0) & (first < len(every))]])


def _largest_of_16(size: NDArray[np.float32]) -> NDArray[np.float32]:
    """Largest of every 16 magnitudes, by halving: many times as fast as over short rows.

    As integers, which order magnitudes alike and are compared twice as fast at every second place.
    """
    largest = size.view(np.int32)
    for _ in range(_HALVINGS):
        largest = np.maximum(largest[0::2], largest[1::2])
    return largest.view(np.float32)


@lru_cache(maxsize=8)
def _interpolation(factor: int) -> _Interpolation:
    if factor == 1:
        return _Interpolation(1, np.zeros((0, _TAPS)))
    place = np.arange(-_TAPS * factor // 2, _TAPS * factor // 2 + 1) / factor
    taps = np.sinc(place) * np.kaiser(len(place), _KAISER_BETA)
    taps *= factor / taps.sum()
    phases = np.stack([taps[phase:-1:factor][::-1] for phase in range(1, factor)])
    return _Interpolation(factor, phases)


def decibels(amplitude: float) -> float:
    """20 log10, -inf for 0."""
    return 20.0 * log10(amplitude) if amplitude > 0.0 else -inf
