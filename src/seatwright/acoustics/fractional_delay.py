"""Exact delays between samples: a windowed sinc at every arrival.

The kernel is a sinc under a Kaiser window; at 48 kHz it differs from an ideal delay by less than
-60 dB of the signal up to 16 kHz (measured in the tests).

Source
------
T. I. Laakso et al., "Splitting the unit delay", IEEE Signal Processing Magazine 13 (1996) 30-60.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy import sparse
from scipy.special import i0

HALF_TAPS = 24
"""Samples on either side of an arrival."""

_FEW = 12
_KAISER_BETA = 6.0
_TAPS = np.arange(-HALF_TAPS, HALF_TAPS)


def delay_kernels(fractions: NDArray[np.float64]) -> NDArray[np.float64]:
    """Kernels that delay by a fraction of a sample.

    Parameters
    ----------
    fractions : ndarray, shape (arrivals,)
        In samples, 0 to 1.

    Returns
    -------
    ndarray, shape (arrivals, 48)
        The tap of index 24 stands at a delay of 0 samples.
    """
    offsets = _TAPS - fractions[:, None]
    inside = np.clip(1.0 - (offsets / HALF_TAPS) ** 2, 0.0, None)
    return np.asarray(np.sinc(offsets) * i0(_KAISER_BETA * np.sqrt(inside)) / i0(_KAISER_BETA))


def placed_kernels(
    starts: NDArray[np.int64],
    kernels: NDArray[np.float64],
    gains: NDArray[np.float64],
    frames: int,
) -> NDArray[np.float64]:
    """Add up kernels on the sample grid, one signal per band.

    Parameters
    ----------
    starts : ndarray of int, shape (arrivals,)
        Sample of each kernel's first tap; what falls outside 0 to `frames` is lost.
    kernels : ndarray, shape (arrivals, taps)
    gains : ndarray, shape (arrivals, bands)
        Linear amplitudes.
    frames : int
        Length of the result.

    Returns
    -------
    ndarray, shape (frames, bands)
    """
    if len(starts) <= _FEW:
        return _placed_one_by_one(starts, kernels, gains, frames)
    rows = starts[:, None] + np.arange(kernels.shape[1])
    columns = np.broadcast_to(np.arange(len(starts))[:, None], rows.shape)
    inside = (rows >= 0) & (rows < frames)
    grid = sparse.csr_array(
        (kernels[inside], (rows[inside], columns[inside])), shape=(frames, len(starts))
    )
    return np.asarray(grid @ gains)


def _placed_one_by_one(
    starts: NDArray[np.int64],
    kernels: NDArray[np.float64],
    gains: NDArray[np.float64],
    frames: int,
) -> NDArray[np.float64]:
    """The same bits, sooner for a few kernels than a table of where everything goes."""
    placed = np.zeros((frames, gains.shape[1]))
    for start, kernel, gain in zip(starts.tolist(), kernels, gains, strict=True):
        inside = kernel[max(0, -start) : max(0, frames - start)]
        first = max(0, start)
        placed[first : first + len(inside)] += inside[:, None] * gain
    return placed


def fractional_kernels(
    delays: NDArray[np.float64],
) -> tuple[NDArray[np.int64], NDArray[np.float64]]:
    """Start sample and kernel of arrivals at `delays` samples, shapes (arrivals,) and (.., 48)."""
    whole = np.floor(delays).astype(np.int64)
    return whole - HALF_TAPS, delay_kernels(delays - whole)
