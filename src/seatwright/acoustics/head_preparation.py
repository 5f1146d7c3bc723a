"""From measured responses to a head: delays apart, a diffuse field without colour, short filters.

Everything here is common to both ears and all directions but the delays and the lowest 250 Hz, so
that measured differences between ears stay as they are.
"""

from __future__ import annotations

from math import pi
from typing import Any

import numpy as np
import scipy.fft
from numpy.typing import NDArray

from seatwright.acoustics.aligned_filters import (
    Spectra,
    equalisation,
    extended_down,
    onsets,
    response_delays,
)
from seatwright.acoustics.band_weights import transform_frequencies
from seatwright.acoustics.direction_triangles import missing_poles, solid_angles, triangles
from seatwright.acoustics.measured_head import MeasuredHead

FILTER_SECONDS = 0.0058
LEAD_SECONDS = 0.0008
"""Of a filter before its delay's instant."""

_ONSET_DB = 26.0
_RISE_SECONDS = 0.0001
"""Before the onset, so that little of the rise is lost where a scene begins with it."""
_SMOOTHING_OCTAVES = 1.0 / 6.0
_PASSES = 3
_CHUNK = 512
_TOP_SHARE = 0.04


def prepared_head(
    name: str,
    credit: str,
    rate: int,
    directions: NDArray[np.float64],
    starts: NDArray[np.float64],
    responses: NDArray[np.float64],
    seconds: float = FILTER_SECONDS,
) -> MeasuredHead:
    """Make a head of measured responses.

    Parameters
    ----------
    name, credit : str
    rate : int
        Samples per second.
    directions : ndarray, shape (n, 3)
        Unit vectors in the head's frame, no two alike.
    starts : ndarray, shape (n, ears)
        Seconds at which each response's first tap stands, on a clock all share.
    responses : ndarray, shape (n, ears, taps)
        Left and right ear; the left alone where the right hears the mirrored direction alike.
    seconds : float
        Length of the filters.

    Returns
    -------
    MeasuredHead
        Straight up and down get the mean of the nearest ring where nothing was measured there.

    Raises
    ------
    ValueError
        If the directions leave a hole too wide to interpolate over.
    """
    added = missing_poles(directions)
    rings = [ring for _, ring in added]
    every = np.concatenate([directions, *(pole[None, :] for pole, _ in added)])
    triangles(every)
    shares = solid_angles(every)
    count, ears, _ = responses.shape
    weights = np.repeat(_measured_shares(shares, rings) / ears, ears)
    onset = _response_onsets(rate, starts, responses)
    rows, late = responses.reshape(count * ears, -1), (onset - starts).reshape(-1, 1)
    filters = _short_filters(rows, late, weights, rate, round(seconds * rate))
    delays = _with_means(onset, rings)
    delays -= shares @ delays.mean(axis=1)
    bank = _with_means(filters.reshape(count, ears, -1), rings)
    bank.setflags(write=False)
    return MeasuredHead(name, credit, rate, every, delays, round(LEAD_SECONDS * rate), bank)


def _response_onsets(
    rate: int, starts: NDArray[np.float64], responses: NDArray[np.float64]
) -> NDArray[np.float64]:
    """Seconds on the set's clock at which each ear begins to hear, shape (n, ears).

    Instants at which responses are alike, which move evenly with the direction, brought forward
    by what lies between the onset and that instant at the ears that face the sound.
    """
    count, ears, taps = responses.shape
    rows = responses.reshape(count * ears, taps)
    alike = np.concatenate(
        [response_delays(rows[first : first + _CHUNK]) for first in range(0, len(rows), _CHUNK)]
    )
    alike = alike.reshape(starts.shape) / rate + starts
    first = onsets(rows, _ONSET_DB).reshape(starts.shape) / rate + starts
    facing = first <= np.median(first)
    return np.asarray(alike - np.mean((alike - first)[facing]) - _RISE_SECONDS)


def _measured_shares(
    shares: NDArray[np.float64], rings: list[NDArray[np.int64]]
) -> NDArray[np.float64]:
    """Shares of the sphere with those of added poles given to their rings."""
    count = len(shares) - len(rings)
    measured = shares[:count].copy()
    for ring, share in zip(rings, shares[count:], strict=True):
        measured[ring] += share / len(ring)
    return measured


def _short_filters(
    rows: NDArray[np.float64],
    late: NDArray[np.float64],
    weights: NDArray[np.float64],
    rate: int,
    taps: int,
) -> NDArray[np.float32]:
    """Aligned and equalised filters, shape (rows, taps).

    Cutting filters colours them a little, so the equalisation is corrected by what is left.
    """
    length = int(scipy.fft.next_fast_len(max(2 * rows.shape[1], 4 * taps), real=True))
    length += length % 2
    frequency = transform_frequencies(length, rate)
    power = _mean_power(rows, weights, length)
    equal = equalisation(frequency, power, _SMOOTHING_OCTAVES)
    correction = np.ones(len(frequency), dtype=np.complex128)
    for _ in range(_PASSES):
        filters = np.concatenate(
            [
                _cut(
                    _aligned(rows[chosen], late[chosen], equal, frequency) * correction, rate, taps
                )
                for chosen in _chunks(len(rows))
            ]
        )
        left = _mean_power(filters, weights, length)
        correction *= equalisation(frequency, left, _SMOOTHING_OCTAVES / 4.0)
    return filters


def _chunks(count: int) -> list[slice]:
    return [slice(first, first + _CHUNK) for first in range(0, count, _CHUNK)]


def _mean_power(
    rows: NDArray[np.floating[Any]], weights: NDArray[np.float64], length: int
) -> NDArray[np.float64]:
    """Of what the ears hear in a diffuse field, shape (length // 2 + 1,)."""
    power = np.zeros(length // 2 + 1)
    for chosen in _chunks(len(rows)):
        power += weights[chosen] @ np.abs(scipy.fft.rfft(rows[chosen], length, axis=1)) ** 2
    return power


def _aligned(
    rows: NDArray[np.float64],
    late: NDArray[np.float64],
    equal: Spectra,
    frequency: NDArray[np.float64],
) -> Spectra:
    """Spectra of responses brought forward by their delays, equalised, extended to 0 Hz."""
    length = 2 * (len(frequency) - 1)
    spectra = scipy.fft.rfft(rows, length, axis=1) * equal
    return extended_down(spectra * np.exp(2j * pi * frequency * late), frequency)


def _cut(spectra: Spectra, rate: int, taps: int) -> NDArray[np.float32]:
    """Filters of a few taps that begin and end without a step."""
    length = 2 * (spectra.shape[1] - 1)
    frequency = transform_frequencies(length, rate)
    lead = round(LEAD_SECONDS * rate)
    audible = np.clip((0.5 * rate - frequency) / (_TOP_SHARE * rate), 0.0, 1.0)
    filters = scipy.fft.irfft(
        spectra * np.exp(-2j * pi * frequency * lead / rate) * audible, length, axis=1
    )[:, :taps]
    fade = np.ones(taps)
    fade[: lead // 2] = np.sin(np.linspace(0.0, pi / 2, lead // 2)) ** 2
    last = taps // 5
    fade[-last:] = np.cos(np.linspace(0.0, pi / 2, last)) ** 2
    return np.asarray(filters * fade, dtype=np.float32)


def _with_means(values: NDArray[Any], rings: list[NDArray[np.int64]]) -> NDArray[Any]:
    """Values of all measured directions, and after them the mean over each pole's ring."""
    return np.concatenate([values, *(values[ring].mean(axis=0, keepdims=True) for ring in rings)])
