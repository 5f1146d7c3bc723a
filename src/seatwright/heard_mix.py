"""The mix as it will be heard, without rendering it: who hides whom, and what is left in mono."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from contextlib import closing
from dataclasses import dataclass
from math import log10

from seatwright.acoustics.conflicts import Conflict, Heard, conflicts, padded
from seatwright.acoustics.fold_down import FoldDown, fold_down, low_phase_doubts
from seatwright.acoustics.impulse_response import Grid
from seatwright.acoustics.listening import Listening, seat_plan
from seatwright.acoustics.localisation import angle_for_level
from seatwright.acoustics.octave_transfer import OctaveTransfer, passed_through
from seatwright.acoustics.partings import Parting, Staged, parting
from seatwright.acoustics.seat_figures import SeatFigures
from seatwright.disk.casting import Cast
from seatwright.disk.seat_octaves import seat_octaves
from seatwright.errors import Fault
from seatwright.side_by_side import side_by_side
from seatwright.sound.inspection import StemInspection
from seatwright.sound.octave_steps import OctaveSteps
from seatwright.stage.scene import Scene

_LEAST_POWER = 1e-20

_MOVE_SECONDS = 0.05
"""About what finding a move takes one thread; a figure of 2026."""


@dataclass(frozen=True)
class HeardMix:
    """What is heard of a mix.

    Parameters
    ----------
    conflicts : tuple of (Conflict, Parting)
        Each hidden seat with the move that would part it from what hides it.
    fold_down : FoldDown
    doubts : tuple of Fault
    """

    conflicts: tuple[tuple[Conflict, Parting], ...]
    fold_down: FoldDown
    doubts: tuple[Fault, ...]


def heard_mix(
    scene: Scene,
    listening: Listening,
    grid: Grid,
    cast: Cast,
    heard: Sequence[str],
    stems: Sequence[StemInspection],
    figures: Mapping[str, SeatFigures],
    transfers: Mapping[str, OctaveTransfer],
    threads: int = 1,
    progress: Callable[[float], None] = lambda _share: None,
) -> HeardMix:
    """Listen to a mix by stems and responses.

    Parameters
    ----------
    scene : Scene
    listening : Listening
    grid : Grid
    cast : Cast
    heard : sequence of str
        Seats that sound.
    stems : sequence of StemInspection
        Of every file.
    figures, transfers : mapping of str
        Of every seat that is heard in the hall; the others are passed through.
    threads : int
        Never changes what is found.
    progress : callable
        Told what share of the moves is tried, 0 to 1.

    Returns
    -------
    HeardMix
    """
    played = {name: each for name, each in seat_octaves(cast, stems).items() if name in heard}
    passed = {
        name: transfers.get(name)
        or passed_through(len(each.powers), scene.gain_of(scene.seats[name]))
        for name, each in played.items()
    }
    steps = max(each.powers.shape[2] for each in played.values())
    seats = {
        name: Heard(
            figures[name].heard_bearing if name in figures else image_bearing(each),
            padded(passed[name].heard(each), steps),
        )
        for name, each in played.items()
    }
    found = conflicts(seats)
    plans = {
        name: seat_plan(scene, name, cast.channels(name))
        for name, seat in scene.seats.items()
        if scene.treatment_of(seat) != "untouched"
    }
    staged = Staged(scene, listening, grid, plans, played, seats)
    tried = side_by_side(
        lambda conflict: parting(staged, conflict), found, threads, len(found) * _MOVE_SECONDS
    )
    moves = []
    with closing(tried):
        for move in tried:
            moves.append(move)
            progress(len(moves) / len(found))
    outputs = {name: passed[name].outputs(each) for name, each in played.items()}
    pairs = tuple(zip(found, moves, strict=True))
    return HeardMix(pairs, fold_down(outputs), tuple(low_phase_doubts(outputs)))


def image_bearing(steps: OctaveSteps) -> float:
    """Degrees at which an untouched stem is heard between the loudspeakers, right positive."""
    if len(steps.powers) == 1:
        return 0.0
    left, right = (max(float(side.sum()), _LEAST_POWER) for side in steps.powers)
    return angle_for_level(10.0 * log10(right / left))
