"""The scene: hall, microphones, sections, seats and alternative seatings, as written down."""

from __future__ import annotations

from typing import Annotated, Any, Literal

from pydantic import Field

from seatwright.stage.description import Description, Line, Name
from seatwright.stage.hall import Hall
from seatwright.stage.microphones import Microphones
from seatwright.stage.seats import Perspectives, Seat, SeatChange, Section

SCENE_FORMAT = 1
"""The format of scene files this version writes; it reads this and older ones."""


class Scene(Description):
    """Everything a scene file holds."""

    format: Annotated[int, Field(ge=1)] = SCENE_FORMAT
    """Version of the scene format."""
    title: Annotated[Line, Field(max_length=500)] = ""
    """What the piece or cue is called."""
    stems: Annotated[Line, Field(max_length=4000)] = "."
    """Folder of the stems, relative to the scene file."""
    rate: Annotated[int, Field(ge=8000, le=384000)] | None = None
    """Samples per second of the outputs; the rate most stems have by default."""
    align: Literal["start", "timestamp"] = "start"
    """start: all stems begin together. timestamp: by their broadcast time reference."""
    hall: Hall = Hall()
    microphones: Microphones = Microphones()
    sections: dict[Name, Section] = Field(default_factory=dict, max_length=200)
    seats: Annotated[dict[Name, Seat], Field(min_length=1, max_length=1000)]
    seatings: dict[Name, dict[Name, SeatChange]] = Field(default_factory=dict, max_length=200)
    """Alternatives: for each only the seats and keys that differ."""

    def seated(self, seating: str | None) -> Scene:
        """This scene with a named alternative carried out.

        Parameters
        ----------
        seating : str or None
            Key of `seatings`; None leaves the scene as written.

        Returns
        -------
        Scene

        Raises
        ------
        KeyError
            If there is no such seating.
        """
        if seating is None:
            return self
        changes = self.seatings[seating]
        seats = {
            name: seat.changed(changes[name]) if name in changes else seat
            for name, seat in self.seats.items()
        }
        return self.model_copy(update={"seats": seats})

    def section_of(self, seat: Seat) -> Section:
        """The section a seat belongs to, with defaults where the scene describes none."""
        return self.sections.get(seat.section_name, Section())

    def balance_of(self, seat: Seat) -> dict[str, float]:
        """Level in dB of each perspective that is heard of a seat."""
        balance: Perspectives = seat.perspectives or self.section_of(seat).perspectives
        heard: dict[str, float] = balance.model_dump(exclude_none=True)
        return heard

    def treatment_of(self, seat: Seat) -> str:
        return seat.treatment or self.section_of(seat).treatment

    def level_of(self, seat: Seat) -> str:
        return seat.level or self.section_of(seat).level

    def gain_of(self, seat: Seat) -> float:
        """dB of seat and section together."""
        return (seat.gain or 0.0) + self.section_of(seat).gain

    def open_seats(self) -> tuple[str, ...]:
        """Names of the seats whose close microphones hear other seats too; none without spill.

        Muted seats count, so that what is heard of a seat never depends on which others sound.
        """
        if self.microphones.close.spill is None:
            return ()
        return tuple(
            name
            for name, seat in self.seats.items()
            if self.treatment_of(seat) == "placed" and "close" in self.balance_of(seat)
        )

    def sounding(self) -> tuple[str, ...]:
        """Names of the seats that are heard: not muted, and soloed where anything is."""
        soloed = {name for name, seat in self.seats.items() if self._is_solo(seat)}
        return tuple(
            name
            for name, seat in self.seats.items()
            if not (seat.mute or self.section_of(seat).mute) and (not soloed or name in soloed)
        )

    def _is_solo(self, seat: Seat) -> bool:
        return bool(seat.solo) or self.section_of(seat).solo


_TABLES: dict[str, type[Description]] = {
    "[hall]": Hall, "[sections.NAME]": Section, "[seats.NAME]": Seat,
}  # fmt: skip


def home_of(key: str) -> str:
    """Where a key belongs that a scene has not at its top: a hint; "" for a key no table has."""
    homes = [table for table, kind in _TABLES.items() if key in kind.model_fields]
    return f"it belongs in {' or '.join(homes)}" if homes else ""


def scene_schema() -> dict[str, Any]:
    """JSON Schema (draft 2020-12) of the scene file, for editors that complete and check TOML."""
    schema = Scene.model_json_schema()
    schema["$schema"] = "https://json-schema.org/draft/2020-12/schema"
    schema["title"] = "Seatwright scene"
    return schema
