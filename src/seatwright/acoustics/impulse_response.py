"""Impulse responses of one source at all its microphones: early part and tail together.

Conventions: signals are float32, shape (microphones, frames); times in seconds since the source
sounded; the first sample of a response stands at its `origin`.
"""

from __future__ import annotations

import hashlib
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
import scipy.fft
from numpy.typing import NDArray

from seatwright.acoustics.colour import smooth_curve
from seatwright.acoustics.diffuse_field import diffuse_mixing
from seatwright.acoustics.directivity import recorded_gains
from seatwright.acoustics.early_kernels import (
    Kernels,
    banded,
    coloured_kernels,
    convolved,
    landing,
)
from seatwright.acoustics.fractional_delay import fractional_kernels
from seatwright.acoustics.head import SPHERE, HeadModel, in_head_frame
from seatwright.acoustics.kept_tails import KeptTails
from seatwright.acoustics.reflections import Arrivals, arrivals_at, image_sources
from seatwright.acoustics.room import Room
from seatwright.acoustics.tail import diffuse_spectra, image_share, mixed_as_diffuse
from seatwright.stage.microphones import Ears, Microphone
from seatwright.stage.seats import Source

TAIL_DEPTH_DB = 75.0
"""A response ends where the slowest band's tail has fallen by this much."""

_FADE_SECONDS = 0.03
_ROUND_SECONDS = 0.3
"""Longer than a band filter rings, so that the tail's start does not come round to its end."""


@dataclass(frozen=True)
class Grid:
    """The time grid all responses of a scene share.

    Parameters
    ----------
    rate : int
        Samples per second.
    frames : int
        Length of every response.
    origin : float
        Seconds since emission at sample 0: the earliest arrival of the whole scene, less what its
        air filter delays it (`listening.grid_origin`).
    """

    rate: int
    frames: int
    origin: float


def response_seconds(room: Room) -> float:
    """How long a tail is kept, in seconds after its emission."""
    return max(room.reverberation) * TAIL_DEPTH_DB / 60.0


def microphone_arrivals(
    room: Room, source: Source, microphones: Sequence[Microphone], max_order: int | None = None
) -> list[Arrivals]:
    """Direct sound and reflections up to the mixing time at each microphone, its pattern included.

    Parameters
    ----------
    room : Room
    source : Source
    microphones : sequence of Microphone
    max_order : int, optional
        Leave out images of more reflections; 0 keeps the direct sound alone.

    Returns
    -------
    list of Arrivals
    """
    reach = room.speed * room.mixing_time
    images = image_sources(room, source.position, reach, max_order)
    arrivals = []
    for microphone in microphones:
        heard = _fading(room, arrivals_at(room, source, images, microphone.position, reach))
        share = microphone.omni_share
        pattern = share + (1.0 - share) * (heard.directions @ np.array(microphone.aim))
        arrivals.append(replace(heard, gains=heard.gains * pattern[:, None]))
    return arrivals


def _fading(room: Room, heard: Arrivals) -> Arrivals:
    """Reflections, though never the direct sound, fade as the tail takes over."""
    kept = np.sqrt(image_share(room, heard.distances[:, None] / room.speed))
    kept[0] = 1.0
    return replace(heard, gains=heard.gains * kept)


def early_responses(
    room: Room, arrivals: Sequence[Arrivals], grid: Grid, delays: NDArray[np.float64]
) -> NDArray[np.float32]:
    """The early part of responses.

    Parameters
    ----------
    room : Room
        For its speed of sound.
    arrivals : sequence of Arrivals
        One for each microphone.
    grid : Grid
    delays : ndarray, shape (microphones,)
        Seconds each microphone's signal is delayed on top of the sound's travel.

    Returns
    -------
    ndarray, shape (microphones, early frames)
        Starts at the grid's origin; as long as the latest arrival needs, at most the grid's.
    """
    kernels: list[Kernels] = []
    for row, (heard, delay) in enumerate(zip(arrivals, delays, strict=True)):
        samples = (heard.distances / room.speed + delay - grid.origin) * grid.rate
        landed = landing(samples, heard, grid.rate)
        starts, taps = fractional_kernels(landed.samples)
        kernels += coloured_kernels(landed, starts, taps, heard, row, grid.rate)
    return banded(kernels, len(arrivals), grid.rate, grid.frames)


def generator_for(room: Room, seat: str, source: int, microphone: str) -> np.random.Generator:
    """The noise of one tail: its own for each hall seed, seat, source and microphone."""
    text = "\0".join([str(room.seed), seat, str(source), microphone])
    digest = hashlib.blake2b(text.encode("utf-8", "surrogatepass"), digest_size=16).digest()
    return np.random.Generator(np.random.SFC64(int.from_bytes(digest, "little")))


def tail_length(grid: Grid) -> int:
    """Samples a tail is made over, so that its end does not meet its start."""
    return int(scipy.fft.next_fast_len(grid.frames + int(_ROUND_SECONDS * grid.rate), real=True))


def colour_tail(spectra: NDArray[np.complex64], source: Source, rate: int, length: int) -> None:
    """Make a tail, in place, as much brighter or darker than the stem as all directions are."""
    recorded = np.array(recorded_gains(source.instrument, source.facing))
    if np.any(recorded != 1.0):
        spectra *= smooth_curve(tuple(1.0 / recorded), rate, length)


def tail_responses(
    room: Room,
    grid: Grid,
    groups: Sequence[tuple[tuple[Microphone, ...], float]],
    generators: Sequence[np.random.Generator],
    source: Source | None = None,
    kept: KeptTails | None = None,
) -> NDArray[np.float32]:
    """Diffuse tails of groups of microphones.

    Parameters
    ----------
    room : Room
    grid : Grid
    groups : sequence of (microphones, delay)
        Microphones of a group hear the same field; their signal is delayed by `delay` seconds.
    generators : sequence of Generator
        One for each microphone of all groups in order.
    source : Source, optional
        What the colour of the tail is relative to, where its stem was recorded from one direction.
    kept : KeptTails, optional
        Of this room; changes no sample.

    Returns
    -------
    ndarray, shape (microphones, frames)
    """
    length = tail_length(grid)
    delays = [delay for group, delay in groups for _ in group]
    origins = np.array([grid.origin - delay for delay in delays])
    if kept is None:
        spectra = diffuse_spectra(room, grid.rate, length, origins, list(generators))
    else:
        still = [delay == 0.0 for delay in delays]  # others follow the seat
        spectra = kept.spectra(grid.rate, length, origins, generators, still)
    if source is not None:
        colour_tail(spectra, source, grid.rate, length)
    row = 0
    for group, _ in groups:
        mixing = diffuse_mixing(group, grid.rate, length, room.speed)
        mixed_as_diffuse(spectra[row : row + len(group)], *mixing)
        row += len(group)
    tails = scipy.fft.irfft(spectra, n=length, axis=1, overwrite_x=True)[:, : grid.frames]
    return np.asarray(tails)


def microphone_responses(
    room: Room,
    source: Source,
    groups: Sequence[tuple[tuple[Microphone, ...], float]],
    grid: Grid,
    generators: Sequence[np.random.Generator],
    kept: KeptTails | None = None,
) -> NDArray[np.float32]:
    """Whole responses of one source at all microphones.

    Parameters
    ----------
    room : Room
    source : Source
    groups : sequence of (microphones, delay)
        As in `tail_responses`.
    grid : Grid
    generators : sequence of Generator
        One for each microphone.
    kept : KeptTails, optional
        Of this room; changes no sample.

    Returns
    -------
    ndarray, shape (microphones, frames)
    """
    microphones = [microphone for group, _ in groups for microphone in group]
    delays = np.array([delay for group, delay in groups for _ in group])
    arrivals = microphone_arrivals(room, source, microphones)
    early = early_responses(room, arrivals, grid, delays)
    responses = tail_responses(room, grid, groups, generators, source, kept)
    direct = np.array([heard.distances[0] for heard in arrivals]) / room.speed + delays
    _silence_before(responses, direct - grid.origin, grid.rate)
    responses[:, : early.shape[1]] += early
    return faded_out(responses, grid.rate)


def head_responses(
    room: Room,
    source: Source,
    ears: Ears,
    grid: Grid,
    generators: Sequence[np.random.Generator],
    head: HeadModel = SPHERE,
) -> NDArray[np.float32]:
    """Whole responses of one source at a listener's two ears.

    Parameters
    ----------
    room : Room
    source : Source
    ears : Ears
    grid : Grid
    generators : sequence of Generator
        Two.
    head : HeadModel

    Returns
    -------
    ndarray, shape (2, frames)
        Left and right ear. Each image is filtered by its own direction.
    """
    early, arrival = early_at_head(room, source, ears, grid, head=head)
    length = tail_length(grid)
    spectra = diffuse_spectra(room, grid.rate, length, np.full(2, grid.origin), list(generators))
    colour_tail(spectra, source, grid.rate, length)
    mixed_as_diffuse(spectra, *head.mixing(grid.rate, length, room.speed))
    responses = np.ascontiguousarray(
        scipy.fft.irfft(spectra, n=length, axis=1, overwrite_x=True)[:, : grid.frames]
    )
    _silence_before(responses, np.full(2, arrival), grid.rate)
    responses[:, : early.shape[1]] += early
    return faded_out(responses, grid.rate)


def early_at_head(
    room: Room,
    source: Source,
    ears: Ears,
    grid: Grid,
    max_order: int | None = None,
    head: HeadModel = SPHERE,
) -> tuple[NDArray[np.float32], float]:
    """The early part at a listener's two ears.

    Parameters
    ----------
    room : Room
    source : Source
    ears : Ears
    grid : Grid
    max_order : int, optional
        Leave out images of more reflections; 0 keeps the direct sound alone.
    head : HeadModel

    Returns
    -------
    early : ndarray, shape (2, early frames)
    arrival : float
        Seconds from the grid's origin to the direct sound at the head's centre.
    """
    reach = room.speed * room.mixing_time
    images = image_sources(room, source.position, reach, max_order)
    heard = _fading(room, arrivals_at(room, source, images, ears.position, reach))
    kernels = _ear_kernels(heard, ears, room, grid, head)
    early = banded(kernels, 2, grid.rate, grid.frames)
    return early, float(heard.distances[0] / room.speed - grid.origin)


def _ear_kernels(
    heard: Arrivals, ears: Ears, room: Room, grid: Grid, head: HeadModel
) -> list[Kernels]:
    """For each ear the start, kernel and band gains of every arrival."""
    directions = in_head_frame(heard.directions, ears)
    delays = head.delays(directions, room.speed)
    filters = head.filters(directions, grid.rate, room.speed)
    kernels: list[Kernels] = []
    for ear in range(2):
        samples = (heard.distances / room.speed + delays[:, ear] - grid.origin) * grid.rate
        landed = landing(samples, heard, grid.rate)
        starts, taps = fractional_kernels(landed.samples - head.lead(grid.rate))
        own = convolved(taps, filters[:, ear].astype(np.float64))
        kernels += coloured_kernels(landed, starts, own, heard, ear, grid.rate)
    return kernels


def _silence_before(
    responses: NDArray[np.float32], arrivals: NDArray[np.float64], rate: int
) -> None:
    """No tail before the direct sound."""
    for row, arrival in zip(responses, arrivals, strict=True):
        row[: max(0, int(np.ceil(arrival * rate)))] = 0.0


def faded_out(responses: NDArray[np.float32], rate: int) -> NDArray[np.float32]:
    """The same responses, in place, ending without a click 75 dB down."""
    frames = min(responses.shape[1], int(_FADE_SECONDS * rate))
    fade = np.cos(np.linspace(0.0, np.pi / 2, frames, dtype=np.float32)) ** 2
    responses[:, responses.shape[1] - frames :] *= fade
    return responses
