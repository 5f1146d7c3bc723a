"""Moves: a scene with one chair moved or turned, or one section's balance changed.

Everything is written as the scene writes it: a seat given by bearing and distance stays so, a move
made in an alternative seating changes that alternative alone.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from math import atan2, degrees, hypot
from typing import Any

from pydantic import ValidationError

from seatwright.errors import Fault, SceneError
from seatwright.stage.description import dotted_key
from seatwright.stage.scene import Scene
from seatwright.stage.seat_rules import seat_faults
from seatwright.stage.seats import Perspectives, Seat, SeatChange, SeatKeys, Section

Leaf = float | int | str | bool
KeyPath = tuple[str, ...]

_PLACE = (("x", "y"), ("bearing", "distance"))


def moved(scene: Scene, seating: str | None, name: str, x: float, y: float) -> Scene:
    """The scene with a seat somewhere else.

    Parameters
    ----------
    scene : Scene
        As written, not seated.
    seating : str or None
        The alternative that is changed; None changes the seat itself.
    name : str
        Key of `seats`.
    x, y : float
        Metres from the podium; kept to the centimetre, or a bearing to a tenth of a degree.

    Returns
    -------
    Scene

    Raises
    ------
    SceneError
        If there is no such seat, or it has no place in the hall.
    """
    seat = _in_hall(scene, seating, name)
    if seat.bearing is None:
        return _changed(scene, seating, name, {"x": _even(x, 2), "y": _even(y, 2)})
    place = {"bearing": _even(degrees(atan2(x, y)), 1), "distance": _even(hypot(x, y), 2)}
    return _changed(scene, seating, name, place)


def turned(scene: Scene, seating: str | None, name: str, facing: float) -> Scene:
    """The scene with a seat facing elsewhere, in whole degrees of -180 to 180; else as `moved`."""
    _in_hall(scene, seating, name)
    whole = (round(facing) + 180) % 360 - 180
    return _changed(scene, seating, name, {"facing": float(whole)})


def balanced(scene: Scene, section: str, levels: Mapping[str, float]) -> Scene:
    """The scene with another microphone balance for a section.

    Parameters
    ----------
    scene : Scene
    section : str
        One that a seat belongs to, whether the scene describes it or not.
    levels : mapping of str to float
        dB of each perspective that is heard, at least one.

    Returns
    -------
    Scene

    Raises
    ------
    SceneError
        If nobody sits in the section, or the levels are no balance.
    """
    if section not in {seat.section_name for seat in scene.seats.values()}:
        raise SceneError(Fault(f'found no seat in section "{section}", wanted one that is seated'))
    old = scene.sections.get(section, Section())
    even = {name: _even(level, 1) for name, level in levels.items()}
    try:
        new = old.model_copy(update={"perspectives": Perspectives.model_validate(even)})
    except ValidationError as error:
        raise _refused(error, dotted_key("sections", section, "perspectives")) from None
    return scene.model_copy(update={"sections": {**scene.sections, section: new}})


def move_faults(scene: Scene, seating: str | None, names: tuple[str, ...]) -> list[Fault]:
    """Why seats cannot be where they are, here and in every alternative that takes it from here.

    Parameters
    ----------
    scene : Scene
        As written.
    seating : str or None
        In which the seats were moved.
    names : tuple of str

    Returns
    -------
    list of Fault
        Also of other seats, where one that is moved takes its close microphone along.
    """
    others = tuple(scene.seats) if scene.open_seats() else names
    faults = [] if seating is not None else list(seat_faults(scene, None, others))
    for other, changes in scene.seatings.items():
        touched = [name for name in others if name in changes]
        if (touched and seating is None) or other == seating:
            faults += seat_faults(scene.seated(other), other, touched)
    return faults


def leaf_changes(old: Scene, new: Scene) -> dict[KeyPath, Leaf | None]:
    """What must be written to make one scene the other.

    Parameters
    ----------
    old, new : Scene

    Returns
    -------
    dict of tuple of str to value or None
        Path of every key that differs, in the order of `new`; None where it goes.
    """
    before, after = dict(_leaves(written(old))), dict(_leaves(written(new)))
    changes: dict[KeyPath, Leaf | None] = {
        path: value for path, value in after.items() if before.get(path) != value
    }
    return changes | {path: None for path in before if path not in after}


def written(scene: Scene) -> dict[str, Any]:
    """A scene as nested tables with only what is written in it.

    Left out are sections and changes of seats in which nothing is written: they mean nothing.
    """
    table: dict[str, Any] = scene.model_dump(exclude_unset=True, exclude_none=True)
    seatings = table.get("seatings", {})
    table["seatings"] = {name: _filled(changes) for name, changes in seatings.items()}
    table["sections"] = _filled(table.get("sections", {}))
    return table


def _filled(tables: Mapping[str, Any]) -> dict[str, Any]:
    return {name: table for name, table in tables.items() if table}


def as_seating(old: Scene, new: Scene) -> dict[str, SeatChange]:
    """What an alternative must hold so that a scene's seats become another's.

    Parameters
    ----------
    old : Scene
        As written in its file, without any alternative.
    new : Scene
        The same seats as they are wanted, seated.

    Returns
    -------
    dict of str to SeatChange
        For every seat that differs the keys that do; a place is written whole.
    """
    changes = {name: _keys_that_differ(old, new, name) for name in old.seats if name in new.seats}
    return {name: SeatChange(**keys) for name, keys in changes.items() if keys}


def _keys_that_differ(old: Scene, new: Scene, name: str) -> dict[str, Any]:
    before, after = old.seats[name], new.seats[name]
    places = [key for pair in _PLACE for key in pair]
    found: dict[str, Any] = {}
    if any(getattr(before, key) != getattr(after, key) for key in places):
        found |= {key: getattr(after, key) for key in places if getattr(after, key) is not None}
    for key in SeatKeys.model_fields:
        if key in (*places, "perspectives") or getattr(before, key) == getattr(after, key):
            continue
        value = getattr(after, key)
        found[key] = after.facing_degrees if key == "facing" and value is None else value
    if old.balance_of(before) != new.balance_of(after):
        found["perspectives"] = Perspectives(**new.balance_of(after))
    return {key: value for key, value in found.items() if value is not None}


def _in_hall(scene: Scene, seating: str | None, name: str) -> Seat:
    """The seat as it is now."""
    if name not in scene.seats:
        raise SceneError(Fault(f'found unknown seat "{name}", wanted one of the scene'))
    seat = scene.seats[name]
    change = scene.seatings[seating].get(name) if seating is not None else None
    seat = seat.changed(change) if change is not None else seat
    if scene.treatment_of(seat) == "untouched":
        raise SceneError(
            Fault(
                "found an untouched stem, wanted one that sits in the hall",
                key=dotted_key("seats", name),
            )
        )
    return seat


def _changed(scene: Scene, seating: str | None, name: str, keys: dict[str, float]) -> Scene:
    try:
        if seating is None:
            seat = Seat.model_validate(_kept(scene.seats[name], keys))
            return scene.model_copy(update={"seats": {**scene.seats, name: seat}})
        changes = scene.seatings[seating]
        change = SeatChange.model_validate(_kept(changes.get(name, SeatChange()), keys))
    except ValidationError as error:
        raise _refused(error, dotted_key("seats", name)) from None
    seatings = {**scene.seatings, seating: {**changes, name: change}}
    return scene.model_copy(update={"seatings": seatings})


def _kept(old: SeatKeys, keys: dict[str, float]) -> dict[str, Any]:
    return {key: getattr(old, key) for key in old.model_fields_set} | keys


def _refused(error: ValidationError, key: str) -> SceneError:
    first = error.errors()[0]
    where = ".".join([key, *map(str, first["loc"])])
    return SceneError(Fault(f"found {first.get('input')!r}: {first['msg']}", key=where))


def _leaves(table: Mapping[str, Any], path: KeyPath = ()) -> Iterator[tuple[KeyPath, Any]]:
    for key, value in table.items():
        if isinstance(value, Mapping):
            yield from _leaves(value, (*path, key))
        else:
            yield (*path, key), value


def _even(value: float, digits: int) -> float:
    return round(float(value), digits) + 0.0  # no negative zero
