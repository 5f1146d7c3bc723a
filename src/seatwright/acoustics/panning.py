"""Where a seat stands between the loudspeakers: its direct sound as mixed, its close microphones.

A close microphone has the gain that makes its direct sound as strong as the tree's, is panned to
where the source lies as seen from the tree, and delayed to the tree's first arrival; all other
microphones share one gain.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import lru_cache
from math import atan2, degrees

import numpy as np
from numpy.typing import NDArray

from seatwright.acoustics.impulse_response import microphone_arrivals
from seatwright.acoustics.listening import (
    Listening,
    OpenSeat,
    SeatPlan,
    middle_source,
    others_open,
    travel_time,
)
from seatwright.acoustics.localisation import LOUDSPEAKER_ANGLE, level_for_angle, pan_gains
from seatwright.stage.microphones import Microphone, close_microphone
from seatwright.stage.seats import Source

STAGE_ANGLE = 60.0
"""Degrees to either side over which a stage spreads as seen from the tree."""

NULL_STRENGTH = 1.0 / 30.0
"""Least strength at which the tree is taken to hear direct sound, against an omni."""


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


def tree_hearing(listening: Listening, source: Source) -> tuple[float, float]:
    """When the tree hears a source first, in seconds, and how strong its direct sound is there.

    The strength is the root of the power sum into left and right at mid frequencies; where every
    pattern is deaf, a thirtieth of what an omni would hear, so that levels set by it stay finite.
    """
    times, gains = direct_arrivals(listening, source, ("tree",))
    first = float(times.min())
    least = NULL_STRENGTH / (first * listening.room.speed)
    return first, max(float(np.sqrt(np.sum(gains**2))), least)


def panned_arrivals(
    listening: Listening, plan: SeatPlan
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Direct sound of a seat's middle as mixed, for the bearing a listener hears.

    Returns
    -------
    times : ndarray, shape (microphones,)
        Seconds; close microphones as delayed, those of other seats last where there is spill.
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
        first, strength = tree_hearing(listening, source)
        pan = np.array(close_pan(listening, source))
        strength *= 10.0 ** (balance["close"] / 20.0)
        times = np.append(times, first)
        gains = np.concatenate([gains, strength * pan[None, :]])
    if others_open(listening, plan):
        spill_times, spill_gains = spill_arrivals(listening, plan)
        times, gains = np.append(times, spill_times), np.concatenate([gains, spill_gains])
    return times, gains


def spill_arrivals(
    listening: Listening, plan: SeatPlan
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Direct sound of a seat's middle in the other seats' close microphones, as these are mixed.

    Returns
    -------
    times : ndarray, shape (microphones,)
        Seconds, delays included.
    gains : ndarray, shape (microphones, 2)
    """
    spots = open_spots(listening, plan)
    microphones = [spot.microphone for spot in spots]
    heard = microphone_arrivals(listening.room, middle_source(plan), microphones, max_order=0)
    ways = np.array([each.distances[0] for each in heard]) / listening.room.speed
    strength = np.array([np.sqrt(np.mean(each.gains[0, 3:7] ** 2)) for each in heard])
    mixed = np.array([np.multiply(spot.gain, spot.microphone.gains) for spot in spots])
    times = ways + np.array([spot.delay for spot in spots])
    return times, strength[:, None] * mixed.reshape(-1, 2)


def pan_angle(listening: Listening, source: Source) -> float:
    """Degrees between loudspeakers, right positive, of a source's bearing from the tree.

    A stage spreads over about +-60 degrees as the tree sees it; that is spread over the
    loudspeakers' +-30 (common practice, no source).
    """
    tree = np.mean([m.position for m in listening.of("tree")], axis=0)
    right, ahead = source.position[0] - tree[0], source.position[1] - tree[1]
    bearing = degrees(atan2(right, ahead))
    return max(-1.0, min(1.0, bearing / STAGE_ANGLE)) * LOUDSPEAKER_ANGLE


def close_pan(listening: Listening, source: Source) -> tuple[float, float]:
    """Left and right gains of a close microphone."""
    return pan_gains(level_for_angle(pan_angle(listening, source)))


@dataclass(frozen=True)
class CloseSpot:
    """A close microphone as mixed: its microphone, delay and gain."""

    microphone: Microphone
    delay: float
    gain: float


def close_spot(listening: Listening, source: Source) -> CloseSpot:
    """The close microphone of a source as it is mixed."""
    first, tree = tree_hearing(listening, source)
    pan = close_pan(listening, source)
    microphone = close_microphone(listening.close, source.position, pan)
    travel = travel_time(listening.room, source, microphone.position)
    heard = microphone_arrivals(listening.room, source, [microphone], max_order=0)[0]
    own = float(np.sqrt(np.mean(heard.gains[0, 3:7] ** 2)))
    return CloseSpot(microphone, first - travel, tree / own)


def open_spots(listening: Listening, plan: SeatPlan) -> tuple[CloseSpot, ...]:
    """Close microphones of other seats that hear this one, with their balance in their gain.

    Parameters
    ----------
    listening : Listening
    plan : SeatPlan
        The seat that is heard.

    Returns
    -------
    tuple of CloseSpot
        In the scene's order; empty without spill.
    """
    return tuple(_open_spot(listening, seat) for seat in others_open(listening, plan))


@lru_cache(maxsize=1024)
def _open_spot(listening: Listening, seat: OpenSeat) -> CloseSpot:
    spot = close_spot(listening, seat.source)
    return replace(spot, gain=spot.gain * 10.0 ** (seat.level_db / 20.0))
