"""Consistency: where listeners put a version and its hidden twin, which sounds the same."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from seatwright.listening.binomial import upper_tail
from seatwright.listening.preferences import Ranking


@dataclass(frozen=True)
class TwinFinding:
    """How far apart two sounds that are one were put.

    Parameters
    ----------
    twin, original : str
    distances : tuple of float
        Places between the two in each listener's ranking, ties at the mean of their places;
        0 is tied, 1 is next to each other.
    chance_distance : float
        Mean distance in rankings at random.
    together : int
        Listeners with a distance of 1 at most.
    chance_together : float
        Share of rankings at random in which it is so.
    p : float
        Probability of so many or more by ranking at random.
    """

    twin: str
    original: str
    distances: tuple[float, ...]
    chance_distance: float
    together: int
    chance_together: float
    p: float

    @property
    def mean_distance(self) -> float:
        """Mean of the distances."""
        return sum(self.distances) / len(self.distances)


def places(ranking: Ranking) -> dict[str, float]:
    """Each version's place, 1 is the best; the tied share the mean of theirs."""
    found: dict[str, float] = {}
    before = 0
    for tied in ranking:
        found |= dict.fromkeys(tied, before + (len(tied) + 1) / 2.0)
        before += len(tied)
    return found


def twin_finding(twin: str, original: str, rankings: Sequence[Ranking]) -> TwinFinding:
    """Compare the places of a twin and its original.

    Parameters
    ----------
    twin, original : str
    rankings : sequence of Ranking
        At least one; each holds the twin and the original.

    Notes
    -----
    Among n things in random order two are d places apart in n - d of n (n - 1) / 2 cases: next to
    each other with probability 2 / n, (n + 1) / 3 apart on average.
    """
    found = [places(ranking) for ranking in rankings]
    distances = tuple(abs(place[twin] - place[original]) for place in found)
    versions = len(found[0])
    together = sum(distance <= 1.0 for distance in distances)
    chance = 2.0 / versions
    p = upper_tail(together, len(distances), chance) if chance < 1.0 else 1.0
    return TwinFinding(twin, original, distances, (versions + 1) / 3.0, together, chance, p)
