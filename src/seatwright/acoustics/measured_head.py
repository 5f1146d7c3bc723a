"""A head whose responses were measured: a filter and a delay for each ear and any direction.

Conventions: the head's frame, as in AES69: x ahead, y to the left, z up; delays in seconds from
the passage of a wave through the head's centre.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from functools import lru_cache
from math import pi

import numpy as np
from numpy.typing import NDArray

from seatwright.acoustics.aligned_filters import response_spectra
from seatwright.acoustics.band_weights import transform_frequencies
from seatwright.acoustics.direction_triangles import Triangles, solid_angles, triangles
from seatwright.acoustics.head import mixing_matrices

_MIRROR = np.array([1.0, -1.0, 1.0])


@dataclass(frozen=True, eq=False)
class MeasuredHead:
    """A set of measured responses, as `head_preparation.prepared_head` makes it.

    Parameters
    ----------
    name : str
        What was measured.
    credit : str
        By whom, and under which terms.
    rate : int
        Samples per second of the filters.
    directions : ndarray, shape (n, 3)
        Unit vectors, no two alike, no wide hole between them.
    delays_measured : ndarray, shape (n, ears)
        Seconds from the passage of a wave through the head's centre to the onset at the ear. Left
        and right ear; the left alone where the right hears the mirrored direction alike.
    onset : int
        Tap of every filter that stands at its delay.
    taps : ndarray, shape (n, ears, taps)
        Filters without their delays, equalised to a diffuse field.
    """

    name: str
    credit: str
    rate: int
    directions: NDArray[np.float64]
    delays_measured: NDArray[np.float64]
    onset: int
    taps: NDArray[np.float32] = field(repr=False)

    def lead(self, rate: int) -> int:
        """Taps of a filter before its delay's instant."""
        return round(self.onset / self.rate * rate)

    def delays(self, directions: NDArray[np.float64], speed: float) -> NDArray[np.float64]:
        """Seconds by which each ear hears a wave after the head's centre would.

        Parameters
        ----------
        directions : ndarray, shape (n, 3)
            Where waves come from.
        speed : float
            m/s; not used: delays are as they were measured.

        Returns
        -------
        ndarray, shape (n, 2)
        """
        return np.stack(
            [
                np.einsum("nc,nc->n", weights, self.delays_measured[corners, ear])
                for ear, corners, weights in self._at_ears(directions)
            ],
            axis=1,
        )

    def filters(
        self, directions: NDArray[np.float64], rate: int, speed: float
    ) -> NDArray[np.float32]:
        """Filters of both ears without their delays, shape (n, 2, taps); `speed` is not used."""
        bank = head_bank(self, rate)
        found = np.empty((len(directions), 2, bank.shape[2]), dtype=np.float32)
        for side, (ear, corners, weights) in enumerate(self._at_ears(directions)):
            parts = weights.astype(np.float32)
            found[:, side] = parts[:, :1] * bank[corners[:, 0], ear]
            for corner in (1, 2):
                found[:, side] += parts[:, corner, None] * bank[corners[:, corner], ear]
        return found

    def mixing(
        self, rate: int, length: int, speed: float
    ) -> tuple[NDArray[np.complex64], NDArray[np.float32]]:
        """As `head.head_mixing`, from all directions of the set by their share of the sphere."""
        return _measured_mixing(self, rate, length)

    def _at_ears(
        self, directions: NDArray[np.float64]
    ) -> list[tuple[int, NDArray[np.int64], NDArray[np.float64]]]:
        """For each side: which ear of the set, between which directions, how near to each."""
        hull = head_triangles(self)
        left = hull.weights(directions)
        if self.taps.shape[1] == 2:
            return [(0, *left), (1, *left)]
        return [(0, *left), (0, *hull.weights(directions * _MIRROR))]


@lru_cache(maxsize=8)
def head_triangles(head: MeasuredHead) -> Triangles:
    """The hull of a head's directions."""
    return triangles(head.directions)


@lru_cache(maxsize=8)
def head_bank(head: MeasuredHead, rate: int) -> NDArray[np.float32]:
    """Filters at a rate, without their delays.

    Parameters
    ----------
    head : MeasuredHead
    rate : int
        Samples per second.

    Returns
    -------
    ndarray, shape (n, ears, taps)
        Tap `head.lead(rate)` stands at the delay.
    """
    if rate == head.rate:
        return head.taps
    count, ears, measured = head.taps.shape
    taps, shift = round(measured * rate / head.rate), head.lead(rate) / rate
    length = 2 * taps
    frequency = transform_frequencies(length, rate)
    spectra = response_spectra(head.taps.reshape(count * ears, measured), head.rate, frequency)
    audible = np.clip((0.5 * rate - frequency) / (0.08 * rate), 0.0, 1.0)
    spectra *= np.exp(2j * pi * frequency * (head.onset / head.rate - shift)) * audible
    bank = np.fft.irfft(spectra, length, axis=1)[:, :taps]
    filters = bank.reshape(count, ears, taps).astype(np.float32)
    filters.setflags(write=False)
    return filters


@lru_cache(maxsize=8)
def _measured_mixing(
    head: MeasuredHead, rate: int, length: int
) -> tuple[NDArray[np.complex64], NDArray[np.float32]]:
    bank, shares = head_bank(head, rate), solid_angles(head.directions)
    coarse = 4 * bank.shape[2]
    frequency = transform_frequencies(coarse, rate)
    spectra = np.fft.rfft(bank, coarse, axis=2)
    spectra *= np.exp(-2j * pi * frequency * head.delays_measured[:, :, None])
    left, right = spectra[:, 0], spectra[:, -1]
    if spectra.shape[1] == 1:
        # the right ear hears each direction as the left ear hears its mirror image
        mirrored = head.filters(head.directions * _MIRROR, rate, 0.0)[:, 0]
        late = head.delays(head.directions * _MIRROR, 0.0)[:, :1]
        right = np.fft.rfft(mirrored, coarse, axis=1) * np.exp(-2j * pi * frequency * late)
    powers = [shares @ np.abs(ear) ** 2 for ear in (left, right)]
    crossed = shares @ (right * np.conj(left))
    return mixing_matrices(frequency, (powers[0], powers[1]), crossed, length, rate)
