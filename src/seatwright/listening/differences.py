"""What differs between two seatings, and what that does to each seat in the mix.

Figures are those of a render's report; they are for rendering, not for designing rooms.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from math import hypot
from typing import Any

from seatwright.stage.scene import Scene
from seatwright.stage.seats import Seat

MOVED_BY = 0.005
"""Metres below which a seat stands where it stood."""

FIGURES = ("heard_bearing", "direct_to_reverberant_db", "clarity_db", "level_db")
"""Which of a seat's figures are compared."""


@dataclass(frozen=True)
class Pair:
    """A value in the first and in the second version; None where it has none."""

    before: float | None
    after: float | None

    @property
    def change(self) -> float | None:
        """After minus before."""
        if self.before is None or self.after is None:
            return None
        return self.after - self.before


@dataclass(frozen=True)
class SeatDifference:
    """A seat in two versions.

    Parameters
    ----------
    seat : str
    presence : str
        "both", "first" or "second": in which versions it sounds.
    moved : float
        Metres along the floor; 0 where it stands in one version only.
    changes : tuple of str
        What is written differently beside its place, in words.
    bearing, distance : Pair
        From the podium, degrees and metres.
    figures : dict of str to Pair
        Heard bearing in degrees; direct-to-reverberant ratio, C80 and level in dB.
    """

    seat: str
    presence: str
    moved: float
    changes: tuple[str, ...]
    bearing: Pair
    distance: Pair
    figures: dict[str, Pair]

    @property
    def is_written(self) -> bool:
        """Whether anything about the seat itself is written differently."""
        return self.presence != "both" or self.moved > MOVED_BY or bool(self.changes)


def differences(
    first: Scene,
    second: Scene,
    before: Mapping[str, Mapping[str, Any]],
    after: Mapping[str, Mapping[str, Any]],
) -> tuple[SeatDifference, ...]:
    """Compare two seatings seat by seat.

    Parameters
    ----------
    first, second : Scene
        Seated.
    before, after : mapping of str to mapping
        Rows of the seats that sound, as in report.json.

    Returns
    -------
    tuple of SeatDifference
        Of all seats that sound in either, those that moved or were changed first.
    """
    names = list(dict.fromkeys([*before, *after]))
    rows = [
        _seat_difference(name, first, second, before.get(name), after.get(name)) for name in names
    ]
    return tuple(sorted(rows, key=lambda row: not row.is_written))


def hall_changes(first: Scene, second: Scene) -> tuple[str, ...]:
    """Which parts of the scene beside its seats differ, in words."""
    parts = []
    if first.hall != second.hall:
        parts.append("the hall")
    if first.microphones != second.microphones:
        parts.append("the microphones")
    return tuple(parts)


def _seat_difference(
    name: str,
    first: Scene,
    second: Scene,
    before: Mapping[str, Any] | None,
    after: Mapping[str, Any] | None,
) -> SeatDifference:
    one, other = first.seats.get(name), second.seats.get(name)
    presence = "both" if before and after else "first" if before else "second"
    both = presence == "both" and one is not None and other is not None
    return SeatDifference(
        seat=name,
        presence=presence,
        moved=_moved(one, other) if both and one and other else 0.0,
        changes=_changes(first, second, name) if both else (),
        bearing=_pair(before, after, "bearing"),
        distance=_pair(before, after, "distance"),
        figures={key: _pair(_figures(before), _figures(after), key) for key in FIGURES},
    )


def _figures(row: Mapping[str, Any] | None) -> Mapping[str, Any] | None:
    return row.get("figures") if row else None


def _pair(before: Mapping[str, Any] | None, after: Mapping[str, Any] | None, key: str) -> Pair:
    return Pair(_value(before, key), _value(after, key))


def _value(row: Mapping[str, Any] | None, key: str) -> float | None:
    value = row.get(key) if row else None
    return None if value is None else float(value)


def _moved(one: Seat, other: Seat) -> float:
    (x, y), (old_x, old_y) = other.floor_place, one.floor_place
    return hypot(x - old_x, y - old_y)


def _changes(first: Scene, second: Scene, name: str) -> tuple[str, ...]:
    one, other = first.seats[name], second.seats[name]
    changes = []
    gain = second.gain_of(other) - first.gain_of(one)
    if abs(gain) > 1e-9:
        changes.append(f"gain {gain:+.1f} dB")
    changes += _balance_changes(first.balance_of(one), second.balance_of(other))
    for word, old, new in (
        ("treatment", first.treatment_of(one), second.treatment_of(other)),
        ("level", first.level_of(one), second.level_of(other)),
        ("riser", f"{one.riser or 0:g} m", f"{other.riser or 0:g} m"),
        ("facing", _degrees(one.facing), _degrees(other.facing)),
        ("width", f"{one.source_width:g} m", f"{other.source_width:g} m"),
    ):
        if old != new:
            changes.append(f"{word} {old} to {new}")
    return tuple(changes)


def _degrees(value: float | None) -> str:
    return "as usual" if value is None else f"{value:g} degrees"


def _balance_changes(old: Mapping[str, float], new: Mapping[str, float]) -> list[str]:
    changes = []
    for name in dict.fromkeys([*old, *new]):
        if name not in new:
            changes.append(f"{name} left out")
        elif name not in old:
            changes.append(f"{name} added at {new[name]:+.1f} dB")
        elif abs(new[name] - old[name]) > 1e-9:
            changes.append(f"{name} {new[name] - old[name]:+.1f} dB")
    return changes
