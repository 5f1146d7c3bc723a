"""From a written scene to what its responses are computed from."""

from __future__ import annotations

from seatwright.acoustics.room import room_of
from seatwright.acoustics.seat_response import BLENDED_TAIL_DB, Listening, SeatPlan
from seatwright.stage.microphones import hall_microphones, listener
from seatwright.stage.scene import Scene
from seatwright.stage.seats import seat_sources


def listening_of(scene: Scene) -> Listening:
    """The room and the microphones of a scene.

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
