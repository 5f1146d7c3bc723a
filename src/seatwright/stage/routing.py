"""Which outputs a render has, and which seats are heard in each."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass

from seatwright.errors import Fault, SceneError
from seatwright.stage.description import dotted_key
from seatwright.stage.microphones import PERSPECTIVES
from seatwright.stage.rules import nearest
from seatwright.stage.scene import Scene

MOST_SUMMED = 8
"""Channels of stems in a group of seats: more would make a change dearer, fewer a whole render."""


@dataclass(frozen=True)
class Bus:
    """One stereo output beside the mix.

    Parameters
    ----------
    kind : str
        "sections", "stems" or "perspectives": also the folder it is written to.
    name : str
        Of the section, the seat or the perspective.
    """

    kind: str
    name: str


@dataclass(frozen=True)
class SeatGroup:
    """Seats of one section that are summed before anything else.

    A section is the sum of its groups: after a change at one seat only its group is convolved
    anew, and the samples are those of a render from nothing.

    Parameters
    ----------
    section : str
    seats : tuple of str
    """

    section: str
    seats: tuple[str, ...]


def heard_seats(scene: Scene, only: Iterable[str] = ()) -> tuple[str, ...]:
    """Seats that sound in a render, in the scene's order.

    Parameters
    ----------
    scene : Scene
    only : iterable of str
        Names of sections or seats; all that sound where empty.

    Returns
    -------
    tuple of str

    Raises
    ------
    SceneError
        If a name is neither a section nor a seat, or nothing is left to hear.
    """
    only = tuple(only)
    sections = {seat.section_name for seat in scene.seats.values()}
    unknown = [name for name in only if name not in sections and name not in scene.seats]
    if unknown:
        raise SceneError(
            Fault(
                f'found "{name}" after --only, wanted a section or a seat of the scene',
                hint=nearest(name, [*sections, *scene.seats]),
            )
            for name in unknown
        )
    heard = tuple(
        name
        for name in scene.sounding()
        if not only or name in only or scene.seats[name].section_name in only
    )
    if not heard:
        raise SceneError("nothing to render: every seat asked for is muted or not soloed")
    return heard


def only_doubts(scene: Scene, only: Iterable[str]) -> list[Fault]:
    """Names asked for that are both a section's and a seat's, and so may mean less than they take.

    Parameters
    ----------
    scene : Scene
    only : iterable of str
        As for `heard_seats`.

    Returns
    -------
    list of Fault
    """
    doubts = []
    for name in dict.fromkeys(only):
        members = [seat for seat in scene.seats if scene.seats[seat].section_name == name]
        if name in scene.seats and members and members != [name]:
            others = ", ".join(seat for seat in members if seat != name)
            doubts.append(
                Fault(
                    f'found a section and a seat named "{name}" after --only, both are taken: '
                    f"{name}, {others}",
                    key=dotted_key("seats", name),
                    hint="a seat of another name can be asked for alone",
                )
            )
    return doubts


def buses_of(
    scene: Scene, heard: Iterable[str], stems: bool = False, perspectives: bool = False
) -> tuple[Bus, ...]:
    """Outputs beside the mix: a bounce a section, on request one a stem and one a perspective.

    Parameters
    ----------
    scene : Scene
    heard : iterable of str
        Seats that sound.
    stems, perspectives : bool

    Returns
    -------
    tuple of Bus
        Sections first, in the order of their first seat; they add up to the mix.
    """
    heard = tuple(heard)
    sections = dict.fromkeys(scene.seats[name].section_name for name in heard)
    buses = [Bus("sections", name) for name in sections]
    if stems:
        buses += [Bus("stems", name) for name in heard]
    if perspectives:
        used = {name for seat in heard for name in seat_perspectives(scene, seat)}
        buses += [
            Bus("perspectives", name)
            for name in (*PERSPECTIVES, "blended", "untouched")
            if name in used
        ]
    return tuple(buses)


def seat_groups(
    scene: Scene, heard: Iterable[str], channels: Mapping[str, int]
) -> tuple[SeatGroup, ...]:
    """Seats in the order in which they are summed: section by section, a few at a time.

    Parameters
    ----------
    scene : Scene
    heard : iterable of str
        Seats that sound.
    channels : mapping of str to int
        1 or 2 of each.

    Returns
    -------
    tuple of SeatGroup
        Those of one section stand together; sections in the order of their first seat.
    """
    heard = tuple(heard)
    groups: list[SeatGroup] = []
    for section in dict.fromkeys(scene.seats[name].section_name for name in heard):
        open_seats: list[str] = []
        for name in heard:
            if scene.seats[name].section_name != section:
                continue
            if sum(channels[seat] for seat in (*open_seats, name)) > MOST_SUMMED:
                groups.append(SeatGroup(section, tuple(open_seats)))
                open_seats = []
            open_seats.append(name)
        groups.append(SeatGroup(section, tuple(open_seats)))
    return tuple(groups)


def seat_perspectives(scene: Scene, name: str) -> tuple[str, ...]:
    """What a seat is heard through: its perspectives, or its treatment where it has none.

    With spill a seat is heard through the others' close microphones too.
    """
    seat = scene.seats[name]
    treatment = scene.treatment_of(seat)
    if treatment != "placed":
        return (treatment,)
    heard = tuple(scene.balance_of(seat))
    return heard if "close" in heard or not scene.open_seats() else (*heard, "close")


def routes_of(scene: Scene, name: str, buses: tuple[Bus, ...]) -> dict[int, str]:
    """Buses a seat feeds: index of the bus and "mix", or the perspective it takes of the seat."""
    seat = scene.seats[name]
    routes: dict[int, str] = {}
    for index, bus in enumerate(buses):
        in_section = bus.kind == "sections" and bus.name == seat.section_name
        if in_section or (bus.kind == "stems" and bus.name == name):
            routes[index] = "mix"
        elif bus.kind == "perspectives" and bus.name in seat_perspectives(scene, name):
            routes[index] = bus.name
    return routes
