"""Polar plots of what each instrument radiates where, one SVG a family.

Each pattern is drawn twice in the player's frame: seen from above (ahead of the player is up, the
player's right is right), and upright, in the plane through the main lobe. Distance from the middle
is the level over the mean of all directions.
"""

from __future__ import annotations

from collections.abc import Sequence
from xml.sax.saxutils import escape

import numpy as np
from numpy.typing import NDArray

from seatwright.acoustics.directivity import lobe_axis, radiation
from seatwright.acoustics.radiation_table import RADIATION
from seatwright.stage.bands import BAND_NAMES
from seatwright.stage.instruments import INSTRUMENTS
from seatwright.stage.seats import Source

SHOWN = ("250", "1k", "4k")
"""Octave bands that are drawn."""

FLOOR_DB, TOP_DB = -18.0, 18.0
"""Levels at the middle and at the rim."""

_STYLES = {
    "250": 'stroke="#0072b2" stroke-width="18" stroke-dasharray="1 42" stroke-linecap="round"',
    "1k": 'stroke="#b34700" stroke-width="16" stroke-dasharray="80 32"',
    "4k": 'stroke="#111111" stroke-width="18"',
}
"""Told apart by their dashes alone; colours in addition, safe for the colour-blind. Tenths of a
pixel."""

_STEP = 3
"""Degrees between points of a curve."""

_RADIUS, _CELL_WIDTH, _CELL_HEIGHT, _HEAD, _FOOT = 96.0, 580.0, 262.0, 58.0, 24.0
_FROM_ABOVE, _UPRIGHT = 140.0, 410.0
"""Middles of the two panels of a cell."""

_RINGS = (-12.0, -6.0, 0.0, 6.0, 12.0, 18.0)


def families() -> dict[str, tuple[tuple[str, ...], ...]]:
    """Which instruments stand in which family's plot.

    Returns
    -------
    dict of str to tuple
        Family and its cells: instruments of one and the same pattern share a cell; those that
        radiate alike all round have none.
    """
    rows: dict[str, dict[tuple[object, ...], list[str]]] = {}
    for name, instrument in INSTRUMENTS.items():
        pattern = RADIATION[name]
        if pattern.lobes:
            alike = rows.setdefault(instrument.family, {})
            alike.setdefault((pattern.everywhere, pattern.lobes), []).append(name)
    return {family: tuple(map(tuple, alike.values())) for family, alike in rows.items()}


def polar_plots() -> dict[str, str]:
    """The plots of all families.

    Returns
    -------
    dict of str to str
        Family and its SVG.
    """
    return {family: polar_plot(family, rows) for family, rows in families().items()}


def polar_plot(title: str, cells: Sequence[tuple[str, ...]]) -> str:
    """One SVG of several patterns.

    Parameters
    ----------
    title : str
    cells : sequence of tuple of str
        Canonical names of instruments; a cell shows the pattern of its first.

    Returns
    -------
    str
        A whole SVG document, with a background of its own.
    """
    columns = min(2, len(cells))
    width, height = columns * _CELL_WIDTH, _HEAD + -(-len(cells) // 2) * _CELL_HEIGHT + _FOOT
    parts = [
        f'<svg xmlns="http://www.w3.org/2000/svg" width="{width:g}" height="{height:g}" '
        f'viewBox="0 0 {width:g} {height:g}" role="img" font-family="sans-serif" font-size="11">',
        f"<title>{escape(title)}: radiation per octave band</title>",
        f"<desc>Level over the mean of all directions at {', '.join(map(_hertz, SHOWN))}. "
        "Approximations after published descriptions from memory, not measurements.</desc>",
        f'<rect width="{width:g}" height="{height:g}" fill="#ffffff"/>',
        f'<text x="16" y="26" font-size="17" fill="#111111">{escape(title)}</text>',
        *_legend(width),
    ]
    for index, names in enumerate(cells):
        down, across = divmod(index, 2)
        parts += _cell(names, _CELL_WIDTH * across, _HEAD + _CELL_HEIGHT * down)
    note = "dB over all directions' mean (dark ring). Approximations, not measurements."
    parts.append(f'<text x="16" y="{height - 10:g}" fill="#444444">{note}</text>')
    return "\n".join([*parts, "</svg>", ""])


def _legend(width: float) -> list[str]:
    parts = []
    for index, band in enumerate(SHOWN):
        x = width - 300.0 + 96.0 * index
        line = f'<path transform="translate({x:g} 22) scale(.1)" d="m0,0h340" fill="none"'
        parts.append(f"{line} {_STYLES[band]}/>")
        parts.append(f'<text x="{x + 40:g}" y="26" fill="#111111">{_hertz(band)}</text>')
    return parts


def _hertz(band: str) -> str:
    return f"{band[:-1]} kHz" if band.endswith("k") else f"{band} Hz"


def _cell(names: tuple[str, ...], left: float, top: float) -> list[str]:
    main, turned = RADIATION[names[0]].lobes[0], INSTRUMENTS[names[0]].turned
    azimuth = (turned + main.azimuth) % 360.0 if abs(main.elevation) < 85.0 else 0.0
    middle = top + _CELL_HEIGHT / 2.0 + 10.0
    first, second = left + _FROM_ABOVE, left + _UPRIGHT
    return [
        f'<text x="{left + 16:g}" y="{top + 10:g}" font-size="13" fill="#111111">'
        f"{escape(', '.join(names))}</text>",
        *_panel(first, middle, ("ahead", "right", "behind", "left"), "from above"),
        *_curves(names[0], first, middle, _around()),
        *_panel(second, middle, ("up", _way(azimuth), "down", ""), "upright"),
        *_curves(names[0], second, middle, _upright(azimuth)),
    ]


def _way(azimuth: float) -> str:
    """Words for a direction on the right of an upright plot."""
    aside = (azimuth + 180.0) % 360.0 - 180.0
    if abs(aside) < 0.5:
        return "ahead"
    return f"{abs(aside):.0f}° {'right' if aside > 0.0 else 'left'}"


def _around() -> NDArray[np.float64]:
    """Directions clockwise from ahead, shape (points, 3)."""
    return np.array([lobe_axis(angle, 0.0) for angle in range(0, 360, _STEP)])


def _upright(azimuth: float) -> NDArray[np.float64]:
    """Directions from straight up over an azimuth, down and back, shape (points, 3)."""
    return np.array([lobe_axis(azimuth, 90.0 - angle) for angle in range(0, 360, _STEP)])


def _panel(x: float, y: float, words: tuple[str, str, str, str], seen: str) -> list[str]:
    """Rings, cross and the names of the four directions, clockwise from the top."""
    parts = [
        f'<g fill="none" stroke="#c4c4c4" stroke-width="0.7" transform="translate({x:g} {y:g})">'
    ]
    for ring in _RINGS:
        stroke = ' stroke="#777777" stroke-width="1.1"' if ring == 0.0 else ""
        parts.append(f'<circle r="{_ring_radius(ring):g}"{stroke}/>')
    parts += [f'<path d="M{-_RADIUS:g} 0H{_RADIUS:g}M0 {-_RADIUS:g}V{_RADIUS:g}"/>', "</g>"]
    reach = _RADIUS + 6.0
    places = (
        (x, y - reach, "middle"),
        (x + reach, y + 4.0, "start"),
        (x, y + reach + 8.0, "middle"),
        (x - reach, y + 4.0, "end"),
    )
    for (at, down, anchor), word in zip(places, words, strict=True):
        if word:
            parts.append(_text(at, down, anchor, word))
    parts.append(_text(x - reach, y - _RADIUS + 6.0, "start", seen, "#444444"))
    for ring in (6.0, 12.0):
        aside = 0.7071 * _ring_radius(ring)  # at half past seven
        parts.append(_text(x - aside, y + aside, "middle", f"{ring:+g}", "#555555", 9))
    return parts


def _text(x: float, y: float, anchor: str, word: str, fill: str = "#111111", size: int = 11) -> str:
    return (
        f'<text x="{x:g}" y="{y:g}" text-anchor="{anchor}" fill="{fill}" font-size="{size}">'
        f"{escape(word)}</text>"
    )


def _curves(name: str, x: float, y: float, directions: NDArray[np.float64]) -> list[str]:
    """One closed curve a band; the n-th direction stands n steps clockwise from the top."""
    source = Source((0.0, 0.0, 0.0), INSTRUMENTS[name].turned, name)
    level = 20.0 * np.log10(radiation(source, directions))
    return [
        f'<path transform="translate({x:g} {y:g}) scale(.1)" d="{_outline(level[:, band])}" '
        f'fill="none" {_STYLES[BAND_NAMES[band]]}/>'
        for band in map(BAND_NAMES.index, SHOWN)
    ]


def _outline(levels: NDArray[np.float64]) -> str:
    """A closed path in tenths of a pixel around 0, 0; all but its first point relative."""
    angle = np.radians(np.arange(0, 360, _STEP))
    radius = 10.0 * _RADIUS * _share(levels)
    points = np.rint(np.stack([radius * np.sin(angle), -radius * np.cos(angle)], axis=1))
    steps = np.diff(points.astype(int), axis=0, prepend=0)
    return "m" + " ".join(f"{across},{down}" for across, down in steps.tolist()) + "z"


def _share(levels: NDArray[np.float64]) -> NDArray[np.float64]:
    """How far from the middle to the rim levels in dB stand, 0 to 1."""
    return np.clip((levels - FLOOR_DB) / (TOP_DB - FLOOR_DB), 0.0, 1.0)


def _ring_radius(level: float) -> float:
    return _RADIUS * (level - FLOOR_DB) / (TOP_DB - FLOOR_DB)
