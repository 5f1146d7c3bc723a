"""Intervals from resampling listeners: what other listeners of the same kind might have said."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr, stdtrit

from seatwright.listening.bradley_terry import HALF_WIN, is_connected, strengths

RESAMPLES = 1000
COVERAGE = 0.95
_AT_ONCE = 50_000_000
"""Bytes of counts that are drawn at once."""


@dataclass(frozen=True)
class Strengths:
    """Strengths and intervals, each of shape (versions,), natural logarithms of odds, mean 0.

    Parameters
    ----------
    values, low, high : ndarray, shape (versions,)
    added : float
        Wins added to both sides of every pair; 0 where the counts alone have finite strengths.
    """

    values: NDArray[np.float64]
    low: NDArray[np.float64]
    high: NDArray[np.float64]
    added: float


def resampled_strengths(
    wins: NDArray[np.float64],
    counts: NDArray[np.int64],
    rng: np.random.Generator,
    resamples: int = RESAMPLES,
) -> Strengths:
    """Strengths, and intervals that cover the truth at least about 19 times in 20.

    Whole listeners are drawn with replacement, so that what one listener says of several pairs
    stays together. Percentiles are spread for few listeners by the factor of T. C. Hesterberg,
    "What teachers should know about the bootstrap", The American Statistician 69 (2015): expanded
    percentile intervals.

    Parameters
    ----------
    wins : ndarray, shape (patterns, versions, versions)
    counts : ndarray, shape (patterns,)
        Listeners with each pattern of wins.
    rng : Generator
    resamples : int

    Returns
    -------
    Strengths
        A version that wins everything has no finite strength: then half a win is added to both
        sides of every pair.

    Notes
    -----
    Drawn from listeners who all agree, every resample would be the same and the interval nothing
    wide. So one more listener who ranks at random, anew each time, stands among those who are
    drawn from, and every resample has the half wins. Of 1000 simulations each of 5, 9, 15 and 40
    listeners with 2 to 4 versions and odds up to 50 to 1, 94 to 100 % cover a version's true
    strength; 94 to 96 % with 40 listeners. Without the two it was 87 to 97 %.
    """
    listeners, versions = int(counts.sum()), wins.shape[-1]
    flat = wins.reshape(counts.size, versions * versions)
    whole = (counts @ flat).reshape(versions, versions)
    added = 0.0 if is_connected(whole) else HALF_WIN
    values = strengths(whole, added)
    share = np.append(counts, 1) / (listeners + 1)
    fits = []
    for number in _portions(resamples, counts.size):
        drawn = rng.multinomial(listeners + 1, share, number).astype(np.float64)
        won = (drawn[:, :-1] @ flat).reshape(number, versions, versions)
        won += drawn[:, -1, None, None] * _random_wins(number, versions, rng)
        fits.append(strengths(won, HALF_WIN))
    tail = expanded_tail(listeners)
    low, high = np.quantile(np.concatenate(fits), [tail, 1.0 - tail], axis=0)
    return Strengths(values, np.minimum(low, values), np.maximum(high, values), added)


def expanded_tail(listeners: int, coverage: float = COVERAGE) -> float:
    """Share of resamples beyond each end of an interval: less than half of the rest."""
    if listeners < 2:
        return 0.0
    spread = (listeners / (listeners - 1)) ** 0.5
    return float(ndtr(spread * stdtrit(listeners - 1, (1.0 - coverage) / 2.0)))


def _portions(resamples: int, patterns: int) -> list[int]:
    at_once = max(1, _AT_ONCE // (8 * patterns))
    return [min(at_once, resamples - done) for done in range(0, resamples, at_once)]


def _random_wins(number: int, versions: int, rng: np.random.Generator) -> NDArray[np.float64]:
    """Wins of rankings at random, shape (number, versions, versions)."""
    drawn = rng.random((number, versions))
    return (drawn[:, :, None] < drawn[:, None, :]).astype(np.float64)
