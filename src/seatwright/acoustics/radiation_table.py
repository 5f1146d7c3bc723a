"""Which way each instrument radiates, per octave band: named approximations, not measurements.

An instrument is a sum of smooth lobes over a share that goes everywhere. Strings, woodwinds,
percussion and keyboards follow the main directions that J. Meyer, "Acoustics and the Performance
of Music" (2009), chapter 4, gives in words and sectors (from memory, rounded to lobes by us).
Brass are pistons along the bell: -3 dB where ka sin(angle) = 1.616 (P. M. Morse, K. U. Ingard,
"Theoretical Acoustics"); J. Paetynen and T. Lokki, Acta Acustica 96 (2010) 138-167, found brass
to radiate constantly along the bell; bell radii from memory.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import pi

from seatwright.stage.bands import OCTAVE_BANDS, Bands

_SPEED = 343.2
_PISTON = 1.0617
"""4 ln 2 / 1.616^2: a lobe with p = 1.0617 (ka)^2 is 3 dB down where a piston is."""

_SHARPEST = 40.0


@dataclass(frozen=True)
class Lobe:
    """A direction of strong radiation, in the instrument's own frame.

    Parameters
    ----------
    azimuth : float
        Degrees from the main axis, seen from above, positive to the player's right.
    elevation : float
        Degrees above the horizontal.
    weight : tuple of float, shape (9,)
        Energy in the lobe's middle, relative to the other parts.
    sharpness : tuple of float, shape (9,)
        p of the energy ((1 + cos angle) / 2)^p; 0 goes everywhere.
    """

    azimuth: float
    elevation: float
    weight: Bands
    sharpness: Bands


@dataclass(frozen=True)
class Radiation:
    """How an instrument radiates.

    Parameters
    ----------
    lobes : tuple of Lobe
    everywhere : tuple of float, shape (9,)
        Energy that goes in all directions, relative to the lobes' weights.
    source : str
        What the row rests on.
    """

    lobes: tuple[Lobe, ...]
    everywhere: Bands
    source: str


_EVEN: Bands = (1.0,) * len(OCTAVE_BANDS)
_NONE: Bands = (0.0,) * len(OCTAVE_BANDS)
_MEYER = "Meyer, chapter 4, main directions (from memory, rounded to lobes)"

#             63   125  250  500  1k   2k   4k   8k   16k
_GROWING = (0.0, 0.0, 0.2, 0.6, 1.2, 2.0, 3.0, 4.0, 5.0)
_EARLIER = (0.0, 0.3, 0.8, 1.2, 1.8, 2.5, 3.5, 4.5, 5.5)
_SPARING = (1.0, 1.0, 0.7, 0.5, 0.3, 0.2, 0.12, 0.08, 0.06)
_VOICE_P = (0.0, 0.2, 0.5, 0.9, 1.2, 1.8, 2.6, 3.6, 4.5)
_VOICE_FLOOR = (1.0, 0.8, 0.5, 0.3, 0.25, 0.15, 0.07, 0.03, 0.02)
_LOW_TO_MID = (1.0, 1.0, 1.0, 1.0, 0.9, 0.6, 0.2, 0.05, 0.02)
_HIGH_ONLY = (0.0, 0.0, 0.0, 0.05, 0.2, 0.6, 1.0, 1.0, 1.0)
_GENTLE = (0.3, 0.4, 0.6, 0.8, 1.0, 1.0, 1.2, 1.5, 1.8)
_BEAM = (0.0, 0.0, 0.3, 0.8, 1.5, 3.0, 6.0, 9.0, 12.0)


def _one(azimuth: float, elevation: float, sharpness: Bands, everywhere: Bands) -> Radiation:
    return Radiation((Lobe(azimuth, elevation, _EVEN, sharpness),), everywhere, _MEYER)


def _bell(radius: float, elevation: float = 0.0, azimuth: float = 0.0) -> Radiation:
    """A piston of a radius in metres along the bell; a hundredth goes everywhere."""
    squared = [(2.0 * pi * middle / _SPEED * radius) ** 2 for middle in OCTAVE_BANDS]
    sharpness = tuple(min(_PISTON * ka, _SHARPEST) for ka in squared)
    lobe = Lobe(azimuth, elevation, _EVEN, sharpness)
    source = f"piston of {radius * 100:g} cm along the bell (radius from memory)"
    return Radiation((lobe,), (0.01,) * len(OCTAVE_BANDS), source)


def _reed(bell_elevation: float) -> Radiation:
    """To both sides from the open holes, at high frequencies along the bell."""
    return Radiation(
        (
            Lobe(90.0, 0.0, _LOW_TO_MID, _GENTLE),
            Lobe(-90.0, 0.0, _LOW_TO_MID, _GENTLE),
            Lobe(0.0, bell_elevation, _HIGH_ONLY, _BEAM),
        ),
        _SPARING,
        _MEYER,
    )


_BOWED_HIGH = _one(45.0, 45.0, _GROWING, _SPARING)
_BOWED_LOW = _one(10.0, 15.0, _EARLIER, _SPARING)
_FLUTE = Radiation(
    (Lobe(0.0, 10.0, _EVEN, _GENTLE), Lobe(180.0, 30.0, (0.5,) * 9, _GENTLE)), _SPARING, _MEYER
)
_VOICE = _one(0.0, -5.0, _VOICE_P, _VOICE_FLOOR)
_UPWARD = _one(0.0, 90.0, _GENTLE, _SPARING)
_TWO_FACES = Radiation(
    (Lobe(0.0, 0.0, _EVEN, _GENTLE), Lobe(180.0, 0.0, _EVEN, _GENTLE)), _SPARING, _MEYER
)
_TIMPANI = Radiation(
    (Lobe(0.0, 90.0, (0.6,) * 9, _GENTLE),), (1.0, 1.0, 0.8, 0.6, 0.5, 0.4, 0.3, 0.3, 0.3), _MEYER
)
_HARP = Radiation(
    (Lobe(90.0, 15.0, _EVEN, _GENTLE), Lobe(-90.0, 15.0, _EVEN, _GENTLE)), _SPARING, _MEYER
)
_LID = _one(80.0, 35.0, (0.0, 0.2, 0.5, 0.8, 1.2, 1.8, 2.5, 3.5, 4.5), _SPARING)
_EVERYWHERE = Radiation((), _EVEN, "the same in all directions")

RADIATION: dict[str, Radiation] = {
    "violin": _BOWED_HIGH,
    "viola": _BOWED_HIGH,
    "cello": _BOWED_LOW,
    "double bass": _BOWED_LOW,
    "piccolo": _FLUTE,
    "flute": _FLUTE,
    "alto flute": _FLUTE,
    "oboe": _reed(-30.0),
    "english horn": _reed(-35.0),
    "clarinet": _reed(-40.0),
    "bass clarinet": _reed(20.0),
    "bassoon": _reed(60.0),
    "contrabassoon": _reed(-30.0),
    "saxophone": _bell(0.07, 20.0),
    "horn": _bell(0.155, -5.0, 20.0),
    "trumpet": _bell(0.06, -5.0),
    "trombone": _bell(0.11, -5.0),
    "bass trombone": _bell(0.125, -5.0),
    "tuba": _bell(0.20, 75.0),
    "euphonium": _bell(0.14, 65.0),
    "timpani": _TIMPANI,
    "bass drum": _TWO_FACES,
    "snare drum": _UPWARD,
    "tom-toms": _UPWARD,
    "cymbals": _UPWARD,
    "tam-tam": _TWO_FACES,
    "triangle": _EVERYWHERE,
    "tambourine": _TWO_FACES,
    "glockenspiel": _UPWARD,
    "xylophone": _UPWARD,
    "marimba": _UPWARD,
    "vibraphone": _UPWARD,
    "tubular bells": _EVERYWHERE,
    "percussion": _UPWARD,
    "harp": _HARP,
    "celesta": _TWO_FACES,
    "piano": _LID,
    "organ": _one(0.0, 10.0, _GENTLE, _SPARING),
    "harpsichord": _LID,
    "guitar": _one(0.0, 10.0, _GENTLE, _SPARING),
    "soprano": _VOICE,
    "alto": _VOICE,
    "tenor": _VOICE,
    "bass voice": _VOICE,
    "choir": _VOICE,
    "solo voice": _VOICE,
    "low support": _EVERYWHERE,
    "other": _EVERYWHERE,
}
"""Every known instrument."""
