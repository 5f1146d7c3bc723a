"""Moves that part two seats: another bearing, more of the close microphones, or more level.

Each move is tried by computing the moved seat's responses and what is then heard of it.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from math import dist, inf

from seatwright.acoustics.bearings import seat_bearing
from seatwright.acoustics.conflicts import LEAST_SHARE, Conflict, Heard, padded, shares_hidden
from seatwright.acoustics.impulse_response import Grid
from seatwright.acoustics.listening import (
    Listening,
    SeatPlan,
    grid_origin,
    listening_of,
    seat_plan,
)
from seatwright.acoustics.octave_transfer import octave_transfer
from seatwright.acoustics.seat_response import seat_response
from seatwright.sound.masking import hidden_share
from seatwright.sound.octave_steps import OctaveSteps
from seatwright.stage.rules import scene_faults
from seatwright.stage.scene import Scene
from seatwright.stage.seats import Perspectives, Seat, SeatChange

TURNS = tuple(sign * size for size in range(5, 45, 5) for sign in (-1, 1))
"""Degrees of bearing that are tried, the smallest first."""

CLOSE_STEPS_DB = (3.0, 6.0, 9.0, 12.0)
GAIN_STEPS_DB = (1.0, 2.0, 3.0, 4.0, 5.0, 6.0)
SEAT_ROOM = 1.0
"""Metres between the middles of two seats that a move keeps."""

SECTION_REACH = 10.0
"""Degrees beyond the rest of its section that a seat may move: players sit with their section."""

_MOST_TRIED = 3
_WITHOUT_CLOSE_DB = -12.0


@dataclass(frozen=True)
class Parting:
    """A move that parts two seats.

    Parameters
    ----------
    key : str
        "bearing", "perspectives.close", "gain", or "" where nothing that was tried helps.
    value : float
        What to write there.
    before : float or None
        What it is now; None where the close microphone is not heard yet.
    share : float
        Of the hidden seat, after it.
    heard_bearing : float
        Where the seat is heard then.
    """

    key: str
    value: float
    before: float | None
    share: float
    heard_bearing: float


@dataclass(frozen=True, eq=False)
class Staged:
    """All that a move is tried with.

    Parameters
    ----------
    scene : Scene
    listening : Listening
    grid : Grid
    plans : dict of str to SeatPlan
        Of all seats of the hall, muted ones too: the earliest arrival of all is sample 0.
    stems : dict of str to OctaveSteps
        What plays at each seat.
    heard : dict of str to Heard
    """

    scene: Scene
    listening: Listening
    grid: Grid
    plans: Mapping[str, SeatPlan]
    stems: Mapping[str, OctaveSteps]
    heard: Mapping[str, Heard]


def parting(staged: Staged, conflict: Conflict) -> Parting:
    """The smallest move of a hidden seat after which it is hidden by half as much, or not enough.

    Parameters
    ----------
    staged : Staged
    conflict : Conflict

    Returns
    -------
    Parting
        First by bearing, within ten degrees of its section, then by the close perspective, then
        by gain; with the same limits no other seat may hide it more than before.
    """
    aim = max(LEAST_SHARE, 0.5 * conflict.share)
    own = staged.heard[conflict.hidden]
    if staged.scene.treatment_of(staged.scene.seats[conflict.hidden]) != "untouched":
        for moves in (_turns, _closer):
            if found := _first_that_helps(staged, conflict, aim, moves(staged, conflict)):
                return found
    return _louder(staged, conflict, aim) or Parting("", 0.0, None, conflict.share, own.bearing)


_Move = tuple[str, float, float | None, Seat]


def _turns(staged: Staged, conflict: Conflict) -> Iterator[_Move]:
    seat = staged.scene.seats[conflict.hidden]
    bearing, distance = seat.polar_place
    low, high = _reach(staged.scene, conflict.hidden)
    for turn in (each for each in TURNS if low <= bearing + each <= high):
        place = SeatChange(bearing=round(bearing + turn, 1), distance=distance)
        moved = seat.changed(place)
        yield "bearing", moved.polar_place[0], bearing, moved


def _reach(scene: Scene, name: str) -> tuple[float, float]:
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


def _closer(staged: Staged, conflict: Conflict) -> Iterator[_Move]:
    scene, seat = staged.scene, staged.scene.seats[conflict.hidden]
    balance = scene.balance_of(seat)
    if scene.treatment_of(seat) != "placed":
        return
    before = balance.get("close")
    start = max(balance.values()) + _WITHOUT_CLOSE_DB if before is None else before
    for more in CLOSE_STEPS_DB:
        if start + more <= 12.0:
            raised = Perspectives(**(balance | {"close": start + more}))
            moved = seat.changed(SeatChange(perspectives=raised))
            yield "perspectives.close", start + more, before, moved


def _first_that_helps(
    staged: Staged, conflict: Conflict, aim: float, moves: Iterator[_Move]
) -> Parting | None:
    """The first move that keeps its promise; looked at by bearing alone before it is computed."""
    own = staged.heard[conflict.hidden]
    allowed = max(LEAST_SHARE, _worst_but_masker(staged, conflict, own)[1])
    tried = 0
    for key, value, before, seat in moves:
        scene, listening, plan = _with(staged, conflict.hidden, seat)
        bearing = seat_bearing(listening, plan).heard
        if key == "bearing" and not _hopeful(staged, conflict, scene, bearing, aim):
            continue
        heard = _heard(staged, listening, plan, bearing)
        share, others = _worst_but_masker(staged, conflict, heard)
        if share <= aim and others <= allowed:
            return Parting(key, value, before, share, bearing)
        tried += 1
        if tried == _MOST_TRIED:
            break
    return None


def _worst_but_masker(staged: Staged, conflict: Conflict, own: Heard) -> tuple[float, float]:
    """Share that the masker hides of a seat heard like this, and the most that any other does."""
    shares = shares_hidden(conflict.hidden, own, staged.heard)
    share = shares.pop(conflict.masker, 0.0)
    return share, max(shares.values(), default=0.0)


def _hopeful(staged: Staged, conflict: Conflict, scene: Scene, bearing: float, aim: float) -> bool:
    """Whether a bearing alone would part two seats, and the place is free."""
    own, masker = staged.heard[conflict.hidden], staged.heard[conflict.masker]
    expected = hidden_share(masker.powers, own.powers, masker.bearing - bearing)
    return expected <= aim and _free(scene, conflict.hidden)


def _with(staged: Staged, name: str, seat: Seat) -> tuple[Scene, Listening, SeatPlan]:
    """The scene, its microphones and the seat's plan with one seat changed."""
    seats = {**staged.scene.seats, name: seat}
    scene = staged.scene.model_copy(update={"seats": seats})
    listening = staged.listening
    if listening.open_seats:  # with spill every seat's place is in all responses
        listening = listening_of(scene, listening.head)
    channels = len(staged.stems[name].powers)
    return scene, listening, seat_plan(scene, name, channels)


def _free(scene: Scene, name: str) -> bool:
    """Inside the hall, off the microphones and on nobody's seat."""
    here = scene.seats[name].position
    others = (seat.position for other, seat in scene.seats.items() if other != name)
    return all(dist(here, there) >= SEAT_ROOM for there in others) and not scene_faults(scene)


def _heard(staged: Staged, listening: Listening, plan: SeatPlan, bearing: float) -> Heard:
    plans = {**staged.plans, plan.name: plan}
    grid = replace(
        staged.grid, origin=grid_origin(listening, list(plans.values()), staged.grid.rate)
    )
    response = seat_response(listening, plan, grid)
    transfer = octave_transfer(response.mix, staged.grid.rate)
    steps = staged.heard[plan.name].powers.shape[1]
    return Heard(bearing, padded(transfer.heard(staged.stems[plan.name]), steps))


def _louder(staged: Staged, conflict: Conflict, aim: float) -> Parting | None:
    own, masker = staged.heard[conflict.hidden], staged.heard[conflict.masker]
    gain = staged.scene.seats[conflict.hidden].gain or 0.0
    for more in GAIN_STEPS_DB:
        louder = own.powers * own.powers.dtype.type(10.0 ** (more / 10.0))
        share = hidden_share(masker.powers, louder, masker.bearing - own.bearing)
        if share <= aim:
            return Parting("gain", gain + more, gain, share, own.bearing)
    return None
