"""Colour: octave-band gains as filters without pre-echo, and as a smooth curve for noise.

Gains are interpolated over log amplitude from mid-band to mid-band. A single arrival takes them as
a minimum-phase filter, which begins with the arrival: without phase, the steps of 10 dB and more
between the octaves of a bell would ring before it. Minimum phase comes from the folded cepstrum.

Source
------
A. V. Oppenheim, R. W. Schafer, "Discrete-Time Signal Processing", cepstrum and minimum phase.
"""

from __future__ import annotations

from functools import lru_cache

import numpy as np
import scipy.fft
from numpy.typing import NDArray

from seatwright.acoustics.band_weights import amplitude_weights, transform_frequencies

FILTER_SECONDS = 0.0107
"""A filter's length: 512 samples at 48 kHz."""

_LAG_HERTZ = 8_000.0
"""Up to which delays are heard as directions."""

_FINENESS = 4
"""Transforms are this many filters long, so that the cepstrum does not come round."""


def filter_taps(rate: int) -> int:
    """Samples of a filter at a rate in Hz."""
    return int(scipy.fft.next_fast_len(max(32, round(FILTER_SECONDS * rate)), real=True))


def minimum_phase_filters(gains: NDArray[np.float64], rate: int) -> NDArray[np.float32]:
    """Filters with given gains at the mid-bands.

    Parameters
    ----------
    gains : ndarray, shape (filters, 9)
        Linear amplitudes above 0.
    rate : int
        Samples per second.

    Returns
    -------
    ndarray, shape (filters, taps)
        The first tap stands at no delay. All gains 1 give a unit impulse.
    """
    taps = filter_taps(rate)
    length = _FINENESS * taps
    logs, basis = np.log(gains).astype(np.float32), _basis(rate, length)
    size, phase = np.exp(logs @ basis[0]), logs @ basis[1]
    spectra = np.empty(size.shape, dtype=np.complex64)
    np.multiply(size, np.cos(phase), out=spectra.real)
    np.multiply(size, np.sin(phase), out=spectra.imag)
    filters = scipy.fft.irfft(spectra, n=length, axis=1)[:, :taps]
    last = taps // 4
    filters[:, -last:] *= np.cos(np.linspace(0.0, np.pi / 2, last)) ** 2
    return np.asarray(filters)


def minimum_phase_lags(gains: NDArray[np.float64], rate: int) -> NDArray[np.float64]:
    """By how much minimum-phase filters delay, up to 8 kHz or a sixth of the rate.

    Parameters
    ----------
    gains : ndarray, shape (filters, 9)
        As for `minimum_phase_filters`.
    rate : int
        Samples per second.

    Returns
    -------
    ndarray, shape (filters,)
        Samples: midway between the least and the most phase delay.
    """
    length = _FINENESS * filter_taps(rate)
    bins = slice(1, int(min(length / 6, _LAG_HERTZ * length / rate)) + 1)
    turn = 2.0 * np.pi * np.arange(length // 2 + 1)[bins] / length
    lags = -(np.log(gains) @ _basis(rate, length)[1][:, bins]) / turn
    return np.asarray(0.5 * (lags.min(axis=1) + lags.max(axis=1)))


@lru_cache(maxsize=32)
def smooth_curve(gains: tuple[float, ...], rate: int, length: int) -> NDArray[np.float32]:
    """Amplitudes at the bins of a real transform, shape (length // 2 + 1,), from gains (9,)."""
    weights = amplitude_weights(transform_frequencies(length, rate))
    return np.asarray(np.exp(np.log(gains) @ weights), dtype=np.float32)


@lru_cache(maxsize=8)
def _basis(rate: int, length: int) -> NDArray[np.float32]:
    """Log size and phase of minimum phase for each band's weight, shape (2, 9, bins)."""
    weights = amplitude_weights(transform_frequencies(length, rate))
    cepstrum = scipy.fft.irfft(weights, n=length, axis=1)
    cepstrum[:, 1 : length // 2] *= 2.0
    cepstrum[:, length // 2 + 1 :] = 0.0
    spectra = scipy.fft.rfft(cepstrum, axis=1)
    return np.stack([spectra.real, spectra.imag]).astype(np.float32)
