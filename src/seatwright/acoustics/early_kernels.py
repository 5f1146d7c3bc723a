"""The early part on the time grid: every arrival a short kernel with its colour, bands applied.

A kernel and the filters of the octave bands have skirts to both sides of an arrival. Nothing can
sound before sample 0, so what arrives just after it is treated apart: its colour, air and walls
included, is a filter of minimum phase, which begins with the arrival, and what is left before
sample 0, the skirt of a delay between samples, is put into the first samples instead, so that the
sound stays the same up to 16 kHz as nearly as it can.

Source
------
T. I. Laakso et al., "Splitting the unit delay", IEEE Signal Processing Magazine 13 (1996) 30-60:
least squares over a band.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from typing import Any

import numpy as np
import scipy.fft
from numpy.typing import NDArray

from seatwright.acoustics.band_weights import early_weights
from seatwright.acoustics.colour import minimum_phase_filters, minimum_phase_lags
from seatwright.acoustics.fractional_delay import placed_kernels
from seatwright.acoustics.reflections import Arrivals
from seatwright.acoustics.room import Room
from seatwright.stage.bands import OCTAVE_BANDS

_OWN_FILTER_ORDER = 2
"""Arrivals of more reflections share the filters of the octave bands."""

_SKIRT = 1024
"""Samples kept around the early part for the skirts of band filters."""

_NEAR_SECONDS = 0.001
"""After sample 0: what arrives sooner has no room for the skirt of its air filter."""

_LOST, _TAKEN = 32, 48
"""Samples before sample 0 that are put into how many after it."""

_KEPT_SHARES = ((1.0 / 6.0, 1.0), (1.0 / 3.0, 0.2), (0.42, 0.03))
"""Up to which share of the rate (8, 16, 20 kHz at 48 kHz) errors of power are weighed how much, on
top of each other; found by trial."""
_KEPT_SMALL = 1e-3


@dataclass(frozen=True)
class Kernels:
    """Kernels of one length for one row: starts (n,), taps (n, length), gains (n, 9)."""

    row: int
    starts: NDArray[np.int64]
    taps: NDArray[np.float64]
    gains: NDArray[np.float64]


@dataclass(frozen=True)
class Landing:
    """Where arrivals land on the grid.

    Parameters
    ----------
    samples : ndarray, shape (arrivals,)
        Where the kernel of each belongs.
    near : ndarray of bool, shape (arrivals,)
        Which are so near sample 0 that their whole colour is in their kernel; they land as much
        sooner as that delays them.
    """

    samples: NDArray[np.float64]
    near: NDArray[np.bool_]


def landing(samples: NDArray[np.float64], heard: Arrivals, rate: int) -> Landing:
    """Where kernels of arrivals at `samples`, shape (arrivals,), belong on a grid of a rate."""
    near = (samples < _NEAR_SECONDS * rate) & (heard.gains != 0.0).all(axis=1)
    if not near.any():
        return Landing(samples, near)
    filtered = _evened(heard.gains[near])
    if heard.radiated is not None:  # delays every first reflection, near or not
        filtered /= heard.radiated[near]
    sooner = samples.copy()
    sooner[near] -= minimum_phase_lags(filtered, rate)
    return Landing(sooner, near)


def air_lag(room: Room, seconds: float, rate: int) -> float:
    """Seconds by which the minimum phase of air delays sound that has travelled so long."""
    gains = np.exp(-0.5 * seconds * room.speed * np.array(room.air))
    return float(minimum_phase_lags(gains[None, :], rate)[0] / rate)


def _evened(gains: NDArray[np.float64]) -> NDArray[np.float64]:
    """Sizes of gains over their mean in dB, row by row."""
    sizes = np.abs(gains)
    return np.asarray(sizes / np.exp(np.mean(np.log(sizes), axis=1, keepdims=True)))


def coloured_kernels(
    landed: Landing,
    starts: NDArray[np.int64],
    taps: NDArray[np.float64],
    heard: Arrivals,
    row: int,
    rate: int,
) -> list[Kernels]:
    """Kernels of one row with their colour, as far as it is not left to the bands.

    The directivity of the direct sound and the first reflections is in their kernels. Later
    reflections, which are many and overlap, have it in the band gains. What arrives near sample 0
    has its whole colour in its kernel.

    Parameters
    ----------
    landed : Landing
    starts : ndarray of int, shape (arrivals,)
        Sample of each kernel's first tap.
    taps : ndarray, shape (arrivals, taps)
    heard : Arrivals
    row : int
    rate : int
        Samples per second.

    Returns
    -------
    list of Kernels
    """
    left = np.ones(len(starts), dtype=bool)
    kernels: list[Kernels] = []

    def add(chosen: NDArray[np.bool_], colour: NDArray[np.float64]) -> None:
        own = convolved(taps[chosen], minimum_phase_filters(colour, rate))
        kernels.append(Kernels(row, starts[chosen], own, heard.gains[chosen] / colour))
        left[chosen] = False

    if landed.near.any():
        add(landed.near, _evened(heard.gains[landed.near]))
    if heard.radiated is not None:
        first = left & (heard.orders <= _OWN_FILTER_ORDER)
        if first.any():
            add(first, heard.radiated[first])
    if left.any():
        kernels.append(Kernels(row, starts[left], taps[left], heard.gains[left]))
    return kernels


def convolved(
    first: NDArray[np.floating[Any]], second: NDArray[np.floating[Any]]
) -> NDArray[np.float64]:
    """Row by row, shapes (rows, taps)."""
    taps = first.shape[1] + second.shape[1] - 1
    length = scipy.fft.next_fast_len(taps, real=True)
    spectra = scipy.fft.rfft(first, length) * scipy.fft.rfft(second, length)
    return np.asarray(scipy.fft.irfft(spectra, length)[:, :taps])


def banded(kernels: list[Kernels], rows: int, rate: int, frames: int) -> NDArray[np.float32]:
    """Put kernels with band gains on the grid and apply the bands.

    Parameters
    ----------
    kernels : list of Kernels
        At least one.
    rows : int
    rate : int
        Samples per second.
    frames : int
        At most.

    Returns
    -------
    ndarray, shape (rows, early frames)
        From the grid's sample 0 on.
    """
    latest = max(int(each.starts.max()) + each.taps.shape[1] for each in kernels)
    length = scipy.fft.next_fast_len(latest + 2 * _SKIRT, real=True)
    signals = np.zeros((rows, len(OCTAVE_BANDS), length), dtype=np.float32)
    for each in kernels:
        placed = placed_kernels(each.starts + _SKIRT, each.taps, each.gains, length)
        signals[each.row] += placed.T
    spectra = scipy.fft.rfft(signals, axis=2)
    summed = np.einsum("mbf,bf->mf", spectra, early_weights(rate, length))
    early = scipy.fft.irfft(summed, n=length, axis=1)
    lost = early[:, _SKIRT - _LOST : _SKIRT]
    early[:, _SKIRT : _SKIRT + _TAKEN] += np.einsum("ml,tl->mt", lost, _taken_in())
    return np.asarray(early[:, _SKIRT : min(length, _SKIRT + frames)])


@lru_cache(maxsize=1)
def _taken_in() -> NDArray[np.float32]:
    """What the first samples take for each of the last before sample 0, shape (taken, lost).

    Least squares: of all ways to write e^(i w n), n < 0, by samples from 0 on, the one with the
    smallest error of power, weighed over frequency.
    """
    after, before = np.arange(_TAKEN), np.arange(-_LOST, 0)

    def alike(one: NDArray[np.int64], other: NDArray[np.int64]) -> NDArray[np.float64]:
        apart = one[:, None] - other[None, :]
        parts = [2.0 * w * edge * np.sinc(2.0 * edge * apart) for edge, w in _KEPT_SHARES]
        return np.asarray(np.sum(parts, axis=0) + _KEPT_SMALL * (apart == 0))

    return np.linalg.solve(alike(after, after), alike(after, before)).astype(np.float32)
