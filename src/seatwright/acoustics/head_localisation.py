"""Where a listener with headphones hears a seat, by the delay between the two ears.

Below about 1.5 kHz the delay between the ears decides to which side a source is heard. It is read
off the direct sound at the ears by cross-correlation, and turned into an angle by what the same
head gives for plane sources all round the front: whatever head it is, it is its own measure.

Source
------
F. L. Wightman, D. J. Kistler, "The dominant role of low-frequency interaural time differences in
sound localization", JASA 91 (1992) 1648-1661; the delays themselves are the head's own.
"""

from __future__ import annotations

from functools import lru_cache
from math import asin, atan2, cos, degrees, pi, radians, sin

import numpy as np
from numpy.typing import NDArray

from seatwright.acoustics.head import ear_axes
from seatwright.acoustics.impulse_response import Grid, early_at_head
from seatwright.acoustics.listening import Listening, travel_time
from seatwright.stage.seats import Source

HIGHEST_HERTZ = 1500.0
"""Above it the delay of the fine structure is of no use to a listener."""

_RATE = 48_000
_LEAD_SECONDS, _SECONDS = 0.005, 0.02
_LENGTH = 4096
_LAGS = np.arange(-1.1e-3, 1.1e-3, 2e-6)
_TABLE_METRES = 4.0


def interaural_delay(ears: NDArray[np.float32], rate: int) -> float:
    """Seconds by which the left ear hears later than the right, positive for sources on the right.

    Parameters
    ----------
    ears : ndarray, shape (2, frames)
        Direct sound at the left and right ear.
    rate : int
        Samples per second.

    Returns
    -------
    float
        The lag at which the cross-correlation below 1.5 kHz is largest, to 2 microseconds.
    """
    spectra = np.fft.rfft(ears, max(_LENGTH, ears.shape[1]), axis=1)
    frequency = np.fft.rfftfreq(max(_LENGTH, ears.shape[1]), 1.0 / rate)
    low = frequency < HIGHEST_HERTZ
    weight = np.cos(0.5 * pi * frequency[low] / HIGHEST_HERTZ) ** 2
    cross = weight * spectra[0, low] * np.conj(spectra[1, low])
    sums = (np.exp(2j * pi * np.outer(_LAGS, frequency[low])) @ cross).real
    return float(_LAGS[int(np.argmax(sums))])


def bearing_from_head(listening: Listening, source: Source) -> float:
    """Degrees from the nose at which a source lies, right positive.

    Behind the ears it is mirrored to the front, where a head that does not turn may hear it.
    """
    towards = np.subtract(source.position, listening.ears.position)
    ahead = float(towards @ np.array(listening.ears.facing))
    right = float(towards @ ear_axes(listening.ears)[1])
    return degrees(atan2(right, abs(ahead)))


def bearing_at_head(listening: Listening, source: Source) -> float:
    """Degrees from the nose at which a listener hears a source, right positive.

    Parameters
    ----------
    listening : Listening
    source : Source

    Returns
    -------
    float
        -90 to 90, in front; for a source above or below the plane of the ears, the bearing that
        its delay belongs to there.
    """
    delay = delay_at_head(listening, source)
    bearings, delays = _own_delays(listening)
    lateral = radians(float(np.interp(delay, delays, bearings)))
    rise = source.position[2] - listening.ears.position[2]
    level = float(np.linalg.norm(np.subtract(source.position, listening.ears.position)))
    steepness = cos(asin(max(-1.0, min(1.0, rise / level))))
    return degrees(asin(max(-1.0, min(1.0, sin(lateral) / max(steepness, 1e-6)))))


def delay_at_head(listening: Listening, source: Source) -> float:
    """Seconds by which the left ear hears a source's direct sound later than the right."""
    return interaural_delay(_direct_at_ears(listening, source), _RATE)


def _direct_at_ears(listening: Listening, source: Source) -> NDArray[np.float32]:
    arrival = travel_time(listening.room, source, listening.ears.position)
    grid = Grid(_RATE, int(_SECONDS * _RATE), arrival - _LEAD_SECONDS)
    early, _ = early_at_head(
        listening.room, source, listening.ears, grid, max_order=0, head=listening.head
    )
    return early


@lru_cache(maxsize=8)
def _own_delays(listening: Listening) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Bearings from -90 to 90 degrees and this head's delays there, which never fall."""
    bearings = np.arange(-90.0, 91.0, 5.0)
    forward, right = np.array(listening.ears.facing), ear_axes(listening.ears)[1]
    delays = []
    for bearing in np.radians(bearings):
        direction = np.cos(bearing) * forward + np.sin(bearing) * right
        x, y, z = (np.array(listening.ears.position) + _TABLE_METRES * direction).tolist()
        delays.append(
            interaural_delay(_direct_at_ears(listening, Source((x, y, z), 0.0, "other")), _RATE)
        )
    return bearings, np.maximum.accumulate(np.array(delays))
