"""How a hall's sound dies away at one place, octave by octave: as built, and as predicted.

The response comes from the builder of everything that is convolved: an omnidirectional source at a
seat in the middle, an omni at the listener or at the tree. Figures are for rendering, not for the
design of rooms.

Source
------
M. R. Schroeder, "New method of measuring reverberation time", JASA 37 (1965) 409-412; M. Barron,
L.-J. Lee, "Energy relations in concert auditoriums. I", JASA 84 (1988) 618-628: diffuse sound
starts with the direct one and is weaker the further away that is heard.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from math import ceil, dist, exp, hypot, log10, pi

import numpy as np

from seatwright.acoustics.energy_measures import Octave, octaves_of
from seatwright.acoustics.hall_figures import FIGURE_BANDS, HALL_RATE
from seatwright.acoustics.impulse_response import (
    Grid,
    generator_for,
    microphone_responses,
    response_seconds,
)
from seatwright.acoustics.measures import decay_curve, decay_time
from seatwright.acoustics.room import DECAY, Room
from seatwright.stage.bands import BAND_NAMES
from seatwright.stage.microphones import Microphone, Position
from seatwright.stage.seat_rules import NEAREST_MICROPHONE
from seatwright.stage.seats import Source

LOWEST_DB = -60.0
"""Where a curve ends."""

_POINTS = 120
_LEAD_SECONDS = 0.005
_SHORTEST_SECONDS = 0.1
_LEAST = 1e-30


@dataclass(frozen=True)
class BandDecay:
    """Decay of one octave.

    Parameters
    ----------
    band : str
    predicted_seconds : float
        T60 by Eyring's formula.
    edt, t30 : float
        Seconds, read off the curve; nan where it does not reach that far down.
    seconds : tuple of float
        From the direct sound on.
    level_db : tuple of float
        Energy still to come, relative to the whole.
    predicted_db : tuple of float
        The same by Barron's theory.
    """

    band: str
    predicted_seconds: float
    edt: float
    t30: float
    seconds: tuple[float, ...]
    level_db: tuple[float, ...]
    predicted_db: tuple[float, ...]


@dataclass(frozen=True)
class HallDecays:
    """Decays between one seat and one place.

    Parameters
    ----------
    seat : str
    where : str
        The place in words.
    distance : float
        Metres between them.
    bands : tuple of BandDecay
        125 Hz to 8 kHz.
    """

    seat: str
    where: str
    distance: float
    bands: tuple[BandDecay, ...]


def middle_seat(sources: dict[str, Source], place: Position) -> str:
    """The seat next to the middle of all, "" where all are too near to a place to be heard there.

    Parameters
    ----------
    sources : dict of str to Source
    place : tuple of float, shape (3,)
    """
    far = [
        name
        for name, source in sources.items()
        if dist(source.position, place) >= NEAREST_MICROPHONE
    ]
    if not far:
        return ""
    x, y = np.mean([source.position[:2] for source in sources.values()], axis=0)
    return min(far, key=lambda n: hypot(sources[n].position[0] - x, sources[n].position[1] - y))


def hall_decays(room: Room, seat: str, source: Source, place: Position, where: str) -> HallDecays:
    """Decays of a room from a seat to a place.

    Parameters
    ----------
    room : Room
    seat : str
        Chooses the tail's noise, as in all responses of that seat.
    source : Source
        Taken as omnidirectional.
    place : tuple of float, shape (3,)
        Metres, in the hall.
    where : str

    Returns
    -------
    HallDecays
    """
    distance = dist(source.position, place)
    arrival = distance / room.speed
    length = max(response_seconds(room), room.mixing_time + _SHORTEST_SECONDS)
    grid = Grid(HALL_RATE, ceil(length * HALL_RATE), max(0.0, arrival - _LEAD_SECONDS))
    omni = Microphone("decay.omni", "listener", place, 1.0, (0.0, 1.0, 0.0), (1.0, 1.0))
    heard = microphone_responses(
        room,
        replace(source, instrument="other"),
        [((omni,), 0.0)],
        grid,
        [generator_for(room, seat, 0, omni.name)],
    )[0]
    start = round((arrival - grid.origin) * HALL_RATE)
    octaves = octaves_of(heard, HALL_RATE, start, FIGURE_BANDS)
    bands = (
        _band_decay(room, distance, band, octave)
        for band, octave in zip(FIGURE_BANDS, octaves, strict=True)
    )
    return HallDecays(seat, where, distance, tuple(bands))


def _band_decay(room: Room, distance: float, band: int, octave: Octave) -> BandDecay:
    curve = decay_curve(octave.signal)[octave.start :]
    last = int(np.argmax(curve < LOWEST_DB)) or len(curve)
    taken = np.unique(np.linspace(0, last - 1, min(_POINTS, last)).round().astype(int))
    seconds = tuple(float(n / octave.rate) for n in taken)
    edt, t30 = (
        decay_time(octave.signal, octave.rate, kind, octave.start) for kind in ("EDT", "T30")
    )
    return BandDecay(
        BAND_NAMES[band],
        room.reverberation[band],
        edt,
        t30,
        seconds,
        tuple(float(level) for level in curve[taken]),
        tuple(predicted_level(room, distance, band, time) for time in seconds),
    )


def predicted_level(room: Room, distance: float, band: int, seconds: float) -> float:
    """Energy still to come some time after the direct sound, by Barron's theory.

    Parameters
    ----------
    room : Room
    distance : float
        Metres of the direct sound.
    band : int
        Index into `OCTAVE_BANDS`.
    seconds : float
        0: just after the direct sound.

    Returns
    -------
    float
        dB relative to everything, the direct sound included.
    """
    time = max(room.reverberation[band], 1e-6)
    per_second = 4.0 * pi * room.speed / room.volume
    diffuse = per_second * time / DECAY * exp(-DECAY * distance / room.speed / time)
    direct = exp(-room.air[band] * distance) / distance**2
    left = diffuse * exp(-DECAY * max(0.0, seconds) / time)
    return 10.0 * log10(max(left / (direct + diffuse), _LEAST))
