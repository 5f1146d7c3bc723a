"""Labels of a plan that do not lie on one another."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace

_LETTER = 7.6
_HIGH = 30.0
_STEP = 6.0
_TRIES = 40


@dataclass(frozen=True)
class Label:
    """A name with a line of detail under it, centred at x on the name's baseline y (units)."""

    x: float
    y: float
    name: str
    detail: str

    @property
    def half(self) -> float:
        """Half its width, estimated."""
        return 0.5 * _LETTER * max(len(self.name), 0.72 * len(self.detail))


def placed_labels(labels: Iterable[Label]) -> list[Label]:
    """Move labels up, away from the podium, until none covers an earlier one."""
    placed: list[Label] = []
    for label in sorted(labels, key=lambda item: -item.y):
        placed.append(_free(label, placed))
    return placed


def _free(label: Label, placed: list[Label]) -> Label:
    moved = label
    for _ in range(_TRIES):
        if not any(_covers(moved, other) for other in placed):
            return moved
        moved = replace(moved, y=moved.y - _STEP)
    return label


def _covers(one: Label, other: Label) -> bool:
    return abs(one.x - other.x) < one.half + other.half + 4.0 and abs(one.y - other.y) < _HIGH
