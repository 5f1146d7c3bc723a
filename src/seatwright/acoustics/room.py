"""The room as sound meets it: surfaces after any target reverberation, air, decay, mixing time.

Figures are for rendering, not for the design of rooms.

Source
------
C. F. Eyring, "Reverberation time in 'dead' rooms", JASA 1 (1930) 217-241.
A. Lindau, L. Kosanke, S. Weinzierl, "Perceptual evaluation of model- and signal-based predictors
of the mixing time", JAES 60 (2012): sqrt(V) in ms as the classical estimate.
"""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Callable
from dataclasses import dataclass
from functools import lru_cache
from math import inf, log, sqrt

import numpy as np
from numpy.typing import NDArray

from seatwright.acoustics.air import air_loss, speed_of_sound
from seatwright.errors import Fault, SceneError
from seatwright.stage.bands import Bands
from seatwright.stage.hall import Hall

DECAY = 6.0 * log(10.0)
"""A reverberation time is the time in which energy falls by exp(-13.8155) = 60 dB."""

MEAN_ABSORPTION_RANGE = (0.02, 0.90)
"""What a target reverberation may make of the mean absorption at 500 Hz and 1 kHz."""

MOST_ABSORPTION = 0.9999
"""What a target reverberation may make of one surface: below 1 even where rounding would not be."""

HANDED_OVER = 0.16
"""Share of its reverberation time after which an octave's tail carries it: 10 dB down."""

_MID_BANDS = slice(3, 5)
"""500 Hz and 1 kHz."""


@dataclass(frozen=True)
class Room:
    """A shoebox with everything its responses follow from; hashable, a cache key.

    Parameters
    ----------
    size : tuple of float, shape (3,)
        Width, depth and height in metres.
    low_corner : tuple of float, shape (3,)
        Lowest x, y, z in the scene's frame, metres.
    absorption : tuple, shape (6, 9)
        Energy absorption per surface (floor, ceiling, left, right, upstage, rear) and band.
    scattering : tuple, shape (6, 9)
        Scattered share of the reflected energy.
    air : tuple of float, shape (9,)
        Energy attenuation exponent in 1/m.
    speed : float
        Speed of sound in m/s.
    reverberation : tuple of float, shape (9,)
        T60 in seconds by Eyring's formula with air.
    mixing_time : float
        Seconds after emission from which the tail carries all energy.
    seed : int
        Chooses the noise of all tails.
    handed_over : float
        Share of an octave's T60 from which its tail carries all energy, if before the mixing time.
    """

    size: tuple[float, float, float]
    low_corner: tuple[float, float, float]
    absorption: tuple[Bands, ...]
    scattering: tuple[Bands, ...]
    air: Bands
    speed: float
    reverberation: Bands
    mixing_time: float
    seed: int = 0
    handed_over: float = inf

    @property
    def volume(self) -> float:
        """Cubic metres."""
        width, depth, height = self.size
        return width * depth * height

    @property
    def areas(self) -> NDArray[np.float64]:
        """Square metres of each surface, shape (6,)."""
        width, depth, height = self.size
        return np.array([width * depth] * 2 + [depth * height] * 2 + [width * height] * 2)

    @property
    def mean_absorption(self) -> NDArray[np.float64]:
        """Area-weighted absorption, shape (9,)."""
        return np.asarray(self.areas @ np.array(self.absorption) / self.areas.sum())

    @property
    def middle_reverberation(self) -> float:
        """Seconds, mean of 500 Hz and 1 kHz: the single figure of ISO 3382-1."""
        return float(np.mean(self.reverberation[_MID_BANDS]))

    @property
    def critical_distance(self) -> float:
        """Metres at which direct and diffuse sound are equally strong at 500 Hz-1 kHz."""
        time = self.middle_reverberation
        return sqrt(DECAY * self.volume / (4.0 * np.pi * self.speed * time))


def reverberation_time(
    volume: float, areas: NDArray[np.float64], absorption: NDArray[np.float64], air: Bands, c: float
) -> Bands:
    """Predict how long a room rings, per octave band, by Eyring's formula with air.

    T = 13.8155 * 4 V / (c (-S ln(1 - a) + 4 m V)); Eyring rather than Sabine because a full stage
    absorbs a lot, and Sabine rings on even when every surface absorbs everything.

    Parameters
    ----------
    volume : float
        V in cubic metres.
    areas : ndarray, shape (surfaces,)
        Square metres, S their sum.
    absorption : ndarray, shape (surfaces, 9)
        Above 0 and below 1; a is their area-weighted mean.
    air : tuple of float, shape (9,)
        m in 1/m.
    c : float
        Speed of sound in m/s.

    Returns
    -------
    tuple of float, shape (9,)
        T60 in seconds.
    """
    surface = areas.sum()
    mean = areas @ absorption / surface
    drain = -surface * np.log1p(-mean) + 4.0 * np.array(air) * volume
    return tuple(float(value) for value in DECAY * 4.0 * volume / (c * drain))


def mixing_time(volume: float) -> float:
    """Seconds after which a hall of this volume in cubic metres is taken as diffuse: sqrt(V) ms."""
    return sqrt(volume) / 1000.0


@lru_cache(maxsize=32)
def room_of(hall: Hall) -> Room:
    """What a hall is to sound, its target reverberation reached.

    Parameters
    ----------
    hall : Hall

    Returns
    -------
    Room

    Raises
    ------
    SceneError
        If the target reverberation is out of reach, saying the range.
    """
    air = air_loss(hall.temperature, hall.humidity)
    speed = speed_of_sound(hall.temperature)
    areas, written = np.array(hall.areas), np.array(hall.absorption)
    absorption = written
    if hall.reverberation is not None:
        absorption = _reaching(hall.reverberation, hall.volume, areas, written, air, speed)
    low = hall.bounds
    return Room(
        size=(hall.size.width, hall.size.depth, hall.size.height),
        low_corner=(low[0][0], low[1][0], low[2][0]),
        absorption=tuple(tuple(float(v) for v in row) for row in absorption),
        scattering=hall.scattering_bands,
        air=air,
        speed=speed,
        reverberation=reverberation_time(hall.volume, areas, absorption, air, speed),
        mixing_time=hall.mixing_time or mixing_time(hall.volume),
        seed=hall.seed,
        handed_over=HANDED_OVER if hall.mixing_time is None else inf,
    )


def _reaching(
    target: float,
    volume: float,
    areas: NDArray[np.float64],
    written: NDArray[np.float64],
    air: Bands,
    speed: float,
) -> NDArray[np.float64]:
    """Scale every surface's absorption exponent -ln(1 - a) by one factor to reach the target."""

    def scaled(log_factor: float) -> NDArray[np.float64]:
        raised = -np.expm1(np.log1p(-written) * np.exp(log_factor))
        return np.asarray(np.minimum(raised, np.maximum(MOST_ABSORPTION, written)))

    def mean_absorption(log_factor: float) -> float:
        return float(np.mean((areas @ scaled(log_factor) / areas.sum())[_MID_BANDS]))

    def time(log_factor: float) -> float:
        bands = reverberation_time(volume, areas, scaled(log_factor), air, speed)
        return float(np.mean(bands[_MID_BANDS]))

    least, most = (_where(mean_absorption, wanted) for wanted in MEAN_ABSORPTION_RANGE)
    longest, shortest = time(least), time(most)
    if not shortest <= target <= longest:
        raise SceneError(
            Fault(
                f"found a target of {target:g} s, wanted {shortest:.2f} to {longest:.2f} s: "
                "what these surfaces can reach in a hall of this size",
                key="hall.reverberation",
            )
        )
    return scaled(_where(lambda x: -time(x), -target))


def _where(rising: Callable[[float], float], value: float) -> float:
    """Where a function that rises between -12 and 12 reaches a value, to within 1e-12."""
    # scipy.optimize would take a tenth of a second to load, each time the program starts
    step = 24.0 / 2**45
    places = range(2**45)
    return bisect_left(places, value, key=lambda place: rising(place * step - 12.0)) * step - 12.0
