"""What a seat's responses make of a stem in each octave from 63 Hz to 8 kHz.

Conventions: power gains, means over the frequencies of an octave; a stem's spectrum is taken as
even inside one.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import scipy.fft
from numpy.typing import NDArray

from seatwright.sound.octave_steps import OCTAVES, OctaveSteps, octave_bins

EARLY_SECONDS = 0.08
"""After the first arrival: what counts as the sound itself (ISO 3382-1's limit for music)."""

_ARRIVED = 0.03


@dataclass(frozen=True, eq=False)
class OctaveTransfer:
    """Gains of a seat.

    Parameters
    ----------
    early : ndarray, shape (sources, 8)
        Of the first 80 ms, left and right added.
    whole : ndarray of complex128, shape (8, 2, 2, sources, sources)
        Of the whole response: outputs o and p from sources s and t, H_os times conj(H_pt).
    """

    early: NDArray[np.float64]
    whole: NDArray[np.complex128]

    def heard(self, steps: OctaveSteps) -> NDArray[np.float32]:
        """Early power of a stem as mixed, shape (8, steps); its channels' powers add up."""
        gains = self.early.astype(np.float32)
        return np.asarray(np.einsum("sb,sbt->bt", gains, steps.powers))

    def outputs(self, steps: OctaveSteps) -> NDArray[np.complex128]:
        """Energies left and right and what they share, shape (8, 2, 2)."""
        return np.asarray(np.einsum("bopst,bst->bop", self.whole, steps.shared))


def octave_transfer(responses: NDArray[np.float32], rate: int) -> OctaveTransfer:
    """Octave gains of a seat's responses.

    Parameters
    ----------
    responses : ndarray, shape (sources, 2, frames)
    rate : int
        Samples per second.

    Returns
    -------
    OctaveTransfer
    """
    size = np.abs(responses).max(axis=(0, 1))
    first = int(np.argmax(size > _ARRIVED * size.max(initial=0.0)))
    early = responses[:, :, first : first + round(EARLY_SECONDS * rate)]
    spectra, bins = _spectra(early, rate)
    powers = np.square(np.abs(spectra)).sum(axis=1)
    gains = np.stack([_mean(powers[:, band]) for band in bins], axis=1)
    spectra, bins = _spectra(responses, rate)
    products = [_products(spectra[:, :, band]) for band in bins]
    return OctaveTransfer(gains, np.stack(products))


def passed_through(sources: int, gain_db: float) -> OctaveTransfer:
    """Gains of an untouched stem: mono to both sides, stereo side by side."""
    gain = 10.0 ** (gain_db / 20.0)
    matrix = np.full((2, 1), gain) if sources == 1 else np.diag([gain, gain])
    whole = np.einsum("os,pt->opst", matrix, matrix).astype(np.complex128)
    early = np.repeat((matrix**2).sum(axis=0)[:, None], len(OCTAVES), axis=1)
    return OctaveTransfer(early, np.repeat(whole[None], len(OCTAVES), axis=0))


def _spectra(signal: NDArray[np.float32], rate: int) -> tuple[NDArray[np.complex64], list[slice]]:
    length = scipy.fft.next_fast_len(max(signal.shape[2], rate // 10), real=True)
    return scipy.fft.rfft(signal, length, axis=2), octave_bins(length, rate)


def _mean(powers: NDArray[np.float32]) -> NDArray[np.float64]:
    total = powers.sum(axis=1, dtype=np.float64)
    return np.asarray(total / max(powers.shape[1], 1))


def _products(spectra: NDArray[np.complex64]) -> NDArray[np.complex128]:
    """Mean of every product of two responses, shape (2, 2, sources, sources)."""
    sources, sides, count = spectra.shape
    rows = spectra.reshape(sources * sides, count)
    mean = np.array([[np.sum(a * b.conj()) for b in rows] for a in rows]) / max(count, 1)
    shaped = mean.reshape(sources, sides, sources, sides)
    return np.asarray(shaped.transpose(1, 3, 0, 2), dtype=np.complex128)
