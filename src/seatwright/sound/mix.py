"""Sums of bounces: the mix, the one trim all outputs share, and what the meters say.

Conventions: blocks are float32, shape (outputs, 2, frames); levels in dB.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from seatwright.sound.loudness import LoudnessMeter, PeakMeter

CEILING_DB = -1.0
"""dBTP that no output exceeds where the trim is automatic (EBU R 128)."""


def with_mix(buses: NDArray[np.float32], sections: int) -> NDArray[np.float32]:
    """Put the mix, the sum of the first `sections` buses in float64, before all buses.

    Parameters
    ----------
    buses : ndarray, shape (buses, 2, frames)
    sections : int

    Returns
    -------
    ndarray, shape (1 + buses, 2, frames)
    """
    mix = buses[:sections].sum(axis=0, dtype=np.float64).astype(np.float32)
    return np.concatenate([mix[None], buses])


@dataclass(frozen=True)
class Levels:
    """What the meters say of one output, before any trim.

    Parameters
    ----------
    integrated : float
        LUFS, -inf for silence.
    true_peak_db : float
        dBTP.
    sample_peak_db : float
        dBFS.
    """

    integrated: float
    true_peak_db: float
    sample_peak_db: float


class Meters:
    """Loudness and peak of every output while it streams by.

    Parameters
    ----------
    outputs : int
    rate : int
        Samples per second.
    """

    def __init__(self, outputs: int, rate: int):
        self._loudness = [LoudnessMeter(rate) for _ in range(outputs)]
        self._peaks = [PeakMeter(rate) for _ in range(outputs)]

    def add(self, block: NDArray[np.float32]) -> None:
        """Take in the next block, shape (outputs, 2, frames)."""
        for output, signal in enumerate(block):
            self._loudness[output].add(signal.T)
            self._peaks[output].add(signal.T)

    @property
    def levels(self) -> tuple[Levels, ...]:
        """Of each output so far."""
        return tuple(
            Levels(loudness.integrated, peak.true_peak_db, peak.sample_peak_db)
            for loudness, peak in zip(self._loudness, self._peaks, strict=True)
        )


def common_trim(levels: tuple[Levels, ...]) -> float:
    """The one gain in dB, at most 0, that keeps every output at or below the ceiling."""
    highest = max((level.true_peak_db for level in levels), default=-np.inf)
    return min(0.0, CEILING_DB - highest)
