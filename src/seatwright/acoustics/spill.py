"""Spill: a seat as the other seats' close microphones hear it, mixed as these are mixed.

A close microphone keeps the place, aim, pan, delay and gain it has for its own seat; loudness that
is held and the gain of a seat belong to who plays, not to who is heard as well. The early part is
whole: direct sound and every image at every microphone. The diffuse part is one tail for left and
right together, whose power and likeness follow from the sum over all microphones at every moment;
what two close microphones have in common at low frequencies (a metre and a half apart below
about 100 Hz) is left out. The microphone of a seat with a stereo stem stands before its middle.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import scipy.fft
from numpy.typing import NDArray

from seatwright.acoustics.impulse_response import (
    Grid,
    colour_tail,
    early_responses,
    faded_out,
    generator_for,
    microphone_arrivals,
    tail_length,
)
from seatwright.acoustics.listening import Listening, SeatPlan
from seatwright.acoustics.panning import CloseSpot, open_spots
from seatwright.acoustics.reflections import Arrivals
from seatwright.acoustics.room import DECAY, Room
from seatwright.acoustics.strips import strip_times
from seatwright.acoustics.tail import (
    StripGrid,
    envelope_times,
    noise_amplitude,
    room_grids,
    tail_energy,
)
from seatwright.stage.seats import Source


def spill_responses(
    listening: Listening, plan: SeatPlan, index: int, grid: Grid
) -> NDArray[np.float32]:
    """What one source of a seat sends left and right through the other seats' close microphones.

    Parameters
    ----------
    listening : Listening
        With at least one other open seat.
    plan : SeatPlan
    index : int
        Which of the seat's sources.
    grid : Grid

    Returns
    -------
    ndarray, shape (2, frames)
    """
    room, spots = listening.room, open_spots(listening, plan)
    arrivals = microphone_arrivals(room, plan.sources[index], [s.microphone for s in spots])
    early = early_responses(room, _panned(room, spots, arrivals), grid, np.zeros(2))
    begins = np.array([heard.distances[0] / room.speed for heard in arrivals])
    begins += np.array([spot.delay for spot in spots])
    sides = ("spill.left", "spill.right")
    generators = [generator_for(room, plan.name, index, side) for side in sides]
    responses = _tails(room, plan.sources[index], spots, begins, grid, generators)
    responses[:, : max(0, int(np.ceil((begins.min() - grid.origin) * grid.rate)))] = 0.0
    responses[:, : early.shape[1]] += early
    return faded_out(responses, grid.rate)


def _panned(room: Room, spots: Sequence[CloseSpot], arrivals: Sequence[Arrivals]) -> list[Arrivals]:
    """All arrivals at all microphones as one list for the left and one for the right output.

    A microphone's delay is counted as further way; levels stay those of the way travelled.
    """
    heard = list(zip(spots, arrivals, strict=True))
    ways = np.concatenate([each.distances + spot.delay * room.speed for spot, each in heard])
    directions = np.concatenate([each.directions for each in arrivals])
    orders = np.concatenate([each.orders for each in arrivals])
    colours = [each.radiated for each in arrivals if each.radiated is not None]
    radiated = np.concatenate(colours) if colours else None
    sides = []
    for side in range(2):
        gains = [each.gains * (spot.gain * spot.microphone.gains[side]) for spot, each in heard]
        sides.append(Arrivals(ways, directions, np.concatenate(gains), orders, radiated))
    return sides


def _tails(
    room: Room,
    source: Source,
    spots: Sequence[CloseSpot],
    begins: NDArray[np.float64],
    grid: Grid,
    generators: Sequence[np.random.Generator],
) -> NDArray[np.float32]:
    """Diffuse tails left and right, shape (2, frames), each microphone's from its direct sound on.

    Of the two outputs' power and common power at each moment the second one's noise is made from
    the first one's and its own, so that a microphone panned to the middle is heard there.
    """
    length = tail_length(grid)
    weights = _pan_powers(spots)
    spectra = np.zeros((2, length // 2 + 1), dtype=np.complex64)
    for steps in room_grids(room, grid.rate, length):
        time = envelope_times(room, grid.rate, length, steps)
        energy = _summed_energy(room, spots, begins, time + grid.origin, steps, weights)
        factors = _factors(noise_amplitude(energy, grid.rate, length, steps.steps))
        drawn = [
            generator.standard_normal(2 * len(time), dtype=np.float32).view(np.complex64)
            for generator in generators
        ]
        noise = np.zeros((2, steps.steps), dtype=np.complex64)
        noise[0, : len(time)] = factors[0] * drawn[0]
        noise[1, : len(time)] = factors[1] * drawn[0] + factors[2] * drawn[1]
        values = scipy.fft.fft(noise, axis=1, overwrite_x=True)[:, : steps.bins]
        spectra[:, steps.first : steps.first + steps.bins] += values * steps.weight
    colour_tail(spectra, source, grid.rate, length)
    tails = scipy.fft.irfft(spectra, n=length, axis=1, overwrite_x=True)
    return np.ascontiguousarray(tails[:, : grid.frames])


def _pan_powers(spots: Sequence[CloseSpot]) -> NDArray[np.float64]:
    """Of each microphone the power in left, in right and common to both, shape (3, microphones)."""
    share = np.array([spot.microphone.omni_share for spot in spots])
    left, right = np.array([np.multiply(s.gain, s.microphone.gains) for s in spots]).T
    efficiency = share**2 + (1.0 - share) ** 2 / 3.0
    return np.asarray(efficiency * np.stack([left**2, right**2, left * right]))


def _summed_energy(
    room: Room,
    spots: Sequence[CloseSpot],
    begins: NDArray[np.float64],
    time: NDArray[np.float64],
    strip: StripGrid,
    weights: NDArray[np.float64],
) -> NDArray[np.float64]:
    """Diffuse energy per second left, right and common to both, shape (3, times), times rising.

    Once every microphone hears the full decay, a delay is no more than a factor; until then each
    has its own course.
    """
    delays = np.array([spot.delay for spot in spots])
    settled = max(float(begins.max()), room.mixing_time + max(0.0, float(delays.max())))
    early = time[: int(np.searchsorted(time, settled))]
    energy = tail_energy(room, early - delays[:, None], strip.band, strip.strip)
    energy[early < begins[:, None]] = 0.0
    decay = tail_energy(room, time[len(early) :], strip.band, strip.strip)
    level = weights @ np.exp(DECAY * delays / strip_times(room, strip.band)[strip.strip])
    return np.concatenate([weights @ energy, np.outer(level, decay)], axis=1)


def _factors(roots: NDArray[np.float32]) -> tuple[NDArray[np.float32], ...]:
    """From square roots of left, right and common power: the parts of a lower triangular matrix."""
    left, right, common = roots
    shared = np.divide(common**2, left, out=np.zeros_like(left), where=left > 0.0)
    return left, shared, np.sqrt(np.maximum(right**2 - shared**2, 0.0))
