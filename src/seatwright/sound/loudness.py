"""How loud: K-weighting and integrated loudness, measured while a signal streams by.

Conventions: signals are (frames, channels) at +-1 full scale; LUFS.

Source
------
ITU-R BS.1770-4, annex 1 (K-weighting, gating); EBU Tech 3341; EBU Tech 3342 (loudness range).
"""

from __future__ import annotations

from copy import copy
from functools import lru_cache
from math import inf, log10, nan, pi, tan

import numpy as np
from numpy.typing import NDArray

from seatwright.sound.section_filter import UNIT, SectionFilter

ABSOLUTE_GATE = -70.0
RELATIVE_GATE = -10.0
RANGE_GATE = -20.0
_OFFSET = -0.691
_STEP_SECONDS = 0.1
_STEPS_PER_BLOCK = 4
_STEPS_PER_RANGE_BLOCK = 30
_RANGE_PERCENT = (10.0, 95.0)
_LEAST_ENERGY = 1e-15


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

    Parameters
    ----------
    rate : int
        Samples per second.
    channels : int
        1 or 2; each counts with weight 1.
    """

    def __init__(self, rate: int, channels: int = 2):
        self._step = round(rate * _STEP_SECONDS)
        self._filter = SectionFilter(k_weighting(rate), channels)
        self._waiting = np.zeros((channels, 0), dtype=np.float32)
        self._rest = np.zeros((channels, 0), dtype=np.float32)
        self._energies: list[NDArray[np.float64]] = []

    def add(self, samples: NDArray[np.float32]) -> None:
        """Take in the next samples, shape (frames, channels); any cut gives the same result."""
        signal = np.concatenate([self._waiting, samples.T], axis=1, dtype=np.float32)
        whole = signal.shape[1] // UNIT * UNIT
        if whole:
            energies, self._rest = self._stepped(self._filter, signal[:, :whole])
            self._energies.append(energies)
        self._waiting = signal[:, whole:].copy()

    def _ending(self) -> NDArray[np.float64]:
        """Energies of the steps that still wait, as far as they are whole."""
        padding = ((0, 0), (0, UNIT - self._waiting.shape[1]))
        signal, ending = np.pad(self._waiting, padding), copy(self._filter)
        return self._stepped(ending, signal, self._waiting.shape[1])[0]

    def _stepped(
        self, weighting: SectionFilter, signal: NDArray[np.float32], frames: int | None = None
    ) -> tuple[NDArray[np.float64], NDArray[np.float32]]:
        """Energy of each whole step of the weighted rest and the first frames, and what is left."""
        kept = self._rest.shape[1]
        weighted = np.empty((len(signal), kept + signal.shape[1]), dtype=np.float32)
        weighted[:, :kept] = self._rest
        weighting.filtered(signal, weighted[:, kept:])
        last = weighted.shape[1] if frames is None else kept + frames
        whole = last // self._step * self._step
        steps = weighted[:, :whole].reshape(len(weighted), -1, self._step)
        energies = np.einsum("csf,csf->cs", steps, steps).sum(axis=0, dtype=np.float64)
        return energies, weighted[:, whole:last].copy()

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
