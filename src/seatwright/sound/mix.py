"""Sums of bounces: the mix, the one trim all outputs share, and what the meters say.

Conventions: signals are float32, shape (2, frames); levels in dB.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from concurrent.futures import Future, ThreadPoolExecutor
from dataclasses import dataclass
from math import floor, isfinite, nan

import numpy as np
from numpy.typing import NDArray

from seatwright.sound.loudness import LoudnessMeter
from seatwright.sound.peaks import PeakMeter
from seatwright.sound.spectra import Picture, SpectrumMeter

_PIECE = 2**15

_MEASURED = 2**17
"""Samples measured at a time: shorter ones fit the cache, but threads wait for each other then."""

CEILING_DB = -1.0
"""dBTP that no output exceeds where the trim is automatic (EBU R 128)."""


Signal = NDArray[np.float32] | None
"""Of shape (2, frames); None is silence."""


def section_sum(groups: Iterable[Signal]) -> Signal:
    """Sum of a section's groups, in their order.

    Parameters
    ----------
    groups : iterable of Signal

    Returns
    -------
    Signal
        One of them where only one sounds; None where none does.
    """
    total: Signal = None
    own = False
    for signal in groups:
        if signal is None:
            continue
        if total is None:
            total = signal
        elif own:
            total += signal
        else:
            total, own = total + signal, True
    return total


def mix_sum(sections: Iterable[Signal], frames: int) -> NDArray[np.float32]:
    """Sum of all sections, in float64, shape (2, frames)."""
    sounding = [signal for signal in sections if signal is not None]
    mix = np.empty((2, frames), np.float32)
    total = np.empty((2, _PIECE))
    for first in range(0, frames, _PIECE):  # stays in the processor's cache
        part = total[:, : min(_PIECE, frames - first)]
        part[:] = 0.0
        for signal in sounding:
            part += signal[:, first : first + _PIECE]
        mix[:, first : first + _PIECE] = part
    return mix


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
    loudness_range : float
        LU; nan for less than 3 s or silence.
    """

    integrated: float
    true_peak_db: float
    sample_peak_db: float
    loudness_range: float = nan


class Meters:
    """Loudness, peak, spectrum and course of every output while it streams by.

    Outputs are measured side by side; `add` returns while the block is still being measured.

    Parameters
    ----------
    outputs : int
    rate : int
        Samples per second.
    threads : int
        Does not change the result.
    """

    def __init__(self, outputs: int, rate: int, threads: int = 1):
        self._loudness = [LoudnessMeter(rate) for _ in range(outputs)]
        self._peaks = [PeakMeter(rate) for _ in range(outputs)]
        self._spectra = [SpectrumMeter(rate) for _ in range(outputs)]
        self._pool = ThreadPoolExecutor(max(1, threads))
        self._pending: list[Future[None]] = []

    def add(self, signals: Sequence[NDArray[np.float32]] | NDArray[np.float32]) -> None:
        """Take in the next block of every output, shape (2, frames), which nobody changes later."""
        self.wait()
        self._pending = [
            self._pool.submit(self._measure, output, signal)
            for output, signal in enumerate(signals)
        ]

    def _measure(self, output: int, signal: NDArray[np.float32]) -> None:
        for first in range(0, signal.shape[1], _MEASURED):
            piece = signal[:, first : first + _MEASURED].T
            self._loudness[output].add(piece)
            self._peaks[output].add(piece)
            self._spectra[output].add(piece)

    def wait(self) -> None:
        """Until everything taken in is measured, so that its memory can go."""
        for measured in self._pending:
            measured.result()
        self._pending = []

    @property
    def levels(self) -> tuple[Levels, ...]:
        """Of each output so far."""
        self.wait()
        return tuple(
            Levels(loudness.integrated, peak.true_peak_db, peak.sample_peak_db, loudness.range)
            for loudness, peak in zip(self._loudness, self._peaks, strict=True)
        )

    @property
    def pictures(self) -> tuple[Picture, ...]:
        """Of each output so far, before any trim."""
        self.wait()
        return tuple(spectrum.picture for spectrum in self._spectra)

    def close(self) -> None:
        """End the threads."""
        self._pool.shutdown(cancel_futures=True)


def common_trim(levels: tuple[Levels, ...]) -> float:
    """The one gain in dB, at most 0, that keeps every output at or below the ceiling.

    Whole hundredths, rounded down, so that the figure a person reads and gives to another render
    is the gain itself.
    """
    highest = float(np.max([level.true_peak_db for level in levels], initial=-np.inf))
    if highest <= CEILING_DB or not isfinite(highest):  # NaN, Inf: who writes it names the sample
        return 0.0
    return floor(100.0 * (CEILING_DB - highest)) / 100.0
