"""How loud: K-weighting and integrated loudness, measured while a signal streams by.

Conventions: signals are (frames, channels) at +-1 full scale; LUFS.

Source
------
ITU-R BS.1770-4, annex 1 (K-weighting, gating); EBU Tech 3341; EBU Tech 3342 (loudness range).
"""

from __future__ import annotations

from functools import lru_cache
from math import inf, log10, nan, pi, tan
from typing import Any

import numpy as np
import scipy.fft
from numpy.typing import NDArray

ABSOLUTE_GATE = -70.0
RELATIVE_GATE = -10.0
RANGE_GATE = -20.0
_OFFSET = -0.691
_STEP_SECONDS = 0.1
_STEPS_PER_BLOCK = 4
_STEPS_PER_RANGE_BLOCK = 30
_RANGE_PERCENT = (10.0, 95.0)
_LEAST_ENERGY = 1e-15
_RING_SECONDS = 0.08
_LENGTH_IN_RINGS = 4
_ROWS = 4


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


def k_weighted_response(frequency: NDArray[np.float64], rate: int) -> NDArray[np.complex128]:
    """Response of K-weighting at frequencies in Hz, shape of `frequency`."""
    back = np.exp(-2j * pi * frequency / rate)
    response = np.ones_like(back)
    for b0, b1, b2, a0, a1, a2 in k_weighting(rate):
        response *= (b0 + back * (b1 + back * b2)) / (a0 + back * (a1 + back * a2))
    return np.asarray(response)


def k_weighted_power(frequency: NDArray[np.float64], rate: int) -> NDArray[np.float64]:
    """Power gain of K-weighting at frequencies in Hz, shape of `frequency`."""
    return np.asarray(np.abs(k_weighted_response(frequency, rate)) ** 2)


class LoudnessMeter:
    """Integrated loudness of a stereo or mono stream.

    The filters run by overlap-save: they have rung down by 100 dB after 80 ms. Left and right are
    the two parts of one complex signal, whose power is the sum of theirs; mono is a real one.

    Parameters
    ----------
    rate : int
        Samples per second.
    channels : int
        1 or 2; each counts with weight 1.
    """

    def __init__(self, rate: int, channels: int = 2):
        self._rate = rate
        self._channels = channels
        self._step = round(rate * _STEP_SECONDS)
        self._ring = round(rate * _RING_SECONDS)
        self._length = scipy.fft.next_fast_len(_LENGTH_IN_RINGS * self._ring)
        self._kind = np.complex64 if channels == 2 else np.float32
        self._waiting: NDArray[Any] = np.zeros(self._ring, dtype=self._kind)
        self._rest = np.zeros(0)
        self._energies: list[NDArray[np.float64]] = []

    def add(self, samples: NDArray[np.float32]) -> None:
        """Take in the next samples, shape (frames, channels); any cut gives the same result."""
        signal = samples[:, 0] + 1j * samples[:, 1] if self._channels == 2 else samples[:, 0]
        self._waiting = np.concatenate([self._waiting, signal], dtype=self._kind)
        hop = self._length - self._ring
        rows = (len(self._waiting) - self._ring) // hop
        rows -= rows % _ROWS
        if rows == 0:
            return
        power = self._powers(self._waiting[: rows * hop + self._ring])
        self._waiting = self._waiting[rows * hop :].copy()
        energies, self._rest = self._stepped(power)
        self._energies.append(energies)

    def _powers(self, signal: NDArray[Any]) -> NDArray[np.float32]:
        """Power of the weighted signal from its first ring on; whole hops long."""
        hop = self._length - self._ring
        rows = np.lib.stride_tricks.sliding_window_view(signal, self._length)[::hop]
        if self._channels == 1:
            halves = scipy.fft.rfft(rows, axis=1)
            halves *= _weights(self._rate, self._length)[: self._length // 2 + 1]
            mono = scipy.fft.irfft(halves, self._length, axis=1, overwrite_x=True)
            return np.asarray(np.square(mono[:, self._ring :])).reshape(-1)
        spectra = scipy.fft.fft(rows, axis=1)
        spectra *= _weights(self._rate, self._length)
        weighted = scipy.fft.ifft(spectra, axis=1, overwrite_x=True)[:, self._ring :]
        return np.asarray(np.square(weighted.real) + np.square(weighted.imag)).reshape(-1)

    def _ending(self) -> NDArray[np.float64]:
        """Energies of the steps that still wait, as far as they are whole."""
        left = len(self._waiting) - self._ring
        if left == 0:
            return np.zeros(0)
        hop = self._length - self._ring
        padding = np.zeros(-left % hop, dtype=self._kind)
        power = self._powers(np.concatenate([self._waiting, padding]))[:left]
        return self._stepped(power)[0]

    def _stepped(
        self, power: NDArray[np.float32]
    ) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
        """Energy of each whole step of what came before and this, and the powers that are left."""
        joined = np.concatenate([self._rest, power])
        whole = len(joined) // self._step * self._step
        return joined[:whole].reshape(-1, self._step).sum(axis=1), joined[whole:]

    @property
    def integrated(self) -> float:
        """LUFS of all that was taken in; -inf for silence and for less than 400 ms."""
        blocks = self._blocks(_STEPS_PER_BLOCK)
        return _gated(blocks) if len(blocks) else -inf

    @property
    def range(self) -> float:
        """Loudness range in LU: 10th to 95th percentile of gated stretches of 3 s; nan for less."""
        blocks = self._blocks(_STEPS_PER_RANGE_BLOCK)
        levels = _OFFSET + 10.0 * np.log10(np.maximum(blocks, _LEAST_ENERGY))
        loud = blocks[levels > ABSOLUTE_GATE]
        if len(loud) == 0:
            return nan
        gate = _OFFSET + 10.0 * log10(float(loud.mean())) + RANGE_GATE
        low, high = np.percentile(levels[levels > max(gate, ABSOLUTE_GATE)], _RANGE_PERCENT)
        return float(high - low)

    def _blocks(self, steps: int) -> NDArray[np.float64]:
        """Mean power of every run of so many steps; none where there are fewer."""
        energies = np.concatenate([*self._energies, self._ending()])
        if len(energies) < steps:
            return np.zeros(0)
        sums = np.convolve(energies, np.ones(steps), "valid")
        return np.asarray(np.maximum(sums / (steps * self._step), 0.0))


@lru_cache(maxsize=8)
def _weights(rate: int, length: int) -> NDArray[np.complex64]:
    frequency = np.asarray(np.fft.fftfreq(length, 1.0 / rate), dtype=np.float64)
    weights = k_weighted_response(frequency, rate).astype(np.complex64)
    weights.setflags(write=False)
    return weights


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
