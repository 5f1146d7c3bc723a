"""Dots with their names as SVG: each name beside its dot, none on another."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from html import escape
from math import isfinite

from seatwright.views.plot_frame import (
    Axis,
    Sheet,
    framed,
    name_width,
    place_of,
    short_name,
)

_HIGH = 12.0
_BESIDE = 9.0
_TRIES = 60

Box = tuple[float, float, float, float]
"""Left, top, right, bottom."""


@dataclass(frozen=True)
class Dot:
    """A name at a place."""

    name: str
    x: float
    y: float


def dot_plot(
    title: str, dots: Sequence[Dot], x: Axis, y: Axis, sheet: Sheet, about: str = ""
) -> str:
    """Draw named dots.

    Parameters
    ----------
    title : str
    dots : sequence of Dot
        Those without a finite place are left out.
    x, y : Axis
    sheet : Sheet
    about : str
        Text alternative.

    Returns
    -------
    str
        An SVG element.
    """
    placed = sorted(
        (
            (*place_of(sheet, x, y, dot.x, dot.y), short_name(dot.name))
            for dot in dots
            if isfinite(dot.x) and isfinite(dot.y)
        ),
        key=lambda item: (item[1], item[0]),
    )
    taken: list[Box] = [(a - 5.0, b - 5.0, a + 5.0, b + 5.0) for a, b, _ in placed]
    parts = [f'<circle class="dot" cx="{a:.1f}" cy="{b:.1f}" r="4"/>' for a, b, _ in placed]
    for across, down, name in placed:
        box = _free(across, down, name_width(name), sheet, taken)
        taken.append(box)
        parts.append(_label(across, down, box, name))
    return framed(sheet, title, about, x, y, parts)


def _free(across: float, down: float, width: float, sheet: Sheet, taken: Sequence[Box]) -> Box:
    """Where a name covers nothing: right or left of its dot, else further up or down."""
    first: Box | None = None
    for number in range(_TRIES):
        shift = (number + 1) // 2 * (_HIGH / 2) * (-1.0 if number % 2 else 1.0)
        for left in (across + _BESIDE, across - _BESIDE - width):
            box = (left, down + shift - _HIGH / 2, left + width, down + shift + _HIGH / 2)
            if left < sheet.left or box[2] > sheet.width or box[1] < 20.0:
                continue
            if box[3] > sheet.height - sheet.bottom:
                continue
            first = first or box
            if not any(_cover(box, other) for other in taken):
                return box
    right = across + _BESIDE
    return first or (right, down - _HIGH / 2, right + width, down + _HIGH / 2)


def _cover(one: Box, other: Box) -> bool:
    return one[0] < other[2] and other[0] < one[2] and one[1] < other[3] and other[1] < one[3]


def _label(across: float, down: float, box: Box, name: str) -> str:
    middle = (box[1] + box[3]) / 2
    lead = ""
    if abs(middle - down) > 1.0:
        edge = box[0] - 2.0 if box[0] > across else box[2] + 2.0
        lead = f'<path class="lead" d="M {across:.1f} {down:.1f} L {edge:.1f} {middle:.1f}"/>'
    text = escape(name)
    return f'{lead}<text class="label" x="{box[0]:.1f}" y="{middle + 4:.1f}">{text}</text>'
