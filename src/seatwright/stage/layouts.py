"""Where parts of the orchestra sit: starting layouts, in metres from the podium.

Places, sizes, risers and numbers of players are common practice, no source; rectangles stand for
what are wedges on a real stage.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Literal

from seatwright.stage.name_table import PARTS

LayoutName = Literal["violins-together", "violins-divided", "scoring-stage", "chamber"]


@dataclass(frozen=True)
class Area:
    """Where one part sits.

    Parameters
    ----------
    part : str
        Name of the part.
    x, y : float
        Middle in metres, x to the right and y upstage as the audience sees it.
    width, depth : float
        Metres.
    riser : float
        Height of the platform in metres.
    players : int
    """

    part: str
    x: float
    y: float
    width: float
    depth: float
    riser: float
    players: int


_AREAS: dict[str, tuple[Area, ...]] = {
    "violins-together": (
        Area("violins1", -4.3, 2.3, 4.6, 3.8, 0.0, 14),
        Area("violins2", -1.9, 4.8, 4.2, 3.6, 0.0, 12),
        Area("violas", 2.0, 4.7, 4.2, 3.2, 0.0, 10),
        Area("cellos", 4.5, 2.3, 4.2, 3.6, 0.0, 8),
        Area("basses", 7.6, 4.2, 2.2, 4.6, 0.2, 6),
        Area("flutes", -1.2, 7.4, 2.0, 1.3, 0.3, 2),
        Area("oboes", 1.2, 7.4, 2.0, 1.3, 0.3, 2),
        Area("clarinets", -1.2, 8.8, 2.0, 1.3, 0.5, 2),
        Area("bassoons", 1.2, 8.8, 2.0, 1.3, 0.5, 2),
        Area("horns", -4.6, 8.4, 3.2, 2.0, 0.5, 4),
        Area("trumpets", -1.6, 10.4, 2.8, 1.4, 0.75, 3),
        Area("trombones", 1.6, 10.4, 2.8, 1.6, 0.75, 3),
        Area("tuba", 4.0, 10.3, 1.4, 1.4, 0.75, 1),
        Area("timpani", -4.0, 10.8, 2.6, 2.2, 0.75, 1),
        Area("percussion", -7.2, 10.2, 3.2, 2.6, 0.5, 3),
        Area("harp", -7.4, 6.6, 1.5, 1.5, 0.0, 1),
        Area("celesta", -7.4, 8.2, 1.7, 1.5, 0.0, 1),
    ),
    "violins-divided": (
        Area("violins1", -4.3, 2.3, 4.6, 3.8, 0.0, 14),
        Area("violins2", 4.3, 2.3, 4.6, 3.4, 0.0, 12),
        Area("cellos", -2.1, 4.8, 4.0, 3.6, 0.0, 8),
        Area("violas", 2.1, 4.8, 4.2, 3.2, 0.0, 10),
        Area("basses", -7.5, 5.2, 2.2, 4.6, 0.2, 6),
        Area("flutes", -1.2, 7.4, 2.0, 1.3, 0.3, 2),
        Area("oboes", 1.2, 7.4, 2.0, 1.3, 0.3, 2),
        Area("clarinets", -1.2, 8.8, 2.0, 1.3, 0.5, 2),
        Area("bassoons", 1.2, 8.8, 2.0, 1.3, 0.5, 2),
        Area("horns", -4.4, 8.9, 3.0, 2.0, 0.5, 4),
        Area("trumpets", 1.2, 10.4, 2.8, 1.4, 0.75, 3),
        Area("trombones", 4.2, 10.2, 2.8, 1.6, 0.75, 3),
        Area("tuba", 6.5, 9.9, 1.4, 1.4, 0.75, 1),
        Area("timpani", -1.8, 10.8, 2.6, 2.2, 0.75, 1),
        Area("percussion", 7.3, 7.4, 3.0, 2.6, 0.5, 3),
        Area("harp", -7.4, 8.7, 1.5, 1.5, 0.0, 1),
    ),
    "scoring-stage": (
        Area("violins1", -4.6, 2.6, 4.8, 4.0, 0.0, 16),
        Area("violins2", -2.0, 5.4, 4.4, 3.8, 0.0, 14),
        Area("violas", 2.2, 5.3, 4.4, 3.6, 0.0, 12),
        Area("cellos", 4.8, 2.8, 4.4, 4.0, 0.0, 10),
        Area("basses", 8.2, 4.8, 2.4, 5.2, 0.0, 8),
        Area("flutes", -1.4, 8.6, 2.2, 1.4, 0.0, 3),
        Area("oboes", 1.4, 8.6, 2.2, 1.4, 0.0, 3),
        Area("clarinets", -1.4, 10.2, 2.2, 1.4, 0.0, 3),
        Area("bassoons", 1.4, 10.2, 2.2, 1.4, 0.0, 3),
        Area("horns", -5.6, 10.0, 4.6, 2.4, 0.0, 6),
        Area("trumpets", -1.2, 12.6, 3.2, 1.5, 0.0, 3),
        Area("trombones", 3.0, 12.6, 3.4, 1.8, 0.0, 4),
        Area("tuba", 6.2, 12.2, 1.5, 1.5, 0.0, 1),
        Area("timpani", -4.8, 13.4, 2.8, 2.4, 0.0, 1),
        Area("percussion", -9.0, 12.6, 4.5, 3.5, 0.0, 4),
        Area("harp", -8.8, 7.6, 1.8, 1.8, 0.0, 1),
        Area("piano", -9.2, 4.6, 2.2, 2.6, 0.0, 1),
        Area("celesta", -9.0, 9.6, 1.7, 1.5, 0.0, 1),
    ),
    "chamber": (
        Area("violins1", -3.2, 1.9, 3.0, 2.6, 0.0, 6),
        Area("violins2", -1.3, 3.6, 2.6, 2.2, 0.0, 5),
        Area("violas", 1.4, 3.6, 2.4, 2.0, 0.0, 4),
        Area("cellos", 3.0, 1.9, 2.4, 2.2, 0.0, 3),
        Area("basses", 5.0, 3.0, 1.6, 2.0, 0.0, 2),
        Area("flutes", -1.1, 5.6, 1.8, 1.2, 0.2, 2),
        Area("oboes", 1.1, 5.6, 1.8, 1.2, 0.2, 2),
        Area("clarinets", -1.1, 6.9, 1.8, 1.2, 0.4, 2),
        Area("bassoons", 1.1, 6.9, 1.8, 1.2, 0.4, 2),
        Area("horns", -3.4, 6.7, 2.0, 1.4, 0.4, 2),
        Area("trumpets", 3.2, 6.7, 1.8, 1.2, 0.4, 2),
        Area("timpani", 0.0, 8.6, 2.4, 1.8, 0.4, 1),
    ),
    "choir-behind": (
        Area("soprano", -5.7, 14.2, 3.8, 3.0, 1.2, 20),
        Area("alto", -1.9, 14.2, 3.8, 3.0, 1.2, 20),
        Area("tenor", 1.7, 14.2, 3.2, 3.0, 1.4, 16),
        Area("choir bass", 4.9, 14.2, 3.2, 3.0, 1.4, 16),
    ),
}

LAYOUTS: dict[str, Mapping[str, Area]] = {
    name: {area.part: area for area in areas} for name, areas in _AREAS.items()
}
"""Areas of each layout by part; "choir-behind" comes on top of any other."""

_BESIDE = {
    "violin": ("violins1", 0.0, -1.2), "strings": ("violins1", 3.0, 1.5),
    "piccolo": ("flutes", -1.6, 0.0), "alto flute": ("flutes", -1.6, 0.4),
    "bass flute": ("flutes", -1.6, 0.8), "english horn": ("oboes", 1.6, 0.0),
    "eb clarinet": ("clarinets", -1.6, 0.0), "bass clarinet": ("clarinets", -1.6, 0.4),
    "saxophones": ("clarinets", -2.4, 0.0), "contrabassoon": ("bassoons", 1.6, 0.0),
    "woodwinds": ("flutes", 1.2, 0.6), "wagner tubas": ("horns", -2.6, 0.4),
    "bass trombone": ("trombones", 1.6, 0.0), "euphonium": ("tuba", -1.4, 0.0),
    "cimbasso": ("tuba", 0.0, 0.0), "low brass": ("trombones", 1.2, 0.2),
    "brass": ("trumpets", 1.6, 0.2), "trombones": ("trumpets", 2.6, 0.0),
    "tuba": ("trumpets", 5.0, 0.0), "percussion": ("timpani", -2.8, 0.0),
    "harp": ("timpani", -3.4, -2.4), "celesta": ("harp", 0.0, 1.6), "piano": ("harp", -0.4, -2.2),
    "keyboards": ("piano", 0.0, 0.0),
    "organ": ("timpani", 4.0, 1.4), "harpsichord": ("violas", -0.4, -1.6),
    "continuo": ("violas", -0.4, -1.6), "guitar": ("harp", 1.4, 0.0),
    "solo voice": ("violins1", 2.9, -1.2),
}  # fmt: skip
"""For parts a layout does not know: beside which one, and how many metres off."""

_DRUMS = (
    "bass drum", "snare", "tom toms", "cymbals", "tam tam", "triangle", "tambourine",
    "glockenspiel", "xylophone", "marimba", "vibraphone", "tubular bells", "crotales",
    "woodblock", "mark tree",
)  # fmt: skip


def area_of(layout: str, part: str) -> Area | None:
    """Where a part sits in a layout; None where nothing says (a low support line, unknown parts).

    Percussion instruments of their own name share the percussion's area, the choir that of its
    four voices.
    """
    areas = LAYOUTS[layout]
    if part in areas:
        return areas[part]
    if part in LAYOUTS["choir-behind"]:
        return _behind(layout, LAYOUTS["choir-behind"][part])
    if part == "choir":
        return _behind(layout, Area(part, -0.4, 14.2, 16.0, 3.0, 1.3, 48))
    if part in _DRUMS:
        return _renamed(area_of(layout, "percussion"), part)
    if part in _BESIDE:
        neighbour, right, up = _BESIDE[part]
        beside = area_of(layout, neighbour)
        players = PARTS[part].players
        width = 1.2 * players**0.5
        return beside and Area(
            part, beside.x + right, beside.y + up, width, 1.2, beside.riser, players
        )
    return None


def _renamed(area: Area | None, part: str) -> Area | None:
    if area is None:
        return None
    return Area(part, area.x, area.y, area.width, area.depth, area.riser, PARTS[part].players)


def _behind(layout: str, area: Area) -> Area:
    """A choir's area moved to stand 1.5 m behind the last row of an orchestra."""
    last = max(other.y + other.depth / 2.0 for other in LAYOUTS[layout].values())
    y = last + 1.5 + area.depth / 2.0
    return Area(area.part, area.x, y, area.width, area.depth, area.riser, area.players)


def layout_for(parts: set[str]) -> tuple[LayoutName, str]:
    """The layout for the parts that are there, and why (common practice, no source).

    Returns
    -------
    layout : str
    why : str
    """
    large = parts & {"wagner tubas", "cimbasso", "low brass", "low support", "tom toms", "brass"}
    heavy = parts & {"trombones", "bass trombone", "tuba", "harp", "percussion", "celesta"}
    if large:
        return "scoring-stage", f"{', '.join(sorted(large))} belong to a large session orchestra"
    if not heavy:
        return "chamber", "no trombones, tuba, harp, celesta or percussion group is there"
    return "violins-together", "a full orchestra"
