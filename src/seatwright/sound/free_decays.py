"""Free decays in band envelopes: where a band falls undisturbed, how fast and how straight.

Source
------
R. Ratnam et al., "Blind estimation of reverberation time", JASA 114 (2003) 2877-2892: regions of
free decay in running sound show the room. H. Lollmann et al., "An improved algorithm for blind
reverberation time estimation", IWAENC 2010: look for falling levels first, then fit. T. de M.
Prego et al., "Blind estimators for reverberation time and direct-to-reverberant energy ratio using
subband speech decomposition", WASPAA 2015: free decays band by band.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from seatwright.sound.band_envelopes import STEP_SECONDS, Envelopes

TURN_DB = 9.0
"""A rise or fall by less is a ripple of a note or of a room's decay, not a turn."""

LEAST_FALL_DB = 18.0
LEAST_RANGE_DB = 15.0
"""What a line must span."""

DEPTH_DB = 75.0
"""Below a band's loud level that is taken for the floor."""

_LOUD_PERCENTILE = 95.0
_ABSOLUTE_FLOOR_DB = -110.0
_BAND_REACH_DB = 50.0
_START_STEP_DB = 2.0
_STRAIGHT = 0.06
_VALLEY_MARGIN_DB = 2.0
_LEAST_STEPS = 4

Levels = NDArray[np.float32]


@dataclass(frozen=True, eq=False)
class Decays:
    """Decays of a stem, one value each; all arrays of shape (decays,).

    Parameters
    ----------
    start : ndarray
        When the band begins to fall, s.
    band : ndarray of int
    seconds : ndarray
        Time for 60 dB along the line.
    range_db : ndarray
        What the line spans.
    crooked : ndarray
        Deviation from the line over its span, rms.
    bend : ndarray
        Decay time of the line's later half over that of its earlier half: below 1 it falls faster
        and faster, above 1 slower and slower.
    """

    start: NDArray[np.float64]
    band: NDArray[np.int64]
    seconds: NDArray[np.float64]
    range_db: NDArray[np.float64]
    crooked: NDArray[np.float64]
    bend: NDArray[np.float64]

    def where(self, chosen: NDArray[np.bool_]) -> Decays:
        """Only some of them, by a mask of shape (decays,)."""
        return Decays(
            self.start[chosen],
            self.band[chosen],
            self.seconds[chosen],
            self.range_db[chosen],
            self.crooked[chosen],
            self.bend[chosen],
        )


def free_decays(envelopes: Envelopes) -> Decays:
    """Every fall of 18 dB or more in any band, with the line that fits it best.

    The line ends where the fall does; it begins as early as it stays straight. What drops ahead of
    it, the direct sound after its source has stopped, is left out in this way.

    Parameters
    ----------
    envelopes : Envelopes

    Returns
    -------
    Decays
    """
    rows = []
    loudest = max((_loud(row) for row in envelopes.levels), default=_ABSOLUTE_FLOOR_DB)
    for band, row in enumerate(envelopes.levels):
        loud = _loud(row)
        if loud < max(loudest - _BAND_REACH_DB, _ABSOLUTE_FLOOR_DB + LEAST_FALL_DB):
            continue
        levels = np.maximum(row, np.float32(max(loud - DEPTH_DB, _ABSOLUTE_FLOOR_DB)))
        for peak, valley in falls(levels):
            line = fitted_line(levels[peak : valley + 1])
            if line is not None:
                rows.append((peak * STEP_SECONDS, band, *line))
    table = np.array(rows, dtype=np.float64).reshape(-1, 6)
    start, number, *figures = table.T
    return Decays(start, number.astype(np.int64), *figures)


def _loud(levels: Levels) -> float:
    sounding = levels[levels > _ABSOLUTE_FLOOR_DB]
    return float(np.percentile(sounding, _LOUD_PERCENTILE)) if len(sounding) else -np.inf


def falls(levels: Levels) -> list[tuple[int, int]]:
    """Peak and following valley of every fall that ripples do not end, 18 dB deep or more.

    Parameters
    ----------
    levels : ndarray, shape (steps,)
        dB.

    Returns
    -------
    list of tuple of int
        Step of the peak and of the valley.
    """
    rising = np.diff(levels) > 0.0
    turns = np.flatnonzero(rising[:-1] != rising[1:]) + 1
    steps = np.concatenate([[0], turns, [len(levels) - 1]])
    found: list[tuple[int, int]] = []
    falling, high, low = False, 0, 0
    values = levels[steps].tolist()
    for here, value in enumerate(values):
        if not falling:
            if value > values[high]:
                high = here
            elif value < values[high] - TURN_DB:
                falling, low = True, here
        elif value < values[low]:
            low = here
        elif value > values[low] + TURN_DB:
            found.append((high, low))
            falling, high = False, here
    if falling:
        found.append((high, low))
    deep = [pair for pair in found if values[pair[0]] - values[pair[1]] >= LEAST_FALL_DB]
    return [(int(steps[peak]), int(steps[valley])) for peak, valley in deep]


def fitted_line(fall: Levels) -> tuple[float, float, float, float] | None:
    """Fit a line to a fall's end, from as early as it is straight.

    Parameters
    ----------
    fall : ndarray, shape (steps,)
        dB, from a peak to the valley after it.

    Returns
    -------
    tuple of float or None
        Seconds for 60 dB, span in dB, deviation over span, bend; None where nothing spans 15 dB.
    """
    level = np.asarray(fall, dtype=np.float64)
    level = level[: int(np.argmax(level <= level[-1] + _VALLEY_MARGIN_DB)) + 1]
    starts = _possible_starts(level)
    if len(starts) == 0:
        return None
    slopes, deviations = _lines_to_the_end(level, starts)
    spans = level[starts] - level[-1]
    crooked = np.where(slopes < 0.0, deviations / spans, np.inf)
    straight = np.flatnonzero(crooked < _STRAIGHT)
    best = int(straight[0]) if len(straight) else int(np.argmin(crooked))
    if not np.isfinite(crooked[best]):
        return None
    bend = _bend(level[starts[best] :])
    return -60.0 / slopes[best] * STEP_SECONDS, spans[best], crooked[best], bend


def _possible_starts(level: NDArray[np.float64]) -> NDArray[np.int64]:
    """Steps at which the fall first is 2, 4, 6... dB deep, as long as enough of it follows."""
    depths = np.arange(_START_STEP_DB, level[0] - level[-1], _START_STEP_DB)
    lowest = np.minimum.accumulate(level)
    starts = np.searchsorted(-lowest, depths - level[0])
    enough = (level[starts] - level[-1] >= LEAST_RANGE_DB) & (len(level) - starts >= _LEAST_STEPS)
    return np.asarray(np.unique(starts[enough]))


def _lines_to_the_end(
    level: NDArray[np.float64], starts: NDArray[np.int64]
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Slope in dB a step and rms deviation of the lines from each start to the end."""
    step = np.arange(len(level), dtype=np.float64)
    low = level - level[-1]
    terms = np.stack([np.ones_like(step), step, low, step * step, step * low, low * low])
    n, t, y, tt, ty, yy = terms[:, ::-1].cumsum(axis=1)[:, ::-1][:, starts]
    across, along, down = tt - t * t / n, ty - t * y / n, yy - y * y / n
    slopes = along / across
    return slopes, np.sqrt(np.maximum(down - slopes * along, 0.0) / n)


def _bend(level: NDArray[np.float64]) -> float:
    """Decay time of the later half over that of the earlier, halves in dB."""
    middle = int(np.argmax(level <= 0.5 * (level[0] + level[-1])))
    early = middle / max(level[0] - level[middle], 1e-9)
    late = (len(level) - 1 - middle) / max(level[middle] - level[-1], 1e-9)
    return float(late / max(early, 1e-9))
