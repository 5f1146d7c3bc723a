"""From a written scene to what its responses are computed from."""

from __future__ import annotations

from dataclasses import dataclass
from math import dist

import numpy as np

from seatwright.acoustics.early_kernels import air_lag
from seatwright.acoustics.head import SPHERE, HeadModel, in_head_frame
from seatwright.acoustics.room import Room, room_of
from seatwright.stage.microphones import (
    Close,
    Ears,
    Microphone,
    Position,
    close_microphone,
    hall_microphones,
    listener,
)
from seatwright.stage.scene import Scene
from seatwright.stage.seats import Source, seat_sources

BLENDED_TAIL_DB = -6.0
"""How much of the hall's tail a blended stem gets where its seat says nothing."""


SAME_MICROPHONE = 0.05
"""Metres within which close microphones of two seats are one and the same."""


@dataclass(frozen=True)
class OpenSeat:
    """A seat whose close microphone also hears the other seats.

    Parameters
    ----------
    name : str
    source : Source
        The middle of the seat.
    level_db : float
        Level of its close microphones in its balance, and of spill.
    """

    name: str
    source: Source
    level_db: float


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
    head : HeadModel
        What the ears hear of a direction.
    open_seats : tuple of OpenSeat
        Empty unless the scene asks for spill.
    """

    room: Room
    microphones: tuple[Microphone, ...]
    close: Close
    ears: Ears
    head: HeadModel = SPHERE
    open_seats: tuple[OpenSeat, ...] = ()

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


def middle_source(plan: SeatPlan) -> Source:
    """One source in the middle of a seat."""
    places = np.mean([source.position for source in plan.sources], axis=0)
    first = plan.sources[0]
    return Source((places[0], places[1], places[2]), first.facing, first.instrument)


def listening_of(scene: Scene, head: HeadModel = SPHERE) -> Listening:
    """The room and the microphones of a scene.

    Parameters
    ----------
    scene : Scene
    head : HeadModel
        As `disk.heads.scene_head` reads it: measured heads are files.

    Returns
    -------
    Listening

    Raises
    ------
    SceneError
        If the target reverberation is out of reach.
    """
    return Listening(
        room_of(scene.hall),
        hall_microphones(scene.microphones, scene.hall),
        scene.microphones.close,
        listener(scene.microphones, scene.hall),
        head,
        _open_seats(scene),
    )


def _open_seats(scene: Scene) -> tuple[OpenSeat, ...]:
    """Every placed seat with close microphones, also a muted one, where the scene asks for spill.

    Its microphone stands before the seat's middle. Seats at one place share the first one's.
    """
    found: list[OpenSeat] = []
    for name in scene.open_seats():
        seat = scene.seats[name]
        source = seat_sources(seat, 1)[0]
        level = scene.balance_of(seat)["close"] + (scene.microphones.close.spill or 0.0)
        if all(dist(source.position, each.source.position) > SAME_MICROPHONE for each in found):
            found.append(OpenSeat(name, source, level))
    return tuple(found)


def others_open(listening: Listening, plan: SeatPlan) -> tuple[OpenSeat, ...]:
    """Seats whose close microphones hear this one too: all but its own and those at its place."""
    if not listening.open_seats or plan.treatment != "placed":
        return ()
    here = middle_source(plan).position
    return tuple(
        seat
        for seat in listening.open_seats
        if seat.name != plan.name and dist(seat.source.position, here) > SAME_MICROPHONE
    )


def tree_middle(listening: Listening) -> Position:
    """Where the tree's centre microphone hangs, or the point midway between a pair."""
    tree = listening.of("tree")
    if len(tree) == 3:
        return tree[1].position
    x, y, z = np.mean([microphone.position for microphone in tree], axis=0)
    return float(x), float(y), float(z)


def seat_plan(scene: Scene, name: str, channels: int) -> SeatPlan:
    """What the responses of one seat depend on.

    Parameters
    ----------
    scene : Scene
    name : str
        Key of `seats`; not an untouched one.
    channels : int
        1 or 2: of what plays there.

    Returns
    -------
    SeatPlan
    """
    seat = scene.seats[name]
    blended = scene.treatment_of(seat) == "blended"
    balance = {"tree": 0.0} if blended else scene.balance_of(seat)
    return SeatPlan(
        name=name,
        sources=seat_sources(seat, channels),
        balance=tuple(balance.items()),
        treatment="blended" if blended else "placed",
        held=scene.level_of(seat) == "held",
        gain_db=scene.gain_of(seat),
        tail_db=BLENDED_TAIL_DB if seat.tail is None else seat.tail,
    )


def earliest_arrival(listening: Listening, plans: list[SeatPlan]) -> float:
    """Seconds from emission to the earliest arrival of the whole scene at a heard microphone."""
    times = [
        _first_arrival(listening, source, dict(plan.balance))
        for plan in plans
        for source in plan.sources
    ]
    times += [_first_spill(listening, plan) for plan in plans if others_open(listening, plan)]
    return min(times, default=0.0)


def grid_origin(listening: Listening, plans: list[SeatPlan], rate: int) -> float:
    """Seconds from emission to sample 0 of all responses.

    The earliest arrival of the whole scene, less what the minimum phase of the air's filter delays
    it: half a microsecond a metre. Its filter can then begin at sample 0, and later arrivals
    keep their distance to it.
    """
    earliest = earliest_arrival(listening, plans)
    return earliest - air_lag(listening.room, earliest, rate)


def _first_spill(listening: Listening, plan: SeatPlan) -> float:
    times = []
    for seat in others_open(listening, plan):
        spot = close_microphone(listening.close, seat.source.position, (1.0, 1.0)).position
        own = travel_time(listening.room, seat.source, spot)
        delay = _tree_arrival(listening, seat.source) - own
        times += [travel_time(listening.room, source, spot) + delay for source in plan.sources]
    return min(times)


def _first_arrival(listening: Listening, source: Source, balance: dict[str, float]) -> float:
    heard = [m for m in listening.microphones if m.perspective in balance]
    times = [travel_time(listening.room, source, m.position) for m in heard]
    if "close" in balance:
        times.append(_tree_arrival(listening, source))
    if "head" in balance:
        times.append(_nearer_ear(listening, source))
    return min(times)


def travel_time(room: Room, source: Source, position: tuple[float, float, float]) -> float:
    """Seconds of the direct sound's way."""
    return float(np.linalg.norm(np.subtract(source.position, position))) / room.speed


def _nearer_ear(listening: Listening, source: Source) -> float:
    towards = np.subtract(source.position, listening.ears.position)
    direction = in_head_frame(towards[None, :] / np.linalg.norm(towards), listening.ears)
    centre = travel_time(listening.room, source, listening.ears.position)
    return centre + float(listening.head.delays(direction, listening.room.speed).min())


def _tree_arrival(listening: Listening, source: Source) -> float:
    return min(travel_time(listening.room, source, m.position) for m in listening.of("tree"))
