"""Surfaces of a hall: how much each absorbs and scatters, per octave band.

Named surfaces come from the material table that ships with pyroomacoustics (after Vorlaender,
"Auralization", 2008); absorption given to 8 kHz or 4 kHz is extended flat to 16 kHz.
"""

from __future__ import annotations

import difflib
import importlib.util
import json
from functools import lru_cache
from pathlib import Path
from typing import Annotated

from pydantic import Field, field_validator

from seatwright.stage.bands import Bands, extended
from seatwright.stage.description import Description

SURFACE_NAMES = ("floor", "ceiling", "left", "right", "upstage", "rear")
"""The six surfaces: left and right as the audience sees them, upstage behind the orchestra."""

Share = Annotated[float, Field(ge=0.0, le=1.0)]
Absorption = Annotated[float, Field(gt=0.0, lt=1.0)]

OWN_SURFACES: dict[str, tuple[float, ...]] = {
    # One shoebox has one floor: a third bare stage, two thirds occupied seating, area-weighted
    # from `stage_floor` and `audience_orchestra_choir` of the same published table.
    "stage_and_audience": (0.43, 0.52, 0.61, 0.66, 0.64, 0.59, 0.59),
}


class SurfaceTable(Description):
    """A surface by its own octave-band values."""

    absorption: Absorption | list[Absorption]
    """Share of sound energy absorbed, above 0 and below 1: one value, or 6 (125 Hz-4 kHz),
    7 (125 Hz-8 kHz), 8 (63 Hz-8 kHz) or 9 (63 Hz-16 kHz) octave-band values."""
    scattering: Share | list[Share] | None = None
    """Share of the reflected energy that leaves in all directions, 0 to 1; counts as above.
    The hall's `scattering` where not given."""

    @field_validator("absorption", "scattering")
    @classmethod
    def _whole_bands(cls, value: float | list[float] | None) -> float | list[float] | None:
        if isinstance(value, list):
            extended(value)
        return value


@lru_cache(maxsize=1)
def material_table() -> dict[str, Bands]:
    """Absorption of every named surface.

    Returns
    -------
    dict of str to tuple of float, shape (9,)
        Energy absorption per octave band, above 0 and below 1.

    Source
    ------
    The data file of pyroomacoustics, read without importing the package, so that no setting of
    it can change a sound. Values of 1 and more (edge effects of small samples) are held at 0.99.
    """
    package = importlib.util.find_spec("pyroomacoustics")
    if package is None or package.origin is None:
        raise ModuleNotFoundError("pyroomacoustics is not installed: no table of named surfaces")
    data = json.loads((Path(package.origin).parent / "data" / "materials.json").read_text("utf-8"))
    published = {
        name: tuple(entry["coeffs"])
        for group in data["absorption"].values()
        for name, entry in group.items()
    }
    return {
        name: tuple(min(max(value, 0.005), 0.99) for value in extended(values))
        for name, values in sorted((published | OWN_SURFACES).items())
    }


def surface_key(name: str) -> str:
    """The table's spelling of a surface name: lower case, underscores for spaces."""
    return "_".join(name.strip().lower().split())


def unknown_surface(name: str) -> str:
    """Say which named surfaces come nearest to an unknown name; "" when the name is known."""
    if surface_key(name) in material_table():
        return ""
    near = difflib.get_close_matches(surface_key(name), material_table(), n=3, cutoff=0.4)
    return f"nearest: {', '.join(near)}" if near else "`seatwright surfaces` lists all names"


def surface_absorption(surface: str | SurfaceTable) -> Bands:
    """Absorption of a surface, by name or own values, shape (9,)."""
    if isinstance(surface, str):
        return material_table()[surface_key(surface)]
    value = surface.absorption
    return extended(value if isinstance(value, list) else [value])


def surface_scattering(surface: str | SurfaceTable, default: float) -> Bands:
    """Scattering of a surface, shape (9,); `default` where it names none."""
    value = None if isinstance(surface, str) else surface.scattering
    if value is None:
        value = default
    return extended(value if isinstance(value, list) else [value])
