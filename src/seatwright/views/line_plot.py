"""Line plots as SVG: ink on paper, lines told apart by dashes and by their names at the end."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from html import escape
from math import ceil, floor, isfinite, log10

from seatwright.errors import printable

WIDTH, HEIGHT = 760, 330
_LEFT, _RIGHT, _TOP, _BOTTOM = 58, 150, 30, 44
_DASHES = ("", "9 4", "2 3", "12 4 2 4", "5 5", "1 5", "14 6", "4 2 1 2", "7 2")
_GAP = 12.0


@dataclass(frozen=True)
class Axis:
    """One axis.

    Parameters
    ----------
    title : str
        With its unit.
    low, high : float
        Ends; low above 0 where logarithmic.
    logarithmic : bool
    """

    title: str
    low: float
    high: float
    logarithmic: bool = False

    def place(self, value: float) -> float:
        """0 at the low end to 1 at the high end; values beyond stay at the ends."""
        if self.logarithmic:
            share = log10(max(value, 1e-12) / self.low) / log10(self.high / self.low)
        else:
            share = (value - self.low) / (self.high - self.low)
        return min(1.0, max(0.0, share))

    @property
    def ticks(self) -> list[float]:
        """Round values along the axis."""
        if self.logarithmic:
            octaves = [31.5 * 2**k for k in range(11)]
            return [value for value in octaves if self.low <= value <= self.high]
        step = _round_step((self.high - self.low) / 6.0)
        first, last = ceil(self.low / step - 1e-9), floor(self.high / step + 1e-9)
        return [step * k for k in range(first, last + 1)]


def _round_step(rough: float) -> float:
    size = 10.0 ** floor(log10(max(rough, 1e-12)))
    return next(size * factor for factor in (1.0, 2.0, 5.0, 10.0) if size * factor >= rough)


@dataclass(frozen=True)
class Line:
    """One line: its name and its points; points that are not finite leave a gap."""

    name: str
    x: Sequence[float]
    y: Sequence[float]


def line_plot(title: str, lines: Sequence[Line], x: Axis, y: Axis, points: bool = False) -> str:
    """Draw lines, or points with their names.

    Parameters
    ----------
    title : str
    lines : sequence of Line
    x, y : Axis
    points : bool
        Draw each line's points as dots, its name beside the last.

    Returns
    -------
    str
        An SVG element.
    """
    parts = [*_grid(x, y)]
    names: list[tuple[float, float, str]] = []
    for number, line in enumerate(lines):
        places = [_at(x, y, a, b) for a, b in zip(line.x, line.y, strict=True) if isfinite(b)]
        if not places:
            continue
        parts.append(_dots(places) if points else _path(line, x, y, number))
        names.append((places[-1][0], places[-1][1], line.name))
    parts += _names(names, beside=points)
    heading = escape(printable(title))
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" class="plot" viewBox="0 0 {WIDTH} {HEIGHT}" '
        f'role="img"><title>{heading}</title>'
        f'<text class="head" x="{_LEFT}" y="18">{heading}</text>' + "".join(parts) + "</svg>"
    )


def _at(x: Axis, y: Axis, a: float, b: float) -> tuple[float, float]:
    across = _LEFT + x.place(a) * (WIDTH - _LEFT - _RIGHT)
    down = HEIGHT - _BOTTOM - y.place(b) * (HEIGHT - _TOP - _BOTTOM)
    return across, down


def _grid(x: Axis, y: Axis) -> list[str]:
    parts = []
    for value in x.ticks:
        across, down = _at(x, y, value, y.low)
        parts.append(f'<path class="grid" d="M {across:.1f} {_TOP} V {down:.1f}"/>')
        parts.append(
            f'<text class="tick" x="{across:.1f}" y="{down + 15:.1f}">{_short(value)}</text>'
        )
    for value in y.ticks:
        across, down = _at(x, y, x.low, value)
        parts.append(f'<path class="grid" d="M {across:.1f} {down:.1f} H {WIDTH - _RIGHT}"/>')
        parts.append(
            f'<text class="tick left" x="{across - 6:.1f}" y="{down + 4:.1f}">'
            f"{_short(value)}</text>"
        )
    middle = (_LEFT + WIDTH - _RIGHT) / 2
    parts.append(
        f'<text class="tick" x="{middle:.1f}" y="{HEIGHT - 8}">{escape(x.title)}</text>'
        f'<text class="tick" transform="translate(14 {(HEIGHT - _BOTTOM + _TOP) / 2:.0f}) '
        f'rotate(-90)">{escape(y.title)}</text>'
    )
    return parts


def _short(value: float) -> str:
    if abs(value) >= 1000.0:
        return f"{value / 1000:g}k"
    return f"{round(value, 6):g}"


def _path(line: Line, x: Axis, y: Axis, number: int) -> str:
    steps, pen = [], "M"
    for a, b in zip(line.x, line.y, strict=True):
        if not isfinite(b):
            pen = "M"
            continue
        across, down = _at(x, y, a, b)
        steps.append(f"{pen} {across:.1f} {down:.1f}")
        pen = "L"
    dash = _DASHES[number % len(_DASHES)]
    dashes = f' stroke-dasharray="{dash}"' if dash else ""
    return f'<path class="line" d="{" ".join(steps)}"{dashes}/>'


def _dots(places: list[tuple[float, float]]) -> str:
    return "".join(f'<circle class="dot" cx="{a:.1f}" cy="{b:.1f}" r="4"/>' for a, b in places)


def _names(ends: list[tuple[float, float, str]], beside: bool) -> list[str]:
    """Names at the lines' ends, moved apart."""
    parts, lowest = [], -1e9
    for across, down, name in sorted(ends, key=lambda end: end[1]):
        place = down if beside else max(down, lowest + _GAP)
        lowest = place
        left = across + 8 if beside else WIDTH - _RIGHT + 26
        if not beside:
            parts.append(
                f'<path class="lead" d="M {across:.1f} {down:.1f} L {left - 4:.1f} {place:.1f}"/>'
            )
        parts.append(
            f'<text class="name" x="{left:.1f}" y="{place + 4:.1f}">'
            f"{escape(printable(name))}</text>"
        )
    return parts
