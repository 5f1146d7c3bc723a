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
_CHUNK = 16_384
_TAPS = 24
"""Of every phase of the interpolating filter."""

_BEFORE = _TAPS // 2 - 1
_OVERLAP = 2 * _TAPS
_KAISER_BETA = 7.0
_SLACK = np.float32(1.0 + 1e-4)


class PeakMeter:
    """Sample peak and true peak of a stream.

    Between two samples the signal is at most a |x0| + b |x1| + r sqrt(E), with a and b the
    filter's two middle taps, r the norm of the others and E the energy of the samples they reach
    (Cauchy and Schwarz). Only gaps where this exceeds the peak so far are computed; that does not
    change the result. Before the first sample and after the last there is silence.

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
        highest, lowest = float(chunk.max(initial=0.0)), float(chunk.min(initial=0.0))
        self.sample_peak = max(self.sample_peak, highest, -lowest)
        self._highest = max(self._highest, self.sample_peak)
        self._highest = max(self._highest, self._between(chunk))

    def _between(self, chunk: NDArray[np.float32]) -> float:
        """Peak between the samples of a chunk; 0 where it cannot exceed the peak so far."""
        if self._filter.factor == 1:
            return 0.0
        return max(self._between_in(row) for row in chunk)

    def _between_in(self, row: NDArray[np.float32]) -> float:
        candidates = np.flatnonzero(self._filter.bound(row) > self._highest)
        if len(candidates) == 0:
            return 0.0
        windows = row[candidates[:, None] + np.arange(_TAPS)].astype(np.float64)
        return float(np.abs(np.einsum("gt,pt->gp", windows, self._filter.phases)).max())

    @property
    def true_peak(self) -> float:
        """Of all that was taken in; full scale is 1."""
        ending = np.concatenate([self._tail, np.zeros_like(self._tail)], axis=1)
        return max(self._highest, self._between(ending))

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

    def bound(self, row: NDArray[np.float32]) -> NDArray[np.float32]:
        """What no place between two samples exceeds, for every gap with whole surroundings."""
        size = np.abs(row)
        here, there = size[_BEFORE : -_BEFORE - 1], size[_BEFORE + 1 : -_BEFORE]
        larger, smaller = np.maximum(here, there), np.minimum(here, there)
        around = _moving_energy(row)
        np.sqrt(around, out=around)
        highest, part = np.zeros_like(larger), np.empty_like(larger)
        for a, b, rest in self.worst_of_phases:
            bound = larger * (a * _SLACK)
            bound += np.multiply(smaller, b * _SLACK, out=part)
            bound += np.multiply(around, rest * _SLACK, out=part)
            np.maximum(highest, bound, out=highest)
        return highest

    @cached_property
    def worst_of_phases(self) -> tuple[tuple[np.float32, ...], ...]:
        """Larger and smaller middle tap and norm of the others, rounded up, of each phase once."""
        middle = np.abs(self.phases[:, _BEFORE : _BEFORE + 2])
        others = np.delete(self.phases, [_BEFORE, _BEFORE + 1], axis=1)
        rows = zip(middle.max(axis=1), middle.min(axis=1), np.linalg.norm(others, axis=1),
                   strict=True)  # fmt: skip
        up = [tuple(np.float32(np.ceil(value * 1e6) / 1e6) for value in row) for row in rows]
        return tuple(dict.fromkeys(up))


def _moving_energy(row: NDArray[np.float32]) -> NDArray[np.float32]:
    """Energy of every 24 samples in a row, by doubling, shape (len(row) - 23,)."""
    two = row * row
    two = two[:-1] + two[1:]
    four = two[:-2] + two[2:]
    eight = four[:-4] + four[4:]
    return np.asarray(eight[:-16] + eight[8:-8] + eight[16:])


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
