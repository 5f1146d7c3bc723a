"""Where the chairs of a seat stand on a plan: arcs around the podium, in metres.

Chairs are drawn, not rendered: a seat sounds from its one or two sources.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import atan2, ceil, cos, degrees, hypot, pi, radians, sin

CHAIR = 0.9
"""Metres between neighbours on an arc."""

ROW = 1.15
"""Metres between rows."""


@dataclass(frozen=True)
class Arc:
    """One row of chairs on a circle around the podium.

    Parameters
    ----------
    radius : float
        Metres from the podium.
    begin, end : float
        Bearings in degrees of the outermost chairs.
    bearings : tuple of float
        Of every chair, degrees.
    """

    radius: float
    begin: float
    end: float
    bearings: tuple[float, ...]

    @property
    def chairs(self) -> tuple[tuple[float, float], ...]:
        """x and y of every chair in metres."""
        return tuple(
            (self.radius * sin(radians(b)), self.radius * cos(radians(b))) for b in self.bearings
        )


def seat_arcs(
    x: float, y: float, width: float, players: int, chair: float = CHAIR, row: float = ROW
) -> tuple[Arc, ...]:
    """Rows of chairs of a seat.

    Parameters
    ----------
    x, y : float
        Middle of the seat in metres from the podium.
    width : float
        Metres along an arc.
    players : int
        At least 1.
    chair, row : float
        Metres between neighbours and between rows; less where people stand.

    Returns
    -------
    tuple of Arc
        Nearest to the podium first; together as many chairs as players, around the middle.
    """
    distance, bearing = max(hypot(x, y), 0.6), degrees(atan2(x, y))
    a_row = max(1, min(players, 1 + int(max(width, chair) / chair)))
    rows = ceil(players / a_row)
    first = max(0.5, distance - row * (rows - 1) / 2.0)
    arcs = []
    left = players
    for number in range(rows):
        count = ceil(left / (rows - number))
        left -= count
        arcs.append(_arc(first + row * number, bearing, count, chair))
    return tuple(arcs)


def _arc(radius: float, bearing: float, count: int, chair: float) -> Arc:
    step = min(degrees(chair / radius), 340.0 / max(1, count))
    bearings = tuple(bearing + step * (number - (count - 1) / 2.0) for number in range(count))
    return Arc(radius, bearings[0], bearings[-1], bearings)


def outline(arcs: tuple[Arc, ...], margin: float = 0.55) -> tuple[float, float, float, float]:
    """Inner and outer radius in metres, first and last bearing in degrees around all chairs."""
    inner = max(0.2, arcs[0].radius - margin)
    outer = arcs[-1].radius + margin
    pad = min(20.0, margin / max(arcs[0].radius, 0.5) * 180.0 / pi)
    return inner, outer, min(a.begin for a in arcs) - pad, max(a.end for a in arcs) + pad
