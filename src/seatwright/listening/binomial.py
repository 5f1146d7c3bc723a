"""Exact binomial tests: tails, counts that are needed, and how many listeners would tell.

Nothing here is a normal approximation. E. B. Roessler, R. M. Pangborn, J. L. Sidel, H. Stone,
"Expanded statistical tables for estimating significance in paired-preference, paired-difference,
duo-trio and triangle tests", J. Food Science 43 (1978), tabulate the same counts.
"""

from __future__ import annotations

from functools import lru_cache
from math import ceil, log
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy.special import betainc

LEVEL = 0.05
POWER = 0.8
SHARE = 0.75
"""The preference that a trial should be able to show."""


@lru_cache(maxsize=65_536)
def upper_tail(hits: int, trials: int, chance: float = 0.5) -> float:
    """Probability of so many hits or more: the one-sided p value."""
    return float(_tails(np.array([hits]), np.array([trials]), chance)[0])


def two_sided(hits: int, trials: int) -> float:
    """Exact two-sided p value of a sign test: as uneven as this or more; 1 without trials."""
    most = max(hits, trials - hits)
    return 1.0 if 2 * most == trials else min(1.0, 2.0 * upper_tail(most, trials))


def _tails(hits: NDArray[Any], trials: NDArray[Any], chance: float) -> NDArray[np.float64]:
    """P(X >= hits): a regularised incomplete beta function."""
    within = np.clip(hits, 1, np.maximum(trials, 1))
    tails = betainc(within, trials - within + 1, chance)
    return np.where(hits <= 0, 1.0, np.where(hits > trials, 0.0, tails))


@lru_cache(maxsize=4096)
def needed_hits(trials: int, level: float = LEVEL, sides: int = 1) -> int | None:
    """Fewest hits that are significant against one in two.

    Parameters
    ----------
    trials : int
    level : float
        p value allowed.
    sides : int
        1 for right answers, 2 for a preference either way.

    Returns
    -------
    int or None
        None where even all of them would not be enough.
    """
    hits = np.arange(trials // 2 + 1, trials + 1)
    enough = hits[sides * _tails(hits, np.full(hits.shape, trials), 0.5) <= level]
    return int(enough[0]) if enough.size else None


@lru_cache(maxsize=4096)
def power(trials: int, share: float = SHARE, level: float = LEVEL, sides: int = 1) -> float:
    """Probability that a test comes out significant if each hit truly has this probability."""
    hits = needed_hits(trials, level, sides)
    if hits is None:
        return 0.0
    other_way = 1.0 - upper_tail(trials - hits + 1, trials, share) if sides == 2 else 0.0
    return upper_tail(hits, trials, share) + other_way


@lru_cache(maxsize=256)
def needed_trials(
    share: float = SHARE, level: float = LEVEL, sides: int = 2, wanted: float = POWER
) -> int:
    """Trials from which on the power never falls below what is wanted.

    Power goes up and down like a saw, as hits are whole: 30 listeners see 75:25 more surely than
    31 to 34, and only from 35 on the power stays above 80 %.

    Parameters
    ----------
    share : float
        True probability of a hit, above 0.5 and below 1.
    level : float
    sides : int
    wanted : float
        Power.

    Returns
    -------
    int
    """
    # Hoeffding's inequality bounds where to look: beyond it the power is surely enough.
    gap = share - 0.5
    most: int = ceil(
        (log(sides / level) ** 0.5 + log(1.0 / (1.0 - wanted)) ** 0.5) ** 2 / 2 / gap**2
    )
    while most > 1 and power(most - 1, share, level, sides) >= wanted:
        most -= 1
    return most


def holm(p_values: list[float]) -> list[float]:
    """Correct many p values so that all together err as seldom as one.

    Source: S. Holm, "A simple sequentially rejective multiple test procedure", Scand. J. Statistics
    6 (1979).
    """
    corrected, largest = [0.0] * len(p_values), 0.0
    for rank, place in enumerate(sorted(range(len(p_values)), key=p_values.__getitem__)):
        largest = max(largest, min(1.0, (len(p_values) - rank) * p_values[place]))
        corrected[place] = largest
    return corrected
