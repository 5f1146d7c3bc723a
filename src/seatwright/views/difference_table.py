"""What differs between versions, as text and as facts for machines."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from seatwright.errors import printable
from seatwright.listening.differences import Pair, SeatDifference
from seatwright.views.text_table import text_table

HEADS = ("seat", "bearing deg", "distance m", "heard deg", "D/R dB", "C80 dB", "written")


@dataclass(frozen=True)
class Difference:
    """What differs between two versions.

    Parameters
    ----------
    first, second : str
        Their names.
    seats : tuple of SeatDifference
    besides : tuple of str
        What else is written differently.
    """

    first: str
    second: str
    seats: tuple[SeatDifference, ...]
    besides: tuple[str, ...]

    @property
    def heading(self) -> str:
        """From which version to which."""
        return f"From {self.first} to {self.second}"

    @property
    def note(self) -> str:
        """What differs beside the seats, or that nothing is written differently."""
        if self.besides:
            return f"Written differently too: {', '.join(self.besides)}."
        if not any(seat.is_written for seat in self.seats):
            return "Nothing is written differently."
        return ""

    def rows(self) -> list[list[str]]:
        """Cells under `HEADS`, before and after where a value changes; what did not change at all
        is left out."""
        return [_cells(seat) for seat in self.seats if seat.is_written or _sounds_other(seat)]


def _sounds_other(seat: SeatDifference) -> bool:
    return any(abs(pair.change or 0.0) >= 0.05 for pair in seat.figures.values())


def _cells(seat: SeatDifference) -> list[str]:
    pairs = [seat.bearing, seat.distance]
    pairs += [
        seat.figures[key] for key in ("heard_bearing", "direct_to_reverberant_db", "clarity_db")
    ]
    words = list(seat.changes)
    if seat.presence != "both":
        words.append(f"only in the {seat.presence}")
    if seat.moved > 0.0:
        words.insert(0, f"moved {seat.moved:.1f} m")
    return [printable(seat.seat), *map(_change, pairs), ", ".join(words) or "-"]


def _change(pair: Pair) -> str:
    before, after = (
        "-" if value is None else f"{value:.1f}" for value in (pair.before, pair.after)
    )
    return before if before == after else f"{before} > {after}"


def difference_text(found: Sequence[Difference]) -> str:
    """A table for each pair of versions, one under the other."""
    parts = []
    for each in found:
        lines = [printable(each.heading)]
        if rows := each.rows():
            lines.append(text_table(list(HEADS), rows))
        if each.note:
            lines.append(each.note)
        parts.append("\n".join(lines))
    return "\n\n".join(parts)


def difference_facts(found: Sequence[Difference]) -> dict[str, Any]:
    """The same for machines: before, after and change of every figure of every seat."""
    return {
        "seatwright_differences": 1,
        "pairs": [
            {
                "first": each.first,
                "second": each.second,
                "besides": list(each.besides),
                "seats": [_seat_facts(seat) for seat in each.seats],
            }
            for each in found
        ],
    }


def _seat_facts(seat: SeatDifference) -> dict[str, Any]:
    pairs = {"bearing": seat.bearing, "distance": seat.distance, **seat.figures}
    return {
        "seat": seat.seat,
        "sounds_in": seat.presence,
        "moved": seat.moved,
        "written": list(seat.changes),
        **{
            key: {"first": pair.before, "second": pair.after, "change": pair.change}
            for key, pair in pairs.items()
        },
    }
