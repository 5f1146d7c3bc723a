"""What is convolved for a seat: its stereo responses by its treatment and microphone balance.

Conventions: responses are float32, shape (sources, 2, frames): what each channel of the stem
sends to the left and right output. A close microphone has the gain that makes its direct sound as
strong as the tree's, is panned to where the tree hears the source, and delayed to the tree's first
arrival; all other microphones share one gain.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import radians

import numpy as np
import scipy.fft
from numpy.typing import NDArray

from seatwright.acoustics.band_weights import transform_frequencies
from seatwright.acoustics.head import ear_axes, ear_delay, incidence
from seatwright.acoustics.impulse_response import (
    Grid,
    early_responses,
    generator_for,
    head_responses,
    microphone_arrivals,
    microphone_responses,
    tail_responses,
)
from seatwright.acoustics.localisation import (
    LOUDSPEAKER_ANGLE,
    angle_for_level,
    heard_level_difference,
    level_for_angle,
    pan_gains,
)
from seatwright.acoustics.reflections import Arrivals
from seatwright.acoustics.room import Room
from seatwright.sound.loudness import k_weighted_power
from seatwright.stage.microphones import Close, Ears, Microphone, close_microphone
from seatwright.stage.seats import Source

BLENDED_TAIL_DB = -6.0
"""How much of the hall's tail a blended stem gets where its seat says nothing."""


@dataclass(frozen=True)
class Listening:
    """All microphones of a scene and the room they hang in.

    Parameters
    ----------
    room : Room
    microphones : tuple of Microphone
        Tree, outriggers and ambient.
    close : Close
    ears : Ears
    """

    room: Room
    microphones: tuple[Microphone, ...]
    close: Close
    ears: Ears

    def of(self, perspective: str) -> tuple[Microphone, ...]:
        """The microphones of one perspective."""
        return tuple(m for m in self.microphones if m.perspective == perspective)


@dataclass(frozen=True)
class SeatPlan:
    """Everything about a seat that its responses depend on.

    Parameters
    ----------
    name : str
    sources : tuple of Source
        One for a mono stem, two for stereo.
    balance : tuple of (str, float)
        Perspective and level in dB.
    treatment : str
        "placed" or "blended".
    held : bool
        Loudness kept whatever the seat.
    gain_db : float
        Of seat and section.
    tail_db : float
        Of a blended stem.
    """

    name: str
    sources: tuple[Source, ...]
    balance: tuple[tuple[str, float], ...]
    treatment: str = "placed"
    held: bool = True
    gain_db: float = 0.0
    tail_db: float = BLENDED_TAIL_DB


@dataclass(frozen=True)
class SeatResponse:
    """A seat's responses, ready to be convolved.

    Parameters
    ----------
    perspectives : dict of str to ndarray, shape (sources, 2, frames)
        With balance, held loudness and gain in them; they add up to the mix.
    direct : ndarray, shape (sources, 2, early frames)
        The direct sound alone, with the same gains.
    level_db : float
        K-weighted gain before it was held: what distance and balance do by themselves.
    """

    perspectives: dict[str, NDArray[np.float32]]
    direct: NDArray[np.float32]
    level_db: float

    @property
    def mix(self) -> NDArray[np.float32]:
        """Sum of all perspectives, shape (sources, 2, frames)."""
        return np.asarray(sum(self.perspectives.values()))


def earliest_arrival(listening: Listening, plans: list[SeatPlan]) -> float:
    """Seconds from emission to the earliest arrival of the whole scene at a heard microphone."""
    times = [
        _first_arrival(listening, source, dict(plan.balance))
        for plan in plans
        for source in plan.sources
    ]
    return min(times, default=0.0)


def _first_arrival(listening: Listening, source: Source, balance: dict[str, float]) -> float:
    heard = [m for m in listening.microphones if m.perspective in balance]
    times = [_travel(listening.room, source, m.position) for m in heard]
    if "close" in balance:
        times.append(_tree_arrival(listening, source))
    if "head" in balance:
        times.append(_nearer_ear(listening, source))
    return min(times)


def _travel(room: Room, source: Source, position: tuple[float, float, float]) -> float:
    return float(np.linalg.norm(np.subtract(source.position, position))) / room.speed


def _nearer_ear(listening: Listening, source: Source) -> float:
    towards = np.subtract(source.position, listening.ears.position)
    direction = towards / np.linalg.norm(towards)
    angles = np.array([incidence(direction, axis) for axis in ear_axes(listening.ears)])
    centre = _travel(listening.room, source, listening.ears.position)
    return centre + float(ear_delay(angles, listening.room.speed).min())


def _tree_arrival(listening: Listening, source: Source) -> float:
    return min(_travel(listening.room, source, m.position) for m in listening.of("tree"))


def direct_arrivals(
    listening: Listening, source: Source, perspectives: tuple[str, ...]
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Direct sound at the microphones of some perspectives, at mid frequencies.

    Returns
    -------
    times : ndarray, shape (microphones,)
        Seconds since emission.
    gains : ndarray, shape (microphones, 2)
        Into left and right.
    """
    microphones = [m for m in listening.microphones if m.perspective in perspectives]
    arrivals = microphone_arrivals(listening.room, source, microphones, max_order=0)
    times = np.array([heard.distances[0] for heard in arrivals]) / listening.room.speed
    strength = np.array([np.sqrt(np.mean(heard.gains[0, 3:7] ** 2)) for heard in arrivals])
    return times, strength[:, None] * np.array([m.gains for m in microphones])


def panned_arrivals(
    listening: Listening, plan: SeatPlan
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Direct sound of a seat's middle as mixed, for the bearing a listener hears.

    Returns
    -------
    times : ndarray, shape (microphones,)
        Seconds; close microphones as delayed.
    gains : ndarray, shape (microphones, 2)
        Into left and right, the microphone balance in them; no rows for the head alone.
    """
    source, balance = middle_source(plan), dict(plan.balance)
    hall = [m for m in listening.microphones if m.perspective in balance]
    times, gains = np.zeros(0), np.zeros((0, 2))
    if hall:
        times, gains = direct_arrivals(listening, source, tuple(balance))
        level = np.array([balance[m.perspective] for m in hall])
        gains = gains * 10.0 ** (level[:, None] / 20.0)
    if "close" in balance:
        tree_times, tree_gains = direct_arrivals(listening, source, ("tree",))
        pan = np.array(pan_gains(heard_level_difference(tree_times, tree_gains)))
        strength = float(np.sqrt(np.sum(tree_gains**2))) * 10.0 ** (balance["close"] / 20.0)
        times = np.append(times, tree_times.min())
        gains = np.concatenate([gains, strength * pan[None, :]])
    return times, gains


@dataclass(frozen=True)
class _CloseSpot:
    """A close microphone as mixed: its microphone, delay and gain."""

    microphone: Microphone
    delay: float
    gain: float


def _close_spot(listening: Listening, source: Source) -> _CloseSpot:
    times, gains = direct_arrivals(listening, source, ("tree",))
    pan = pan_gains(heard_level_difference(times, gains))
    microphone = close_microphone(listening.close, source.position, pan)
    travel = _travel(listening.room, source, microphone.position)
    heard = microphone_arrivals(listening.room, source, [microphone], max_order=0)[0]
    own = float(np.sqrt(np.mean(heard.gains[0, 3:7] ** 2)))
    tree = float(np.sqrt(np.sum(gains**2)))
    return _CloseSpot(microphone, float(times.min()) - travel, tree / own)


def seat_response(listening: Listening, plan: SeatPlan, grid: Grid) -> SeatResponse:
    """Responses of one seat.

    Parameters
    ----------
    listening : Listening
    plan : SeatPlan
    grid : Grid

    Returns
    -------
    SeatResponse
    """
    build = _placed if plan.treatment == "placed" else _blended
    perspectives, direct = build(listening, plan, grid)
    whole = np.asarray(sum(perspectives.values()))
    power = k_weighted_gain(whole, grid.rate) / len(plan.sources)
    gain = 10.0 ** (plan.gain_db / 20.0)
    if plan.held and power > 0.0:
        gain /= power**0.5
    for responses in perspectives.values():
        responses *= np.float32(gain)
    direct *= np.float32(gain)
    return SeatResponse(perspectives, direct, 10.0 * float(np.log10(max(power, 1e-30))))


def k_weighted_gain(responses: NDArray[np.float32], rate: int) -> float:
    """Power by which responses change the K-weighted power of a signal with a pink spectrum.

    Parameters
    ----------
    responses : ndarray, shape (..., frames)
        Their powers add up.
    rate : int
        Samples per second.

    Returns
    -------
    float
        Mean of |H|^2 under K-weighting and a spectrum that falls by 3 dB an octave from 40 Hz to
        16 kHz, as music does on the whole: white noise would let 10 kHz decide.
    """
    length = scipy.fft.next_fast_len(responses.shape[-1], real=True)
    spectra = scipy.fft.rfft(responses.reshape(-1, responses.shape[-1]), length, axis=1)
    power = np.einsum("rf,rf->f", spectra.real, spectra.real)
    power += np.einsum("rf,rf->f", spectra.imag, spectra.imag)
    weights = _pink_k_weights(rate, length)
    return float(power.astype(np.float64) @ weights)


def _pink_k_weights(rate: int, length: int) -> NDArray[np.float64]:
    frequency = transform_frequencies(length, rate)
    inside = (frequency >= 40.0) & (frequency <= 16000.0)
    weights = np.where(inside, k_weighted_power(frequency, rate) / np.maximum(frequency, 1.0), 0.0)
    return np.asarray(weights / weights.sum())


Built = tuple[dict[str, NDArray[np.float32]], NDArray[np.float32]]


def _placed(listening: Listening, plan: SeatPlan, grid: Grid) -> Built:
    balance = dict(plan.balance)
    perspectives = {
        name: np.zeros((len(plan.sources), 2, grid.frames), dtype=np.float32) for name in balance
    }
    directs = []
    for index, source in enumerate(plan.sources):
        groups, gains, names = _microphone_groups(listening, source, balance)
        rows = [m for group, _ in groups for m in group]
        generators = [generator_for(listening.room, plan.name, index, m.name) for m in rows]
        if rows:
            responses = microphone_responses(listening.room, source, groups, grid, generators)
            for row, gain, name in zip(responses, gains, names, strict=True):
                _add_panned(perspectives[name][index], row, gain)
        if "head" in balance:
            perspectives["head"][index] = 10.0 ** (balance["head"] / 20.0) * _at_head(
                listening, plan, index, grid
            )
        directs.append(_direct_sound(listening, source, groups, gains, grid))
    return perspectives, np.stack(_same_length(directs))


def _microphone_groups(
    listening: Listening, source: Source, balance: dict[str, float]
) -> tuple[list[tuple[tuple[Microphone, ...], float]], list[NDArray[np.float32]], list[str]]:
    """Groups of microphones with their delay; each microphone's gains left and right, and name."""
    hall = tuple(m for m in listening.microphones if m.perspective in balance)
    groups = [(hall, 0.0)] if hall else []
    gains = [
        np.array(m.gains, dtype=np.float32) * np.float32(10.0 ** (balance[m.perspective] / 20.0))
        for m in hall
    ]
    names = [m.perspective for m in hall]
    if "close" in balance:
        spot = _close_spot(listening, source)
        groups.append(((spot.microphone,), spot.delay))
        level = spot.gain * 10.0 ** (balance["close"] / 20.0)
        gains.append(np.array(spot.microphone.gains, dtype=np.float32) * np.float32(level))
        names.append("close")
    return groups, gains, names


def _at_head(listening: Listening, plan: SeatPlan, index: int, grid: Grid) -> NDArray[np.float32]:
    room = listening.room
    generators = [generator_for(room, plan.name, index, ear) for ear in ("ear.left", "ear.right")]
    return head_responses(room, plan.sources[index], listening.ears, grid, generators)


def _direct_sound(
    listening: Listening,
    source: Source,
    groups: list[tuple[tuple[Microphone, ...], float]],
    gains: list[NDArray[np.float32]],
    grid: Grid,
) -> NDArray[np.float32]:
    """Direct sound into left and right, shape (2, frames of its own)."""
    rows = [m for group, _ in groups for m in group]
    if not rows:
        return np.zeros((2, 1), dtype=np.float32)
    delays = np.array([delay for group, delay in groups for _ in group])
    arrivals = microphone_arrivals(listening.room, source, rows, max_order=0)
    early = early_responses(listening.room, arrivals, grid, delays)
    return np.asarray(np.einsum("mc,mf->cf", np.stack(gains), early))


def _same_length(signals: list[NDArray[np.float32]]) -> list[NDArray[np.float32]]:
    longest = max(signal.shape[1] for signal in signals)
    return [np.pad(signal, ((0, 0), (0, longest - signal.shape[1]))) for signal in signals]


def _add_panned(
    into: NDArray[np.float32], row: NDArray[np.float32], gains: NDArray[np.float32]
) -> None:
    for channel in range(2):
        if gains[channel] != 0.0:
            into[channel] += row * gains[channel]


def _blended(listening: Listening, plan: SeatPlan, grid: Grid) -> Built:
    """Turn the stem's own image to the bearing, as far off as the tree hears it, and add tail.

    The image is turned by a rotation of left and right, which keeps the power of any signal; the
    air takes its share of the highs; the tail is the tree's.
    """
    source = middle_source(plan)
    times, gains = direct_arrivals(listening, source, ("tree",))
    angle = angle_for_level(heard_level_difference(times, gains))
    turned = _turning(angle, len(plan.sources))
    arrival = float(times.min())
    direct = _air_filtered(listening, source, arrival, grid)
    dry = turned[:, :, None] * direct
    wet = np.zeros((len(plan.sources), 2, grid.frames), dtype=np.float32)
    tree = listening.of("tree")
    for index in range(len(plan.sources)):
        generators = [generator_for(listening.room, plan.name, index, m.name) for m in tree]
        tails = tail_responses(listening.room, grid, [(tree, 0.0)], generators)
        tails[:, : max(0, round((arrival - grid.origin) * grid.rate))] = 0.0
        for row, microphone in zip(tails, tree, strict=True):
            _add_panned(wet[index], row, np.array(microphone.gains, dtype=np.float32))
    # relative to the seat's direct sound in the tree, as a placed stem's would be
    strength = float(np.sqrt(np.sum(gains**2)))
    wet *= np.float32(10.0 ** (plan.tail_db / 20.0) / strength)
    wet[:, :, : dry.shape[2]] += dry[:, :, : grid.frames]
    return {"blended": wet}, dry.astype(np.float32)


def middle_source(plan: SeatPlan) -> Source:
    """One source in the middle of a seat."""
    places = np.mean([source.position for source in plan.sources], axis=0)
    first = plan.sources[0]
    return Source((places[0], places[1], places[2]), first.facing, first.instrument)


def _turning(angle: float, channels: int) -> NDArray[np.float32]:
    """What each channel of the stem sends left and right, shape (channels, 2)."""
    if channels == 1:
        return np.array([pan_gains(level_for_angle(angle))], dtype=np.float32)
    turn = radians(45.0) * angle / LOUDSPEAKER_ANGLE
    cos, sin = np.cos(turn), np.sin(turn)
    return np.array([[cos, sin], [-sin, cos]], dtype=np.float32)


def _air_filtered(
    listening: Listening, source: Source, arrival: float, grid: Grid
) -> NDArray[np.float32]:
    """A click at an arrival time with the air's loss over its way, shape (frames,)."""
    room = listening.room
    distance = arrival * room.speed
    gains = np.exp(-0.5 * distance * np.array(room.air))[None, :]
    click = Arrivals(np.array([distance]), np.zeros((1, 3)), gains, np.zeros(1, dtype=np.int64))
    return np.asarray(early_responses(room, [click], grid, np.zeros(1))[0])
