"""Room figures at the listener's seat: what a hall does to a source there, octave by octave.

The responses come from the builder of everything that is convolved: an omni, a figure-eight across
the hall and a head's two ears, all at the place of the scene's head perspective. The figures are by
ISO 3382-1's definitions; the standard asks for an omnidirectional source, so the hall's mean is
taken with one at every seat, while a seat's own figures are with its instrument's radiation.
Figures are for rendering, not for the design of rooms.

Source
------
ISO 3382-1:2009, annexes A and B; table A.1 for the bands that single figures are taken over (from
memory): decay, clarity, definition, centre time and strength over 500 Hz and 1 kHz, lateral energy
over 125 Hz to 1 kHz, interaural correlation over 500 Hz to 2 kHz.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, fields, replace
from math import ceil, nan

import numpy as np
from numpy.typing import NDArray

from seatwright.acoustics.energy_measures import (
    centre_time,
    octave_energies,
    octaves_of,
    pulse_energies,
    strength,
)
from seatwright.acoustics.head import ear_axes
from seatwright.acoustics.impulse_response import (
    Grid,
    generator_for,
    head_responses,
    microphone_responses,
    response_seconds,
)
from seatwright.acoustics.listening import Listening, travel_time
from seatwright.acoustics.measures import decay_time, ratio_db
from seatwright.acoustics.spatial_measures import (
    EARLY_SECONDS,
    interaural_parts,
    lateral_fraction,
)
from seatwright.side_by_side import side_by_side
from seatwright.stage.bands import OCTAVE_BANDS, Bands
from seatwright.stage.microphones import Microphone
from seatwright.stage.seats import Source

FIGURE_BANDS = tuple(range(1, 8))
"""125 Hz to 8 kHz."""

SINGLE_BANDS = tuple(range(1, 6))
"""125 Hz to 2 kHz: all that single figures need."""

HALL_RATE, SINGLE_RATE = 36_000, 12_000
"""Samples per second that suffice for these bands: kernels are flat to two thirds of half of it."""

MOST_PLACES = 12
"""Source places that a hall's mean is taken over; ISO 3382-1 asks for at least six pairs."""

_PLACE_SECONDS = 0.03
"""About what one source's figures take one thread; a figure of 2026."""

_LEAD_SECONDS = 0.005
_SHORTEST_SECONDS = 0.1
"""Kept after the mixing time, however dead the hall: reflections and the early 80 ms are whole."""

_DEFINITION_SECONDS = 0.05
_MIDDLE, _LATERAL, _INTERAURAL = (3, 4), (1, 2, 3, 4), (3, 4, 5)
_AVERAGED_OVER = {
    "lateral_fraction": _LATERAL,
    "late_lateral_db": _LATERAL,
    "iacc_early": _INTERAURAL,
    "iacc_late": _INTERAURAL,
    "iacc": _INTERAURAL,
}


@dataclass(frozen=True)
class RoomFigures:
    """Figures in octave bands, each of shape (9,); nan where a band was not measured.

    Parameters
    ----------
    edt, t20, t30 : tuple of float
        Decay times in seconds.
    clarity_db : tuple of float
        C80.
    definition : tuple of float
        D50, 0 to 1.
    centre_time : tuple of float
        Ts in seconds.
    strength_db, early_strength_db, late_strength_db : tuple of float
        G of the whole response, of its first 80 ms and of the rest.
    lateral_fraction : tuple of float
        J_LF, early lateral energy fraction.
    late_lateral_db : tuple of float
        L_J, lateral energy after 80 ms relative to the free field at 10 m.
    iacc_early, iacc_late, iacc : tuple of float
        Interaural cross-correlation of 0-80 ms, from 80 ms on, and of everything.
    """

    edt: Bands
    t20: Bands
    t30: Bands
    clarity_db: Bands
    definition: Bands
    centre_time: Bands
    strength_db: Bands
    early_strength_db: Bands
    late_strength_db: Bands
    lateral_fraction: Bands
    late_lateral_db: Bands
    iacc_early: Bands
    iacc_late: Bands
    iacc: Bands

    def single(self) -> dict[str, float]:
        """One number a figure, the arithmetic mean over the bands of ISO 3382-1's table A.1."""
        return {
            each.name: float(
                np.mean(
                    [getattr(self, each.name)[b] for b in _AVERAGED_OVER.get(each.name, _MIDDLE)]
                )
            )
            for each in fields(self)
        }


@dataclass(frozen=True)
class Measurement:
    """Responses of one source at the listener's seat.

    Parameters
    ----------
    rate : int
        Samples per second.
    start : int
        Sample of the direct sound at the omni.
    omni, side : ndarray, shape (frames,)
        The latter by a figure-eight along the line through the ears.
    ears : ndarray, shape (2, frames)
    """

    rate: int
    start: int
    omni: NDArray[np.float32]
    side: NDArray[np.float32]
    ears: NDArray[np.float32]


def measured(listening: Listening, source: Source, name: str, rate: int) -> Measurement:
    """Responses of a source at the listener's seat.

    Parameters
    ----------
    listening : Listening
        Its ears say where; no perspective need use them.
    source : Source
    name : str
        Chooses the noise of the tails, as a seat's name does.
    rate : int
        Samples per second.

    Returns
    -------
    Measurement
    """
    room, ears = listening.room, listening.ears
    arrival = travel_time(room, source, ears.position)
    seconds = max(response_seconds(room), room.mixing_time + _SHORTEST_SECONDS)
    grid = Grid(rate, ceil(seconds * rate), max(0.0, arrival - _LEAD_SECONDS))
    pair = _pair(listening)
    generators = [generator_for(room, name, 0, each.name) for each in pair]
    omni, side = microphone_responses(room, source, [(pair, 0.0)], grid, generators)
    heard = _at_ears(listening, source, grid, name)
    return Measurement(rate, round((arrival - grid.origin) * rate), omni, side, heard)


def _pair(listening: Listening) -> tuple[Microphone, Microphone]:
    """An omni and a figure-eight at the middle of the head."""
    place = listening.ears.position
    x, y, z = (float(part) for part in ear_axes(listening.ears)[1])
    return (
        Microphone("listener.omni", "listener", place, 1.0, (0.0, 1.0, 0.0), (1.0, 1.0)),
        Microphone("listener.side", "listener", place, 0.0, (x, y, z), (1.0, 1.0)),
    )


def _at_ears(listening: Listening, source: Source, grid: Grid, name: str) -> NDArray[np.float32]:
    room = listening.room
    generators = [generator_for(room, name, 0, ear) for ear in ("ear.left", "ear.right")]
    return head_responses(room, source, listening.ears, grid, generators, listening.head)


def room_figures(measurement: Measurement, bands: tuple[int, ...] = FIGURE_BANDS) -> RoomFigures:
    """Figures of one source at the listener's seat.

    Parameters
    ----------
    measurement : Measurement
    bands : tuple of int
        Indices into `OCTAVE_BANDS` of what is measured.

    Returns
    -------
    RoomFigures
        nan in all other bands, and where a decay is too short to be read.
    """
    rate, start, omni = measurement.rate, measurement.start, measurement.omni
    octaves = octaves_of(omni, rate, start, bands)
    times = {
        kind: [decay_time(each.signal, each.rate, kind, each.start) for each in octaves]
        for kind in ("EDT", "T20", "T30")
    }
    early, late, defined, whole = _parts(omni, rate, start, bands)
    _, lateral, _, _ = _parts(measurement.side, rate, start, bands)
    correlations = interaural_parts(measurement.ears, rate, start, bands)
    columns: list[Sequence[float] | NDArray[np.float64]] = [
        *times.values(),
        [ratio_db(*pair) for pair in zip(early, late, strict=True)],
        defined / whole,
        [centre_time(each.signal, each.rate, each.start) for each in octaves],
        *(_strengths(energies, rate, bands) for energies in (whole, early, late)),
        lateral_fraction(omni, measurement.side, rate, start, bands),
        _strengths(lateral, rate, bands),
        *correlations,
    ]
    return RoomFigures(*(_spread(values, bands) for values in columns))


def _parts(
    response: NDArray[np.float32], rate: int, start: int, bands: tuple[int, ...]
) -> NDArray[np.float64]:
    """Octave energies of the first 80 ms, the rest, the first 50 ms and the whole, (4, bands)."""
    early, defined = (
        start + round(seconds * rate) for seconds in (EARLY_SECONDS, _DEFINITION_SECONDS)
    )
    rows = np.zeros((4, len(response)))
    rows[0, :early] = response[:early]
    rows[1, early:] = response[early:]
    rows[2, :defined] = response[:defined]
    rows[3] = response
    return octave_energies(rows, rate, bands)


def _strengths(energies: NDArray[np.float64], rate: int, bands: tuple[int, ...]) -> list[float]:
    return [strength(*pair) for pair in zip(energies, pulse_energies(rate, bands), strict=True)]


def _spread(values: Sequence[float] | NDArray[np.float64], bands: tuple[int, ...]) -> Bands:
    row = [nan] * len(OCTAVE_BANDS)
    for band, value in zip(bands, values, strict=True):
        row[band] = float(value)
    return tuple(row)


def mean_figures(figures: Sequence[RoomFigures]) -> RoomFigures:
    """Mean over several source places, band by band, each figure in its own unit.

    Parameters
    ----------
    figures : sequence of RoomFigures
        At least one.

    Returns
    -------
    RoomFigures
        Of the places where a figure could be read; nan where it could at none.
    """

    def mean(name: str) -> Bands:
        rows = np.array([getattr(each, name) for each in figures])
        known = np.isfinite(rows)
        sums = np.where(known, rows, 0.0).sum(axis=0)
        counts = known.sum(axis=0)
        means = np.divide(sums, counts, out=np.full(len(sums), nan), where=counts > 0)
        return tuple(float(value) for value in means)

    return RoomFigures(*(mean(each.name) for each in fields(RoomFigures)))


def seat_room_figures(
    listening: Listening, sources: dict[str, Source], threads: int = 1
) -> dict[str, dict[str, float]]:
    """Single figures of every seat at the listener's, with its own instrument's radiation.

    Parameters
    ----------
    listening : Listening
    sources : dict of str to Source
        The middle of each seat.
    threads : int
        Never changes the result.

    Returns
    -------
    dict of str to dict of str to float
        As `RoomFigures.single`.
    """

    def one(name: str) -> dict[str, float]:
        heard = measured(listening, sources[name], name, SINGLE_RATE)
        return room_figures(heard, SINGLE_BANDS).single()

    figures = side_by_side(one, sources, threads, len(sources) * _PLACE_SECONDS)
    return dict(zip(sources, figures, strict=True))


def measured_places(sources: dict[str, Source]) -> dict[str, Source]:
    """The places a hall's mean is taken over: all, or `MOST_PLACES` evenly taken of many."""
    names = list(sources)
    count = min(len(names), MOST_PLACES)
    return {name: sources[name] for name in (names[n * len(names) // count] for n in range(count))}


def hall_figures(listening: Listening, sources: dict[str, Source], threads: int = 1) -> RoomFigures:
    """Figures of a hall: the mean over its seats, with an omnidirectional source at each.

    Parameters
    ----------
    listening : Listening
    sources : dict of str to Source
        At least one, as from `measured_places`.
    threads : int
        Never changes the result.

    Returns
    -------
    RoomFigures
    """

    def one(name: str) -> RoomFigures:
        omni = replace(sources[name], instrument="other")
        return room_figures(measured(listening, omni, name, HALL_RATE))

    figures = side_by_side(one, sources, threads, len(sources) * _PLACE_SECONDS)
    return mean_figures(list(figures))
