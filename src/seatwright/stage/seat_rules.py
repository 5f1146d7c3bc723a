"""Where a seat may be: inside the hall with its whole width, and off the microphones that hear it.

Each rule returns faults with the full key of the scene; the disk side adds file and line.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from math import dist

from seatwright.errors import Fault
from seatwright.stage.description import dotted_key
from seatwright.stage.microphones import close_microphone, hall_microphones, listener
from seatwright.stage.scene import Scene
from seatwright.stage.seats import Position, Seat, SeatKeys, seat_sources

NEAREST_MICROPHONE = 0.3
"""Metres a seat keeps from every microphone and from the head."""

_PLACED_BY = {"x": ("x", "distance"), "y": ("y", "distance"), "z": ("height", "riser")}
"""Keys that decide on each coordinate, the one to look at first in front."""


def placed_seats(scene: Scene) -> list[tuple[str, Seat]]:
    """Name and seat of all that sit in the hall: all but untouched ones."""
    return [
        (name, seat)
        for name, seat in scene.seats.items()
        if scene.treatment_of(seat) != "untouched"
    ]


def seat_faults(
    scene: Scene, seating: str | None = None, only: Iterable[str] | None = None
) -> Iterator[Fault]:
    """Mistakes in where seats are.

    Parameters
    ----------
    scene : Scene
        With the seating carried out.
    seating : str, optional
        The alternative whose keys are at fault; the scene's seats themselves otherwise.
    only : iterable of str, optional
        Names of the seats to look at; all by default.

    Yields
    ------
    Fault
        With the key that was written, where one can be told, else with that of the seat.
    """
    names = set(scene.seats if only is None else only)
    standing = _standing(scene)
    open_spots = {
        name: _close_position(scene, scene.seats[name].position) for name in scene.open_seats()
    }
    for name, seat in placed_seats(scene):
        if name not in names:
            continue
        written: SeatKeys = seat if seating is None else scene.seatings[seating][name]
        path = ("seats", name) if seating is None else ("seatings", seating, name)
        key = dotted_key(*path)
        if seat.x is None and seat.bearing is None:
            yield Fault("found no place, wanted x and y, or bearing and distance", key=key)
            continue
        positions = [seat.position, *(source.position for source in seat_sources(seat, 2))]
        if outside := list(_outside_faults(scene, seat, positions, written, path)):
            yield from outside
            continue
        spots = [_close_position(scene, position) for position in positions]
        if "close" in scene.balance_of(seat) and (found := _first_outside(scene, spots)):
            yield Fault(f"its close microphone is outside the hall: {found}", key=key)
        if scene.treatment_of(seat) == "placed":
            yield from _spill_faults(open_spots, name, positions, key)
            yield from _head_faults(scene, seat, positions, key)
        yield from _near_faults(standing, positions, key)


def _outside_faults(
    scene: Scene,
    seat: Seat,
    positions: list[Position],
    written: SeatKeys,
    path: tuple[str, ...],
) -> Iterator[Fault]:
    """A seat, or an end of its width, outside the hall; one fault at most."""
    axis, found = scene.hall.way_out(positions[0])
    if found:
        key = _written_key(written, seat, axis)
        yield Fault(
            f"the seat is outside the hall: {found}",
            key=dotted_key(*path, *key),
            hint=_how_it_comes(seat, axis),
        )
    elif found := _first_outside(scene, positions):
        key = ("width",) if written.width is not None else ()
        yield Fault(
            f"an end of its width is outside the hall: {found}",
            key=dotted_key(*path, *key),
            hint=f"it is {seat.source_width:g} m wide",
        )


def _written_key(written: SeatKeys, seat: Seat, axis: str) -> tuple[str, ...]:
    """The key that puts a seat where it is along an axis; of height and riser the larger."""
    keys = [key for key in _PLACED_BY[axis] if getattr(written, key) is not None]
    keys.sort(key=lambda key: -abs(getattr(written, key)))
    if keys:
        return (keys[0],)
    turned = axis != "z" and written.bearing is not None and seat.bearing is not None
    return ("bearing",) if turned else ()


def _how_it_comes(seat: Seat, axis: str) -> str:
    """What a coordinate is computed from, where it is not written itself."""
    if axis == "z":
        riser = seat.riser or 0.0
        return f"riser {riser:g} m and {seat.position[2] - riser:g} m above it"
    if seat.bearing is None or seat.distance is None:
        return ""
    return f"bearing {seat.bearing:g} degrees, distance {seat.distance:g} m"


def _first_outside(scene: Scene, positions: list[Position]) -> str:
    found = (scene.hall.outside(position) for position in positions)
    return next((text for text in found if text), "")


def _standing(scene: Scene) -> dict[str, Position]:
    """Microphones by their names."""
    microphones = hall_microphones(scene.microphones, scene.hall)
    return {microphone.name: microphone.position for microphone in microphones}


def _head_faults(scene: Scene, seat: Seat, positions: list[Position], key: str) -> Iterator[Fault]:
    """A seat that the head hears from within the head's own space."""
    if "head" in scene.balance_of(seat):
        ears = listener(scene.microphones, scene.hall).position
        yield from _near_faults({"the listener's head": ears}, positions, key)


def _near_faults(
    standing: dict[str, Position], positions: list[Position], key: str
) -> Iterator[Fault]:
    for name, place in standing.items():
        gap = min(dist(position, place) for position in positions)
        if gap < NEAREST_MICROPHONE:
            yield Fault(
                f"found {gap:.2f} m from {name}, wanted at least {NEAREST_MICROPHONE} m",
                key=key,
            )


def _close_position(scene: Scene, position: Position) -> Position:
    return close_microphone(scene.microphones.close, position, (1.0, 1.0)).position


def _spill_faults(
    open_spots: dict[str, Position], name: str, positions: list[Position], key: str
) -> Iterator[Fault]:
    """A seat on the close microphone of another that hears it too."""
    for other, spot in open_spots.items():
        gap = min(dist(position, spot) for position in positions)
        if other != name and gap < NEAREST_MICROPHONE - 1e-9:
            yield Fault(
                f'found {gap:.2f} m from the close microphone of "{other}", '
                f"wanted at least {NEAREST_MICROPHONE} m where there is spill",
                key=key,
            )
