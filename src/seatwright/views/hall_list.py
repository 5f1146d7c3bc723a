"""The starting halls as a list: size, volume and how long each rings, per octave band."""

from __future__ import annotations

import json
from dataclasses import asdict, dataclass

from seatwright.acoustics.room import room_of
from seatwright.stage.bands import BAND_NAMES
from seatwright.stage.hall import Hall
from seatwright.stage.hall_library import HALL_TYPES
from seatwright.views.text_table import text_table


@dataclass(frozen=True)
class HallEntry:
    """A starting hall: metres, cubic metres, seconds.

    Parameters
    ----------
    name, summary : str
        As `hall.type` has it, and in a few words.
    width, depth, height, podium : float
        Podium from the wall behind the orchestra.
    volume : float
    reverberation : float
        Mean of 500 Hz and 1 kHz.
    reverberation_bands : dict of str to float
        T60 of each octave band by Eyring's formula with air.
    """

    name: str
    summary: str
    width: float
    depth: float
    height: float
    podium: float
    volume: float
    reverberation: float
    reverberation_bands: dict[str, float]


def hall_entries() -> tuple[HallEntry, ...]:
    """All starting halls in the library's order."""
    return tuple(_entry(name) for name in HALL_TYPES)


def _entry(name: str) -> HallEntry:
    hall = Hall(type=name)
    room = room_of(hall)
    bands = {
        band: round(time, 3) for band, time in zip(BAND_NAMES, room.reverberation, strict=True)
    }
    return HallEntry(
        name=name,
        summary=HALL_TYPES[name].summary,
        width=hall.size.width,
        depth=hall.size.depth,
        height=hall.size.height,
        podium=hall.podium_depth,
        volume=hall.volume,
        reverberation=round(room.middle_reverberation, 3),
        reverberation_bands=bands,
    )


def halls_table() -> str:
    """The list as a table, one line a hall."""
    rows = [
        [
            entry.name,
            f"{entry.width:g} x {entry.depth:g} x {entry.height:g}",
            f"{entry.volume:.0f}",
            f"{entry.reverberation:.2f}",
            *(f"{time:.2f}" for time in entry.reverberation_bands.values()),
        ]
        for entry in hall_entries()
    ]
    return text_table(["hall", "size m", "volume m3", "T s", *BAND_NAMES], rows)


def halls_json() -> str:
    """The list as JSON: one object a hall, a line each."""
    lines = [json.dumps(asdict(entry)) for entry in hall_entries()]
    return "[\n" + ",\n".join(lines) + "\n]"
