"""Measured responses of ears taken apart into a delay and a filter, at any rate.

Filters that begin together can be mixed without combs; their delays are interpolated apart. A
common equalisation makes a diffuse field sound on headphones as it was: without colour.

Sources
-------
J. Nam, J. Abel, J. O. Smith, "A method for estimating interaural time difference for binaural
synthesis", AES 125 (2008): the delay is where a response is most like its minimum-phase form.
H. Moller, "Fundamentals of binaural technology", Applied Acoustics 36 (1992) 171-218:
diffuse-field equalisation. B. Xie, "On the low frequency characteristics of head-related transfer
function", Chinese J. Acoustics 28 (2009) 116-128: what small loudspeakers cannot measure, below
some 200 Hz, is a flat level and an even delay.
"""

from __future__ import annotations

from math import pi
from typing import Any

import numpy as np
import scipy.fft
from numpy.typing import NDArray

Spectra = NDArray[np.complex128]

_HIGHEST_SHARE = 0.42
_DEEPEST_DB = 24.0
_EXTENDED = (150.0, 250.0)
_PHASE_FROM = (220.0, 500.0)


def response_delays(responses: NDArray[np.float64]) -> NDArray[np.float64]:
    """Where each response is most like its own minimum-phase form.

    Parameters
    ----------
    responses : ndarray, shape (n, taps)

    Returns
    -------
    ndarray, shape (n,)
        Samples, between samples by a parabola through the three highest values.
    """
    length = int(scipy.fft.next_fast_len(4 * responses.shape[1], real=True))
    spectra = scipy.fft.rfft(responses, length, axis=1)
    least = minimum_phase(np.abs(spectra), length)
    alike = scipy.fft.irfft(spectra * np.conj(least), length, axis=1)[:, : responses.shape[1]]
    top = np.clip(np.argmax(alike, axis=1), 1, alike.shape[1] - 2)
    rows = np.arange(len(alike))
    before, at, after = (alike[rows, top + step] for step in (-1, 0, 1))
    bend = before - 2.0 * at + after
    return np.asarray(top + 0.5 * (before - after) / np.where(bend == 0.0, 1.0, bend))


def onsets(responses: NDArray[np.float64], depth_db: float = 20.0) -> NDArray[np.float64]:
    """First sample of each response within `depth_db` of its peak, shape (n,), between samples."""
    size = np.abs(responses)
    limit = size.max(axis=1) * 10.0 ** (-depth_db / 20.0)
    first = np.argmax(size >= limit[:, None], axis=1)
    rows = np.arange(len(size))
    at, before = size[rows, first], size[rows, np.maximum(first - 1, 0)]
    part = np.where(first > 0, (at - limit) / np.maximum(at - before, 1e-30), 0.0)
    return np.asarray(first - part)


def minimum_phase(magnitude: NDArray[np.float64], length: int) -> Spectra:
    """Spectra of given magnitude that begin as early as they can.

    Parameters
    ----------
    magnitude : ndarray, shape (.., length // 2 + 1)
    length : int
        Of the real transform; its cepstrum must fit.
    """
    floor = 1e-5 * magnitude.max(axis=-1, keepdims=True) + 1e-30
    cepstrum = scipy.fft.irfft(np.log(np.maximum(magnitude, floor)), length, axis=-1)
    fold = np.zeros(length)
    fold[0] = 1.0
    fold[1 : (length + 1) // 2] = 2.0
    if length % 2 == 0:
        fold[length // 2] = 1.0
    return np.asarray(np.exp(scipy.fft.rfft(cepstrum * fold, axis=-1)))


def response_spectra(
    responses: NDArray[np.floating[Any]], rate: int, frequency: NDArray[np.float64]
) -> Spectra:
    """Spectra of responses at any frequencies.

    Parameters
    ----------
    responses : ndarray, shape (n, taps)
    rate : int
        Samples per second of the responses.
    frequency : ndarray, shape (bins,)
        Hz; above half the rate of the responses there is nothing.

    Returns
    -------
    ndarray of complex, shape (n, bins)
    """
    turns = np.exp(-2j * pi * np.outer(np.arange(responses.shape[1]), frequency) / rate)
    return np.asarray(responses @ (turns * (frequency < 0.5 * rate)))


def equalisation(
    frequency: NDArray[np.float64], power: NDArray[np.float64], smoothing: float
) -> Spectra:
    """What makes the ears hear a diffuse field without colour.

    Parameters
    ----------
    frequency : ndarray, shape (bins,)
        Hz, evenly spaced from 0 to half the rate.
    power : ndarray, shape (bins,)
        Of what the ears hear in a diffuse field.
    smoothing : float
        Octaves.

    Returns
    -------
    ndarray of complex, shape (bins,)
        Minimum-phase; for both ears and all directions the same, so that no difference between
        ears or directions changes.
    """
    smooth = _smoothed(frequency, power, smoothing)
    middle = smooth[(frequency > 500.0) & (frequency < 4000.0)].mean()
    highest = int(np.searchsorted(frequency, _HIGHEST_SHARE * 2.0 * frequency[-1]))
    smooth[highest:] = smooth[highest]
    floor = middle * 10.0 ** (-_DEEPEST_DB / 10.0)
    return minimum_phase(np.maximum(smooth, floor) ** -0.5, 2 * (len(frequency) - 1))


def _smoothed(
    frequency: NDArray[np.float64], power: NDArray[np.float64], octaves: float
) -> NDArray[np.float64]:
    """Mean of the power over a share of an octave around each frequency."""
    total = np.concatenate([[0.0], np.cumsum(power)])
    half = 2.0 ** (octaves / 2.0)
    step = frequency[1]
    low = np.clip(np.round(frequency / half / step).astype(int), 0, len(power) - 1)
    high = np.clip(np.round(frequency * half / step).astype(int), 0, len(power) - 1) + 1
    return np.asarray((total[high] - total[low]) / (high - low))


def extended_down(spectra: Spectra, frequency: NDArray[np.float64]) -> Spectra:
    """Spectra with their lowest part replaced: an even delay, a level that goes to 1 at 0 Hz.

    Parameters
    ----------
    spectra : ndarray of complex, shape (n, bins)
        Equalised and free of their delay.
    frequency : ndarray, shape (bins,)
        Hz.

    Returns
    -------
    ndarray of complex, shape (n, bins)
        Unchanged from 250 Hz upwards; blended between 150 and 250 Hz.
    """
    low, high = _EXTENDED
    trusted = (frequency >= _PHASE_FROM[0]) & (frequency <= _PHASE_FROM[1])
    omega = frequency[trusted]
    phase = np.angle(spectra[:, trusted])
    late = (phase @ omega / (omega @ omega))[:, None]
    level = np.log(np.maximum(np.abs(spectra[:, trusted]).mean(axis=1), 1e-6))[:, None]
    rise = np.clip(frequency / omega.mean(), 0.0, 1.0) ** 2
    below = np.exp(level * rise + 1j * late * frequency)
    part = np.clip((frequency - low) / (high - low), 0.0, 1.0)
    return np.asarray(below * (1.0 - part) + spectra * part)
