"""Energy figures of a response: D50, centre time, strength, and the energy of its octaves.

Conventions: a response is (frames,) or (channels, frames), channels count by their energy; `start`
is the sample of the direct sound, found in the response where it is not given; what lies before it
belongs to the direct sound (kernels and filters are symmetric). Parts of a response are cut out
first and filtered afterwards, so that no filter carries energy over a limit. Figures are for
rendering, not for the design of rooms.

Source
------
ISO 3382-1:2009, annex A (A.2 strength, A.3 early-to-late energy and centre time; windows before
filters, from memory).
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from math import nan

import numpy as np
import scipy.fft
from numpy.typing import NDArray

from seatwright.acoustics.band_weights import octave_weight, transform_frequencies
from seatwright.acoustics.measures import Signal, energy, first_arrival, ratio_db

REFERENCE_METRES = 10.0
"""Strength is told against the free field of the same source at this distance."""

_RING_SECONDS = 0.2
"""Kept on both sides of a response for what octave filters ring."""


def definition(
    response: Signal, rate: float, start: int | None = None, early_seconds: float = 0.05
) -> float:
    """Early part of the whole energy, D50 by default; 0 to 1, nan for silence."""
    limit = _limit(response, rate, start, early_seconds)
    whole = energy(response)
    return energy(response[..., :limit]) / whole if whole > 0.0 else nan


def centre_time(response: Signal, rate: float, start: int | None = None) -> float:
    """Centre of gravity of the energy in seconds after the direct sound, Ts; nan for silence."""
    power = np.asarray(response, dtype=np.float64) ** 2
    if power.ndim > 1:
        power = power.sum(axis=0)
    begin = first_arrival(response) if start is None else start
    whole = float(power.sum())
    time = (np.arange(len(power)) - begin) / rate
    return float(power @ time) / whole if whole > 0.0 else nan


def strength(heard: float, pulse: float) -> float:
    """Level in dB relative to the free field of the same source at 10 m: G.

    Parameters
    ----------
    heard : float
        Energy at an omnidirectional microphone of a source that gives 1 at 1 m.
    pulse : float
        Energy of a unit pulse in the same octave: 1 at 1 m, hence a hundredth at 10 m. The air's
        loss on these 10 m is left out, as where G is taken from sound power (Lp - Lw + 31 dB).

    Returns
    -------
    float
        -inf for silence.
    """
    return ratio_db(heard, pulse / REFERENCE_METRES**2)


def _limit(response: Signal, rate: float, start: int | None, seconds: float) -> int:
    begin = first_arrival(response) if start is None else start
    return begin + round(seconds * rate)


@lru_cache(maxsize=64)
def _octave_powers(rate: int, length: int, bands: tuple[int, ...]) -> NDArray[np.float64]:
    """What each bin of a real transform adds to the energy of each octave, (bands, bins)."""
    frequency = transform_frequencies(length, rate)
    powers = np.stack([octave_weight(frequency, band) ** 2 for band in bands])
    powers *= 2.0 / length  # each bin stands for its negative frequency too; octaves end below
    powers.setflags(write=False)
    return powers


def octave_energies(responses: Signal, rate: int, bands: tuple[int, ...]) -> NDArray[np.float64]:
    """Energy of responses in octave bands.

    Parameters
    ----------
    responses : ndarray, shape (rows, frames)
    rate : int
        Samples per second.
    bands : tuple of int
        Indices into `OCTAVE_BANDS`, each octave's middle below half the rate.

    Returns
    -------
    ndarray, shape (rows, len(bands))
    """
    padded = responses.shape[1] + int(_RING_SECONDS * rate)
    length = int(scipy.fft.next_fast_len(padded, real=True))
    spectra = scipy.fft.rfft(responses, length, axis=1)
    power = np.square(spectra.real, dtype=np.float64) + np.square(spectra.imag, dtype=np.float64)
    # einsum rather than BLAS, whose own threads would be in the way
    return np.asarray(np.einsum("rf,bf->rb", power, _octave_powers(rate, length, bands)))


@lru_cache(maxsize=64)
def pulse_energies(rate: int, bands: tuple[int, ...]) -> NDArray[np.float64]:
    """Energy of a unit pulse in octave bands, shape (len(bands),)."""
    energies = np.asarray(octave_energies(np.eye(1, rate), rate, bands)[0])
    energies.setflags(write=False)
    return energies


@dataclass(frozen=True)
class Octave:
    """One octave of a response at the rate it needs, without phase shift and of the same energy.

    Parameters
    ----------
    signal : ndarray, shape (frames,)
    rate : float
        Samples per second, at least 2.5 times the octave's upper edge.
    start : int
        Sample of the direct sound; before it stands only what the filter rings.
    """

    signal: NDArray[np.float64]
    rate: float
    start: int


def octaves_of(
    response: Signal, rate: int, start: int, bands: tuple[int, ...]
) -> tuple[Octave, ...]:
    """Split a response into octaves.

    Parameters
    ----------
    response : ndarray, shape (frames,)
    rate : int
        Samples per second.
    start : int
        Sample of the direct sound.
    bands : tuple of int
        Indices into `OCTAVE_BANDS`.

    Returns
    -------
    tuple of Octave, shape (len(bands),)
    """
    lead = int(_RING_SECONDS * rate)
    length = int(scipy.fft.next_fast_len(len(response) + 2 * lead, real=True))
    padded = np.zeros(length)
    padded[lead : lead + len(response)] = response
    spectrum = scipy.fft.rfft(padded)
    return tuple(_octave(spectrum, length, rate, lead + start, band) for band in bands)


@lru_cache(maxsize=64)
def _octave_weights(rate: int, length: int, band: int) -> NDArray[np.float64]:
    """An octave filter at the bins of a real transform, up to the last that it lets through."""
    weight = octave_weight(transform_frequencies(length, rate), band)
    kept = weight[: int(np.flatnonzero(weight)[-1]) + 1].copy()
    kept.setflags(write=False)
    return kept


def _octave(
    spectrum: NDArray[np.complex128], length: int, rate: int, start: int, band: int
) -> Octave:
    weight = _octave_weights(rate, length, band)
    stop = len(weight)
    short = int(scipy.fft.next_fast_len(5 * stop // 2, real=True))
    kept = np.zeros(short // 2 + 1, dtype=complex)
    kept[:stop] = spectrum[:stop] * weight
    signal = scipy.fft.irfft(kept, short) * (short / length) ** 0.5
    return Octave(np.asarray(signal), rate * short / length, round(start * short / length))
