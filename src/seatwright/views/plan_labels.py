"""Labels of a plan that lie neither on one another nor, where that can be had, on chairs."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from math import inf

Box = tuple[float, float, float]

_LETTER = 7.6
_UP, _DOWN = 13.0, 17.0
"""Of a label above and below the name's baseline."""

_GAP = 2.0
_STEP = 6.0
_STEPS = 12
_ON_LABEL, _OUTSIDE, _ON_CHAIR, _ELSEWHERE = 1000.0, 300.0, 60.0, 8.0
"""What a label covered, a place outside of the hall, a chair covered, or another place than the
best one count against a way of one unit."""


@dataclass(frozen=True)
class Label:
    """A name with a line of detail under it, centred at x on the name's baseline y (units).

    Parameters
    ----------
    x, y : float
        Where it is best.
    name, detail : str
    others : tuple of (float, float)
        Where it may be as well: below its chairs, at their ends.
    """

    x: float
    y: float
    name: str
    detail: str
    others: tuple[tuple[float, float], ...] = ()

    @property
    def half(self) -> float:
        """Half its width, estimated."""
        return half_width(self.name, self.detail)


def half_width(name: str, detail: str) -> float:
    """Half the width of a label, estimated."""
    return 0.5 * _LETTER * max(len(name), 0.72 * len(detail))


@dataclass(frozen=True)
class Mark:
    """What a label should not lie on: a circle in units."""

    x: float
    y: float
    radius: float


def placed_labels(
    labels: Iterable[Label], marks: Sequence[Mark] = (), inside: Box = (-inf, -inf, inf)
) -> list[Label]:
    """Give each label the place that covers least, those nearest to the podium first.

    Parameters
    ----------
    labels : iterable of Label
    marks : sequence of Mark
    inside : tuple of float
        Left, top and right of where labels belong.

    Returns
    -------
    list of Label
        At the place that was wanted unless another, at most 72 units away from one that may be
        had, covers fewer labels and chairs.
    """
    placed: list[Label] = []
    for label in sorted(labels, key=lambda item: -item.y):
        costs = [
            (_covered(place, placed, marks) + _OUTSIDE * _leaves(place, inside) + way, place)
            for way, place in _places(label)
        ]
        placed.append(min(costs, key=lambda each: each[0])[1])
    return placed


def _places(label: Label) -> list[tuple[float, Label]]:
    """Places to try, and what each counts by itself."""
    ways = [0.0, *(side * _STEP * step for step in range(1, _STEPS + 1) for side in (-1.0, 1.0))]
    anchors = [(0.0, label.x, label.y), *((_ELSEWHERE, x, y) for x, y in label.others)]
    return [
        (extra + abs(way), replace(label, x=x, y=y + way))
        for extra, x, y in anchors
        for way in ways
    ]


def _covered(place: Label, placed: Sequence[Label], marks: Sequence[Mark]) -> float:
    labels = sum(_covers(place, other) for other in placed)
    return _ON_LABEL * labels + _ON_CHAIR * sum(_lies_on(place, mark) for mark in marks)


def _leaves(place: Label, inside: Box) -> bool:
    left, top, right = inside
    return place.x - place.half < left or place.x + place.half > right or place.y - _UP < top


def _covers(one: Label, other: Label) -> bool:
    wide = abs(one.x - other.x) < one.half + other.half + 2.0 * _GAP
    return wide and abs(one.y - other.y) < _UP + _DOWN


def _lies_on(label: Label, mark: Mark) -> bool:
    reach = mark.radius + _GAP
    wide = abs(label.x - mark.x) < label.half + reach
    return wide and label.y - _UP - reach < mark.y < label.y + _DOWN + reach
