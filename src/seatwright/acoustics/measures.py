"""Figures of a response: decay times, clarity, direct-to-reverberant ratio, octave bands.

Conventions: a response is (frames,) or (channels, frames), channels count by their energy; times in
seconds, levels in dB. Figures are for rendering, not for the design of rooms.

Source
------
ISO 3382-1:2009, "Measurement of room acoustic parameters, Part 1: Performance spaces"; M. R.
Schroeder, "New method of measuring reverberation time", JASA 37 (1965) 409-412.
"""

from __future__ import annotations

from math import inf, log10, nan

import numpy as np
import scipy.fft
from numpy.typing import NDArray

from seatwright.acoustics.band_weights import octave_weight, transform_frequencies
from seatwright.stage.bands import OCTAVE_BANDS

Signal = NDArray[np.float32] | NDArray[np.float64]

_RANGES = {"EDT": (0.0, -10.0), "T20": (-5.0, -25.0), "T30": (-5.0, -35.0)}


def octave_filtered(response: Signal, rate: int, band: int) -> NDArray[np.float64]:
    """One octave of a response, by a steep filter without phase shift.

    Parameters
    ----------
    response : ndarray, shape (..., frames)
    rate : int
        Samples per second.
    band : int
        Index into `OCTAVE_BANDS`; at low rates the highest reaches to half the rate.

    Returns
    -------
    ndarray, shape of `response`
    """
    frames = response.shape[-1]
    length = scipy.fft.next_fast_len(2 * frames, real=True)
    frequency = transform_frequencies(length, rate)
    spectrum = scipy.fft.rfft(np.asarray(response, dtype=np.float64), length, axis=-1)
    filtered = scipy.fft.irfft(spectrum * octave_weight(frequency, band), length, axis=-1)
    return np.asarray(filtered[..., :frames])


def decay_curve(response: Signal) -> NDArray[np.float64]:
    """Energy still to come (backward integral) in dB below the whole, shape (frames,)."""
    power = np.asarray(response, dtype=np.float64) ** 2
    if power.ndim > 1:
        power = power.sum(axis=0)
    left = np.cumsum(power[::-1])[::-1]
    if left[0] <= 0.0:
        return np.full(len(left), -inf)
    return np.asarray(10.0 * np.log10(np.maximum(left / left[0], 1e-30)))


def decay_time(response: Signal, rate: float, kind: str = "T30", start: int | None = None) -> float:
    """Decay time of a response by a straight line through its decay curve.

    Parameters
    ----------
    response : ndarray, shape (frames,) or (channels, frames)
    rate : float
        Samples per second.
    kind : str
        "EDT" (0 to -10 dB), "T20" (-5 to -25 dB) or "T30" (-5 to -35 dB).
    start : int, optional
        Sample of the direct sound, from which the line is drawn; found in the response otherwise.

    Returns
    -------
    float
        Seconds for 60 dB; nan where the curve does not reach that far down.
    """
    upper, lower = _RANGES[kind]
    curve = decay_curve(response)
    begin = first_arrival(response) if start is None else start
    first, last = max(begin, int(np.argmax(curve <= upper))), int(np.argmax(curve <= lower))
    if not (curve <= lower).any() or last - first < 2:
        return nan
    time = np.arange(first, last) / rate
    slope = np.polyfit(time - time[0], curve[first:last], 1)[0]
    return float(-60.0 / slope)


def clarity(response: Signal, rate: float, early_seconds: float = 0.08) -> float:
    """Early-to-late energy ratio from the direct sound on: C80 in dB."""
    power = np.asarray(response, dtype=np.float64) ** 2
    if power.ndim > 1:
        power = power.sum(axis=0)
    limit = first_arrival(response) + round(early_seconds * rate)
    early, late = float(power[:limit].sum()), float(power[limit:].sum())
    return ratio_db(early, late)


def first_arrival(response: Signal) -> int:
    """Sample at which a response first comes within 20 dB of its peak (ISO 3382-1, 5.3.1)."""
    size = np.abs(np.asarray(response))
    if size.ndim > 1:
        size = size.max(axis=0)
    return int(np.argmax(size >= 0.1 * size.max(initial=0.0)))


def energy(response: Signal) -> float:
    """Sum of squares over all channels."""
    return float(np.sum(np.square(response, dtype=np.float64)))


def ratio_db(first: float, second: float) -> float:
    """10 log10 of a ratio of energies; +-inf at the ends, nan for nothing over nothing."""
    if first <= 0.0:
        return nan if second <= 0.0 else -inf
    return inf if second <= 0.0 else 10.0 * log10(first / second)


def band_decay_times(response: Signal, rate: int, kind: str = "T30") -> tuple[float, ...]:
    """`decay_time` in each octave band below half the rate; nan above; shape (9,)."""
    return tuple(
        decay_time(octave_filtered(response, rate, band), rate, kind)
        if middle * 2.0**0.5 <= 0.5 * rate or middle < 0.5 * rate
        else nan
        for band, middle in enumerate(OCTAVE_BANDS)
    )
