"""How strongly an instrument radiates in each direction, per octave band.

Every direct sound and every reflection passes through here with the direction in which it left the
instrument. The whole radiated energy does not depend on the pattern: turning an instrument changes
where its energy goes, not how much. What is heard is relative to where its stem was recorded from.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from math import cos, radians, sin

import numpy as np
from numpy.typing import NDArray

from seatwright.acoustics.radiation_table import RADIATION
from seatwright.stage.bands import OCTAVE_BANDS
from seatwright.stage.instruments import INSTRUMENTS
from seatwright.stage.seats import Source

_FLAT = np.ones(len(OCTAVE_BANDS))
_SIDEWAYS = np.arange(-45.0, 46.0, 15.0)
_UPWARDS = np.arange(0.0, 46.0, 15.0)
_LEAST = 1e-30
"""Keeps the logarithm finite exactly behind a lobe, whose energy there is 0."""


def radiation(source: Source, directions: NDArray[np.float64]) -> NDArray[np.float64]:
    """Amplitude an instrument radiates, relative to its mean over all directions.

    Parameters
    ----------
    source : Source
        Its instrument and the way it faces.
    directions : ndarray, shape (..., 3)
        Unit vectors from the source, in the scene's frame.

    Returns
    -------
    ndarray, shape (..., 9)
        Linear amplitude per octave band; the mean square over the sphere is 1. Not to be written
        to: it may be a view of one row.

    Raises
    ------
    KeyError
        If the instrument is not in the table.
    """
    pattern = _pattern(source.instrument, source.facing)
    if len(pattern.axes) == 0:
        return np.broadcast_to(_FLAT, (*directions.shape[:-1], len(_FLAT)))
    heights = np.log(np.maximum(0.5 + 0.5 * (directions @ pattern.axes.T), _LEAST))
    energy = np.broadcast_to(pattern.everywhere, (*directions.shape[:-1], len(_FLAT))).copy()
    for lobe, (weight, sharpness) in enumerate(
        zip(pattern.weights, pattern.sharpness, strict=True)
    ):
        energy += weight * np.exp(heights[..., lobe, None] * sharpness)
    return np.sqrt(energy, out=energy)


def is_omni(instrument: str) -> bool:
    """Whether an instrument radiates alike in all directions."""
    return not RADIATION[instrument].lobes


@lru_cache(maxsize=256)
def recorded_gains(instrument: str, facing: float) -> tuple[float, ...]:
    """Amplitude an instrument radiates to where microphones usually stand when it is recorded.

    A stem holds the colour of that direction already; a seat's response is divided by it, so that
    an instrument facing its microphones sounds as it was exported and its room as much darker as
    it sends less there.

    Parameters
    ----------
    instrument : str
    facing : float
        Degrees of its main axis.

    Returns
    -------
    tuple of float, shape (9,)
        Root mean square in front of the player: 45 degrees to either side, 0 to 45 degrees up
        (common practice, no source). At least 1: what points away from its microphones, as a
        horn's bell does, is recorded by what comes back from all directions.
    """
    front = facing - INSTRUMENTS[instrument].turned
    bearings, rises = np.meshgrid(front + _SIDEWAYS, _UPWARDS, indexing="ij")
    axes = np.array([lobe_axis(b, r) for b, r in zip(bearings.flat, rises.flat, strict=True)])
    gains = radiation(Source((0.0, 0.0, 0.0), facing, instrument), axes)
    power = np.average(gains**2, axis=0, weights=np.cos(np.radians(rises.ravel())))
    return tuple(max(1.0, float(value)) for value in np.sqrt(power))


@dataclass(frozen=True)
class _Pattern:
    """Lobes in the scene's frame: axes (lobes, 3), the others (lobes, 9) and (9,), normalised."""

    axes: NDArray[np.float64]
    weights: NDArray[np.float64]
    sharpness: NDArray[np.float64]
    everywhere: NDArray[np.float64]


@lru_cache(maxsize=256)
def _pattern(instrument: str, facing: float) -> _Pattern:
    row = RADIATION[instrument]
    mean = np.array(row.mean)
    axes = [lobe_axis(facing + lobe.azimuth, lobe.elevation) for lobe in row.lobes]
    return _Pattern(
        np.array(axes).reshape(-1, 3),
        np.array([lobe.weight for lobe in row.lobes]).reshape(-1, len(mean)) / mean,
        np.array([lobe.sharpness for lobe in row.lobes]).reshape(-1, len(mean)),
        np.array(row.everywhere) / mean,
    )


def lobe_axis(bearing: float, elevation: float) -> tuple[float, float, float]:
    """Unit vector of a direction in the scene's frame.

    Parameters
    ----------
    bearing : float
        Degrees, 0 straight upstage, positive to the audience's right.
    elevation : float
        Degrees above the horizontal.
    """
    turned, rise = radians(bearing), radians(elevation)
    return sin(turned) * cos(rise), cos(turned) * cos(rise), sin(rise)
