"""Spatial figures: early lateral energy fraction and interaural cross-correlation.

Figures are for rendering, not for the design of rooms.

Source
------
ISO 3382-1:2009, annex A.2.4 (J_LF: 5-80 ms of a figure-eight over 0-80 ms of an omni) and annex B
(IACC: largest of the normalised cross-correlation within 1 ms).
"""

from __future__ import annotations

from functools import lru_cache
from math import nan

import numpy as np
import scipy.fft
from numpy.typing import NDArray

from seatwright.acoustics.band_weights import octave_weight, transform_frequencies
from seatwright.acoustics.energy_measures import octave_energies
from seatwright.acoustics.measures import Signal

EARLY_SECONDS = 0.08
LATERAL_FROM = 0.005
"""Seconds after the direct sound from which lateral energy counts."""

_LONGEST_LAG = 1e-3
_LAG_STEP = 1.0 / 96_000.0


def lateral_fraction(
    omni: Signal, side: Signal, rate: int, start: int, bands: tuple[int, ...]
) -> NDArray[np.float64]:
    """Early lateral energy fraction J_LF in octave bands.

    Parameters
    ----------
    omni, side : ndarray, shape (frames,)
        An omni and a figure-eight at the same place, the latter's axis through a listener's ears
        and as sensitive on its axis as the omni.
    rate : int
        Samples per second.
    start : int
        Sample of the direct sound.
    bands : tuple of int
        Indices into `OCTAVE_BANDS`.

    Returns
    -------
    ndarray, shape (len(bands),)
        0 for a frontal wave, 1 for a lateral one (where it comes after 5 ms), 1/3 in a diffuse
        field; nan for silence.
    """
    first, last = (start + round(seconds * rate) for seconds in (LATERAL_FROM, EARLY_SECONDS))
    parts = np.zeros((2, last))
    parts[0, : min(last, len(omni))] = omni[:last]
    parts[1, first : min(last, len(side))] = side[first:last]
    whole, lateral = octave_energies(parts, rate, bands)
    unknown = np.full(len(bands), nan)
    return np.asarray(np.divide(lateral, whole, out=unknown, where=whole > 0.0))


def interaural_correlation(ears: Signal, rate: int, bands: tuple[int, ...]) -> NDArray[np.float64]:
    """Interaural cross-correlation coefficient IACC in octave bands.

    Parameters
    ----------
    ears : ndarray, shape (2, frames)
        The part of both responses that is compared: cut it out before.
    rate : int
        Samples per second.
    bands : tuple of int
        Indices into `OCTAVE_BANDS`.

    Returns
    -------
    ndarray, shape (len(bands),)
        1 for ears that hear the same but for a delay within 1 ms; nan where an ear hears nothing.
    """
    length = int(scipy.fft.next_fast_len(ears.shape[1] + int(0.1 * rate), real=True))
    left, right = scipy.fft.rfft(np.asarray(ears, dtype=np.float64), length, axis=1)
    cross = left * np.conj(right)
    powers = [np.abs(each) ** 2 for each in (left, right)]
    weights = _weights(rate, length, bands)
    found = []
    for first, weight in weights:
        band = slice(first, first + len(weight))
        scale = float(np.sqrt(np.prod([power[band] @ weight for power in powers])))
        largest = _largest(cross[band] * weight, first, rate, length)
        found.append(largest / scale if scale > 0.0 else nan)
    return np.array(found)


def _largest(cross: NDArray[np.complex128], first: int, rate: int, length: int) -> float:
    """Largest size of the cross-correlation of some bins over the lags within 1 ms.

    The lags are an arithmetic series, as are the bins: a chirp transform gives exactly these.
    """
    count = round(_LONGEST_LAG / _LAG_STEP)
    turn = 2.0 * np.pi * rate / length * _LAG_STEP
    size, chirp, kernel = _chirps(len(cross), count, turn)
    spectrum = scipy.fft.fft(cross * chirp, size, overwrite_x=True)
    values = scipy.fft.ifft(spectrum * kernel, overwrite_x=True)[: 2 * count + 1]
    lags = np.arange(-count, count + 1)
    return float(np.abs((values * np.exp(1j * turn * lags * (first + 0.5 * lags))).real).max())


@lru_cache(maxsize=64)
def _chirps(
    bins: int, count: int, turn: float
) -> tuple[int, NDArray[np.complex128], NDArray[np.complex128]]:
    """Length, chirp and transformed kernel of a chirp transform to the lags -count to count.

    Lag times bin is half of the two squares less half the square of their difference, so that the
    sum over bins is a convolution (Bluestein, 1970; from memory).
    """
    place, apart = np.arange(bins), np.arange(-count - bins + 1, count + 1)
    size = int(scipy.fft.next_fast_len(bins + len(apart)))
    kernel = np.zeros(size, dtype=complex)
    # a result at lag -count must stand at place 0 of the circle
    kernel[(apart + count) % size] = np.exp(-0.5j * turn * apart.astype(float) ** 2)
    chirp = np.exp(0.5j * turn * place.astype(float) ** 2)
    return size, chirp, scipy.fft.fft(kernel)


@lru_cache(maxsize=64)
def _weights(
    rate: int, length: int, bands: tuple[int, ...]
) -> tuple[tuple[int, NDArray[np.float64]], ...]:
    """First bin and squared weights of each octave's filter."""
    frequency = transform_frequencies(length, rate)
    kept = []
    for band in bands:
        weight = octave_weight(frequency, band) ** 2
        inside = np.flatnonzero(weight)
        kept.append((int(inside[0]), weight[inside[0] : inside[-1] + 1]))
    return tuple(kept)


def interaural_parts(
    ears: Signal, rate: int, start: int, bands: tuple[int, ...]
) -> tuple[NDArray[np.float64], NDArray[np.float64], NDArray[np.float64]]:
    """IACC of the early part (0-80 ms), the late part (from 80 ms on) and the whole.

    Parameters
    ----------
    ears : ndarray, shape (2, frames)
    rate, start, bands
        As in `lateral_fraction`.

    Returns
    -------
    tuple of ndarray, shape (3, len(bands))
        Their mean over 500 Hz to 2 kHz is IACC_E3, IACC_L3 and IACC_A3.
    """
    limit = start + round(EARLY_SECONDS * rate)
    early, late, whole = (
        interaural_correlation(part, rate, bands)
        for part in (ears[:, :limit], ears[:, limit:], ears)
    )
    return early, late, whole
