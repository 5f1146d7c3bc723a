"""Which ballots of a pile count, and why the others do not."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from math import inf

from seatwright.listening.ballot import Ballot
from seatwright.listening.trial import Trial, TrialVersion

CLOCK_SLACK = 1.0
"""Seconds; times in a ballot are rounded."""


def assumed_trial(ballots: Sequence[Ballot]) -> Trial:
    """The trial most ballots belong to, for when there is no manifest; the lesser id in a draw.

    Parameters
    ----------
    ballots : sequence of Ballot
        At least one.
    """
    votes = Counter((ballot.trial, tuple(sorted(ballot.versions))) for ballot in ballots)
    (trial, versions), _ = min(votes.items(), key=lambda vote: (-vote[1], vote[0]))
    ordered = sorted(versions, key=lambda one: int(one[1:]))
    named = tuple(TrialVersion(version, version) for version in ordered)
    return Trial(trial, "", inf, named, assumed=True)


def rule_broken(ballot: Ballot, trial: Trial) -> str:
    """Why a ballot does not count in a trial; "" where it does."""
    if ballot.trial != trial.id:
        return f"found a ballot of trial {ballot.trial}, wanted {trial.id}: it is of another page"
    reasons = (_foreign(ballot, trial), _impossible(ballot), _incomplete(ballot, trial),
               _misplaced(ballot, trial))  # fmt: skip
    return next((reason for reason in reasons if reason), "")


def _foreign(ballot: Ballot, trial: Trial) -> str:
    known = set(trial.names)
    if ballot.versions != known:
        return f"found {_list(ballot.versions)} under letters, wanted {_list(known)}"
    named = {version for version, _ in ballot.heard} | {c.version for c in ballot.comments}
    named |= {version for a in ballot.identification or () for version in (a.x, a.answer)}
    if named - known:
        return f"found {_list(named - known)}, which the trial does not have"
    return ""


def _impossible(ballot: Ballot) -> str:
    lasted = ballot.ended - ballot.begun
    heard = sum(seconds for _, seconds in ballot.heard)
    if lasted < 0.0:
        return f"found a ballot that ended {-lasted:.0f} s before it began"
    if heard > lasted + CLOCK_SLACK:
        return f"found {heard:.1f} s heard in {lasted:.1f} s from begin to end"
    return ""


def _incomplete(ballot: Ballot, trial: Trial) -> str:
    if ballot.ranking is None and ballot.identification is None and not ballot.comments:
        return "found no vote and no comment"
    return _incomplete_ranking(ballot, trial) or _incomplete_identification(ballot, trial)


def _incomplete_ranking(ballot: Ballot, trial: Trial) -> str:
    if ballot.ranking is None:
        return ""
    if not trial.assumed and "ranking" not in trial.modes:
        return "found a ranking, which the trial does not ask for"
    ranked = {version for place in ballot.ranking for version in place}
    if ranked != set(trial.names):
        return f"found {_list(ranked)} ranked, wanted {_list(trial.names)}"
    heard = dict(ballot.heard)
    short = [one for one in sorted(ranked) if heard.get(one, 0.0) < trial.minimum_seconds]
    if short:
        found = f"found {short[0]} heard for {heard.get(short[0], 0.0):.1f} s"
        return f"{found}, wanted {trial.minimum_seconds:g} s at least"
    return ""


def _incomplete_identification(ballot: Ballot, trial: Trial) -> str:
    if ballot.identification is None:
        return ""
    named = {version for a in ballot.identification for version in (a.x, a.answer)}
    if trial.assumed:
        wrong = not ballot.identification or len(named) > 2
        return f"found {len(named)} versions identified, wanted two" if wrong else ""
    plan = trial.identification
    if plan is None:
        return "found identifications, which the trial does not ask for"
    if len(ballot.identification) != plan.trials:
        return f"found {len(ballot.identification)} identifications, wanted {plan.trials}"
    if not named <= set(plan.pair):
        return f"found {_list(named)} identified, wanted {_list(plan.pair)}"
    return ""


def _misplaced(ballot: Ballot, trial: Trial) -> str:
    if trial.assumed:
        return ""
    for comment in ballot.comments:
        if comment.seat is not None and comment.seat not in trial.seats:
            return f'found a comment on the seat "{comment.seat[:60]}", which is not on the plan'
        if comment.seconds is not None and comment.seconds > trial.seconds + CLOCK_SLACK:
            return f"found a comment at {comment.seconds:.1f} s of {trial.seconds:.1f} s"
    return ""


def _list(versions: object) -> str:
    return ", ".join(sorted(versions)) or "none"  # type: ignore[call-overload]


def doubles(ballots: Sequence[Ballot]) -> dict[int, str]:
    """Ballots that repeat another one, by their place in the sequence, with the reason.

    Of one listener's ballots the one finished first counts: what came later was answered knowing
    the names. Of ballots with the same times and answers under several listeners one counts, so
    that a copy under an invented name neither adds a vote nor takes one away.

    Parameters
    ----------
    ballots : sequence of Ballot
        In any order, which does not change what counts.
    """
    order = sorted(range(len(ballots)), key=lambda place: _finished(ballots[place]))
    listeners: dict[str, int] = {}
    contents: set[object] = set()
    refused = {}
    for place in order:
        ballot = ballots[place]
        first = listeners.setdefault(ballot.listener, place)
        if first != place:
            same = ballots[first].checksum == ballot.checksum
            refused[place] = (
                "found the same ballot once more" if same
                else "found a later ballot of one listener, wanted one a listener: the first counts"
            )  # fmt: skip
        elif ballot.content in contents:
            refused[place] = "found times and answers that are another listener's to the last digit"
        else:
            contents.add(ballot.content)
    return refused


def _finished(ballot: Ballot) -> tuple[float, str, str]:
    return ballot.ended, ballot.listener, ballot.checksum
