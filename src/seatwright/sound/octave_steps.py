"""How strong a stem is in each octave from 63 Hz to 8 kHz, every tenth of a second.

Conventions: signals are (frames, channels) at +-1 full scale; powers are mean squares, so that a
sine at full scale has 0.5 in its octave.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import scipy.fft
from numpy.typing import NDArray

from seatwright.stage.bands import OCTAVE_BANDS

STEP_SECONDS = 0.1
OCTAVES = OCTAVE_BANDS[:8]
"""Mid-frequencies in Hz: 63 Hz to 8 kHz."""

_ROWS = 4


def octave_bins(length: int, rate: float) -> list[slice]:
    """Bins of a real transform of `length` that lie in each octave; none beyond half the rate."""
    edges = [(middle * 0.5**0.5, middle * 2.0**0.5) for middle in OCTAVES]
    limits = np.ceil(np.array(edges) * length / rate).astype(int)
    return [slice(low, min(high, length // 2)) for low, high in limits.tolist()]


def _faded(length: int) -> NDArray[np.float64]:
    """A window of ones whose first and last quarter are halves of a raised cosine (Tukey's)."""
    place = np.arange(length) / length
    edge = np.minimum(4.0 * np.minimum(place, 1.0 - place), 1.0)
    return np.asarray(0.5 - 0.5 * np.cos(np.pi * edge))


@dataclass(frozen=True, eq=False)
class OctaveSteps:
    """Powers of a whole stem.

    Parameters
    ----------
    powers : ndarray of float32, shape (channels, 8, steps)
        Step k is the tenth of a second that begins at k / 10 s.
    cross : ndarray of complex128, shape (8,)
        Left times the conjugate of right, added up over all steps; nothing for one channel.
    """

    powers: NDArray[np.float32]
    cross: NDArray[np.complex128]

    @property
    def shared(self) -> NDArray[np.complex128]:
        """Powers of all steps together and what channels share, shape (8, channels, channels)."""
        totals = self.powers.sum(axis=2, dtype=np.float64)
        matrix = np.zeros((len(OCTAVES), len(totals), len(totals)), dtype=np.complex128)
        for channel, total in enumerate(totals):
            matrix[:, channel, channel] = total
        if len(totals) == 2:
            matrix[:, 0, 1], matrix[:, 1, 0] = self.cross, self.cross.conj()
        return matrix


class OctaveMeter:
    """Octave powers of a stream by transforms of a tenth of a second, with faded ends.

    Parameters
    ----------
    rate : int
        Samples per second.
    channels : int
        1 or 2.
    """

    def __init__(self, rate: int, channels: int):
        self._hop = round(rate * STEP_SECONDS)
        window = _faded(self._hop)
        one_sided = np.sqrt(2.0 / (np.sum(window**2) * self._hop))
        self._window = (window * one_sided).astype(np.float32)
        self._bins = octave_bins(self._hop, rate)
        self._waiting = np.zeros((channels, 0), dtype=np.float32)
        self._powers: list[NDArray[np.float32]] = []
        self._cross = np.zeros(len(OCTAVES), dtype=np.complex128)

    def add(self, samples: NDArray[np.float32]) -> None:
        """Take in the next samples, shape (frames, channels)."""
        self._waiting = np.concatenate([self._waiting, samples.T], axis=1)
        rows = self._waiting.shape[1] // self._hop
        rows -= rows % _ROWS
        if rows > 0:
            powers, cross = self._banded(self._waiting[:, : rows * self._hop])
            self._powers.append(powers)
            self._cross += cross
            self._waiting = self._waiting[:, rows * self._hop :].copy()

    def _banded(
        self, signal: NDArray[np.float32]
    ) -> tuple[NDArray[np.float32], NDArray[np.complex128]]:
        """Powers, shape (channels, 8, steps), and what two channels share, shape (8,)."""
        steps = signal.reshape(len(signal), -1, self._hop) * self._window
        highest = max(bins.stop for bins in self._bins)
        spectra = scipy.fft.rfft(steps, axis=2)[:, :, :highest]
        squares = np.square(spectra.real) + np.square(spectra.imag)
        powers = np.stack([squares[:, :, bins].sum(axis=2) for bins in self._bins], axis=1)
        cross = np.zeros(len(OCTAVES), dtype=np.complex128)
        if len(spectra) == 2:
            product = np.einsum("sf,sf->f", spectra[0], spectra[1].conj())
            cross[:] = [product[bins].sum() for bins in self._bins]
        return powers, cross

    @property
    def steps(self) -> OctaveSteps:
        """Of all that was taken in, with silence after it."""
        padding = np.zeros((len(self._waiting), -self._waiting.shape[1] % self._hop), np.float32)
        powers, cross = self._banded(np.concatenate([self._waiting, padding], axis=1))
        return OctaveSteps(np.concatenate([*self._powers, powers], axis=2), self._cross + cross)
