"""Instruments: how high they sound, how wide a section sits, where the bell or plate points.

Heights, players and widths are common practice, no source. How each radiates stands in
`acoustics/radiation_table.py`.
"""

from __future__ import annotations

import difflib
from dataclasses import dataclass
from math import sqrt
from typing import Literal

Family = Literal["strings", "woodwinds", "brass", "percussion", "keyboards", "choir", "support"]

PLAYER_SPACING = 1.2
"""Metres; a section of n players sits about 1.2 sqrt(n) wide (common practice, no source)."""


@dataclass(frozen=True)
class Instrument:
    """An instrument as the stage sees it.

    Parameters
    ----------
    name : str
        Canonical singular name.
    family : Family
        The section a seat joins where the scene names none.
    height : float
        Source height above the floor or riser in metres.
    players : int
        Usual number of players, for the width of a stereo stem.
    turned : float
        Degrees added to the direction towards the podium: 180 where the bell points back.
    """

    name: str
    family: Family
    height: float
    players: int = 1
    turned: float = 0.0

    @property
    def width(self) -> float:
        """Usual width of the section in metres, at least 1."""
        return max(1.0, PLAYER_SPACING * sqrt(self.players))


_SEATED_STRINGS, _WINDS, _STANDING_VOICE = 1.0, 1.2, 1.5

_TABLE = (
    Instrument("violin", "strings", _SEATED_STRINGS, 14),
    Instrument("viola", "strings", _SEATED_STRINGS, 10),
    Instrument("cello", "strings", 0.7, 8),
    Instrument("double bass", "strings", _SEATED_STRINGS, 6),
    Instrument("piccolo", "woodwinds", _WINDS),
    Instrument("flute", "woodwinds", _WINDS, 2),
    Instrument("alto flute", "woodwinds", _WINDS),
    Instrument("oboe", "woodwinds", _WINDS, 2),
    Instrument("english horn", "woodwinds", _WINDS),
    Instrument("clarinet", "woodwinds", _WINDS, 2),
    Instrument("bass clarinet", "woodwinds", _WINDS),
    Instrument("bassoon", "woodwinds", _WINDS, 2),
    Instrument("contrabassoon", "woodwinds", _WINDS),
    Instrument("saxophone", "woodwinds", _WINDS),
    Instrument("horn", "brass", 0.9, 4, turned=180.0),
    Instrument("trumpet", "brass", _WINDS, 3),
    Instrument("trombone", "brass", _WINDS, 3),
    Instrument("bass trombone", "brass", _WINDS),
    Instrument("tuba", "brass", 1.3),
    Instrument("euphonium", "brass", _WINDS),
    Instrument("timpani", "percussion", 0.9),
    Instrument("bass drum", "percussion", 1.0),
    Instrument("snare drum", "percussion", 0.9),
    Instrument("tom-toms", "percussion", 0.9),
    Instrument("cymbals", "percussion", 1.3),
    Instrument("tam-tam", "percussion", 1.2),
    Instrument("triangle", "percussion", 1.4),
    Instrument("tambourine", "percussion", 1.2),
    Instrument("glockenspiel", "percussion", 1.0),
    Instrument("xylophone", "percussion", 1.0),
    Instrument("marimba", "percussion", 1.0, 2),
    Instrument("vibraphone", "percussion", 1.0),
    Instrument("tubular bells", "percussion", 1.5),
    Instrument("percussion", "percussion", 1.0, 3),
    Instrument("harp", "keyboards", 1.0),
    Instrument("celesta", "keyboards", 0.9),
    Instrument("piano", "keyboards", 1.1, 2),
    Instrument("organ", "keyboards", 3.0, 8),
    Instrument("harpsichord", "keyboards", 1.0),
    Instrument("guitar", "keyboards", 0.9),
    Instrument("soprano", "choir", _STANDING_VOICE, 12),
    Instrument("alto", "choir", _STANDING_VOICE, 12),
    Instrument("tenor", "choir", _STANDING_VOICE, 12),
    Instrument("bass voice", "choir", _STANDING_VOICE, 12),
    Instrument("choir", "choir", _STANDING_VOICE, 48),
    Instrument("solo voice", "choir", _STANDING_VOICE),
    Instrument("low support", "support", 0.5),
    Instrument("other", "support", 1.2),
)

INSTRUMENTS: dict[str, Instrument] = {instrument.name: instrument for instrument in _TABLE}

_ALSO = {
    "celli": "cello", "basses": "double bass", "contrabass": "double bass", "harps": "harp",
    "cor anglais": "english horn", "french horn": "horn", "timpano": "timpani",
    "snare": "snare drum", "side drum": "snare drum", "chorus": "choir", "voice": "solo voice",
    "tam tam": "tam-tam", "gong": "tam-tam", "tom toms": "tom-toms", "toms": "tom-toms",
}  # fmt: skip


def instrument_key(name: str) -> str:
    """The table's spelling of an instrument: singular, lower case, single spaces; "" if unknown."""
    plain = " ".join(name.lower().replace("_", " ").split())
    for candidate in (plain, plain.removesuffix("s"), plain.removesuffix("es")):
        known = _ALSO.get(candidate, candidate)
        if known in INSTRUMENTS:
            return known
    return ""


def nearest_instruments(name: str) -> str:
    """Say which instruments come nearest to an unknown name, or where to find them all."""
    names = [*INSTRUMENTS, *_ALSO]
    near = difflib.get_close_matches(name.lower().replace("_", " "), names, n=3, cutoff=0.5)
    return f"nearest: {', '.join(near)}" if near else "`seatwright instruments` lists all names"
