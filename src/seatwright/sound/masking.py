"""How much of one sound another hides, from their octave powers over time.

A part of a sound (one octave in one tenth of a second) counts as hidden where the other is stronger
in the same octave by more than a threshold; parts count by their loudness. An octave is wide: two
clear tones inside one may both be heard, so a share is a warning, not a verdict.

Source
------
H. Fastl, E. Zwicker, "Psychoacoustics" (3rd ed. 2007), ch. 8: specific loudness grows as the power
0.23 of intensity; ch. 4: a tone is masked by noise about 4 dB stronger in its band. J. Blauert,
"Spatial Hearing" (1997), sec. 3.2, and K. Saberi et al., "Free-field release from masking", JASA 90
(1991) 1355-1370: sources apart unmask each other by some 10 dB (all values from memory).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from seatwright.sound.octave_steps import STEP_SECONDS

LOUDNESS_POWER = 0.23
AUDIBLE_RANGE_DB = 30.0
"""Below its own loudest part a sound's parts do not count."""

AUDIBLE_FLOOR_DB = -75.0
"""dBFS: what is softer than this in the mix does not count either."""

_SEPARATIONS = np.array([0.0, 15.0, 30.0, 60.0])
_THRESHOLDS = np.array([4.0, 7.0, 10.0, 12.0])
_MAIN_SHARE = 0.2
_MOST_HIDDEN = 0.5
_BRIDGED_STEPS, _LEAST_STEPS = 5, 10

Powers = NDArray[np.float32]
"""Heard power of each octave and tenth of a second, shape (8, steps)."""


def hiding_threshold(separation: float) -> float:
    """By how many dB a sound must be stronger to hide one this many degrees beside it."""
    return float(np.interp(abs(separation), _SEPARATIONS, _THRESHOLDS))


def loudness_weights(powers: Powers) -> Powers:
    """What each part of a sound counts, 0 where it is not heard, shape of `powers`."""
    loudest = float(powers.max(initial=0.0))
    floor = max(loudest * 10.0 ** (-AUDIBLE_RANGE_DB / 10.0), 10.0 ** (AUDIBLE_FLOOR_DB / 10.0))
    return np.asarray(np.where(powers >= floor, powers, 0.0) ** np.float32(LOUDNESS_POWER))


def hidden_parts(masker: Powers, hidden: Powers, separation: float) -> NDArray[np.bool_]:
    """Where one sound hides another, shape (8, steps)."""
    factor = np.float32(10.0 ** (hiding_threshold(separation) / 10.0))
    return np.asarray(masker > hidden * factor)


def hidden_share(
    masker: Powers, hidden: Powers, separation: float, weights: Powers | None = None
) -> float:
    """Share of a sound that another hides.

    Parameters
    ----------
    masker, hidden : ndarray, shape (8, steps)
        Powers as heard in the mix, of one length.
    separation : float
        Degrees between the directions they are heard from.
    weights : ndarray, optional
        `loudness_weights` of the hidden one, where they are known already.

    Returns
    -------
    float
        0 to 1; 0 for a sound that is not heard by itself.
    """
    counted = loudness_weights(hidden) if weights is None else weights
    total = float(counted.sum(dtype=np.float64))
    if total == 0.0:
        return 0.0
    lost = counted.sum(dtype=np.float64, where=hidden_parts(masker, hidden, separation))
    return float(lost) / total


@dataclass(frozen=True)
class Hiding:
    """Where a sound is hidden.

    Parameters
    ----------
    bands : tuple of int
        Octaves, 0 for 63 Hz, that make up most of what is hidden.
    start, stop : float
        The first long stretch in which more than half of it is hidden, seconds; equal where there
        is none.
    """

    bands: tuple[int, ...]
    start: float
    stop: float


def hiding_places(masker: Powers, hidden: Powers, separation: float) -> Hiding:
    """In which octaves and when one sound hides another, as in `hidden_share`."""
    weights = loudness_weights(hidden)
    lost = np.where(hidden_parts(masker, hidden, separation), weights, 0.0)
    by_band = lost.sum(axis=1, dtype=np.float64)
    main = np.flatnonzero(by_band > _MAIN_SHARE * max(float(by_band.sum()), 1e-30))
    total, gone = weights.sum(axis=0), lost.sum(axis=0)
    start, stop = _first_long_stretch(gone > _MOST_HIDDEN * np.maximum(total, 1e-30))
    return Hiding(tuple(main.tolist()), start * STEP_SECONDS, stop * STEP_SECONDS)


def _first_long_stretch(steps: NDArray[np.bool_]) -> tuple[int, int]:
    """First run of a second or more, gaps of half a second bridged; else the longest run."""
    marked = np.flatnonzero(steps)
    if len(marked) == 0:
        return 0, 0
    breaks = np.flatnonzero(np.diff(marked) > _BRIDGED_STEPS)
    firsts = marked[np.concatenate([[0], breaks + 1])]
    stops = marked[np.concatenate([breaks, [len(marked) - 1]])] + 1
    lengths = stops - firsts
    long = np.flatnonzero(lengths >= _LEAST_STEPS)
    chosen = int(long[0]) if len(long) else int(np.argmax(lengths))
    return int(firsts[chosen]), int(stops[chosen])
