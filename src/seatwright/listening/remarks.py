"""Remarks in order: by the seat they are pinned to, and within it by the moment."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from math import inf

from seatwright.listening.ballot import Ballot, Comment

MOMENT = 5.0
"""Seconds; remarks closer than this to the one before belong to the same moment."""


@dataclass(frozen=True)
class Moment:
    """Remarks on about the same time; seconds of the first and the last, None without a time."""

    begin: float | None
    end: float | None
    comments: tuple[Comment, ...]


@dataclass(frozen=True)
class SeatRemarks:
    """All remarks on one seat, or on none of them where `seat` is None."""

    seat: str | None
    moments: tuple[Moment, ...]

    @property
    def count(self) -> int:
        """Number of remarks."""
        return sum(len(moment.comments) for moment in self.moments)


def remarks_of(ballots: Sequence[Ballot]) -> tuple[SeatRemarks, ...]:
    """Group remarks: the seat most is said about first, those on no seat last."""
    by_seat: dict[str | None, list[Comment]] = {}
    for ballot in ballots:
        for comment in ballot.comments:
            if comment.text.strip():
                by_seat.setdefault(comment.seat, []).append(comment)
    grouped = [SeatRemarks(seat, _moments(comments)) for seat, comments in by_seat.items()]
    return tuple(sorted(grouped, key=lambda one: (one.seat is None, -one.count, one.seat or "")))


def _moments(comments: list[Comment]) -> tuple[Moment, ...]:
    ordered = sorted(comments, key=lambda c: (_when(c), c.version, c.text))
    groups = [[ordered[0]]]
    for before, comment in pairwise(ordered):
        both_timeless = _when(before) == _when(comment)
        if both_timeless or _when(comment) - _when(before) <= MOMENT:
            groups[-1].append(comment)
        else:
            groups.append([comment])
    return tuple(Moment(group[0].seconds, group[-1].seconds, tuple(group)) for group in groups)


def _when(comment: Comment) -> float:
    return inf if comment.seconds is None else comment.seconds
