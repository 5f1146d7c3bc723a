"""What every plot stands in: a sheet with its margins, two axes with round ticks, a heading."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from html import escape
from math import ceil, floor, log10

from seatwright.errors import printable

_OCTAVES = (31.5, 63.0, 125.0, 250.0, 500.0, 1e3, 2e3, 4e3, 8e3, 16e3)
_LETTER, _HEAD_LETTER = 6.6, 7.6
_LONGEST_NAME = 22


@dataclass(frozen=True)
class Sheet:
    """Size and margins of a plot in units of its picture."""

    width: float = 760.0
    height: float = 330.0
    left: float = 58.0
    right: float = 150.0
    top: float = 30.0
    bottom: float = 44.0

    @property
    def across(self) -> float:
        """Width of the plotted area."""
        return self.width - self.left - self.right

    @property
    def down(self) -> float:
        """Height of the plotted area."""
        return self.height - self.top - self.bottom


WIDE = Sheet()
"""Room for names at the right."""

SMALL = Sheet(310.0, 200.0, 50.0, 10.0)
"""One of many, side by side; without names."""


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
        In frequency, with ticks at the octaves.
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

    def ticks(self, count: int = 6) -> list[float]:
        """About as many round values along the axis."""
        if self.logarithmic:
            inside = [value for value in _OCTAVES if self.low <= value <= self.high]
            every = max(1, -(-len(inside) // max(1, count)))
            return inside[len(inside) % every :: every] if every > 1 else inside
        step = _round_step((self.high - self.low) / count)
        first, last = ceil(self.low / step - 1e-9), floor(self.high / step + 1e-9)
        return [step * k for k in range(first, last + 1)]


def _round_step(rough: float) -> float:
    size = 10.0 ** floor(log10(max(rough, 1e-12)))
    return next(
        size * factor for factor in (1.0, 2.0, 5.0, 10.0) if size * factor >= rough * (1 - 1e-9)
    )


def place_of(sheet: Sheet, x: Axis, y: Axis, a: float, b: float) -> tuple[float, float]:
    """Where a point stands on the sheet."""
    across = sheet.left + x.place(a) * sheet.across
    down = sheet.height - sheet.bottom - y.place(b) * sheet.down
    return across, down


def framed(sheet: Sheet, title: str, about: str, x: Axis, y: Axis, parts: Iterable[str]) -> str:
    """An SVG element: heading, text alternative, grid, and what is drawn on it.

    Parameters
    ----------
    sheet : Sheet
    title, about : str
        Above the plot; what it shows, in words, for those who do not see it.
    x, y : Axis
    parts : iterable of str
        SVG elements.

    Returns
    -------
    str
    """
    heading = escape(short_name(title, int(sheet.across / _HEAD_LETTER)))
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" class="plot" '
        f'viewBox="0 0 {sheet.width:g} {sheet.height:g}" role="img">'
        f"<title>{heading}</title><desc>{escape(printable(about))}</desc>"
        f'<text class="head" x="{sheet.left:g}" y="18">{heading}</text>'
        + "".join([*_grid(sheet, x, y), *parts])
        + "</svg>"
    )


def _grid(sheet: Sheet, x: Axis, y: Axis) -> list[str]:
    parts = []
    for value in x.ticks(max(2, round(sheet.across / 54))):
        across, down = place_of(sheet, x, y, value, y.low)
        parts.append(
            f'<path class="grid" d="M {across:.1f} {sheet.top:g} V {down:.1f}"/>'
            f'<text class="tick" x="{across:.1f}" y="{down + 15:.1f}">{_short(value)}</text>'
        )
    for value in y.ticks(max(2, round(sheet.down / 36))):
        across, down = place_of(sheet, x, y, x.low, value)
        parts.append(
            f'<path class="grid" d="M {across:.1f} {down:.1f} H {sheet.width - sheet.right:g}"/>'
            f'<text class="tick to" x="{across - 6:.1f}" y="{down + 4:.1f}">{_short(value)}</text>'
        )
    middle, centre = sheet.left + sheet.across / 2, sheet.top + sheet.down / 2
    parts.append(
        f'<text class="tick" x="{middle:.1f}" y="{sheet.height - 8:g}">{escape(x.title)}</text>'
        f'<text class="tick" transform="translate(14 {centre:.0f}) rotate(-90)">'
        f"{escape(y.title)}</text>"
    )
    return parts


def _short(value: float) -> str:
    if abs(value) >= 1000.0:
        return f"{value / 1000:g}k"
    return f"{round(value, 6) + 0.0:g}"


def short_name(name: str, longest: int = _LONGEST_NAME) -> str:
    """A name as a label: safe to draw, and cut where it is too long."""
    shown = printable(name)
    return shown if len(shown) <= longest else shown[: longest - 1] + "\u2026"


def name_width(name: str) -> float:
    """Estimated width of a label in units."""
    return _LETTER * len(name)
