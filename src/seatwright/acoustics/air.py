"""Air: how fast sound travels and how much of it the air takes.

Conventions: temperature in degrees Celsius, relative humidity in percent, frequency in Hz,
standard pressure 101.325 kPa. Figures are for rendering, not for the design of rooms.

Source
------
ISO 9613-1:1993, "Attenuation of sound during propagation outdoors, Part 1", clause 6; valid for
50 Hz-10 kHz within 10 %, -20 to 50 degrees; used beyond 10 kHz by the same formula.
"""

from __future__ import annotations

from math import exp, log, sqrt

import numpy as np
from numpy.typing import ArrayLike, NDArray

from seatwright.stage.bands import OCTAVE_BANDS, Bands

_REFERENCE_TEMPERATURE = 293.15
_TRIPLE_POINT = 273.16
_ZERO_CELSIUS = 273.15

DB_PER_NEPER_OF_ENERGY = 10.0 / log(10.0)


def speed_of_sound(temperature: float) -> float:
    """Speed of sound in m/s: 343.2 sqrt(T / 293.15 K), ISO 9613-1 annex A."""
    return 343.2 * sqrt((temperature + _ZERO_CELSIUS) / _REFERENCE_TEMPERATURE)


def air_attenuation(
    frequency: ArrayLike, temperature: float, humidity: float
) -> NDArray[np.float64]:
    """Pure-tone attenuation of air.

    Parameters
    ----------
    frequency : array_like
        Hz, any shape.
    temperature : float
        Degrees Celsius.
    humidity : float
        Relative humidity in percent.

    Returns
    -------
    ndarray, shape of `frequency`
        dB per metre, by equations (3) to (5) and annex B of ISO 9613-1.
    """
    squared = np.asarray(frequency, dtype=float) ** 2
    kelvin = temperature + _ZERO_CELSIUS
    ratio = kelvin / _REFERENCE_TEMPERATURE
    saturation = 10.0 ** (-6.8346 * (_TRIPLE_POINT / kelvin) ** 1.261 + 4.6151)
    water = humidity * saturation  # molar concentration of water vapour in percent
    oxygen = 24.0 + 4.04e4 * water * (0.02 + water) / (0.391 + water)
    nitrogen = ratio**-0.5 * (9.0 + 280.0 * water * exp(-4.170 * (ratio ** (-1.0 / 3.0) - 1.0)))
    classical = 1.84e-11 * sqrt(ratio)
    relaxing = ratio**-2.5 * (
        0.01275 * exp(-2239.1 / kelvin) / (oxygen + squared / oxygen)
        + 0.1068 * exp(-3352.0 / kelvin) / (nitrogen + squared / nitrogen)
    )
    return np.asarray(8.686 * squared * (classical + relaxing))


def air_loss(temperature: float, humidity: float) -> Bands:
    """Energy attenuation exponent m of air per octave band in 1/m, shape (9,)."""
    decibels = air_attenuation(OCTAVE_BANDS, temperature, humidity)
    return tuple(float(value) / DB_PER_NEPER_OF_ENERGY for value in decibels)
