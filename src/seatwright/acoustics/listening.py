"""From a written scene to what its responses are computed from."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from seatwright.acoustics.head import SPHERE, HeadModel, in_head_frame
from seatwright.acoustics.room import Room, room_of
from seatwright.stage.microphones import Close, Ears, Microphone, hall_microphones, listener
from seatwright.stage.scene import Scene
from seatwright.stage.seats import Source, seat_sources

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
    head : HeadModel
        What the ears hear of a direction.
    """

    room: Room
    microphones: tuple[Microphone, ...]
    close: Close
    ears: Ears
    head: HeadModel = SPHERE

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
    )


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
    return min(times, default=0.0)


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
