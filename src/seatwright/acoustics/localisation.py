"""Where two loudspeakers at +-30 degrees make a listener hear a seat.

A model of summing localisation: an arrival that comes later counts less, as a level that would pull
the image as far as the delay does; the level difference of what remains is turned into an angle.

Source
------
H. Lee, F. Rumsey, "Level and time panning of phantom images for musical sources", JAES 61 (2013)
978-988: an image at 10, 20 and 30 degrees needs about 4.4, 9.4 and 17.1 dB, or 0.23, 0.50 and
1.12 ms (values from memory).
"""

from __future__ import annotations

from math import log10

import numpy as np
from numpy.typing import NDArray

LOUDSPEAKER_ANGLE = 30.0
_ANGLES = np.array([0.0, 10.0, 20.0, 30.0])
_LEVELS = np.array([0.0, 4.4, 9.4, 17.1])
_DELAYS = np.array([0.0, 0.23e-3, 0.50e-3, 1.12e-3])


def level_for_angle(angle: float) -> float:
    """Level difference right minus left in dB that puts an image at an angle within +-30."""
    size = float(np.interp(abs(angle), _ANGLES, _LEVELS))
    return size if angle >= 0.0 else -size


def angle_for_level(level: float) -> float:
    """Angle in degrees, positive to the right, of an image by its level difference in dB."""
    size = float(np.interp(abs(level), _LEVELS, _ANGLES))
    return size if level >= 0.0 else -size


def heard_level_difference(times: NDArray[np.float64], gains: NDArray[np.float64]) -> float:
    """Level difference that pulls an image as far as all these arrivals together.

    Parameters
    ----------
    times : ndarray, shape (arrivals,)
        Seconds.
    gains : ndarray, shape (arrivals, 2)
        Linear amplitude of each into the left and right loudspeaker.

    Returns
    -------
    float
        dB, right minus left; 0 where nothing is heard.
    """
    sounding = np.abs(gains).max(axis=1) > 0.0
    if not sounding.any():
        return 0.0
    late = times - times[sounding].min()
    weight = 10.0 ** (-np.interp(late, _DELAYS, _LEVELS) / 10.0)
    left, right = (gains**2 * weight[:, None]).sum(axis=0)
    tiny = 1e-6 * max(left, right)
    return 10.0 * log10((right + tiny) / (left + tiny))


def heard_bearing(times: NDArray[np.float64], gains: NDArray[np.float64]) -> float:
    """Angle in degrees at which arrivals are heard between loudspeakers, right positive."""
    return angle_for_level(heard_level_difference(times, gains))


def pan_gains(level_difference: float) -> tuple[float, float]:
    """Left and right gains of constant power with a level difference in dB, right minus left."""
    ratio = 10.0 ** (level_difference / 10.0)
    return (1.0 / (1.0 + ratio)) ** 0.5, (ratio / (1.0 + ratio)) ** 0.5
