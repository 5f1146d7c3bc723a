"""How octave-band values become a spectrum.

Two sets of weights over frequency: amplitudes of single arrivals are interpolated smoothly from
mid-band to mid-band (they add up to 1); noise is split at the band edges (squares add up to 1), so
that every octave of a tail decays at its own rate and only at that.

Source
------
D. Schroeder, "Physically based real-time auralization of interactive virtual environments"
(2011): raised cosines between mid-bands.
"""

from __future__ import annotations

from functools import lru_cache
from math import inf, log

import numpy as np
from numpy.typing import NDArray

from seatwright.stage.bands import OCTAVE_BANDS, Bands

LOWEST = 22.0
"""Hz below which a tail has nothing; no hall here has a mode worth hearing down there."""

_WIDEST_EDGE = 1.0 / 6.0
_EDGE_HERTZ = 40.0
_EDGE_OF_DECAY = 9.0
"""Least width of a noise edge in Hz times the reverberation time."""
_WIDEST_NOISE_EDGE = 0.8
"""Octaves; the two edges of a band stay apart."""
_TOP_PART = 1.0 / 12.0
"""Of half the rate, over which noise fades below it: 22 to 24 kHz at 48 kHz."""


def band_edges(band: int) -> tuple[float, float]:
    """Lower and upper edge of an octave band in Hz."""
    return OCTAVE_BANDS[band] * 2.0**-0.5, OCTAVE_BANDS[band] * 2.0**0.5


def edge_octaves(edge: float) -> float:
    """Octaves over which noise gives way to the next band's at an edge in Hz.

    About 40 Hz, at most a sixth of an octave: wide enough to ring for a few tens of ms only, narrow
    enough that the slower band does not decide how the faster one seems to end.
    """
    return min(_WIDEST_EDGE, _EDGE_HERTZ / (edge * log(2.0)))


def noise_edges(reverberation: Bands) -> Bands:
    """Octaves over which a tail's noise gives way to the next band's, at the lower edge of each.

    As `edge_octaves`, but never so narrow that the edge rings on when the tail has decayed: 9 / T
    in Hz, T the shorter time of the two bands. Halls that ring for 0.9 s and longer keep the
    narrow edges everywhere; in a dry room of 0.25 s, whose 125 Hz came out 6 % long, the low ones
    widen, and 2 % are left.

    Parameters
    ----------
    reverberation : tuple of float, shape (9,)
        T60 in seconds.

    Returns
    -------
    tuple of float, shape (9,)
        The first stands for the lower end of the noise, whose width is fixed.
    """
    widths = []
    for band in range(1, len(OCTAVE_BANDS)):
        edge = band_edges(band)[0]
        wanted = _EDGE_OF_DECAY / (min(reverberation[band - 1 : band + 1]) * edge * log(2.0))
        widths.append(min(_WIDEST_NOISE_EDGE, max(edge_octaves(edge), wanted)))
    return (1.0, *widths)


def transform_frequencies(length: int, rate: int) -> NDArray[np.float64]:
    """Hz of the bins of a real transform of `length` samples, shape (length // 2 + 1,)."""
    return np.asarray(np.arange(length // 2 + 1) * (rate / length), dtype=np.float64)


def amplitude_weights(frequency: NDArray[np.float64]) -> NDArray[np.float64]:
    """Weights that interpolate amplitudes given at the mid-bands.

    Parameters
    ----------
    frequency : ndarray, shape (bins,)
        Hz, at least 0.

    Returns
    -------
    ndarray, shape (9, bins)
        They add up to 1 at every frequency; flat below 62.5 Hz and above 16 kHz.
    """
    middles = np.array(OCTAVE_BANDS)
    lower = np.clip(np.searchsorted(middles, frequency, side="right") - 1, 0, len(middles) - 2)
    part = np.clip(frequency / middles[lower] - 1.0, 0.0, 1.0)
    rising = 0.5 - 0.5 * np.cos(np.pi * part)
    weights = np.zeros((len(middles), len(frequency)))
    bins = np.arange(len(frequency))
    weights[lower, bins] = 1.0 - rising
    weights[lower + 1, bins] = rising
    return weights


@lru_cache(maxsize=16)
def early_weights(rate: int, length: int) -> NDArray[np.float32]:
    """Amplitude weights at the bins of a real transform, shape (9, length // 2 + 1)."""
    frequency = transform_frequencies(length, rate)
    weights = amplitude_weights(frequency).astype(np.float32)
    weights.setflags(write=False)
    return weights


def edge_weight(
    frequency: NDArray[np.float64], band: int, edges: Bands, strip: int = 0, strips: int = 1
) -> NDArray[np.float64]:
    """Amplitude of a band's noise over frequency, or of one strip of the band.

    Parameters
    ----------
    frequency : ndarray, shape (bins,)
        Hz, above 0.
    band : int
        Index into `OCTAVE_BANDS`.
    edges : tuple of float, shape (9,)
        Octaves each edge takes, from `noise_edges`.
    strip, strips : int
        Which of how many strips the octave is split into, equally wide in octaves.

    Returns
    -------
    ndarray, shape (bins,)
        1 inside, falling smoothly around the edges; the squares of neighbours add up to 1. The
        lowest band reaches down to 22 Hz, the highest up without end.
    """
    low, high = strip_bounds(band, strip, strips)
    weight = np.ones_like(frequency)
    low_width, high_width = strip_widths(band, strip, strips, edges)
    if low > 0.0:
        weight *= _rising(_across(frequency, low, low_width))
    else:
        weight *= _rising(np.log2(np.maximum(frequency, 1e-9) / LOWEST) + 1.0)
    if high < inf:
        weight *= _rising(1.0 - _across(frequency, high, high_width))
    return weight


def strip_bounds(band: int, strip: int, strips: int) -> tuple[float, float]:
    """Edges in Hz of a strip of a band's noise; 0 and inf at the ends of the spectrum."""
    edge = OCTAVE_BANDS[band] * 2.0**-0.5
    low, high = edge * 2.0 ** (strip / strips), edge * 2.0 ** ((strip + 1) / strips)
    first, last = band == 0 and strip == 0, band == len(OCTAVE_BANDS) - 1 and strip == strips - 1
    return 0.0 if first else low, inf if last else high


def strip_widths(band: int, strip: int, strips: int, edges: Bands) -> tuple[float, float]:
    """Octaves that the lower and the upper edge of a strip take, edges inside an octave narrow."""
    low, high = strip_bounds(band, strip, strips)
    outer = (edges[band], edges[min(band + 1, len(edges) - 1)])
    return (
        outer[0] if strip == 0 else edge_octaves(low),
        outer[1] if strip == strips - 1 else edge_octaves(high),
    )


def top_weight(frequency: NDArray[np.float64], rate: int) -> NDArray[np.float64]:
    """Amplitude of all noise just below half the rate.

    Complex noise that stops there at once rings at half the rate and dies away as slowly as 1 / t:
    the loud start of a tail, which is periodic, then comes back at its end, 75 dB down.

    Parameters
    ----------
    frequency : ndarray, shape (bins,)
        Hz, at most half the rate.
    rate : int
        Samples per second.

    Returns
    -------
    ndarray, shape (bins,)
        1 up to eleven twelfths of half the rate, 0 there.
    """
    return _rising((1.0 - 2.0 * frequency / rate) / _TOP_PART)


def octave_weight(frequency: NDArray[np.float64], band: int) -> NDArray[np.float64]:
    """Amplitude of a steep octave filter for measuring: like `edge_weight`, both edges in place."""
    low, high = band_edges(band)
    rising = _rising(_across(frequency, low, edge_octaves(low)))
    return np.asarray(rising * _rising(1.0 - _across(frequency, high, edge_octaves(high))))


def _across(frequency: NDArray[np.float64], edge: float, width: float) -> NDArray[np.float64]:
    """0 where an edge of a width in octaves begins, 1 where it ends."""
    octaves = np.log2(np.maximum(frequency, 1e-9) / edge)
    return np.asarray(octaves / width + 0.5)


def _rising(part: NDArray[np.float64]) -> NDArray[np.float64]:
    """From 0 to 1 with flat ends, so that it rings shortly; rising(x)^2 + rising(1 - x)^2 = 1."""
    return np.asarray(np.sin(0.5 * np.pi * np.sin(0.5 * np.pi * np.clip(part, 0.0, 1.0)) ** 2))
