"""Matched versions: one stretch of all, at one rate and one loudness."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from seatwright.disk.comparison_set import VersionFile
from seatwright.errors import Fault
from seatwright.listening.comparison import (
    DEFAULT_SECONDS,
    EnergyTrace,
    Level,
    faded,
    loudest_start,
    matching_gains,
    set_rate,
    stretch,
)
from seatwright.sound.loudness import loudness
from seatwright.sound.peaks import PeakMeter

_LENGTHS_APART = 1.0
"""Seconds by which lengths may differ without a word."""


@dataclass(frozen=True)
class MatchedSet:
    """Matched stretches of all versions: samples of shape (frames, 2) and how they came to be."""

    rate: int
    start: float
    samples: tuple[NDArray[np.float32], ...]
    levels: tuple[Level, ...]
    gains: tuple[float, ...]

    @property
    def seconds(self) -> float:
        return len(self.samples[0]) / self.rate


def matched_set(
    files: Sequence[VersionFile], start: float | None, stop: float | None
) -> tuple[MatchedSet, list[Fault]]:
    """Read one stretch of all versions and make it equally loud.

    Parameters
    ----------
    files : sequence of VersionFile
    start, stop : float or None
        Seconds; the loudest 75 s where both are None.

    Returns
    -------
    matched : MatchedSet
    warnings : list of Fault
        What was done to versions that did not come alike.

    Raises
    ------
    SceneError
        If a version is silent, or the stretch is not in all of them.
    StemError
        If a file cannot be read.
    """
    rate = set_rate(files[0].stem.rate)
    frames = min(file.frames(rate) for file in files)
    first, last = _stretch(files, rate, frames, start, stop)
    count = min(round((last - first) * rate), frames - round(first * rate))
    raw = [faded(file.excerpt(rate, round(first * rate), count), rate) for file in files]
    levels = tuple(
        _level(file.name, samples, rate) for file, samples in zip(files, raw, strict=True)
    )
    gains = matching_gains(levels)
    samples = tuple(
        one * np.float32(10.0 ** (gain / 20.0)) for one, gain in zip(raw, gains, strict=True)
    )
    return MatchedSet(rate, round(first * rate) / rate, samples, levels, gains), _doubts(
        files, rate
    )


def _stretch(
    files: Sequence[VersionFile], rate: int, frames: int, start: float | None, stop: float | None
) -> tuple[float, float]:
    seconds = frames / rate
    if start is not None or stop is not None or seconds <= DEFAULT_SECONDS:
        return stretch(start, stop, seconds)
    traces = []
    for file in files:
        trace = EnergyTrace(rate)
        for block in file.blocks(rate, frames):
            trace.add(block)
        traces.append(trace.steps)
    first = loudest_start(traces, DEFAULT_SECONDS)
    return stretch(first, first + DEFAULT_SECONDS, seconds)


def _level(name: str, samples: NDArray[np.float32], rate: int) -> Level:
    meter = PeakMeter(rate)
    meter.add(samples)
    return Level(name, loudness(samples, rate), meter.true_peak_db)


def _doubts(files: Sequence[VersionFile], rate: int) -> list[Fault]:
    """What was done to versions that did not come alike."""
    faults = []
    shortest = min(file.stem.seconds for file in files)
    for file in files:
        path = str(file.stem.path)
        if file.stem.rate != rate:
            faults.append(Fault(f"resampled from {file.stem.rate} to {rate} Hz", file=path))
        if file.stem.channels == 1:
            faults.append(Fault("mono: heard alike in both channels", file=path))
        if file.stem.seconds > shortest + _LENGTHS_APART:
            what = f"{file.stem.seconds:.2f} s long, the shortest version {shortest:.2f} s"
            hint = "compared from their beginnings: mixes that begin elsewhere do not line up"
            faults.append(Fault(what, file=path, hint=hint))
    return faults
