"""Line plots as SVG: ink on paper, lines told apart by dashes and by their names at the end."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from html import escape
from math import isfinite

from seatwright.views.plot_frame import WIDE, Axis, Sheet, framed, place_of, short_name

_DASHES = ("", "9 4", "2 3", "12 4 2 4", "5 5", "1 5", "14 6", "4 2 1 2", "7 2")
_GAP = 12.0
_NAME_ROOM = 60.0


@dataclass(frozen=True)
class Line:
    """One line: its name and its points; points that are not finite leave a gap.

    A soft one is what the others are compared with.
    """

    name: str
    x: Sequence[float]
    y: Sequence[float]
    soft: bool = False


def line_plot(
    title: str,
    lines: Sequence[Line],
    x: Axis,
    y: Axis,
    sheet: Sheet = WIDE,
    about: str = "",
) -> str:
    """Draw lines.

    Parameters
    ----------
    title : str
    lines : sequence of Line
        The first is whole, each of the others has dashes of its own.
    x, y : Axis
        Points beyond stay at the ends.
    sheet : Sheet
        Names stand at the lines' ends where its right margin has room for them.
    about : str
        Text alternative.

    Returns
    -------
    str
        An SVG element.
    """
    parts: list[str] = []
    ends: list[tuple[float, float, str]] = []
    for number, line in sorted(enumerate(lines), key=lambda item: not item[1].soft):
        places = [
            place_of(sheet, x, y, a, b) if isfinite(a) and isfinite(b) else None
            for a, b in zip(line.x, line.y, strict=True)
        ]
        seen = [place for place in places if place is not None]
        if seen:
            parts.append(_path(places, number, line.soft))
            ends.append((*seen[-1], line.name))
    if sheet.right >= _NAME_ROOM:
        parts += _names(sheet, ends)
    return framed(sheet, title, about, x, y, parts)


def _path(places: Sequence[tuple[float, float] | None], number: int, soft: bool) -> str:
    steps, pen = [], "M"
    for place in places:
        if place is None:
            pen = "M"
            continue
        steps.append(f"{pen} {place[0]:.1f} {place[1]:.1f}")
        pen = "L"
    dash = _DASHES[number % len(_DASHES)]
    dashes = f' stroke-dasharray="{dash}"' if dash else ""
    kind = "line soft" if soft else "line"
    return f'<path class="{kind}" d="{" ".join(steps)}"{dashes}/>'


def _names(sheet: Sheet, ends: list[tuple[float, float, str]]) -> list[str]:
    """Names right of the lines' ends, moved apart, all of them on the sheet."""
    ordered = sorted(ends, key=lambda end: end[1])
    downs = _apart([down for _, down, _ in ordered], sheet.height - 6.0)
    left = sheet.width - sheet.right + 26.0
    return [
        f'<path class="lead" d="M {across:.1f} {down:.1f} L {left - 4:.1f} {place:.1f}"/>'
        f'<text class="label" x="{left:.1f}" y="{place + 4:.1f}">{escape(short_name(name))}</text>'
        for (across, down, name), place in zip(ordered, downs, strict=True)
    ]


def _apart(downs: Sequence[float], lowest: float) -> list[float]:
    """Heights at least a line of text apart: pushed down, and up again from the sheet's end."""
    pushed: list[float] = []
    for down in downs:
        pushed.append(max(down, pushed[-1] + _GAP) if pushed else down)
    limit = lowest
    for number in reversed(range(len(pushed))):
        pushed[number] = min(pushed[number], limit)
        limit = pushed[number] - _GAP
    return pushed
