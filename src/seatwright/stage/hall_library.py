"""Starting halls: named types with size and surfaces, for scenes that describe no hall themselves.

Sizes are common practice, no source. Surfaces named in the table of `surfaces.py` have its values.
Own values stand where one plane of the shoebox is many things in a real hall (a wall with
balconies, a nave floor with pews and people): they were found from the reverberation published
for the type (tests/references/halls.toml), the other surfaces given, and rounded to 0.01. No type
has a target reverberation, so a size or surface changed in a scene changes what is heard.
"""

from __future__ import annotations

import difflib
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from seatwright.stage.surfaces import SURFACE_NAMES, SurfaceTable


@dataclass(frozen=True)
class HallType:
    """A named starting hall.

    Parameters
    ----------
    name : str
        As `hall.type` has it.
    summary : str
        What it is, in a few words.
    size : tuple of float, shape (3,)
        Width, depth and height in metres.
    podium : float
        Metres from the wall behind the orchestra to the podium.
    scattering : float
        For surfaces that give none of their own.
    surfaces : tuple, shape (6,)
        A surface's name or own values, in the order of `SURFACE_NAMES`.
    """

    name: str
    summary: str
    size: tuple[float, float, float]
    podium: float
    scattering: float
    surfaces: tuple[str | SurfaceTable, ...]

    @property
    def table(self) -> dict[str, Any]:
        """What this type writes into [hall], as a scene would."""
        return {
            "size": dict(zip(("width", "depth", "height"), self.size, strict=True)),
            "podium": self.podium,
            "scattering": self.scattering,
            "surfaces": dict(zip(SURFACE_NAMES, self.surfaces, strict=True)),
        }


def _own(*bands: float, scattering: float | None = None) -> SurfaceTable:
    """A surface by its absorption at 63 Hz-8 kHz, or one value for all bands."""
    return SurfaceTable(
        absorption=list(bands) if len(bands) > 1 else bands[0], scattering=scattering
    )


_BALCONIES = _own(0.18, 0.20, 0.21, 0.22, 0.20, 0.23, 0.27, 0.21)
_CHAMBER_WALLS = _own(0.15, 0.16, 0.16, 0.16, 0.15, 0.16, 0.18, 0.13)
_RECITAL_WALLS = _own(0.15, 0.16, 0.15, 0.14, 0.13, 0.14, 0.16, 0.12)
_SCORING_WALLS = _own(0.32, 0.34, 0.39, 0.39, 0.39, 0.40, 0.41, 0.36)
_STUDIO_WALLS = _own(0.39, 0.43, 0.49, 0.50, 0.50, 0.50, 0.51, 0.47)
_CHURCH_FLOOR = _own(0.34, 0.36, 0.43, 0.47, 0.45, 0.46, 0.51, 0.51)
_CATHEDRAL_FLOOR = _own(0.42, 0.41, 0.43, 0.43, 0.40, 0.43, 0.54, 0.64)
_TIERS = _own(0.31, 0.32, 0.36, 0.30, 0.29, 0.28, 0.28, 0.16)
_DRY_WALLS = _own(0.44, 0.49, 0.43, 0.37, 0.34, 0.38, 0.3, 0.29)
_OPEN = _own(0.99, scattering=0.0)
"""An opening sends nothing back; 0.99 because a decay needs something that is left."""

_TYPES = (
    HallType(
        "large-concert-hall", "occupied shoebox of a symphony orchestra", (24.0, 44.0, 17.5), 11.5,
        0.3, ("stage_and_audience", "plasterboard", *[_BALCONIES] * 4),
    ),
    HallType(
        "chamber-hall", "occupied hall for chamber music and small orchestra", (14.0, 26.0, 12.0),
        8.5, 0.25, ("stage_and_audience", "plasterboard", *[_CHAMBER_WALLS] * 4),
    ),
    HallType(
        "recital-hall", "occupied small hall for soloists and chamber groups", (11.0, 19.0, 9.0),
        6.5, 0.25, ("stage_and_audience", "plasterboard", *[_RECITAL_WALLS] * 4),
    ),
    HallType(
        "scoring-stage", "large recording room of a film orchestra", (19.0, 29.0, 12.0), 11.5,
        0.35, ("wood_16mm", *[_SCORING_WALLS] * 5),
    ),
    HallType(
        "studio", "medium recording room with absorbers", (10.0, 14.0, 5.5), 6.0,
        0.3, ("wood_16mm", *[_STUDIO_WALLS] * 5),
    ),
    HallType(
        "church", "stone walls, plastered ceiling, pews with people", (18.0, 40.0, 15.0), 11.5,
        0.3, (_CHURCH_FLOOR, "plasterboard", *["limestone_wall"] * 4),
    ),
    HallType(
        "cathedral", "long and high, stone all round, a congregation", (28.0, 80.0, 24.0), 14.0,
        0.4, (_CATHEDRAL_FLOOR, *["limestone_wall"] * 5),
    ),
    HallType(
        "theatre-pit", "occupied theatre; the orchestra below a curtained stage opening",
        (20.0, 32.0, 15.0), 7.0, 0.3,
        ("stage_and_audience", "plasterboard", _TIERS, _TIERS, "studio_curtains", _TIERS),
    ),
    HallType(
        "dry-room", "small room with carpet and absorbers", (6.5, 8.5, 3.4), 3.8,
        0.2, ("carpet_tufted_9.5mm", *[_DRY_WALLS] * 5),
    ),
    HallType(
        "open-shell", "stage shell outdoors, open above and towards the audience",
        (26.0, 30.0, 12.0), 12.0, 0.2,
        ("stage_floor", _OPEN, "wood_16mm", "wood_16mm", "wood_16mm", _OPEN),
    ),
)  # fmt: skip

HALL_TYPES: dict[str, HallType] = {hall.name: hall for hall in _TYPES}


def unknown_hall(name: str) -> str:
    """Say which hall types come nearest to an unknown name; "" when the name is known."""
    if name in HALL_TYPES:
        return ""
    near = difflib.get_close_matches(name.lower(), HALL_TYPES, n=3, cutoff=0.4)
    return f"nearest: {', '.join(near)}" if near else f"known: {', '.join(HALL_TYPES)}"


def with_type(written: Mapping[str, Any]) -> dict[str, Any]:
    """A [hall] table with its type's values wherever it has none of its own.

    Parameters
    ----------
    written : mapping
        As the scene has it, not yet checked.

    Returns
    -------
    dict
        `size` and `surfaces` are merged key by key; what is written wins, even if it is wrong.
        The type's podium holds while its size does. As written where the type is absent or
        unknown.
    """
    name = written.get("type")
    if not isinstance(name, str) or name not in HALL_TYPES:
        return dict(written)
    given = HALL_TYPES[name].table
    merged = given | dict(written)
    for key in ("size", "surfaces"):
        if isinstance(own := written.get(key), Mapping):
            merged[key] = given[key] | dict(own)
    if merged["size"] != given["size"] and "podium" not in written:
        del merged["podium"]
    return merged
