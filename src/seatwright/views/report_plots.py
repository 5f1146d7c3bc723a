"""Plots of a page: how sections sound over time and frequency, how the hall decays, who is where.

Conventions: levels in dB relative to full scale after the trim, third octaves after IEC 61260-1.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from math import ceil, isfinite, log10, nan

import numpy as np
from numpy.typing import NDArray

from seatwright.acoustics.decay_curves import LOWEST_DB, BandDecay, HallDecays
from seatwright.sound.spectra import Picture
from seatwright.views.dot_plot import Dot, dot_plot
from seatwright.views.line_plot import Line, line_plot
from seatwright.views.plot_frame import SMALL, WIDE, Axis, short_name
from seatwright.views.report import SeatRow

RANGE_DB = 70.0
"""How far down plots of level reach."""

_POINTS = 320
_NOMINAL = (1.0, 1.25, 1.6, 2.0, 2.5, 3.15, 4.0, 5.0, 6.3, 8.0)
_FREQUENCY = Axis("Hz", 22.0, 22_400.0, logarithmic=True)
_LOUDSPEAKERS = 30.0
_SEATS = replace(WIDE, height=380.0, right=20.0)


@dataclass(frozen=True)
class Pictured:
    """An output's name and its picture after the trim."""

    name: str
    picture: Picture


def trimmed_picture(picture: Picture, trim_db: float) -> Picture:
    """A picture after the trim."""
    return replace(
        picture,
        spectrum_db=picture.spectrum_db + trim_db,
        course_db=picture.course_db + trim_db,
    )


def course_plots(outputs: Sequence[Pictured], begin: float = 0.0) -> list[str]:
    """Level of every output over time, the first one's behind the others.

    Parameters
    ----------
    outputs : sequence of Pictured
        The mix first.
    begin : float
        Seconds of the first point's step, where an excerpt begins.

    Returns
    -------
    list of str
        SVG elements.
    """
    courses = [course_points(each.picture, begin) for each in outputs]
    y = _level_axis([level for _, level in courses])
    end = begin + max(len(each.picture.course_db) * each.picture.step for each in outputs)
    x = Axis("seconds", begin, max(end, begin + 0.1))
    lines = [
        Line(each.name, [*time], _within(level, y.low))
        for each, (time, level) in zip(outputs, courses, strict=True)
    ]
    return _against_mix(lines, x, y, _course_words)


def course_points(
    picture: Picture, begin: float = 0.0
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Middles of steps in seconds and mean levels there, few enough for a plot."""
    power = 10.0 ** (picture.course_db / 10.0)
    group = max(1, ceil(len(power) / _POINTS))
    starts = np.arange(0, len(power), group)
    counts = np.minimum(group, len(power) - starts)
    means = np.add.reduceat(power, starts) / counts if len(power) else power
    return begin + (starts + counts / 2.0) * picture.step, 10.0 * np.log10(means)


def spectrum_plots(outputs: Sequence[Pictured]) -> list[str]:
    """Third-octave spectrum of every output, the first one's behind the others.

    Parameters
    ----------
    outputs : sequence of Pictured
        The mix first.

    Returns
    -------
    list of str
        SVG elements.
    """
    y = _level_axis([each.picture.spectrum_db for each in outputs])
    lines = [
        Line(each.name, [*each.picture.bands], _within(each.picture.spectrum_db, y.low))
        for each in outputs
    ]
    return _against_mix(lines, _FREQUENCY, y, _spectrum_words)


def _against_mix(
    lines: Sequence[Line], x: Axis, y: Axis, words: Callable[[Line], str]
) -> list[str]:
    """A plot a line, the first one behind each of the others."""
    mix = replace(lines[0], soft=True)
    return [
        line_plot(line.name, [line, mix] if number else [line], x, y, SMALL, words(line))
        for number, line in enumerate(lines)
    ]


def _course_words(line: Line) -> str:
    place = _loudest(line)
    if place is None:
        return "Level over time: silent, or too quiet for the plot."
    return f"Level over time: loudest {line.y[place]:.1f} dB at {line.x[place]:.1f} s."


def _spectrum_words(line: Line) -> str:
    place = _loudest(line)
    if place is None:
        return "Spectrum in third octaves: silent, or too quiet for the plot."
    return (
        f"Spectrum in third octaves: strongest at {nominal(line.x[place])} Hz "
        f"with {line.y[place]:.1f} dB."
    )


def _loudest(line: Line) -> int | None:
    known = [n for n, level in enumerate(line.y) if isfinite(level)]
    return max(known, key=lambda n: line.y[n]) if known else None


def nominal(frequency: float) -> str:
    """A third octave's mid-band frequency in Hz as it is usually written (IEC 61260-1)."""
    decade, step = divmod(round(10.0 * log10(frequency)), 10)
    return f"{_NOMINAL[step] * 10.0**decade:g}"


def _level_axis(levels: Sequence[NDArray[np.float64]]) -> Axis:
    highest = max((float(each.max()) for each in levels if len(each)), default=0.0)
    top = 10.0 * ceil(highest / 10.0) if highest > -150.0 else 0.0
    return Axis("dB", top - RANGE_DB, top)


def _within(levels: NDArray[np.float64], low: float) -> list[float]:
    """Levels, without those below a plot."""
    return [float(level) if level >= low else nan for level in levels]


def decay_plots(decays: HallDecays) -> list[str]:
    """Decay of every octave: as built, and as predicted.

    Parameters
    ----------
    decays : HallDecays

    Returns
    -------
    list of str
        SVG elements.
    """
    longest = max(max(band.seconds[-1], band.predicted_seconds) for band in decays.bands)
    x = Axis("seconds after the direct sound", 0.0, max(0.1, ceil(longest * 5.0) / 5.0))
    y = Axis("dB", LOWEST_DB, 0.0)
    return [_decay_plot(band, x, y) for band in decays.bands]


def _decay_plot(band: BandDecay, x: Axis, y: Axis) -> str:
    read = f"{band.t30:.2f} s" if isfinite(band.t30) else "not reached"
    middle = f"{band.band[:-1]} kHz" if band.band.endswith("k") else f"{band.band} Hz"
    about = (
        f"Energy still to come in the octave of {middle}: T30 {read}, "
        f"predicted T60 {band.predicted_seconds:.2f} s."
    )
    lines = [
        Line("built", band.seconds, band.level_db),
        Line("predicted", band.seconds, band.predicted_db, soft=True),
    ]
    return line_plot(middle, lines, x, y, SMALL, about)


def seat_plot(seats: Sequence[SeatRow], loudness: Mapping[str, float]) -> str:
    """Who is heard where, and how loud.

    Parameters
    ----------
    seats : sequence of SeatRow
        Those without figures are left out.
    loudness : mapping of str to float
        LUFS of seats whose stems have bounces of their own; where it knows a seat not, all stand at
        what distance and microphones make of a seat's level.

    Returns
    -------
    str
        An SVG element, "" where no seat has figures.
    """
    shown = [(row, row.figures) for row in seats if row.figures is not None]
    if not shown:
        return ""
    known = all(row.seat in loudness for row, _ in shown)
    dots = [
        Dot(row.seat, f.heard_bearing, loudness[row.seat] if known else f.level_db)
        for row, f in shown
    ]
    levels = [dot.y for dot in dots if isfinite(dot.y)] or [0.0]
    low, high = 5.0 * (min(levels) // 5.0), 5.0 * ceil(max(levels) / 5.0)
    y = Axis("LUFS" if known else "level dB", low, max(high, low + 5.0))
    widest = max([_LOUDSPEAKERS, *(abs(d.x) for d in dots if isfinite(d.x))])
    edge = 10.0 * ceil(widest / 10.0) + 5.0
    x = Axis("heard bearing in degrees, right positive", -edge, edge)
    unit = "LUFS" if known else "dB"
    spoken = "; ".join(f"{short_name(d.name)} {d.x:z.1f} degrees, {d.y:z.1f} {unit}" for d in dots)
    return dot_plot("Seats from left to right", dots, x, y, _SEATS, spoken)
