"""How loud: K-weighting, integrated loudness and true peak, measured while a signal streams by.

Conventions: signals are (frames, channels) at +-1 full scale; LUFS and dBTP.

Source
------
ITU-R BS.1770-4, annex 1 (K-weighting, gating) and annex 2 (true peak); EBU Tech 3341.
"""

from __future__ import annotations

from functools import lru_cache
from math import inf, log10, pi, tan

import numpy as np
from numpy.typing import NDArray
from scipy.signal import firwin, sosfilt, sosfreqz, upfirdn

ABSOLUTE_GATE = -70.0
RELATIVE_GATE = -10.0
_OFFSET = -0.691
_STEP_SECONDS = 0.1
_STEPS_PER_BLOCK = 4
_LEAST_ENERGY = 1e-15
_PEAK_CHUNK = 4096
_PEAK_TAPS_PER_PHASE = 24


@lru_cache(maxsize=16)
def k_weighting(rate: int) -> NDArray[np.float64]:
    """The two filters of K-weighting as second-order sections.

    Parameters
    ----------
    rate : int
        Samples per second.

    Returns
    -------
    ndarray, shape (2, 6)
        At 48 kHz the coefficients printed in BS.1770; at other rates the same analogue filters
        by the bilinear transform.
    """
    shelf = _shelf(rate, 1681.974450955533, 3.999843853973347, 0.7071752369554196)
    cut = _high_pass(rate, 38.13547087602444, 0.5003270373238773)
    return np.array([shelf, cut])


def _shelf(rate: int, middle: float, gain_db: float, quality: float) -> list[float]:
    k = tan(pi * middle / rate)
    high = 10.0 ** (gain_db / 20.0)
    band = high**0.4996667741545416
    norm = 1.0 + k / quality + k * k
    return [
        (high + band * k / quality + k * k) / norm,
        2.0 * (k * k - high) / norm,
        (high - band * k / quality + k * k) / norm,
        1.0,
        2.0 * (k * k - 1.0) / norm,
        (1.0 - k / quality + k * k) / norm,
    ]


def _high_pass(rate: int, middle: float, quality: float) -> list[float]:
    k = tan(pi * middle / rate)
    norm = 1.0 + k / quality + k * k
    return [1.0, -2.0, 1.0, 1.0, 2.0 * (k * k - 1.0) / norm, (1.0 - k / quality + k * k) / norm]


def k_weighted_power(frequency: NDArray[np.float64], rate: int) -> NDArray[np.float64]:
    """Power gain of K-weighting at frequencies in Hz, shape of `frequency`."""
    _, response = sosfreqz(k_weighting(rate), worN=frequency, fs=rate)
    return np.asarray(np.abs(response) ** 2)


class LoudnessMeter:
    """Integrated loudness of a stereo or mono stream.

    Parameters
    ----------
    rate : int
        Samples per second.
    channels : int
        1 or 2; each counts with weight 1.
    """

    def __init__(self, rate: int, channels: int = 2):
        self._step = round(rate * _STEP_SECONDS)
        self._sections = k_weighting(rate)
        self._state = np.zeros((len(self._sections), channels, 2))
        self._rest = np.zeros(0)
        self._energies: list[NDArray[np.float64]] = []

    def add(self, samples: NDArray[np.float32]) -> None:
        """Take in the next samples, shape (frames, channels); any cut gives the same result."""
        if len(samples) == 0:
            return
        weighted, self._state = sosfilt(
            self._sections, samples.T.astype(np.float64), axis=1, zi=self._state
        )
        power = np.concatenate([self._rest, np.einsum("cf,cf->f", weighted, weighted)])
        whole = len(power) // self._step * self._step
        self._energies.append(power[:whole].reshape(-1, self._step).sum(axis=1))
        self._rest = power[whole:]

    @property
    def integrated(self) -> float:
        """LUFS of all that was taken in; -inf for silence and for less than 400 ms."""
        steps = np.concatenate([*self._energies, np.zeros(0)])
        if len(steps) < _STEPS_PER_BLOCK:
            return -inf
        window = np.ones(_STEPS_PER_BLOCK)
        blocks = np.convolve(steps, window, "valid") / (_STEPS_PER_BLOCK * self._step)
        return _gated(np.maximum(blocks, 0.0))


def _gated(blocks: NDArray[np.float64]) -> float:
    levels = _OFFSET + 10.0 * np.log10(np.maximum(blocks, _LEAST_ENERGY))
    loud = blocks[levels > ABSOLUTE_GATE]
    if len(loud) == 0:
        return -inf
    relative = _OFFSET + 10.0 * log10(float(loud.mean())) + RELATIVE_GATE
    kept = blocks[levels > max(relative, ABSOLUTE_GATE)]
    return _OFFSET + 10.0 * log10(float(kept.mean())) if len(kept) else -inf


def loudness(samples: NDArray[np.float32], rate: int) -> float:
    """Integrated loudness in LUFS of a whole signal, shape (frames, channels)."""
    meter = LoudnessMeter(rate, samples.shape[1])
    meter.add(samples)
    return meter.integrated


class PeakMeter:
    """Sample peak and true peak of a stream.

    The signal is oversampled to at least 192 kHz. A stretch whose samples are so low that not even
    the worst case between them could exceed the peak so far is left out; this does not change the
    result. Before the first sample and after the last there is silence.

    Parameters
    ----------
    rate : int
        Samples per second.
    channels : int
    """

    def __init__(self, rate: int, channels: int = 2):
        self._factor = max(1, int(np.ceil(192000 / rate)))
        self._filter, self._worst = _oversampling(self._factor)
        self._tail = np.zeros((channels, 2 * _PEAK_TAPS_PER_PHASE))
        self._highest = 0.0
        self.sample_peak = 0.0

    def add(self, samples: NDArray[np.float32]) -> None:
        """Take in the next samples, shape (frames, channels)."""
        signal = np.concatenate([self._tail, samples.T], axis=1)
        overlap = self._tail.shape[1]
        for first in range(0, len(samples), _PEAK_CHUNK):
            self._take(signal[:, first : first + _PEAK_CHUNK + overlap])
        self._tail = signal[:, signal.shape[1] - overlap :]

    def _take(self, chunk: NDArray[np.float64]) -> None:
        self.sample_peak = max(self.sample_peak, float(np.abs(chunk).max(initial=0.0)))
        self._highest = max(self._highest, self.sample_peak, self._between(chunk))

    def _between(self, chunk: NDArray[np.float64]) -> float:
        """Peak between the samples of a chunk; 0 where it cannot exceed the peak so far."""
        worst = float(np.abs(chunk).max(initial=0.0)) * self._worst
        if self._factor == 1 or worst <= self._highest:
            return 0.0
        fine = upfirdn(self._filter, chunk, up=self._factor, axis=1)
        valid = fine[:, len(self._filter) : chunk.shape[1] * self._factor]
        return float(np.abs(valid).max(initial=0.0))

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


@lru_cache(maxsize=8)
def _oversampling(factor: int) -> tuple[NDArray[np.float64], float]:
    """Interpolating filter and the largest sum of magnitudes of any of its phases."""
    if factor == 1:
        return np.ones(1), 1.0
    taps = _PEAK_TAPS_PER_PHASE * factor + 1
    coefficients = factor * firwin(taps, 1.0 / factor, window=("kaiser", 7.0))
    worst = max(float(np.abs(coefficients[phase::factor]).sum()) for phase in range(factor))
    return coefficients, worst


def decibels(amplitude: float) -> float:
    """20 log10, -inf for 0."""
    return 20.0 * log10(amplitude) if amplitude > 0.0 else -inf
