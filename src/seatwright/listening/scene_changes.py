"""What was changed from one state of a scene to the next, in words, the seats first."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from typing import Any

from seatwright.listening.differences import MOVED_BY, SeatDifference, differences
from seatwright.stage.description import dotted_key
from seatwright.stage.scene import Scene

_SEAT_KEYS = ("stem", "instrument", "section", "height", "tail")
"""What `differences` does not compare of a seat."""

_SCENE_KEYS = ("title", "stems", "rate", "align", "hall", "microphones")


def scene_changes(
    first: Scene, second: Scene, heard_first: Iterable[str], heard_second: Iterable[str]
) -> tuple[str, ...]:
    """Name what differs between two states of a scene.

    Parameters
    ----------
    first, second : Scene
        Seated.
    heard_first, heard_second : iterable of str
        Seats that sound in each.

    Returns
    -------
    tuple of str
        One a seat, such as "violas moved 0.8 m, bearing -3 degrees", or one for all seats of a
        section where the same is said of each; then one a key of the scene, its hall and its
        microphones. Empty where nothing that can be heard or read differs.
    """
    sounding = tuple(heard_second)
    rows = differences(first, second, _rows(first, heard_first), _rows(second, sounding))
    seats = {row.seat: words for row in rows if (words := _seat_words(row, first, second))}
    keys = (
        words
        for key in _SCENE_KEYS
        for words in _key_changes((key,), getattr(first, key), getattr(second, key))
    )
    return (*_together(seats, sounding, first, second), *keys)


def same_scene(first: Scene, second: Scene) -> bool:
    """Whether two seated scenes give the same render, whatever their other seatings are."""
    without: Mapping[str, Any] = {"seatings": {}}
    return first.model_copy(update=without) == second.model_copy(update=without)


def _together(
    seats: Mapping[str, str], sounding: tuple[str, ...], first: Scene, second: Scene
) -> Iterator[str]:
    """What is said of seats; once for a whole section whose seats all did the same."""
    told = set()
    for name, words in seats.items():
        section = _section_in_both(name, first, second)
        mates = [one for one in sounding if _section_in_both(one, first, second) == section]
        alike = section and len(mates) > 1 and all(seats.get(one) == words for one in mates)
        if not alike:
            yield f"{name} {words}"
        elif section not in told:
            told.add(section)
            yield f"{section}, all {len(mates)} seats, {words}"


def _section_in_both(name: str, first: Scene, second: Scene) -> str:
    """The section a seat sits in before and after; "" where it changes or is not there."""
    if name not in first.seats or name not in second.seats:
        return ""
    before, after = first.seats[name].section_name, second.seats[name].section_name
    return after if before == after else ""


def _rows(scene: Scene, heard: Iterable[str]) -> dict[str, dict[str, Any]]:
    rows = {}
    for name in heard:
        bearing, distance = scene.seats[name].polar_place
        rows[name] = {"bearing": bearing, "distance": distance}
    return rows


def _seat_words(row: SeatDifference, first: Scene, second: Scene) -> str:
    if row.presence != "both":
        return _presence(row, first, second)
    parts = [_move(row)] if row.moved > MOVED_BY else []
    parts += row.changes
    one, other = first.seats[row.seat], second.seats[row.seat]
    for key in _SEAT_KEYS:
        parts += _key_changes((key,), getattr(one, key), getattr(other, key))
    return ", ".join(parts)


def _presence(row: SeatDifference, first: Scene, second: Scene) -> str:
    if row.presence == "first":
        return "silent" if row.seat in second.seats else "taken out"
    return "sounds" if row.seat in first.seats else "added"


def _move(row: SeatDifference) -> str:
    parts = [f"moved {row.moved:.2g} m" if row.moved < 0.1 else f"moved {row.moved:.1f} m"]
    bearing, distance = row.bearing.change or 0.0, row.distance.change or 0.0
    bearing = (bearing + 180.0) % 360.0 - 180.0
    if abs(bearing) >= 0.05:
        parts.append(f"bearing {bearing:+.3g} degrees")
    if abs(distance) >= 0.005:
        parts.append(f"distance {distance:+.2g} m")
    return ", ".join(parts)


def _key_changes(key: tuple[str, ...], old: Any, new: Any) -> Iterator[str]:
    """A line for every value that differs below a key."""
    if old == new:
        return
    tables = [_as_table(old), _as_table(new)]
    if None in tables:
        yield f"{dotted_key(*key)} {_value(old)} to {_value(new)}"
        return
    one, other = (table or {} for table in tables)
    for name in dict.fromkeys([*one, *other]):
        yield from _key_changes((*key, name), one.get(name), other.get(name))


def _as_table(value: Any) -> dict[str, Any] | None:
    if hasattr(value, "model_fields_set"):
        return {name: getattr(value, name) for name in type(value).model_fields}
    return value if isinstance(value, dict) else None


def _value(value: Any) -> str:
    if value is None:
        return "as usual"
    if isinstance(value, float):
        return f"{value:g}"
    if isinstance(value, list | tuple):
        return " + ".join(map(_value, value))
    return str(value)
