"""The count: from a pile of ballots to preferences, strengths, scores and remarks."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from seatwright.listening.ballot import Ballot
from seatwright.listening.ballot_rules import assumed_trial, doubles, rule_broken
from seatwright.listening.binomial import LEVEL, needed_trials
from seatwright.listening.consistency import TwinFinding, twin_finding
from seatwright.listening.identification import Identification, identification_of
from seatwright.listening.preferences import (
    Majority,
    Pair,
    Ranking,
    majority,
    pairs_of,
    patterns,
    without,
)
from seatwright.listening.remarks import SeatRemarks, remarks_of
from seatwright.listening.resampling import Strengths, resampled_strengths
from seatwright.listening.trial import Trial


@dataclass(frozen=True)
class Preferences:
    """What rankings say; hidden twins are left out, so that no version stands in it twice.

    Parameters
    ----------
    versions : tuple of str
    listeners : int
    first_places : tuple of int
        Listeners who put a version first, alone or with others.
    pairs : tuple of Pair
    majority : Majority
    strengths : Strengths
    needed : int
        Listeners without ties who would show a true preference of 75:25 in four trials of five,
        every pair tested at 5 % divided by the number of pairs: the first step of Holm's method.
    """

    versions: tuple[str, ...]
    listeners: int
    first_places: tuple[int, ...]
    pairs: tuple[Pair, ...]
    majority: Majority
    strengths: Strengths
    needed: int


@dataclass(frozen=True)
class Refused:
    """A ballot that does not count: where it was found, and why not."""

    source: str
    why: str


@dataclass(frozen=True)
class Votes:
    """What listeners say who were asked the same question.

    Parameters
    ----------
    listeners : int
    preferences : Preferences or None
        None where nobody ranked two versions.
    identification : Identification or None
    """

    listeners: int
    preferences: Preferences | None
    identification: Identification | None


@dataclass(frozen=True)
class Tally:
    """Everything the ballots say.

    Parameters
    ----------
    trial : Trial
    listeners : int
        Ballots that count.
    playback, levels : dict of str to int
        Listeners by how they listened.
    switches : float
        Mean number of switches between versions.
    matched, rendered : Votes
        Of those who heard versions equally loud, and of those who heard any of it with levels as
        rendered. These are two questions: in the second what is louder has an advantage.
    twins : tuple of TwinFinding
        Of all: a twin is as loud as its original either way.
    remarks : tuple of SeatRemarks
    refused : tuple of Refused
    """

    trial: Trial
    listeners: int
    playback: dict[str, int]
    levels: dict[str, int]
    switches: float
    matched: Votes
    rendered: Votes
    twins: tuple[TwinFinding, ...]
    remarks: tuple[SeatRemarks, ...]
    refused: tuple[Refused, ...]

    @property
    def preferences(self) -> Preferences | None:
        """Of those who heard versions equally loud."""
        return self.matched.preferences

    @property
    def identification(self) -> Identification | None:
        """Of those who heard versions equally loud."""
        return self.matched.identification


def sorted_out(
    found: Sequence[tuple[str, Ballot]], trial: Trial | None
) -> tuple[Trial | None, list[Ballot], list[Refused]]:
    """Tell ballots that count from those that do not.

    Parameters
    ----------
    found : sequence of (source, Ballot)
    trial : Trial or None
        None: the one most ballots belong to; then names, twins, seats and what was asked are
        unknown.

    Returns
    -------
    trial : Trial or None
        None only without a trial and without ballots.
    counted : list of Ballot
        In an order that files have no say in.
    refused : list of Refused
    """
    if trial is None and found:
        trial = assumed_trial([ballot for _, ballot in found])
    if trial is None:
        return None, [], []
    reasons = [rule_broken(ballot, trial) for _, ballot in found]
    fair = [one for one, reason in zip(found, reasons, strict=True) if not reason]
    refused = [Refused(source, why) for (source, _), why in zip(found, reasons, strict=True) if why]
    repeated = doubles([ballot for _, ballot in fair])
    refused += [Refused(fair[place][0], why) for place, why in sorted(repeated.items())]
    counted = [ballot for place, (_, ballot) in enumerate(fair) if place not in repeated]
    return trial, sorted(counted, key=lambda ballot: ballot.listener), refused


def count_votes(
    ballots: Sequence[Ballot], trial: Trial, rng: np.random.Generator, refused: Sequence[Refused]
) -> Tally:
    """Count ballots that were sorted out before.

    Parameters
    ----------
    ballots : sequence of Ballot
        At least one.
    trial : Trial
    rng : Generator
        Draws the resamples.
    refused : sequence of Refused
        Handed on.

    Returns
    -------
    Tally
    """
    rankings = [ballot.ranking for ballot in ballots if ballot.ranking is not None]
    modes = {
        mode: _votes([ballot for ballot in ballots if ballot.levels == mode], trial, rng)
        for mode in ("matched", "rendered")
    }
    return Tally(
        trial=trial,
        listeners=len(ballots),
        playback=dict(sorted(Counter(ballot.playback for ballot in ballots).items())),
        levels=dict(sorted(Counter(ballot.levels for ballot in ballots).items())),
        switches=sum(ballot.switches for ballot in ballots) / len(ballots),
        **modes,
        twins=tuple(twin_finding(*twin, rankings) for twin in trial.twins if rankings),
        remarks=remarks_of(ballots),
        refused=tuple(refused),
    )


def _votes(ballots: Sequence[Ballot], trial: Trial, rng: np.random.Generator) -> Votes:
    rankings = [ballot.ranking for ballot in ballots if ballot.ranking is not None]
    answers = [(b.listener, b.identification) for b in ballots if b.identification is not None]
    return Votes(len(ballots), _preferences(rankings, trial, rng), identification_of(answers))


def _preferences(
    rankings: Sequence[Ranking], trial: Trial, rng: np.random.Generator
) -> Preferences | None:
    twins = frozenset(twin for twin, _ in trial.twins)
    versions = tuple(version.id for version in trial.versions if version.id not in twins)
    if not rankings or len(versions) < 2:
        return None
    kept = without(rankings, twins)
    pairs = pairs_of(kept, versions)
    first = Counter(version for ranking in kept for version in ranking[0])
    return Preferences(
        versions,
        len(kept),
        tuple(first[version] for version in versions),
        pairs,
        majority(pairs, versions),
        resampled_strengths(*patterns(kept, versions), rng),
        needed_trials(level=LEVEL / len(pairs)),
    )
