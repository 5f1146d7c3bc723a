"""Moves that part two seats: another place, more of the close microphones, or more level.

Each move is tried by computing the moved seat's responses and what is then heard of it.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from math import dist

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
from seatwright.stage.seats import Seat
from seatwright.stage.small_moves import SmallMove, closer_moves, place_moves

GAIN_STEPS_DB = (1.0, 2.0, 3.0, 4.0, 5.0, 6.0)
SEAT_ROOM = 1.0
"""Metres between the middles of two seats that a move keeps."""

_MOST_TRIED = 5
"""Moves that are computed, of those that look as if they helped."""

_MOST_EARLY_DB = 8.0
"""Two rows forward give the early sound less: 3.5 m to 1.5 m are 7.4 dB."""


@dataclass(frozen=True)
class Parting:
    """A move that parts two seats.

    Parameters
    ----------
    key : str
        "bearing", "distance", "perspectives.close", "gain", or "" where nothing that was tried
        helps.
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


@dataclass(frozen=True)
class _Aim:
    """What a move has to reach.

    Parameters
    ----------
    share : float
        That the masker may hide of the seat at most.
    others : float
        That any other seat may hide of it.
    back : float
        That the seat may then hide of the masker: parted, not swapped.
    """

    share: float
    others: float
    back: float


def parting(staged: Staged, conflict: Conflict) -> Parting:
    """The smallest move of a hidden seat after which it is hidden by half as much, or not enough.

    Parameters
    ----------
    staged : Staged
    conflict : Conflict

    Returns
    -------
    Parting
        First by place, as `stage.small_moves` has it, then by the close perspective, then by gain;
        with the same limits no other seat may hide it more than before, nor it the masker.
    """
    aim = _aim(staged, conflict)
    own, scene = staged.heard[conflict.hidden], staged.scene
    if scene.treatment_of(scene.seats[conflict.hidden]) != "untouched":
        for moves in (place_moves, closer_moves):
            tried = moves(scene, conflict.hidden)
            if found := _first_that_helps(staged, conflict, aim, tried):
                return found
    return _louder(staged, conflict, aim) or Parting("", 0.0, None, conflict.share, own.bearing)


def _aim(staged: Staged, conflict: Conflict) -> _Aim:
    _, others, back = _shares(staged, conflict, staged.heard[conflict.hidden])
    return _Aim(
        share=max(LEAST_SHARE, 0.5 * conflict.share),
        others=max(LEAST_SHARE, others),
        back=max(LEAST_SHARE, back),
    )


def _first_that_helps(
    staged: Staged, conflict: Conflict, aim: _Aim, moves: Iterable[SmallMove]
) -> Parting | None:
    """The first move that keeps its promise; looked at by bearing alone before it is computed."""
    tried = 0
    for move in moves:
        scene, listening, plan = _with(staged, conflict.hidden, move.seat)
        bearing = seat_bearing(listening, plan).heard
        if not _hopeful(staged, conflict, scene, bearing, aim, move.key):
            continue
        heard = _heard(staged, listening, plan, bearing)
        if (share := _parted(staged, conflict, heard, aim)) is not None:
            return Parting(move.key, move.value, move.before, share, bearing)
        tried += 1
        if tried == _MOST_TRIED:
            break
    return None


def _parted(staged: Staged, conflict: Conflict, own: Heard, aim: _Aim) -> float | None:
    """What the masker still hides of a seat heard like this; None where that is too much."""
    share, others, back = _shares(staged, conflict, own)
    kept = share <= aim.share and others <= aim.others and back <= aim.back
    return share if kept else None


def _shares(staged: Staged, conflict: Conflict, own: Heard) -> tuple[float, float, float]:
    """What the masker hides of a seat heard like this, any other at most, and it of the masker."""
    shares = shares_hidden(conflict.hidden, own, staged.heard)
    share = shares.pop(conflict.masker, 0.0)
    masker = staged.heard[conflict.masker]
    back = hidden_share(own.powers, masker.powers, masker.bearing - own.bearing)
    return share, max(shares.values(), default=0.0), back


def _hopeful(
    staged: Staged, conflict: Conflict, scene: Scene, bearing: float, aim: _Aim, key: str
) -> bool:
    """Whether a move could part two seats by what is known before it is computed."""
    if key == "perspectives.close":
        return True
    own, masker = staged.heard[conflict.hidden], staged.heard[conflict.masker]
    more = 0.0 if key == "bearing" else _MOST_EARLY_DB
    expected = hidden_share(masker.powers, _raised(own, more).powers, masker.bearing - bearing)
    return expected <= aim.share and _free(scene, conflict.hidden)


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


def _louder(staged: Staged, conflict: Conflict, aim: _Aim) -> Parting | None:
    own, gain = staged.heard[conflict.hidden], staged.scene.seats[conflict.hidden].gain or 0.0
    for more in GAIN_STEPS_DB:
        share = _parted(staged, conflict, _raised(own, more), aim)
        if share is not None:
            return Parting("gain", gain + more, gain, share, own.bearing)
    return None


def _raised(own: Heard, more_db: float) -> Heard:
    """A seat as it is heard when it is played louder."""
    return Heard(own.bearing, own.powers * own.powers.dtype.type(10.0 ** (more_db / 10.0)))
