"""What a seat will sound like in figures, taken from the very responses that are convolved.

Figures are for rendering, not for the design of rooms.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import nan

import numpy as np
from numpy.typing import NDArray

from seatwright.acoustics.bearings import Bearing, seat_bearing
from seatwright.acoustics.head_localisation import delay_at_head
from seatwright.acoustics.listening import Listening, SeatPlan, middle_source, tree_middle
from seatwright.acoustics.measures import clarity, ratio_db
from seatwright.acoustics.reflections import arrivals_at, image_sources
from seatwright.acoustics.seat_response import SeatResponse


@dataclass(frozen=True)
class SeatFigures:
    """Figures of one seat.

    Parameters
    ----------
    level_db : float
        What distance and microphone balance do to the loudness before it is held.
    direct_to_reverberant_db : float
        Energy of the direct sound to that of everything after it, in the mix, 500 Hz-1 kHz.
    clarity_db : float
        C80 in the mix, 500 Hz-1 kHz.
    initial_gap_ms : float
        Initial time-delay gap, from the direct sound to the first reflection: at the tree's centre
        or midway between a pair, at the head where only that is heard.
    lateral_db : float
        Direct sound, right minus left, 500 Hz-1 kHz.
    arrival_difference_ms : float
        Direct sound, left minus right, positive where the right hears first: between the tree's
        outer microphones, or between the ears where only the head is heard; nan where neither is.
    heard_bearing : float
        Degrees, right positive: by summing localisation between loudspeakers at +-30, or from the
        nose by the delay between the ears where the head is the only perspective.
    placed_bearing : float
        Where its written place belongs on the same base.
    heard_over : str
        "loudspeakers" or "headphones".
    """

    level_db: float
    direct_to_reverberant_db: float
    clarity_db: float
    initial_gap_ms: float
    lateral_db: float
    arrival_difference_ms: float
    heard_bearing: float
    placed_bearing: float
    heard_over: str

    @property
    def bearing(self) -> Bearing:
        """The last three together."""
        return Bearing(self.heard_bearing, self.placed_bearing, self.heard_over)


def seat_figures(listening: Listening, plan: SeatPlan, response: SeatResponse) -> SeatFigures:
    """Figures of a seat from its responses.

    Parameters
    ----------
    listening : Listening
    plan : SeatPlan
    response : SeatResponse

    Returns
    -------
    SeatFigures
        nan where a figure has no meaning, such as a lateral balance of silence.
    """
    middle, energies = response.middle, response.energies
    bearing = seat_bearing(listening, plan)
    at_head = bearing.over == "headphones"
    return SeatFigures(
        level_db=response.level_db,
        direct_to_reverberant_db=ratio_db(energies.left + energies.right, energies.rest),
        clarity_db=clarity(_flat(middle.responses), middle.rate),
        initial_gap_ms=_initial_gap(listening, plan, at_head),
        lateral_db=ratio_db(energies.right, energies.left),
        arrival_difference_ms=_arrival_difference(listening, plan, at_head),
        heard_bearing=bearing.heard,
        placed_bearing=bearing.placed,
        heard_over=bearing.over,
    )


def _flat(responses: NDArray[np.float32]) -> NDArray[np.float32]:
    return responses.reshape(-1, responses.shape[-1])


def _initial_gap(listening: Listening, plan: SeatPlan, at_head: bool) -> float:
    room, source = listening.room, middle_source(plan)
    place = listening.ears.position if at_head else tree_middle(listening)
    reach = room.speed * (room.mixing_time + 1.0)
    images = image_sources(room, source.position, reach, max_order=1)
    heard = arrivals_at(room, source, images, place, reach)
    return float((heard.distances[1:].min() - heard.distances[0]) / room.speed * 1000.0)


def _arrival_difference(listening: Listening, plan: SeatPlan, at_head: bool) -> float:
    source = middle_source(plan)
    if at_head:
        return delay_at_head(listening, source) * 1000.0
    if plan.treatment != "placed" or "tree" not in dict(plan.balance):
        return nan
    tree = listening.of("tree")
    left, right = tree[0], tree[-1]
    to_left, to_right = (
        float(np.linalg.norm(np.subtract(source.position, microphone.position)))
        for microphone in (left, right)
    )
    return (to_left - to_right) / listening.room.speed * 1000.0
