"""A first seating for the stems of a folder: one seat a part, where a layout has it.

Everything here is a proposal made of names; balances are common practice, no source.
"""

from __future__ import annotations

import unicodedata
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from functools import cache
from itertools import product
from math import atan2, ceil, degrees, dist, hypot, inf, sqrt

from seatwright.stage.layouts import LAYOUTS, Area, area_of
from seatwright.stage.name_table import PARTS
from seatwright.stage.naming import NameGuess

UNASSIGNED = "unassigned"
"""Section of stems whose name nobody has explained yet."""

MOST_STEMS_A_SEAT = 60
"""Stems of one part beyond these go on in a seat of their own; a scene allows 64."""

_PITCH = 1.0
"""Metres between seats that share an area (common practice, no source)."""
_APART, _STEP = 0.3, 0.4
"""Metres that seats keep apart, and by which one moves outward that does not."""
_WALL, _FRONT = 0.3, 1.0
"""Metres a seat's edge keeps from the walls, and seats keep from the podium."""

_MOST_STEPS = 30

_ONE_ROW = 4
"""So many seats always fit in one row of an area."""

_NAME_BYTES = 100
"""Of a seat's name, so that the files of two long ones stay apart."""

SECTION_BALANCES: dict[str, dict[str, float]] = {
    "strings": {"tree": 0, "outriggers": -4, "ambient": -7, "close": -5},
    "woodwinds": {"close": 0, "tree": -2, "outriggers": -10, "ambient": -12},
    "brass": {"ambient": 0, "tree": -2, "outriggers": -6, "close": -7},
    "percussion": {"tree": 0, "ambient": -4, "outriggers": -8, "close": -7},
    "keyboards": {"tree": 0, "close": -3, "outriggers": -4, "ambient": -12},
    "choir": {"ambient": 0, "outriggers": -4, "tree": -6, "close": -12},
}
"""Levels in dB: strings by the tree, woodwinds close, brass by the room, choir furthest back.

Their character is common practice, no source. How high the close microphones stand is computed: the
least that lets no two seats of a full layout be heard in the opposite order, its winds as one stem
each or one a player. The tree alone draws all to the middle; choir and strings pay for it with
less tree and more room, so that no section is heard much nearer.
"""


@dataclass(frozen=True)
class DraftSeat:
    """A proposed seat.

    Parameters
    ----------
    name : str
        Key of the seat.
    stems : tuple of str
        File names that play from it.
    part : str
        "" where unknown.
    section, instrument : str
    x, y, riser : float
        Metres; no meaning for an untouched seat.
    players : int
    width : float
        Metres.
    treatment : str
        "placed", "blended" or "untouched".
    confidence : float
        Of the least sure of its stems, 0 to 1.
    why : tuple of str
        What was concluded from what, one line each.
    heard : tuple of str
        What listening to its stems says, one line each.
    """

    name: str
    stems: tuple[str, ...]
    part: str
    section: str
    instrument: str
    x: float
    y: float
    riser: float
    players: int
    width: float
    treatment: str
    confidence: float
    why: tuple[str, ...]
    heard: tuple[str, ...] = ()

    @property
    def bearing(self) -> float:
        """Degrees from straight upstage, positive to the right."""
        return degrees(atan2(self.x, self.y))

    @property
    def distance(self) -> float:
        """Metres from the podium."""
        return hypot(self.x, self.y)


def draft_seats(
    guesses: Iterable[NameGuess],
    layout: str,
    taken: frozenset[str] = frozenset(),
    occupied: Sequence[tuple[float, float]] = (),
    room: tuple[float, float] = (inf, inf),
) -> list[DraftSeat]:
    """Seats for stems whose names were read.

    Parameters
    ----------
    guesses : iterable of NameGuess
    layout : str
        Key of `LAYOUTS`.
    taken : frozenset of str
        Seat names that are in use already.
    occupied : sequence of (x, y)
        Places in metres where somebody sits already.
    room : tuple of float
        Half the width of the hall and what it has behind the podium, in metres; seats that would
        stand outside move in.

    Returns
    -------
    list of DraftSeat
        Front to back by section; stems of one part and number share a seat, unexplained stems
        get one each in front of the podium, a left and a right one together. No two places are
        closer than 0.3 m.
    """
    used = {_plain(name) for name in taken}
    seats = []
    for part, number, members in _groups(guesses):
        name = _free_name(_seat_name(part, number, members), used)
        used.add(_plain(name))
        seats.append(_seat(name, part, members, layout))
    return _ordered(_apart(_side_by_side(_in_front(seats), layout), occupied, room))


def _groups(guesses: Iterable[NameGuess]) -> list[tuple[str, str, list[NameGuess]]]:
    """Stems that share a seat, with their part and number."""
    groups: dict[tuple[str, str], list[NameGuess]] = {}
    for guess in guesses:
        key = (guess.part, guess.number) if guess.part else ("", guess.unsided)
        groups.setdefault(key, []).append(guess)
    return [
        (part, number if part else "", members[start : start + MOST_STEMS_A_SEAT])
        for (part, number), members in groups.items()
        for start in range(0, len(members), MOST_STEMS_A_SEAT)
    ]


def _seat_name(part: str, number: str, members: list[NameGuess]) -> str:
    if not part:
        base = members[0].name.rpartition(".")[0] or members[0].name
        base = members[0].unsided.rpartition(".")[0] if len(members) > 1 else base
        plain = "".join("_" if letter in "/\\" else letter for letter in base)
        return plain.encode()[:_NAME_BYTES].decode(errors="ignore")
    if part in ("violins1", "violins2"):
        return f"violins {part[-1]}"
    return f"{part} {number}".strip()


def _plain(name: str) -> str:
    """What is left of a name where marks, accents, width and case do not count."""
    letters = unicodedata.normalize("NFKD", name.casefold())
    return "".join(letter for letter in letters if letter.isalnum())


def _free_name(name: str, used: set[str]) -> str:
    name = name if _plain(name) else f"stem {name}"
    candidate, count = name, 1
    while _plain(candidate) in used:
        count += 1
        candidate = f"{name} ({count})"
    return candidate


def _seat(name: str, part: str, members: list[NameGuess], layout: str) -> DraftSeat:
    stems = tuple(member.name for member in members)
    why = tuple(
        f"{member.name}: {member.why or 'nothing known in this name'}" for member in members
    )
    if not part:
        return DraftSeat(
            name, stems, "", UNASSIGNED, "other", 0.0, 4.0, 0.0, 1, 1.0, "placed", 0.0, why
        )
    known, area = PARTS[part], area_of(layout, part)
    confidence = min(member.confidence for member in members)
    treatment = "untouched" if area is None else "placed"
    if area is None:
        area = Area(part, 0.0, 0.0, 1.0, 1.0, 0.0, known.players)
    return DraftSeat(
        name, stems, part, known.family, known.instrument, area.x, area.y, area.riser,
        area.players, area.width, treatment, confidence, why,
    )  # fmt: skip


def _in_front(seats: list[DraftSeat]) -> list[DraftSeat]:
    """Unexplained stems side by side in front, in rows where they are many."""
    unknown = [seat for seat in seats if not seat.part]
    places = dict(zip((s.name for s in unknown), _rows(len(unknown), 8.0, 1.5), strict=True))
    return [
        replace(seat, x=places[seat.name][0], y=seat.y + places[seat.name][1])
        if seat.name in places
        else seat
        for seat in seats
    ]


def _rows(count: int, width: float, widest: float) -> list[tuple[float, float]]:
    """Places in rows one behind the other, about a middle, in metres."""
    columns = min(count, max(int(width / _PITCH), ceil(sqrt(count)), _ONE_ROW))
    pitch = max(_PITCH, min(widest, width / max(columns, 1)))
    rows = [min(columns, count - start) for start in range(0, count, max(columns, 1))]
    return [
        ((place - (length - 1) / 2.0) * pitch, row * _PITCH)
        for row, length in enumerate(rows)
        for place in range(length)
    ]


def _side_by_side(seats: list[DraftSeat], layout: str) -> list[DraftSeat]:
    """Share an area among the seats that have it."""
    sharing: dict[tuple[float, float], list[str]] = {}
    for seat in seats:
        if seat.part and seat.treatment == "placed":
            sharing.setdefault((seat.x, seat.y), []).append(seat.name)
    return [_shifted(seat, sharing.get((seat.x, seat.y), []), layout) for seat in seats]


def _shifted(seat: DraftSeat, sharing: list[str], layout: str) -> DraftSeat:
    area = area_of(layout, seat.part) if seat.part else None
    if area is None or len(sharing) < 2 or seat.name not in sharing:
        return seat
    right, up = _rows(len(sharing), area.width, area.width)[sharing.index(seat.name)]
    players = max(1, round(seat.players / len(sharing)))
    width = max(_PITCH, area.width / len(sharing))
    return replace(seat, x=seat.x + right, y=seat.y + up, players=players, width=width)


def _apart(
    seats: list[DraftSeat], occupied: Sequence[tuple[float, float]], room: tuple[float, float]
) -> list[DraftSeat]:
    """Move seats that would stand outside, or where somebody sits already, to the next place."""
    there = list(occupied)
    moved = []
    for seat in seats:
        if seat.treatment != "untouched":
            edge = seat.width / 2.0 + _WALL
            x, y = _free_place(seat.x, seat.y, there, (room[0] - edge, room[1] - edge))
            there.append((x, y))
            seat = replace(seat, x=x, y=y)
        moved.append(seat)
    return moved


def _free_place(
    x: float, y: float, there: list[tuple[float, float]], room: tuple[float, float]
) -> tuple[float, float]:
    """The free place nearest to one in growing rings, outward and upstage first."""
    side, back = max(room[0], 0.0), max(room[1], 1.0)
    x, y = max(-side, min(side, x)), min(back, y)
    outward = _STEP if x >= 0.0 else -_STEP
    for right, up in _rings():
        place = x + right * outward, y + up * _STEP
        inside = abs(place[0]) <= side and _FRONT <= place[1] <= back
        at_home = not right and not up
        if (at_home or inside) and all(dist(place, other) >= _APART for other in there):
            return place
    return x, y


@cache
def _rings() -> list[tuple[int, int]]:
    """Steps to the right and up, the nearest first."""
    steps = range(-_MOST_STEPS, _MOST_STEPS + 1)
    return sorted(product(steps, steps), key=lambda step: (hypot(*step), -step[0], -step[1]))


def _ordered(seats: list[DraftSeat]) -> list[DraftSeat]:
    order = [*SECTION_BALANCES, "support", UNASSIGNED]
    parts = list(PARTS)

    def key(seat: DraftSeat) -> tuple[int, int]:
        place = parts.index(seat.part) if seat.part else len(parts)
        return (order.index(seat.section), place)

    return sorted(seats, key=key)


def room_needed(seats: Iterable[DraftSeat]) -> tuple[float, float]:
    """Half width and depth behind the podium that seats need, in metres, walls not touched."""
    placed = [seat for seat in seats if seat.treatment != "untouched"]
    side = max((abs(seat.x) for seat in placed), default=4.0)
    back = max((seat.y for seat in placed), default=4.0)
    return side + 3.0, back + 2.0


def known_layouts() -> tuple[str, ...]:
    """Names of the layouts a draft can be asked for."""
    return tuple(name for name in LAYOUTS if name != "choir-behind")
