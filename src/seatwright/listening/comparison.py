"""What makes versions comparable: one stretch of all, one loudness, no gain above 1.

Conventions: signals are (frames, channels) at +-1 full scale; LUFS and dBTP by ITU-R BS.1770-4.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from math import inf, isfinite

import numpy as np
import scipy.signal
from numpy.typing import NDArray

from seatwright.errors import Fault, SceneError
from seatwright.sound.loudness import ABSOLUTE_GATE, k_weighting
from seatwright.sound.mix import CEILING_DB

STEP_SECONDS = 0.1
"""Grid on which the loudest stretch is looked for."""

DEFAULT_SECONDS = 75.0
FADE_SECONDS = 0.01
SWITCH_SECONDS = 0.015
"""Length of the linear crossfade from one version to another."""

_MARGIN_DB = 0.02
"""Below the ceiling, for what rounding and dither add to a peak."""


class EnergyTrace:
    """K-weighted energy of a signal in steps of 0.1 s, taken in block by block.

    Parameters
    ----------
    rate : int
        Samples per second.
    """

    def __init__(self, rate: int):
        self._filter = k_weighting(rate)
        self._state: NDArray[np.float64] | None = None
        self._step = round(rate * STEP_SECONDS)
        self._rest = np.zeros(0)
        self._energies: list[NDArray[np.float64]] = []

    def add(self, samples: NDArray[np.float32]) -> None:
        """Take in the next samples, shape (frames, channels)."""
        if self._state is None:
            self._state = np.zeros((len(self._filter), 2, samples.shape[1]))
        weighted, self._state = scipy.signal.sosfilt(self._filter, samples, axis=0, zi=self._state)
        power = np.concatenate([self._rest, np.square(weighted).sum(axis=1)])
        whole = len(power) // self._step * self._step
        self._energies.append(power[:whole].reshape(-1, self._step).sum(axis=1))
        self._rest = power[whole:]

    @property
    def steps(self) -> NDArray[np.float64]:
        """Energy of each whole step, shape (steps,)."""
        return np.concatenate([*self._energies, np.zeros(0)])


def loudest_start(traces: Sequence[NDArray[np.float64]], seconds: float) -> float:
    """Where the stretch begins that has most energy in all versions together.

    Parameters
    ----------
    traces : sequence of ndarray, shape (steps,)
        Energy of each version in steps of 0.1 s; each counts alike, however loud it is.
    seconds : float
        Length of the stretch.

    Returns
    -------
    float
        Seconds; the first of equals, 0 where the whole is no longer than the stretch.
    """
    steps = min(len(trace) for trace in traces)
    window = round(seconds / STEP_SECONDS)
    if steps <= window:
        return 0.0
    alike = sum(trace[:steps] / max(float(trace[:steps].sum()), 1e-30) for trace in traces)
    sums = np.concatenate([[0.0], np.cumsum(alike)])
    return float(np.argmax(sums[window:] - sums[:-window])) * STEP_SECONDS


def faded(samples: NDArray[np.float32], rate: int) -> NDArray[np.float32]:
    """The samples with 10 ms of linear fade at both ends, so that a cut does not click."""
    length = min(round(FADE_SECONDS * rate), len(samples) // 2)
    ramp = (np.arange(length, dtype=np.float32) + np.float32(0.5)) / np.float32(max(length, 1))
    ended = samples.copy()
    ended[:length] *= ramp[:, None]
    ended[len(ended) - length :] *= ramp[::-1, None]
    return ended


@dataclass(frozen=True)
class Level:
    """Of a version's stretch before anything is done to it.

    Parameters
    ----------
    name : str
    integrated_lufs, true_peak_dbtp : float
    """

    name: str
    integrated_lufs: float
    true_peak_dbtp: float


def matching_gains(levels: Sequence[Level]) -> tuple[float, ...]:
    """Gains that make all versions equally loud without raising any.

    Parameters
    ----------
    levels : sequence of Level

    Returns
    -------
    tuple of float
        dB, none above 0; with them no true peak exceeds -1 dBTP and the loudness of all is that
        of the quietest, or less where peaks ask for it.

    Raises
    ------
    SceneError
        Naming every version that is silent.
    """
    silent = [level for level in levels if not level.integrated_lufs > ABSOLUTE_GATE]
    if silent:
        raise SceneError(
            Fault(
                f'found silence in version "{level.name}", wanted music in the compared stretch',
                hint="choose another stretch with --from and --to",
            )
            for level in silent
        )
    ceiling = CEILING_DB - _MARGIN_DB
    target = min(
        level.integrated_lufs + min(0.0, ceiling - level.true_peak_dbtp) for level in levels
    )
    return tuple(target - level.integrated_lufs for level in levels)


def rendered_gains(gains: Sequence[float]) -> tuple[float, ...]:
    """Gains on matched versions that bring back the levels between them, none above 0.

    Parameters
    ----------
    gains : sequence of float
        What matching did, dB.

    Returns
    -------
    tuple of float
        dB; 0 for the version that matching attenuated most.
    """
    most = min(gains)
    return tuple(most - gain for gain in gains)


def common_waveform(versions: Sequence[NDArray[np.float32]], places: int = 900) -> tuple[int, ...]:
    """One outline for all versions, since an outline each would tell them apart.

    Returns
    -------
    tuple of int
        Highest magnitude of any version at each place, 0 to 100, the highest of all 100.
    """
    loudest = np.max([np.abs(version).max(axis=1) for version in versions], axis=0)
    places = min(places, len(loudest))
    edges = np.linspace(0, len(loudest), places, endpoint=False).astype(np.int64)
    peaks = np.maximum.reduceat(loudest, edges)
    highest = float(peaks.max(initial=0.0))
    scaled = np.rint(100.0 * peaks / highest) if highest > 0.0 else np.zeros(places)
    return tuple(int(value) for value in scaled)


def set_rate(rate: int) -> int:
    """Samples per second of a set whose first version has `rate`: no more than players take.

    Browsers decode to 48 kHz or less without loss on every machine, and a page stays small.
    """
    if rate <= 48_000:
        return rate
    return 44_100 if rate % 44_100 == 0 else 48_000


def stretch(start: float | None, stop: float | None, seconds: float) -> tuple[float, float]:
    """A stretch asked for by begin and end, within what all versions have.

    Raises
    ------
    SceneError
        Where it is shorter than a second, or begins after the end.
    """
    first = 0.0 if start is None else start
    last = min(inf if stop is None else stop, seconds)
    if start is not None and stop is None:
        last = min(first + DEFAULT_SECONDS, seconds)
    if stop is not None and start is None:
        first = max(0.0, last - DEFAULT_SECONDS)
    if not (isfinite(first) and first >= 0.0 and last - first >= 1.0):
        raise SceneError(
            f"found a stretch from {first:g} s to {last:g} s, wanted at least 1 s within the "
            f"{seconds:.2f} s that all versions have"
        )
    return first, last
