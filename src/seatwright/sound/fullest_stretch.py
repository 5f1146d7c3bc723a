"""Where most stems sound: from the levels of all in coarse steps to one stretch of the piece."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

STEP_SECONDS = 0.5
SILENT_DB = -70.0
"""dBFS below which a stem counts as silent, as for the silence at its ends."""

BELOW_OWN_LOUDEST_DB = 40.0
"""A stem that is further below its own loudest step is ringing out or breathing, not playing."""

_LEAST_POWER = 1e-14


def sounding_steps(powers: NDArray[np.float64]) -> NDArray[np.bool_]:
    """In which steps a stem plays.

    Parameters
    ----------
    powers : ndarray of float64, shape (steps,)
        Mean square at +-1 full scale.

    Returns
    -------
    ndarray of bool, shape (steps,)
    """
    levels = 10.0 * np.log10(np.maximum(powers, _LEAST_POWER))
    loudest = float(levels.max(initial=-np.inf))
    return np.asarray(levels > max(SILENT_DB, loudest - BELOW_OWN_LOUDEST_DB))


def fullest_start(stems: Sequence[NDArray[np.bool_]], seconds: float) -> float:
    """Where the stretch begins in which most stems sound for longest.

    Parameters
    ----------
    stems : sequence of ndarray of bool, shape (steps,)
        For each stem the steps in which it plays, from one common start on; they may differ in
        length.
    seconds : float
        Length of the stretch.

    Returns
    -------
    float
        Whole seconds; the first of equals, 0 where all is no longer than the stretch.
    """
    window = round(seconds / STEP_SECONDS)
    length = max((len(steps) for steps in stems), default=0)
    if length <= window:
        return 0.0
    counts = np.zeros(length, np.int64)
    for steps in stems:
        counts[: len(steps)] += steps
    sums = np.concatenate([[0], np.cumsum(counts)])
    found = sums[window:] - sums[:-window]
    whole = round(1.0 / STEP_SECONDS)
    return float(np.argmax(found[::whole]))
