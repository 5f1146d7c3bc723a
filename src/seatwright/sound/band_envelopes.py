"""How the bands of a stem rise and fall: power in steps of 10 ms, taken while the stem streams by.

Conventions: signals are (frames, channels) at +-1 full scale; the power of all channels is added.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import scipy.fft
from numpy.typing import NDArray

STEP_SECONDS = 0.01
MIDDLES = (*(500.0 * 2.0 ** (third / 3.0) for third in range(7)), 4000.0, 8000.0)
"""Mid-frequencies in Hz of octaves: from 500 Hz to 2 kHz a third apart, then 4 and 8 kHz."""

MID_BANDS = 7
"""The first bands of an envelope. They overlap, so that notes of any pitch fall well into one;
narrower bands hold so few partials that their beats look like falls."""

BAND_EDGES: tuple[tuple[float, float], ...] = tuple(
    (middle * 0.5**0.5, middle * 2.0**0.5) for middle in MIDDLES
)
"""Lower and upper limit in Hz, shape (9, 2)."""

_WINDOW_SECONDS = 1024 / 48_000
_ROWS = 4
_SMOOTHING = np.hanning(17)[1:-1] / np.hanning(17).sum()
"""80 ms wide at half height: shorter leaves the room's own fluctuation in, which looks like falls;
much longer hides how fast a dry note ends."""

_LEAST_POWER = 1e-14


@dataclass(frozen=True, eq=False)
class Envelopes:
    """Levels of a whole stem.

    Parameters
    ----------
    levels : ndarray of float32, shape (9, steps)
        dB, bands as `BAND_EDGES`; -140 where there is nothing or the rate does not reach.
    """

    levels: NDArray[np.float32]


class EnvelopeMeter:
    """Band levels of a stream by windowed transforms of 21 ms.

    Parameters
    ----------
    rate : int
        Samples per second.
    channels : int
    """

    def __init__(self, rate: int, channels: int):
        self._length = scipy.fft.next_fast_len(round(rate * _WINDOW_SECONDS), real=True)
        self._hop = round(rate * STEP_SECONDS)
        window = np.hanning(self._length + 2)[1:-1]
        one_sided = np.sqrt(2.0 / (np.sum(window**2) * self._length))
        self._window = (window * one_sided).astype(np.float32)
        self._bins = [_bins(edges, self._length, rate) for edges in BAND_EDGES]
        self._waiting = np.zeros((channels, self._length // 2), dtype=np.float32)
        self._powers: list[NDArray[np.float32]] = []

    def add(self, samples: NDArray[np.float32]) -> None:
        """Take in the next samples, shape (frames, channels); any cut gives the same result."""
        self._waiting = np.concatenate([self._waiting, samples.T], axis=1)
        rows = (self._waiting.shape[1] - self._length) // self._hop + 1
        rows -= rows % _ROWS
        if rows > 0:
            self._powers.append(self._banded(self._waiting, rows))
            self._waiting = self._waiting[:, rows * self._hop :].copy()

    def _banded(self, signal: NDArray[np.float32], rows: int) -> NDArray[np.float32]:
        """Power in each band of windows a hop apart, shape (9, rows)."""
        highest = max(bins.stop for bins in self._bins)
        power = np.zeros((rows, highest), dtype=np.float32)
        for channel in signal:
            windows = np.lib.stride_tricks.sliding_window_view(channel, self._length)
            spectra = scipy.fft.rfft(windows[:: self._hop][:rows] * self._window, axis=1)
            spectra = spectra[:, :highest]
            power += np.square(spectra.real) + np.square(spectra.imag)
        return np.stack([power[:, bins].sum(axis=1) for bins in self._bins])

    @property
    def envelopes(self) -> Envelopes:
        """Of all that was taken in, with silence after it."""
        padding = np.zeros((len(self._waiting), self._length + _ROWS * self._hop), np.float32)
        ending = np.concatenate([self._waiting, padding], axis=1)
        return _levels(np.concatenate([*self._powers, self._banded(ending, _ROWS)], axis=1))

    @property
    def cut_envelopes(self) -> Envelopes:
        """Of what was taken in, as it stands: nothing is known of what follows."""
        return _levels(np.concatenate(self._powers, axis=1))


def _levels(power: NDArray[np.float32]) -> Envelopes:
    smooth = np.stack([np.convolve(row, _SMOOTHING, "same") for row in power])
    levels = 10.0 * np.log10(np.maximum(smooth, _LEAST_POWER))
    return Envelopes(levels.astype(np.float32))


def _bins(edges: tuple[float, float], length: int, rate: int) -> slice:
    """Bins of a transform inside a band; none where half the rate cuts into it."""
    low, high = edges
    if high > 0.5 * rate:
        return slice(0, 0)
    return slice(int(np.ceil(low * length / rate)), int(np.ceil(high * length / rate)))
