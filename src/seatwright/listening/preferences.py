"""Preferences: how many put which version before which other one, and whom a majority prefers."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import combinations

import numpy as np
from numpy.typing import NDArray

from seatwright.listening.binomial import LEVEL, holm, two_sided

Ranking = tuple[tuple[str, ...], ...]
"""Best first; those in one tuple tied."""


@dataclass(frozen=True)
class Pair:
    """Two versions against each other.

    Parameters
    ----------
    first, second : str
        Ids; `first` is preferred by more, or equally many.
    for_first, for_second, ties : int
        Listeners.
    p : float
        Exact two-sided sign test; ties are left out of it.
    p_corrected : float
        By Holm's method for all pairs of the trial.
    """

    first: str
    second: str
    for_first: int
    for_second: int
    ties: int
    p: float
    p_corrected: float

    @property
    def is_clear(self) -> bool:
        """Whether the preference stands the test among all the others."""
        return self.p_corrected <= LEVEL


@dataclass(frozen=True)
class Majority:
    """What majorities say.

    Parameters
    ----------
    winner : str or None
        Preferred to every other version by a majority of those who do not tie them.
    cycle : tuple of str
        Where there is no winner: versions each of which a majority prefers to the next, and the
        last to the first; empty where only draws stand in the way.
    leaders : tuple of str
        The smallest group that none outside it beats or draws with; the winner alone where there
        is one.
    """

    winner: str | None
    cycle: tuple[str, ...]
    leaders: tuple[str, ...]


def without(rankings: Sequence[Ranking], left_out: frozenset[str]) -> list[Ranking]:
    """Rankings in which some versions do not stand."""
    kept = [[tuple(v for v in place if v not in left_out) for place in one] for one in rankings]
    return [tuple(place for place in one if place) for one in kept]


def wins_of(ranking: Ranking, versions: Sequence[str]) -> NDArray[np.float64]:
    """One listener's wins, shape (versions, versions): row before column; a tie is half each."""
    place = {version: rank for rank, tied in enumerate(ranking) for version in tied}
    ranks = np.array([place[version] for version in versions])
    wins = (ranks[:, None] < ranks) + 0.5 * (ranks[:, None] == ranks)
    np.fill_diagonal(wins, 0.0)
    return np.asarray(wins, dtype=np.float64)


def patterns(
    rankings: Sequence[Ranking], versions: Sequence[str]
) -> tuple[NDArray[np.float64], NDArray[np.int64]]:
    """Rankings put together where they are alike.

    Returns
    -------
    wins : ndarray, shape (patterns, versions, versions)
    counts : ndarray, shape (patterns,)
        Listeners who ranked so. In sorted order, so that no file's place matters.
    """
    alike = sorted(Counter(rankings).items())
    wins = np.array([wins_of(ranking, versions) for ranking, _ in alike])
    return wins, np.array([count for _, count in alike], dtype=np.int64)


def pairs_of(rankings: Sequence[Ranking], versions: Sequence[str]) -> tuple[Pair, ...]:
    """Every pair of versions, in the order of the versions."""
    wins, counts = patterns(rankings, versions)
    before = np.einsum("p,pij->ij", counts, (wins == 1.0).astype(np.int64))
    tests = []
    for i, j in combinations(range(len(versions)), 2):
        better, worse = (i, j) if before[i, j] >= before[j, i] else (j, i)
        tests.append((versions[better], versions[worse], int(before[better, worse]),
                      int(before[worse, better])))  # fmt: skip
    p_values = [two_sided(more, more + less) for _, _, more, less in tests]
    return tuple(
        Pair(first, second, more, less, len(rankings) - more - less, p, corrected)
        for (first, second, more, less), p, corrected in zip(
            tests, p_values, holm(p_values), strict=True
        )
    )


def majority(pairs: Sequence[Pair], versions: Sequence[str]) -> Majority:
    """The Condorcet winner, or what stands in its way.

    Source: M. de Condorcet, "Essai sur l'application de l'analyse a la probabilite des decisions
    rendues a la pluralite des voix" (1785); the group of leaders: J. H. Smith, "Aggregation of
    preferences with variable electorate", Econometrica 41 (1973).
    """
    beats: dict[str, set[str]] = {version: set() for version in versions}
    for pair in pairs:
        if pair.for_first > pair.for_second:
            beats[pair.first].add(pair.second)
    leaders = _leaders(beats)
    if len(leaders) == 1:
        return Majority(leaders[0], (), leaders)
    return Majority(None, _cycle(beats, leaders), leaders)


def _leaders(beats: dict[str, set[str]]) -> tuple[str, ...]:
    """Smallest group each of whose members beats everyone outside."""
    group = {max(beats, key=lambda version: len(beats[version]))}
    while outside := {v for v in beats if v not in group and any(v not in beats[g] for g in group)}:
        group |= outside
    return tuple(version for version in beats if version in group)


def _cycle(beats: dict[str, set[str]], leaders: tuple[str, ...]) -> tuple[str, ...]:
    """A shortest way round among the leaders; empty where there is none."""
    rounds = [way for start in leaders if (way := _way_round(beats, leaders, start))]
    return min(rounds, key=len, default=())


def _way_round(beats: dict[str, set[str]], leaders: tuple[str, ...], start: str) -> tuple[str, ...]:
    """The shortest way from a version back to itself, breadth first."""
    ways: list[tuple[str, ...]] = [(start,)]
    seen = {start}
    for way in ways:
        if start in beats[way[-1]]:
            return way
        further = [one for one in leaders if one in beats[way[-1]] and one not in seen]
        seen.update(further)
        ways += [(*way, one) for one in further]
    return ()
