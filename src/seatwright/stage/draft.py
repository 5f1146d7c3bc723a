"""A first seating for the stems of a folder: one seat a part, where a layout has it.

Everything here is a proposal made of names; balances are common practice, no source.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace
from math import atan2, degrees, hypot

from seatwright.stage.layouts import LAYOUTS, Area, area_of
from seatwright.stage.name_table import PARTS
from seatwright.stage.naming import NameGuess

UNASSIGNED = "unassigned"
"""Section of stems whose name nobody has explained yet."""

SECTION_BALANCES: dict[str, dict[str, float]] = {
    "strings": {"tree": 0, "outriggers": -4, "ambient": -10, "close": -9},
    "woodwinds": {"close": 0, "tree": -2, "outriggers": -10, "ambient": -12},
    "brass": {"ambient": 0, "tree": -2, "outriggers": -6, "close": -14},
    "percussion": {"tree": 0, "ambient": -4, "outriggers": -8, "close": -8},
    "keyboards": {"tree": 0, "close": -3, "outriggers": -10, "ambient": -12},
    "choir": {"ambient": 0, "tree": -3, "outriggers": -4, "close": -20},
}
"""Levels in dB: strings by the tree, woodwinds close, brass by the room, choir furthest back."""


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
    guesses: Iterable[NameGuess], layout: str, taken: frozenset[str] = frozenset()
) -> list[DraftSeat]:
    """Seats for stems whose names were read.

    Parameters
    ----------
    guesses : iterable of NameGuess
    layout : str
        Key of `LAYOUTS`.
    taken : frozenset of str
        Seat names that are in use already.

    Returns
    -------
    list of DraftSeat
        Front to back by section; stems of one part and number share a seat, unexplained stems
        get one each in front of the podium.
    """
    groups: dict[tuple[str, str], list[NameGuess]] = {}
    for guess in guesses:
        key = (guess.part, guess.number) if guess.part else ("", guess.name)
        groups.setdefault(key, []).append(guess)
    used = set(taken)
    seats = []
    for (part, number), members in groups.items():
        name = _free_name(_seat_name(part, number, members), used)
        used.add(name)
        seats.append(_seat(name, part, members, layout))
    return _ordered(_side_by_side(_one_row(seats), layout))


def _seat_name(part: str, number: str, members: list[NameGuess]) -> str:
    if not part:
        base = members[0].name.rpartition(".")[0] or members[0].name
        return "".join("_" if letter in "/\\" else letter for letter in base)[:200]
    if part in ("violins1", "violins2"):
        return f"violins {part[-1]}"
    return f"{part} {number}".strip()


def _free_name(name: str, used: set[str]) -> str:
    known = {other.casefold() for other in used}
    candidate, count = name, 1
    while candidate.casefold() in known:
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


def _one_row(seats: list[DraftSeat]) -> list[DraftSeat]:
    """Unexplained stems side by side in front."""
    unknown = [seat for seat in seats if not seat.part]
    places = {
        seat.name: (number - (len(unknown) - 1) / 2.0) * min(1.5, 8.0 / len(unknown))
        for number, seat in enumerate(unknown)
    }
    return [replace(seat, x=places[seat.name]) if not seat.part else seat for seat in seats]


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
    width = max(area.width, 1.0 * len(sharing))
    place = (sharing.index(seat.name) + 0.5) / len(sharing) - 0.5
    players = max(1, round(seat.players / len(sharing)))
    return replace(seat, x=seat.x + place * width, players=players, width=width / len(sharing))


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
