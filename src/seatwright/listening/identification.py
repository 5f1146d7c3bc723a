"""Identification: can listeners tell two versions apart at all, against guessing."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from seatwright.listening.ballot import Answer
from seatwright.listening.binomial import LEVEL, holm, needed_hits, power, upper_tail


@dataclass(frozen=True)
class Score:
    """Right answers against one in two.

    Parameters
    ----------
    right, trials : int
    p : float
        Exact one-sided binomial test: so many or more by guessing alone.
    p_corrected : float
        By Holm's method for all listeners; equal to `p` for the score of all together.
    needed : int or None
        Right answers that would be significant; None where even all would not.
    power : float
        Probability that somebody who is right three times in four passes.
    """

    right: int
    trials: int
    p: float
    p_corrected: float
    needed: int | None
    power: float

    @property
    def is_heard(self) -> bool:
        """Whether guessing is ruled out."""
        return self.p_corrected <= LEVEL


@dataclass(frozen=True)
class Identification:
    """Scores: all answers of all listeners together, and each listener's by listener id."""

    pooled: Score
    listeners: tuple[tuple[str, Score], ...]


def identification_of(answers: Sequence[tuple[str, tuple[Answer, ...]]]) -> Identification | None:
    """Score identifications.

    Parameters
    ----------
    answers : sequence of (listener, answers)

    Returns
    -------
    Identification or None
        None without answers. If all listeners guess, all their answers together are tosses of one
        coin, so that the test of all together is exact as well.
    """
    if not answers:
        return None
    counts = [(sum(a.x == a.answer for a in given), len(given)) for _, given in answers]
    corrected = holm([upper_tail(right, trials) for right, trials in counts])
    scores = [
        _score(right, trials, p) for (right, trials), p in zip(counts, corrected, strict=True)
    ]
    right, trials = (sum(column) for column in zip(*counts, strict=True))
    pooled = _score(right, trials, upper_tail(right, trials))
    named = zip((listener for listener, _ in answers), scores, strict=True)
    return Identification(pooled, tuple(named))


def _score(right: int, trials: int, corrected: float) -> Score:
    tail = upper_tail(right, trials)
    return Score(right, trials, tail, corrected, needed_hits(trials), power(trials))
