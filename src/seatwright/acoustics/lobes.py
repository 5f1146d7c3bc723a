"""Lobes: the smooth pieces that an instrument's radiation is put together from.

Conventions: angles in degrees in the frame of `facing`, seen from above: azimuth 0 where it points,
positive to the right of it; elevation positive upwards. Values per octave band, shape (9,); energy
(squared amplitude), of which only the ratios count.

A lobe has the energy ((1 + cos angle) / 2)^p around its axis. It halves at the half angle h where
p = ln 2 / (-2 ln cos(h / 2)), and its mean over the sphere is 1 / (p + 1). Half angles end at 90
degrees (p = 1): a wider lobe would have a cusp behind it, so what is broader than that goes into
the share that radiates everywhere.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import acos, asin, cos, degrees, log, pi, radians

import numpy as np

from seatwright.stage.bands import OCTAVE_BANDS, Bands

SPEED = 343.2
"""m/s at 20 degrees; a pattern does not follow the temperature of the scene's air."""

PISTON_HALF = 1.616
"""ka sin(angle) at which a baffled piston is 3 dB down (Kinsler et al., "Fundamentals of
Acoustics"): 2 J1(v) / v = 0.7071."""

NARROWEST = 15.0
"""Degrees: no bell here beams more narrowly. The wave front in a bell is curved, and players move
(no source; a piston of 11 cm would come down to 3 degrees at 16 kHz)."""

AROUND = 0.05
"""Energy a bell sends everywhere against that of its beam: 13 dB below the mean seen from behind
(no source)."""


@dataclass(frozen=True)
class Lobe:
    """A direction of strong radiation.

    Parameters
    ----------
    azimuth : float
        Degrees to the right of where the instrument faces.
    elevation : float
        Degrees above the horizontal.
    weight : tuple of float, shape (9,)
        Energy along its axis.
    half_angle : tuple of float, shape (9,)
        Degrees from the axis at which this lobe by itself has half its energy, above 0, at most 90.
    """

    azimuth: float
    elevation: float
    weight: Bands
    half_angle: Bands

    def __post_init__(self) -> None:
        if min(self.weight) < 0.0:
            raise ValueError(f"found lobe weights {self.weight}, wanted none below 0")
        if min(self.half_angle) <= 0.0 or max(self.half_angle) > 90.0:
            raise ValueError(f"found half angles {self.half_angle}, wanted above 0 to 90 degrees")

    @property
    def sharpness(self) -> Bands:
        """p of ((1 + cos angle) / 2)^p, shape (9,), at least 1."""
        return tuple(log(2.0) / (-2.0 * log(cos(radians(half / 2.0)))) for half in self.half_angle)


@dataclass(frozen=True)
class Radiation:
    """How an instrument radiates: lobes over a share that goes everywhere.

    Parameters
    ----------
    everywhere : tuple of float, shape (9,)
        Energy in every direction, above 0.
    lobes : tuple of Lobe
        The main one first; none where all directions are alike.
    source : str
        What it rests on.
    """

    everywhere: Bands
    lobes: tuple[Lobe, ...]
    source: str

    def __post_init__(self) -> None:
        if min(self.everywhere) <= 0.0:
            raise ValueError(f"found energy {self.everywhere} everywhere, wanted above 0")

    @property
    def mean(self) -> Bands:
        """Mean energy over the sphere, shape (9,)."""
        return tuple(
            share + sum(lobe.weight[band] / (lobe.sharpness[band] + 1.0) for lobe in self.lobes)
            for band, share in enumerate(self.everywhere)
        )

    def moved(self, octaves: float, source: str) -> Radiation:
        """The radiation of a smaller or larger relative.

        Parameters
        ----------
        octaves : float
            How much higher the relative sounds; what was true of f is true of f 2^octaves.
        source : str
            What the relative's rests on.

        Returns
        -------
        Radiation
            Values between mid-bands by straight lines over octaves, flat beyond the ends.
        """
        lobes = tuple(
            Lobe(
                lobe.azimuth,
                lobe.elevation,
                _moved(lobe.weight, octaves),
                _moved(lobe.half_angle, octaves),
            )
            for lobe in self.lobes
        )
        return Radiation(_moved(self.everywhere, octaves), lobes, source)


def _moved(values: Bands, octaves: float) -> Bands:
    bands = np.arange(len(values), dtype=np.float64)
    return tuple(np.interp(bands - octaves, bands, values).tolist())


def bell(
    radius: float,
    azimuth: float,
    elevation: float,
    source: str,
    narrowest: float = NARROWEST,
    around: float = AROUND,
) -> Radiation:
    """A bell: 3 dB down where a piston of its radius is.

    Below ka = 1.616 a piston is nowhere 3 dB down. There the lobe stays as wide as it gets and
    more goes everywhere, in proportion to ka, which gives the gain along the axis of an open pipe
    (Levine and Schwinger, Phys. Rev. 73 (1948) 383) to 0.3 dB up to ka = 0.55.

    Parameters
    ----------
    radius : float
        Metres.
    azimuth, elevation : float
        Degrees, of the bell's axis.
    source : str
    narrowest : float
        Degrees; least half angle.
    around : float
        Energy everywhere against that of the beam, from ka = 1.616 on.

    Returns
    -------
    Radiation
    """
    bands = [
        _bell_band(2.0 * pi * middle / SPEED * radius, narrowest, around) for middle in OCTAVE_BANDS
    ]
    lobe = Lobe(azimuth, elevation, (1.0,) * len(bands), tuple(half for half, _ in bands))
    return Radiation(tuple(share for _, share in bands), (lobe,), source)


def _bell_band(ka: float, narrowest: float, around: float) -> tuple[float, float]:
    """Half angle in degrees and share everywhere.

    The share lifts the sides more than the axis; the lobe by itself is so much narrower that both
    together are 3 dB down at the piston's angle.
    """
    part = ka / PISTON_HALF
    if part <= 1.0:
        return 90.0, 0.5 * around + (1.0 - part) / part
    half_way = log(cos(0.5 * max(asin(1.0 / part), radians(narrowest))))
    share = around / (log(0.5) / (2.0 * half_way) + 1.0)
    sharpness = log(0.5 * (1.0 - share)) / (2.0 * half_way)
    return degrees(2.0 * acos(0.5 ** (0.5 / sharpness))), share
