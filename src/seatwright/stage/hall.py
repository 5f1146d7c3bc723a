"""The hall: a shoebox, its six surfaces and its air.

Frame: origin at the podium on the stage floor; x to the right and y upstage as the audience
sees it, z up; metres.
"""

from __future__ import annotations

from typing import Annotated, Any

from pydantic import Field, field_validator, model_validator

from seatwright.stage.bands import Bands
from seatwright.stage.description import Description, Length
from seatwright.stage.hall_library import HALL_TYPES, unknown_hall, with_type
from seatwright.stage.surfaces import (
    SURFACE_NAMES,
    SurfaceTable,
    surface_absorption,
    surface_scattering,
    unknown_surface,
)

Surface = Annotated[str, Field(max_length=100)] | SurfaceTable

HallName = Annotated[str, Field(max_length=100, json_schema_extra={"enum": list(HALL_TYPES)})]

CLEARANCE = 0.1
"""Metres that every seat and microphone keeps from each surface."""


class Size(Description):
    """Inner size of the hall in metres."""

    width: Annotated[float, Field(ge=2.0, le=200.0)] = 22.0
    """Left to right as the audience sees it, in metres."""
    depth: Annotated[float, Field(ge=2.0, le=200.0)] = 36.0
    """From the wall behind the orchestra to the wall behind the audience, in metres."""
    height: Annotated[float, Field(ge=2.0, le=100.0)] = 16.0
    """Floor to ceiling, in metres."""


class Surfaces(Description):
    """What the six surfaces are made of: a name or own octave-band values each."""

    floor: Surface = "stage_and_audience"
    ceiling: Surface = "plasterboard"
    left: Surface = "hard_surface"
    """The wall to the left as the audience sees it."""
    right: Surface = "hard_surface"
    upstage: Surface = "wooden_lining"
    """The wall behind the orchestra."""
    rear: Surface = "wooden_lining"
    """The wall behind the audience."""

    @field_validator(*SURFACE_NAMES)
    @classmethod
    def _known(cls, value: str | SurfaceTable) -> str | SurfaceTable:
        if isinstance(value, str) and (hint := unknown_surface(value)):
            raise ValueError(f'found unknown surface "{value}", wanted a named surface|{hint}')
        return value


class Hall(Description):
    """The hall as written in a scene; what it leaves out its type gives, if it names one."""

    type: HallName | None = None
    """A named starting hall; every other key here changes what it differs in."""
    size: Size = Size()
    """Inner width, depth and height."""
    podium: Length | None = None
    """Metres from the wall behind the orchestra to the podium; a third of the depth by default,
    at most 12 m."""
    reverberation: Annotated[float, Field(gt=0.05, le=30.0)] | None = None
    """Seconds at 500 Hz-1 kHz; scales the surfaces, their shape over frequency kept."""
    scattering: Annotated[float, Field(ge=0.0, le=1.0)] = 0.2
    """Share of reflected energy scattered, for surfaces that give none of their own."""
    mixing_time: Annotated[float, Field(ge=0.02, le=1.0)] | None = None
    """Seconds from which the tail carries everything; from the volume where not given."""
    temperature: Annotated[float, Field(ge=-20.0, le=50.0)] = 20.0
    """Degrees Celsius."""
    humidity: Annotated[float, Field(ge=5.0, le=100.0)] = 50.0
    """Relative humidity in percent."""
    seed: Annotated[int, Field(ge=0, lt=2**32)] = 0
    """Chooses the noise the tails are made of; the same seed gives the same samples."""
    surfaces: Surfaces = Surfaces()
    """Floor, ceiling and four walls."""

    @model_validator(mode="before")
    @classmethod
    def _typed(cls, written: Any) -> Any:
        return with_type(written) if isinstance(written, dict) else written

    @field_validator("type")
    @classmethod
    def _known(cls, value: str | None) -> str | None:
        if value is not None and (hint := unknown_hall(value)):
            raise ValueError(f'found unknown hall type "{value}", wanted a named one|{hint}')
        return value

    @property
    def podium_depth(self) -> float:
        """Metres from the wall behind the orchestra to the podium."""
        return self.podium if self.podium is not None else min(12.0, self.size.depth / 3.0)

    @property
    def volume(self) -> float:
        """Cubic metres."""
        return self.size.width * self.size.depth * self.size.height

    @property
    def areas(self) -> tuple[float, ...]:
        """Square metres of each surface in the order of `SURFACE_NAMES`, shape (6,)."""
        width, depth, height = self.size.width, self.size.depth, self.size.height
        return (width * depth,) * 2 + (depth * height,) * 2 + (width * height,) * 2

    @property
    def bounds(self) -> tuple[tuple[float, float], ...]:
        """Lowest and highest x, y and z inside the hall in metres, shape (3, 2)."""
        half = self.size.width / 2.0
        return (
            (-half, half),
            (self.podium_depth - self.size.depth, self.podium_depth),
            (0.0, self.size.height),
        )

    @property
    def absorption(self) -> tuple[Bands, ...]:
        """As written, before any target reverberation: shape (6, 9)."""
        return tuple(surface_absorption(getattr(self.surfaces, name)) for name in SURFACE_NAMES)

    @property
    def scattering_bands(self) -> tuple[Bands, ...]:
        """Scattering of each surface, shape (6, 9)."""
        return tuple(
            surface_scattering(getattr(self.surfaces, name), self.scattering)
            for name in SURFACE_NAMES
        )

    def outside(self, position: tuple[float, float, float]) -> str:
        """Say by how much a position leaves the hall; "" when it is at least 0.1 m inside."""
        return self.way_out(position)[1]

    def way_out(self, position: tuple[float, float, float]) -> tuple[str, str]:
        """Along which axis a position leaves the hall ("x", "y", "z") and by how much, in words.

        Parameters
        ----------
        position : tuple of float, shape (3,)
            Metres.

        Returns
        -------
        axis, what : str
            The first of the axes, both "" when the position is at least 0.1 m inside.
        """
        for axis, value, (low, high) in zip("xyz", position, self.bounds, strict=True):
            low, high = low + CLEARANCE, high - CLEARANCE
            over = max(low - value, value - high)
            if over > 1e-9:
                where = f"a height of {value:.2f} m above the stage floor"
                where = where if axis == "z" else f"{axis} = {value:.2f} m"
                return axis, (
                    f"found {where}, {over:.2f} m outside, wanted {low:.2f} to {high:.2f} m"
                )
        return "", ""
