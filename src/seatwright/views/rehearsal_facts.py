"""What the rehearsal page is told of a scene: places, marks, balances and figures as plain values.

The page draws from this and from nothing else; names go to it as they are and are only ever set as
text there.
"""

from __future__ import annotations

from collections.abc import Mapping
from math import isfinite, sqrt
from typing import Any

from seatwright.acoustics.seat_figures import SeatFigures
from seatwright.errors import printable
from seatwright.stage.microphones import PERSPECTIVES, hall_microphones, listener
from seatwright.stage.scene import Scene
from seatwright.stage.seat_rules import placed_seats
from seatwright.stage.seats import Seat

Facts = dict[str, Any]

_MOST_CHAIRS = 120


def scene_facts(scene: Scene) -> Facts:
    """The stage as it is drawn.

    Parameters
    ----------
    scene : Scene
        Seated.

    Returns
    -------
    dict
        hall, microphones, seats, sections; metres and degrees.
    """
    (left, right), (low, high), _ = scene.hall.bounds
    placed = placed_seats(scene)
    sections = list(dict.fromkeys(seat.section_name for _, seat in placed))
    sounding = set(scene.sounding())
    close = scene.microphones.close
    rise = min(abs(close.height), 0.95 * close.distance)
    return {
        "title": printable(scene.title),
        "hall": {"left": left, "right": right, "low": low, "high": high},
        "microphones": _microphones(scene),
        "closeDistance": sqrt(close.distance**2 - rise**2),
        "seats": [_seat(scene, name, seat, name in sounding) for name, seat in placed],
        "sections": [{"name": name, "levels": _section_levels(scene, name)} for name in sections],
        "perspectives": list(PERSPECTIVES),
    }


def figure_facts(figures: SeatFigures) -> Facts:
    """A seat's figures; None where one has no meaning."""
    return {
        "direct": _number(figures.direct_to_reverberant_db),
        "clarity": _number(figures.clarity_db),
        "heard": _number(figures.heard_bearing),
        "placed": _number(figures.placed_bearing),
        "over": figures.heard_over,
    }


def all_figures(figures: Mapping[str, SeatFigures]) -> dict[str, Facts]:
    """`figure_facts` of every seat."""
    return {name: figure_facts(each) for name, each in figures.items()}


def _seat(scene: Scene, name: str, seat: Seat, sounds: bool) -> Facts:
    x, y = seat.floor_place
    instrument = seat.known_instrument
    return {
        "name": name,
        "section": seat.section_name,
        "x": x,
        "y": y,
        "facing": seat.facing_degrees,
        "turned": seat.facing is not None,
        "turnedByDefault": instrument.turned,
        "riser": seat.riser or 0.0,
        "width": seat.source_width,
        "players": min(seat.players or instrument.players, _MOST_CHAIRS),
        "standing": instrument.family == "choir",
        "treatment": scene.treatment_of(seat),
        "sounds": sounds,
        "close": "close" in scene.balance_of(seat) and scene.treatment_of(seat) == "placed",
        "ownBalance": seat.perspectives is not None,
    }


def _section_levels(scene: Scene, section: str) -> dict[str, float]:
    described = next(
        scene.section_of(seat) for seat in scene.seats.values() if seat.section_name == section
    )
    levels: dict[str, float] = described.perspectives.model_dump(exclude_none=True)
    return levels


def _microphones(scene: Scene) -> list[Facts]:
    """Those that hang in the hall; which of them are heard follows from the balances."""
    found = []
    for microphone in hall_microphones(scene.microphones, scene.hall):
        x, y, _ = microphone.position
        aim = [microphone.aim[0], microphone.aim[1]] if microphone.omni_share < 1.0 else None
        found.append({"perspective": microphone.perspective, "x": x, "y": y, "aim": aim})
    x, y, _ = listener(scene.microphones, scene.hall).position
    return [*found, {"perspective": "head", "x": x, "y": y, "aim": None}]


def _number(value: float) -> float | None:
    return round(value, 2) if isfinite(value) else None
