"""Seats and sections: who sits where, and how each is treated.

A seat is written as x and y, or as bearing and distance from the podium; the stems on it become
one or two sources.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import atan2, cos, degrees, hypot, radians, sin
from typing import Annotated, Any, Literal

from pydantic import ConfigDict, Field, field_validator, model_validator

from seatwright.stage.description import (
    Decibels,
    Degrees,
    Description,
    Metres,
    Name,
    StemName,
)
from seatwright.stage.instruments import (
    INSTRUMENTS,
    Instrument,
    instrument_key,
    nearest_instruments,
)

Position = tuple[float, float, float]
Treatment = Literal["placed", "blended", "untouched"]
Level = Literal["held", "natural"]


class Perspectives(Description):
    """A microphone balance: the level of each perspective in dB; one left out is not heard."""

    model_config = ConfigDict(json_schema_extra={"minProperties": 1})

    tree: Decibels | None = None
    outriggers: Decibels | None = None
    ambient: Decibels | None = None
    close: Decibels | None = None
    head: Decibels | None = None

    @model_validator(mode="after")
    def _any(self) -> Perspectives:
        if not self.model_dump(exclude_none=True):
            names = ", ".join(type(self).model_fields)
            raise ValueError(f"found no perspective, wanted at least one of {names}")
        return self


_PLACE_KEYS = {"x": "y", "y": "x", "bearing": "distance", "distance": "bearing"}
_A_PLACE = "x and y, or bearing and distance"

DEFAULT_BALANCE = Perspectives(tree=0.0, outriggers=-6.0, ambient=-8.0, close=-8.0)
"""Common practice, no source."""


class Section(Description):
    """A group of seats with one microphone balance and one bounce."""

    perspectives: Perspectives = DEFAULT_BALANCE
    """Level of each perspective in dB."""
    gain: Decibels = 0.0
    """dB on the whole section."""
    mute: bool = False
    solo: bool = False
    treatment: Treatment = "placed"
    """For its seats that name none."""
    level: Level = "held"
    """For its seats that name none."""


class SeatKeys(Description):
    """Every key a seat or a change of seat can hold."""

    x: Metres | None = None
    """Metres to the right of the podium as the audience sees it."""
    y: Metres | None = None
    """Metres upstage of the podium."""
    bearing: Degrees | None = None
    """Degrees from straight upstage seen from the podium, positive to the audience's right."""
    distance: Annotated[float, Field(ge=0.0, le=1000.0)] | None = None
    """Metres from the podium along the floor."""
    riser: Annotated[float, Field(ge=0.0, le=30.0)] | None = None
    """Height of the platform in metres; 0 by default."""
    height: Annotated[float, Field(ge=0.0, le=30.0)] | None = None
    """Metres from the platform to the source; the instrument's by default."""
    facing: Degrees | None = None
    """Degrees the instrument's main axis points to, 0 straight upstage, positive to the right;
    towards the podium by default, away from it for horns."""
    width: Annotated[float, Field(ge=0.0, le=60.0)] | None = None
    """Metres between the two sources of a stereo stem; from instrument and players by default."""
    players: Annotated[int, Field(ge=1, le=1000)] | None = None
    """How many play, for the default width."""
    gain: Decibels | None = None
    """dB; 0 by default."""
    mute: bool | None = None
    solo: bool | None = None
    treatment: Treatment | None = None
    """placed: full path. blended: the stem has a room of its own; its image is turned to the
    bearing, distance and this hall's tail are added. untouched: passed through."""
    level: Level | None = None
    """held: as loud as exported wherever it sits. natural: distance takes its 1/r."""
    tail: Decibels | None = None
    """Of a blended stem: how much of this hall's tail is added, in dB; -6 by default."""
    perspectives: Perspectives | None = None
    """This seat's own microphone balance; the section's by default."""


class SeatChange(SeatKeys):
    """What an alternative seating changes about one seat: only the keys that differ."""

    @model_validator(mode="after")
    def _one_kind_of_place(self) -> SeatChange:
        _refuse_both_places(self)
        return self


class Seat(SeatKeys):
    """One seat: its stems, its instrument, its place."""

    stem: StemName | Annotated[list[StemName], Field(min_length=1, max_length=64)]
    """File name, or several played from this seat; two that end in .L and .R are one stereo
    stem."""
    section: Name | None = None
    """Section it belongs to; the instrument's family by default."""
    instrument: Annotated[str, Field(max_length=100)] = "other"

    @field_validator("instrument")
    @classmethod
    def _known(cls, value: str) -> str:
        if not instrument_key(value):
            raise ValueError(
                f'found unknown instrument "{value}", wanted a known one'
                f"|{nearest_instruments(value)}"
            )
        return value

    @model_validator(mode="after")
    def _one_place(self) -> Seat:
        _refuse_both_places(self)
        given = [key for key in _PLACE_KEYS if getattr(self, key) is not None]
        if len(given) == 1:
            other = _PLACE_KEYS[given[0]]
            raise ValueError(f"found {given[0]} without {other}, wanted {_A_PLACE}")
        if not given and self.treatment in ("placed", "blended"):
            raise ValueError(f"found no place, wanted {_A_PLACE}")
        return self

    @property
    def known_instrument(self) -> Instrument:
        return INSTRUMENTS[instrument_key(self.instrument)]

    @property
    def section_name(self) -> str:
        return self.section if self.section is not None else self.known_instrument.family

    @property
    def stems(self) -> tuple[str, ...]:
        return (self.stem,) if isinstance(self.stem, str) else tuple(self.stem)

    def changed(self, change: SeatChange) -> Seat:
        """This seat with an alternative's differences; a new place replaces the old kind."""
        new: dict[str, Any] = {
            key: value for key in change.model_fields_set
            if (value := getattr(change, key)) is not None
        }  # fmt: skip
        old = {key: getattr(self, key) for key in self.model_fields_set}
        if new.keys() & {"x", "y"} and self.bearing is not None:
            x, y = self.floor_place
            old |= {"x": x, "y": y, "bearing": None, "distance": None}
        if new.keys() & {"bearing", "distance"} and self.x is not None:
            bearing, distance = self.polar_place
            old |= {"bearing": bearing, "distance": distance, "x": None, "y": None}
        return Seat(**(old | new))

    @property
    def floor_place(self) -> tuple[float, float]:
        """x and y in metres; the podium for an untouched stem without a place."""
        if self.x is not None and self.y is not None:
            return self.x, self.y
        bearing, distance = radians(self.bearing or 0.0), self.distance or 0.0
        return distance * sin(bearing), distance * cos(bearing)

    @property
    def polar_place(self) -> tuple[float, float]:
        """Bearing in degrees and distance in metres from the podium."""
        if self.bearing is not None and self.distance is not None:
            return self.bearing, self.distance
        x, y = self.floor_place
        return degrees(atan2(x, y)), hypot(x, y)

    @property
    def position(self) -> Position:
        """The middle of the seat's source or sources, in metres."""
        x, y = self.floor_place
        height = self.known_instrument.height if self.height is None else self.height
        return x, y, (self.riser or 0.0) + height

    @property
    def facing_degrees(self) -> float:
        """Where the main axis points: 0 straight upstage, positive to the right."""
        if self.facing is not None:
            return self.facing
        bearing, _ = self.polar_place
        return (bearing + 180.0 + self.known_instrument.turned) % 360.0

    @property
    def source_width(self) -> float:
        """Metres between the two sources of a stereo stem."""
        if self.width is not None:
            return self.width
        instrument = self.known_instrument
        if self.players is None:
            return instrument.width
        return Instrument("", instrument.family, 1.0, self.players).width


@dataclass(frozen=True)
class Source:
    """One point that sounds.

    Parameters
    ----------
    position : tuple of float, shape (3,)
        Metres.
    facing : float
        Degrees of the main axis, 0 straight upstage, positive to the right.
    instrument : str
        Canonical name, for its directivity.
    """

    position: Position
    facing: float
    instrument: str


def seat_sources(seat: Seat, channels: int) -> tuple[Source, ...]:
    """The sources of a seat: one for mono, left and right of the seat for stereo.

    Parameters
    ----------
    seat : Seat
    channels : int
        1 or 2.

    Returns
    -------
    tuple of Source, shape (channels,)
        Left and right as the audience sees them, square to the line from the podium.
    """
    x, y, z = seat.position
    bearing, _ = seat.polar_place
    facing, name = seat.facing_degrees, seat.known_instrument.name
    if channels == 1:
        return (Source((x, y, z), facing, name),)
    half = seat.source_width / 2.0
    along_x, along_y = half * cos(radians(bearing)), -half * sin(radians(bearing))
    if along_x < 0.0:  # behind the podium the line turns round; left stays left
        along_x, along_y = -along_x, -along_y
    return (
        Source((x - along_x, y - along_y, z), facing, name),
        Source((x + along_x, y + along_y, z), facing, name),
    )


def _refuse_both_places(seat: SeatKeys) -> None:
    floor = [key for key in ("x", "y") if getattr(seat, key) is not None]
    polar = [key for key in ("bearing", "distance") if getattr(seat, key) is not None]
    if floor and polar:
        found = " and ".join(floor + polar)
        raise ValueError(f"found {found}, wanted either x and y or bearing and distance")
