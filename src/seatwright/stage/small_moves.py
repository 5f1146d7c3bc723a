"""Small moves of one seat: what can be tried on a real stage without seating it anew.

How far a seat may go is common practice, no source: a rearrangement turns a group by some degrees
or brings it a row or two forward; players sit with their section. Rows are tried only where level
is "natural": a held level stays, and what a row then changed of the hidden shares of real stems was
0.05 or less, either way; a riser 0.02. Such moves would be proposed by chance.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from math import dist, inf

from seatwright.stage.scene import Scene
from seatwright.stage.seats import Perspectives, Seat, SeatChange

MOST_TURN = 15.0
"""Degrees of bearing that a seat moves at most."""

TURN_STEP = 2.5
SECTION_REACH = 10.0
"""Degrees beyond the rest of its section that a seat may move: players sit with their section."""

ROWS = (1.0, 2.0)
"""Metres of distance: a row or two to the front."""

PODIUM_ROOM = 1.5
"""Metres that a seat which moves forward keeps from the podium."""

CLOSE_STEPS_DB = (3.0, 6.0, 9.0)
MOST_CLOSE_DB = 12.0
_WITHOUT_CLOSE_DB = -12.0


@dataclass(frozen=True)
class SmallMove:
    """One thing that can be changed about a seat.

    Parameters
    ----------
    key : str
        Where to write it: "bearing", "distance" or "perspectives.close".
    value : float
        What to write.
    before : float or None
        What it is now; None where the close microphone is not heard yet.
    seat : Seat
        The seat with it.
    """

    key: str
    value: float
    before: float | None
    seat: Seat


def place_moves(scene: Scene, name: str) -> list[SmallMove]:
    """Places a seat can move to, the nearest first.

    Parameters
    ----------
    scene : Scene
    name : str
        A seat that has a place.

    Returns
    -------
    list of SmallMove
        By bearing, or by distance where that takes its 1/r; whether a place is free is not looked
        at.
    """
    seat = scene.seats[name]
    moves = [*_turns(scene, name), *_rows(scene, name)]
    return sorted(moves, key=lambda move: round(dist(seat.position, move.seat.position), 3))


def _turns(scene: Scene, name: str) -> Iterator[SmallMove]:
    seat = scene.seats[name]
    bearing, distance = seat.polar_place
    low, high = section_reach(scene, name)
    for step in range(1, round(MOST_TURN / TURN_STEP) + 1):
        for turned in (bearing - step * TURN_STEP, bearing + step * TURN_STEP):
            if low <= turned <= high:
                place = SeatChange(bearing=round(turned, 1), distance=distance)
                moved = seat.changed(place)
                yield SmallMove("bearing", moved.polar_place[0], bearing, moved)


def section_reach(scene: Scene, name: str) -> tuple[float, float]:
    """Least and greatest bearing at which a seat still sits with its section; any where alone."""
    own = scene.seats[name]
    mates = [
        seat.polar_place[0]
        for other, seat in scene.seats.items()
        if other != name and seat.section_name == own.section_name
    ]
    if not mates:
        return -inf, inf
    every = [*mates, own.polar_place[0]]
    return min(every) - SECTION_REACH, max(every) + SECTION_REACH


def _rows(scene: Scene, name: str) -> Iterator[SmallMove]:
    seat = scene.seats[name]
    bearing, distance = seat.polar_place
    if scene.level_of(seat) != "natural":
        return
    for nearer in ROWS:
        if distance - nearer >= PODIUM_ROOM:
            place = SeatChange(bearing=bearing, distance=round(distance - nearer, 2))
            moved = seat.changed(place)
            yield SmallMove("distance", moved.polar_place[1], distance, moved)


def closer_moves(scene: Scene, name: str) -> Iterator[SmallMove]:
    """Higher levels of a seat's close microphones, the lowest first; none but for placed seats."""
    seat = scene.seats[name]
    if scene.treatment_of(seat) != "placed":
        return
    balance = scene.balance_of(seat)
    before = balance.get("close")
    start = max(balance.values()) + _WITHOUT_CLOSE_DB if before is None else before
    for more in CLOSE_STEPS_DB:
        if start + more <= MOST_CLOSE_DB:
            raised = Perspectives(**(balance | {"close": start + more}))
            moved = seat.changed(SeatChange(perspectives=raised))
            yield SmallMove("perspectives.close", start + more, before, moved)
