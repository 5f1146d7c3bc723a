"""Seat loops: what is wanted of each seat, and its loop as it is heard there."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from math import ceil

import numpy as np
from numpy.typing import NDArray

from seatwright.acoustics.impulse_response import Grid
from seatwright.acoustics.kept_tails import KeptTails
from seatwright.acoustics.listening import (
    Listening,
    OpenSeat,
    SeatPlan,
    earliest_arrival,
    seat_plan,
)
from seatwright.acoustics.seat_figures import SeatFigures, seat_figures
from seatwright.acoustics.seat_response import seat_response
from seatwright.disk.casting import Cast
from seatwright.disk.loop_stems import seat_loop
from seatwright.sound.loops import Loop, heard_loop, heard_stretch, stretch_of
from seatwright.stage.scene import Scene

TAIL_BYTES = 200 * 2**20
"""Of the seats' tails that are kept."""


@dataclass(frozen=True)
class Wanted:
    """All that a seat's loop depends on, once the music is chosen.

    Parameters
    ----------
    name : str
    plan : SeatPlan or None
        None for an untouched stem.
    gain_db : float
        Of an untouched stem.
    spots : tuple of OpenSeat
        Whose close microphones hear it too.
    """

    name: str
    plan: SeatPlan | None
    gain_db: float = 0.0
    spots: tuple[OpenSeat, ...] = ()


def wanted_seats(scene: Scene, listening: Listening, cast: Cast) -> dict[str, Wanted]:
    """What is wanted of every seat that sounds.

    Parameters
    ----------
    scene : Scene
        Seated.
    listening : Listening
        Of this scene.
    cast : Cast

    Returns
    -------
    dict of str to Wanted
    """
    found = {}
    for name in scene.sounding():
        seat = scene.seats[name]
        if scene.treatment_of(seat) == "untouched":
            found[name] = Wanted(name, None, scene.gain_of(seat))
        else:
            plan = seat_plan(scene, name, cast.channels(name))
            found[name] = Wanted(name, plan, spots=listening.open_seats)
    return found


def seat_grid(listening: Listening, plan: SeatPlan, grid: Grid) -> tuple[Grid, int]:
    """The time grid of a seat that may be heard before a session's grid begins.

    Parameters
    ----------
    listening : Listening
    plan : SeatPlan
    grid : Grid
        Its origin was the earliest arrival when the session began.

    Returns
    -------
    grid : Grid
        The same, or for a chair that came nearer one that begins at the emission.
    ahead : int
        Samples by which that one begins earlier: the loop is turned back by as many.
    """
    if earliest_arrival(listening, [plan]) >= grid.origin:
        return grid, 0
    ahead = ceil(grid.origin * grid.rate)
    return Grid(grid.rate, grid.frames + ahead, grid.origin - ahead / grid.rate), ahead


@dataclass(frozen=True, eq=False)
class SeatLoop:
    """A seat's loop, ready to be heard whole or in part.

    Parameters
    ----------
    loop : ndarray of float32, shape (channels, frames)
        As it is played.
    responses : ndarray of float32, shape (channels, 2, taps), or None
        None for an untouched stem.
    gain : float
        Of an untouched stem.
    ahead : int
        Samples by which the responses begin earlier than the session's grid.
    figures : callable or None
        Finds the seat's figures.
    """

    loop: Loop
    responses: NDArray[np.float32] | None
    gain: float = 1.0
    ahead: int = 0
    figures: Callable[[], SeatFigures] | None = None

    def whole(self) -> Loop:
        """As it is heard, shape (2, frames)."""
        if self.responses is None:
            return np.broadcast_to(np.float32(self.gain) * self.loop, (2, self.loop.shape[1]))
        part = heard_loop(self.loop, self.responses)
        return np.roll(part, -self.ahead, axis=1) if self.ahead else part

    def stretch(self, first: int, frames: int) -> Loop:
        """A part of `whole` from a sample on, without rendering the rest; shape (2, frames)."""
        if self.responses is None:
            return stretch_of(self.whole(), first, frames)
        return heard_stretch(self.loop, self.responses, first + self.ahead, frames)


class SeatLoops:
    """Makes the loops of seats; several threads may ask.

    Parameters
    ----------
    cast : Cast
    listening : Listening
    grid : Grid
    frames : int
        Of the loop.

    Attributes
    ----------
    tails : KeptTails
    """

    def __init__(self, cast: Cast, listening: Listening, grid: Grid, frames: int):
        self.tails = KeptTails(listening.room, TAIL_BYTES)
        self._cast, self._listening, self._grid, self._frames = cast, listening, grid, frames
        self._loops: dict[str, Loop] = {}

    def made(self, wanted: Wanted, first: int) -> SeatLoop:
        """A seat's loop, which begins at a sample of the scene's time line.

        Raises
        ------
        SeatwrightError
            If its stem is gone or broken by now, or its responses cannot be built.
        """
        loop, plan = self._loop_of(wanted.name, first), wanted.plan
        if plan is None:
            return SeatLoop(loop, None, 10.0 ** (wanted.gain_db / 20.0))
        listening = replace(self._listening, open_seats=wanted.spots)
        grid, ahead = seat_grid(listening, plan, self._grid)
        response = seat_response(listening, plan, grid, kept=self.tails)
        return SeatLoop(
            loop,
            response.mix,
            ahead=ahead,
            figures=lambda: seat_figures(listening, plan, response),
        )

    def _loop_of(self, name: str, first: int) -> Loop:
        if name not in self._loops:
            self._loops[name] = seat_loop(self._cast, name, first, self._frames)
        return self._loops[name]
