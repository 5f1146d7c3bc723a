"""Plots of a tally: strengths with their intervals, and who is put before whom."""

from __future__ import annotations

from html import escape
from math import ceil, floor

from seatwright.listening.tallying import Preferences

_WIDTH, _NAMES, _ROW, _HEAD, _FOOT = 760.0, 250.0, 30.0, 34.0, 46.0
_CELL, _NAME_LETTERS = 58.0, 30


def strengths_plot(found: Preferences, named: dict[str, str]) -> str:
    """Draw every version's strength as a dot on its 95 % interval, the strongest on top.

    Returns
    -------
    str
        An SVG element.
    """
    fit = found.strengths
    low, high = floor(float(fit.low.min())), ceil(float(fit.high.max()))
    scale = (_WIDTH - _NAMES - 30.0) / max(1, high - low)
    height = _HEAD + _ROW * len(found.versions) + _FOOT
    bottom = height - _FOOT
    step = max(1, (high - low) // 8)
    parts = [
        f'<path class="{"line soft" if mark == 0 else "grid"}" '
        f'd="M {_NAMES + scale * (mark - low):.1f} {_HEAD - 6:.1f} V {bottom:.1f}"/>'
        + _text(_NAMES + scale * (mark - low), bottom + 16.0, f"{mark:+d}" if mark else "0")
        for mark in range(low, high + 1, step)
    ]
    for row, place in enumerate(sorted(range(len(found.versions)), key=lambda k: -fit.values[k])):
        across = [_NAMES + scale * (float(v[place]) - low) for v in (fit.low, fit.values, fit.high)]
        down = _HEAD + _ROW * (row + 0.5)
        parts.append(_text(_NAMES - 14.0, down + 4.0, named[found.versions[place]], "end"))
        parts.append(
            f'<path class="line" d="M {across[0]:.1f} {down:.1f} '
            f'H {across[2]:.1f}"/>'
            f'<circle class="dot" cx="{across[1]:.1f}" cy="{down:.1f}" r="5"/>'
        )
    middle = (_NAMES + _WIDTH - 30.0) / 2.0 + _NAMES / 4.0
    parts.append(_text(middle, height - 10.0, "strength, log of odds (dot) and 95 % interval"))
    return _svg(_WIDTH, height, "Strengths of the versions", parts)


def preference_matrix(found: Preferences, named: dict[str, str]) -> str:
    """Draw how many put the row's version before the column's; bold where beyond chance.

    Returns
    -------
    str
        An SVG element.
    """
    count = len(found.versions)
    cells = {}
    for pair in found.pairs:
        cells[pair.first, pair.second] = (pair.for_first, pair.is_clear)
        cells[pair.second, pair.first] = (pair.for_second, False)
    parts = []
    for row, version in enumerate(found.versions):
        down = _HEAD + _CELL * row
        parts.append(_text(_NAMES - 14.0, down + _CELL / 2 + 4.0, f"{row + 1}  {named[version]}",
                           "end"))  # fmt: skip
        parts.append(_text(_NAMES + _CELL * (row + 0.5), _HEAD - 8.0, f"{row + 1}"))
        for column, other in enumerate(found.versions):
            place = (_NAMES + _CELL * column, down)
            parts.append(_cell(place, cells.get((version, other)), found.listeners))
    width = max(_WIDTH, _NAMES + _CELL * count + 20.0)
    height = _HEAD + _CELL * count + 8.0
    return _svg(width, height, "Who is put before whom", parts)


def _cell(place: tuple[float, float], found: tuple[int, bool] | None, listeners: int) -> str:
    across, down = place
    share = found[0] / listeners if found else 0.0
    box = (
        f'<rect x="{across:.1f}" y="{down:.1f}" width="{_CELL}" height="{_CELL}" '
        f'class="dot" fill-opacity="{0.4 * share:.3f}"/><rect x="{across:.1f}" y="{down:.1f}" '
        f'width="{_CELL}" height="{_CELL}" class="grid"/>'
    )
    if found is None:
        return box
    weight = ' font-weight="bold" text-decoration="underline"' if found[1] else ""
    return box + _text(across + _CELL / 2, down + _CELL / 2 + 5.0, str(found[0]), more=weight)


def _text(across: float, down: float, text: str, anchor: str = "middle", more: str = "") -> str:
    short = text if len(text) <= _NAME_LETTERS or anchor != "end" else text[:_NAME_LETTERS] + "..."
    return (
        f'<text x="{across:.1f}" y="{down:.1f}" text-anchor="{anchor}"{more}>{escape(short)}</text>'
    )


def _svg(width: float, height: float, title: str, parts: list[str]) -> str:
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {width:.0f} {height:.0f}" '
        f'role="img" class="plot"><title>{escape(title)}</title>{"".join(parts)}</svg>'
    )
