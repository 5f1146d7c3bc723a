"""Figures that one transform of a response gives: its K-weighted gain and its middle octaves.

Source
------
ITU-R BS.1770-4 (K-weighting); ISO 3382-1:2009, table A.1: single figures over 500 Hz and 1 kHz.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
import scipy.fft
from numpy.typing import NDArray

from seatwright.acoustics.band_weights import transform_frequencies
from seatwright.sound.loudness import k_weighted_power

_PINK_HERTZ = (40.0, 16000.0)
_MIDDLE_HERTZ = (353.6, 1414.2)
_RING_SECONDS = 0.05


@dataclass(frozen=True)
class MiddleOctaves:
    """A response in the octaves of 500 Hz and 1 kHz, at the low rate these need.

    Parameters
    ----------
    responses : ndarray, shape (sources, 2, frames)
    rate : float
        Samples per second, about 3600.
    """

    responses: NDArray[np.float32]
    rate: float


@dataclass(frozen=True)
class MiddleEnergies:
    """Energies in the middle octaves, which do not depend on the rate.

    Parameters
    ----------
    left, right : float
        Of the direct sound.
    rest : float
        Of everything after it, left and right.
    """

    left: float
    right: float
    rest: float


def spectral_figures(
    mix: NDArray[np.float32], direct: NDArray[np.float32], rate: int
) -> tuple[float, MiddleOctaves, MiddleEnergies]:
    """K-weighted gain, middle octaves and their energies of a seat's responses.

    Parameters
    ----------
    mix : ndarray, shape (sources, 2, frames)
        Their powers add up.
    direct : ndarray, shape (sources, 2, early frames)
        The direct sound that is in them.
    rate : int
        Samples per second.

    Returns
    -------
    power : float
        Mean of |H|^2 under K-weighting and a spectrum that falls by 3 dB an octave from 40 Hz to
        16 kHz, as music does on the whole: with white noise 10 kHz would decide.
    middle : MiddleOctaves
        Of the mix.
    energies : MiddleEnergies
    """
    frames = mix.shape[-1]
    length = scipy.fft.next_fast_len(frames + int(_RING_SECONDS * rate), real=True)
    rows = mix.reshape(-1, frames)
    spectra = scipy.fft.rfft(rows, length, axis=1)
    weights = _pink_k_weights(rate, length)
    power = sum(
        float(np.dot(np.square(row.real) + np.square(row.imag), weights)) for row in spectra
    )
    low, high = (int(np.ceil(edge * length / rate)) for edge in _MIDDLE_HERTZ)
    band = slice(low, min(high, length // 2 + 1))
    middle = _at_low_rate(spectra[:, band], band, length)
    kept = middle[:, : int(np.ceil(frames * middle.shape[1] / length))]
    shaped = np.ascontiguousarray(kept).reshape(*mix.shape[:-1], kept.shape[1])
    octaves = MiddleOctaves(shaped, rate * middle.shape[1] / length)
    return power, octaves, _energies(spectra[:, band], direct, band, length)


def _at_low_rate(spectra: NDArray[np.complex64], band: slice, length: int) -> NDArray[np.float32]:
    """The signal of some bins at the rate these need, of the same energy."""
    short = scipy.fft.next_fast_len(5 * band.stop // 2, real=True)
    padded = np.zeros((len(spectra), short // 2 + 1), dtype=np.complex64)
    padded[:, band] = spectra
    return np.asarray(scipy.fft.irfft(padded, short, axis=1) * np.float32((short / length) ** 0.5))


def _energies(
    spectra: NDArray[np.complex64], direct: NDArray[np.float32], band: slice, length: int
) -> MiddleEnergies:
    alone = scipy.fft.rfft(direct.reshape(-1, direct.shape[-1]), length, axis=1)[:, band]
    sides = [float(np.sum(np.abs(alone[side::2]) ** 2)) for side in range(2)]
    rest = float(np.sum(np.abs(spectra - alone) ** 2))
    left, right, rest = (2.0 / length * each for each in (*sides, rest))
    return MiddleEnergies(left, right, rest)


@lru_cache(maxsize=8)
def _pink_k_weights(rate: int, length: int) -> NDArray[np.float32]:
    frequency = transform_frequencies(length, rate)
    inside = (frequency >= _PINK_HERTZ[0]) & (frequency <= _PINK_HERTZ[1])
    weights = np.where(inside, k_weighted_power(frequency, rate) / np.maximum(frequency, 1.0), 0.0)
    shares = np.asarray(weights / weights.sum(), dtype=np.float32)
    shares.setflags(write=False)
    return shares
