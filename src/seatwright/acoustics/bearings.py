"""Where each seat is heard, where it belongs, and doubts where the two are apart.

Over loudspeakers a seat belongs where its written place, as seen from the tree, falls when a
stage of +-60 degrees is spread over their +-30 (`panning.pan_angle`): no pair of loudspeakers shows
a seat outside them. Over headphones it belongs at its bearing from the listener's head.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from seatwright.acoustics.head_localisation import bearing_at_head, bearing_from_head
from seatwright.acoustics.listening import Listening, SeatPlan, middle_source
from seatwright.acoustics.localisation import LOUDSPEAKER_ANGLE, heard_bearing
from seatwright.acoustics.panning import STAGE_ANGLE, pan_angle, panned_arrivals
from seatwright.errors import Fault
from seatwright.stage.description import dotted_key

FAR_OFF = 10.0
"""Degrees between heard and placed bearing that are worth a word."""

APART_ON_STAGE = 3.0
"""Degrees by which two seats are written apart before their order is looked at."""

SWAPPED_BY = 1.0
"""Degrees by which two seats are heard in the opposite order before it is said."""


@dataclass(frozen=True)
class Bearing:
    """Where a seat is heard and where it belongs, degrees, right positive.

    Parameters
    ----------
    heard : float
        By summing localisation between loudspeakers at +-30, or by the delay between the ears.
    placed : float
        Where its written place belongs on the same base.
    over : str
        "loudspeakers", or "headphones" where the head is the only perspective.
    """

    heard: float
    placed: float
    over: str


def seat_bearing(listening: Listening, plan: SeatPlan) -> Bearing:
    """Where a seat's direct sound is heard as mixed, and where it belongs.

    Parameters
    ----------
    listening : Listening
    plan : SeatPlan

    Returns
    -------
    Bearing
    """
    source = middle_source(plan)
    if plan.treatment == "blended":
        angle = pan_angle(listening, source)
        return Bearing(angle, angle, "loudspeakers")
    times, gains = panned_arrivals(listening, plan)
    if len(times):
        placed = pan_angle(listening, source)
        return Bearing(heard_bearing(times, gains), placed, "loudspeakers")
    placed = bearing_from_head(listening, source)
    return Bearing(bearing_at_head(listening, source), placed, "headphones")


def bearing_doubts(bearings: Mapping[str, Bearing]) -> list[Fault]:
    """What a listener will not hear where it is written.

    Parameters
    ----------
    bearings : mapping of str to Bearing
        Of every seat that sounds.

    Returns
    -------
    list of Fault
        One for each seat heard more than 10 degrees from where it belongs; and where seats are
        heard in the opposite order, one for each seat that explains most of it, not one a pair.
    """
    hinted: set[str] = set()
    far = []
    for name, bearing in bearings.items():
        if abs(bearing.heard - bearing.placed) > FAR_OFF:
            hint = "" if bearing.over in hinted else _HINTS[bearing.over]
            far.append(_far_off(name, bearing, hint))
            hinted.add(bearing.over)  # the way out is the same for all: once is enough
    return [*far, *_swaps(bearings)]


_HINTS = {
    "loudspeakers": "close microphones are panned to where seats belong: raise them",
    "headphones": "a head hears front and back alike: keep it in front of all seats",
}


def _far_off(name: str, bearing: Bearing, hint: str) -> Fault:
    return Fault(
        f"heard at {bearing.heard:+.1f} degrees over {bearing.over}, its place belongs at "
        f"{bearing.placed:+.1f}",
        key=dotted_key("seats", name),
        hint=hint,
    )


def _swaps(bearings: Mapping[str, Bearing]) -> list[Fault]:
    """The seat in most swapped pairs is told, and its pairs are done with, until none is left."""
    swapped: dict[str, set[str]] = {name: set() for name in bearings}
    names = list(bearings)
    for index, first in enumerate(names):
        for second in names[index + 1 :]:
            if _opposite(bearings[first], bearings[second]):
                swapped[first].add(second)
                swapped[second].add(first)
    faults = []
    while worst := max(swapped, key=lambda name: len(swapped[name]), default=""):
        if not swapped[worst]:
            break
        faults.append(_swapped(worst, sorted(swapped[worst], key=names.index), bearings))
        for other in swapped.pop(worst):
            swapped[other].discard(worst)
    return faults


def _opposite(first: Bearing, second: Bearing) -> bool:
    if first.over != second.over:
        return False
    scale = LOUDSPEAKER_ANGLE / STAGE_ANGLE if first.over == "loudspeakers" else 1.0
    written, heard = second.placed - first.placed, second.heard - first.heard
    return abs(written) > APART_ON_STAGE * scale and heard * (written / abs(written)) < -SWAPPED_BY


def _swapped(name: str, others: list[str], bearings: Mapping[str, Bearing]) -> Fault:
    own = bearings[name]
    worst = max(others, key=lambda other: abs(bearings[other].heard - own.heard))
    that = bearings[worst]
    more = f" (and {len(others) - 1} more)" if len(others) > 1 else ""
    return Fault(
        f'heard on the wrong side of "{worst}"{more}: at {own.heard:+.1f} and {that.heard:+.1f} '
        f"degrees over {own.over}, their places belong at {own.placed:+.1f} and "
        f"{that.placed:+.1f}",
        key=dotted_key("seats", name),
        hint=_HINTS[own.over],
    )
