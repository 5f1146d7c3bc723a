"""What a stem's samples tell in steps of 10 ms: level, offset, image, how it ends, where it sounds.

Conventions: signals are (channels, frames), float32, at +-1 full scale. Sums run over steps that
begin at the stem's start, so that no figure depends on how the stem is cut.
"""

from __future__ import annotations

from itertools import combinations_with_replacement
from math import inf, log10, sqrt

import numpy as np
from numpy.typing import NDArray

from seatwright.sound.band_envelopes import STEP_SECONDS
from seatwright.sound.peaks import decibels
from seatwright.sound.room_part import SILENCE_DBFS

_SILENCE = np.float32(10.0 ** (SILENCE_DBFS / 20.0))
_ENDING_SECONDS = 0.02
_LOUD_PERCENTILE = 95.0
_GOLDEN = 0.5 * (5.0**0.5 - 1.0)
_NEAR_END = 1024

Planes = NDArray[np.float32]


class SoundingSpan:
    """First and last frame that rise to -70 dBFS; both -1 where none does.

    Attributes
    ----------
    first, last : int
    """

    def __init__(self) -> None:
        self.first, self.last, self._frames = -1, -1, 0

    def add(self, planes: Planes) -> None:
        """Take in the next samples, shape (channels, frames)."""
        start, frames = self._frames, planes.shape[1]
        self._frames += frames
        for piece in (planes[:, -_NEAR_END:], planes):  # music mostly sounds near every end
            sounding = np.flatnonzero((np.abs(piece) >= _SILENCE).any(axis=0))
            if len(sounding):
                self.last = start + frames - piece.shape[1] + int(sounding[-1])
                break
        if self.first < 0 <= self.last:
            self.first = start + int(np.argmax((np.abs(planes) >= _SILENCE).any(axis=0)))


class StepMeter:
    """Sum and energy of each 10 ms, one frame of each, and the last 20 ms as they are.

    Parameters
    ----------
    rate : int
        Samples per second.
    channels : int
        1 or 2.

    Attributes
    ----------
    same_channels : bool
        Left and right are equal sample for sample.
    """

    def __init__(self, rate: int, channels: int):
        self._step = round(rate * STEP_SECONDS)
        self._ending_frames = round(rate * _ENDING_SECONDS)
        self._rest: Planes = np.zeros((channels, 0), dtype=np.float32)
        self._ending: Planes = self._rest
        self._frames = 0
        self._sums: list[Planes] = []
        self._products: list[NDArray[np.float32]] = []
        self._excerpts: list[Planes] = []
        self.same_channels = channels == 2

    def add(self, planes: Planes) -> None:
        """Take in the next samples, shape (channels, frames); any cut gives the same result."""
        joined = np.concatenate([self._rest, planes], axis=1) if self._rest.size else planes
        whole = joined.shape[1] // self._step * self._step
        steps = joined[:, :whole].reshape(len(joined), -1, self._step)
        self._excerpts.append(self._picked(steps))
        self._sums.append(np.einsum("csf->cs", steps))
        self._products.append(_products(steps))
        self._rest = joined[:, whole:].copy()
        end = self._ending_frames
        self._ending = np.concatenate([self._ending, planes[:, -end:]], axis=1)[:, -end:]
        self._frames += planes.shape[1]
        if self.same_channels:
            self.same_channels = bool(np.array_equal(planes[0], planes[1]))

    @property
    def dc_dbfs(self) -> float:
        """Mean of the channel with the largest."""
        every = np.concatenate([*self._sums, self._rest.sum(axis=1, keepdims=True)], axis=1)
        mean = every.sum(axis=1, dtype=np.float64) / max(self._frames, 1)
        return decibels(float(np.abs(mean).max()))

    @property
    def balance_db(self) -> float | None:
        """Left over right, by energy; None for one channel or silence."""
        left, right, _ = self._energies
        if len(self._rest) == 1 or left == right == 0.0:
            return None
        return 10.0 * log10(left / right) if left and right else (inf if left else -inf)

    @property
    def correlation(self) -> float | None:
        """Of left and right, -1 to 1; None where either is silent."""
        left, right, shared = self._energies
        if len(self._rest) == 1 or left == 0.0 or right == 0.0:
            return None
        return shared / sqrt(left * right)

    @property
    def _energies(self) -> tuple[float, float, float]:
        """Of the first channel, of the last one, and what the two share."""
        ending = _products(self._rest[:, None])
        totals = np.concatenate([*self._products, ending], axis=1).sum(axis=1, dtype=np.float64)
        return float(totals[0]), float(totals[-1]), float(totals[len(totals) // 2])

    @property
    def ending_db(self) -> float:
        """Level of the ending over that of the loud steps; -inf where either is nothing."""
        products = np.concatenate([*self._products, _products(self._rest[:, :0, None])], axis=1)
        energies = products[0] if len(products) == 1 else products[0] + products[-1]
        sounding = energies[energies > 0.0] / self._step
        ending = np.square(self._ending, dtype=np.float64).sum() / max(self._ending.shape[1], 1)
        if len(sounding) == 0 or ending <= 0.0:
            return -inf
        return 10.0 * log10(ending / float(np.percentile(sounding, _LOUD_PERCENTILE)))

    @property
    def excerpt(self) -> Planes:
        """One frame of each step, shape (steps, channels)."""
        return np.ascontiguousarray(np.concatenate([*self._excerpts, self._rest[:, :0]], axis=1).T)

    def _picked(self, steps: Planes) -> Planes:
        """One frame of each step, at a place scattered so that no two tones look alike."""
        counted = sum(part.shape[1] for part in self._excerpts)
        number = np.arange(counted, counted + steps.shape[1], dtype=np.float64)
        places = (number**2 * _GOLDEN) % 1.0 * self._step
        return steps[:, np.arange(steps.shape[1]), places.astype(np.int64)]


def _products(steps: Planes) -> NDArray[np.float32]:
    """Energy of each step, and of two channels left, shared and right, shape (1 or 3, steps)."""
    # einsum rather than BLAS, whose own threads would be in the way
    pairs = combinations_with_replacement(steps, 2)
    return np.stack([np.einsum("sf,sf->s", one, two) for one, two in pairs])
