"""When a file that changes has come to rest: half-written exports, saves by rename, double saves.

Nothing here reads a clock or a disk: states and times are handed in.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from pathlib import Path

State = tuple[int, ...]
"""What changes when a file is written or replaced; empty where there is none."""

States = Mapping[Path, State]

GONE_AFTER = 2.0
"""Seconds for which a file must be missing before it counts as gone: some programs delete a file
before they write it again."""

LOOK_SECONDS = 0.1
"""Time between two looks while something changes."""


@dataclass(frozen=True)
class Patience:
    """How long a file is waited for.

    Parameters
    ----------
    still : float
        Seconds for which its state must not change.
    longest : float
        Seconds after which it is taken even if it looks unfinished, and the limit of `still`.
    """

    still: float
    longest: float


@dataclass(frozen=True)
class _Change:
    """A state that was not taken yet, since when it stands, and how long it has to."""

    state: State
    since: float
    still: float


class Settling:
    """Compares the files of a scene with what was last taken of them.

    A file that pauses while it grows is given twice its longest pause.

    Parameters
    ----------
    patience : callable
        Of a path.
    is_finished : callable
        Whether a file that stands still is whole; asked once for each of its states.
    """

    def __init__(
        self, patience: Callable[[Path], Patience], is_finished: Callable[[Path], bool]
    ) -> None:
        self._patience = patience
        self._is_finished = is_finished
        self._taken: dict[Path, State] = {}
        self._changes: dict[Path, _Change] = {}
        self._finished: dict[tuple[Path, State], bool] = {}

    @property
    def paths(self) -> tuple[Path, ...]:
        """What is followed."""
        return tuple(self._taken)

    @property
    def changed(self) -> tuple[Path, ...]:
        """Files that are no longer what was taken, at rest or not."""
        return tuple(self._changes)

    def take(self, states: States) -> None:
        """From now on follow these, which are what is taken."""
        self._taken = dict(states)
        self._changes = {}
        self._finished = {}

    def look(self, now: float, states: States) -> None:
        """Note what stands there at a time.

        Parameters
        ----------
        now : float
            Seconds on any clock that never goes back.
        states : mapping of Path to State
            Of all `paths`; one that is left out is missing.
        """
        for path, taken in self._taken.items():
            state, before = states.get(path, ()), self._changes.get(path)
            if state == taken:
                self._changes.pop(path, None)
            elif before is None:
                self._changes[path] = _Change(state, now, self._patience(path).still)
            elif state != before.state:
                pause = now - before.since if before.state else 0.0  # a missing file is no pause
                twice = min(2.0 * pause, self._patience(path).longest)
                self._changes[path] = _Change(state, now, max(before.still, twice))

    def at_rest(self, now: float, paths: Iterable[Path] | None = None) -> bool:
        """Whether all that changed, or those of it that are named, can be taken."""
        wanted = self._changes if paths is None else set(paths) & self._changes.keys()
        return all(now >= self._rests_at(path, now) for path in wanted)

    def waits_for(self, now: float) -> tuple[Path, ...]:
        """Files that cannot be taken yet."""
        return tuple(path for path in self._changes if now < self._rests_at(path, now))

    def _rests_at(self, path: Path, now: float) -> float:
        """From when on a changed file can be taken, as far as is known now."""
        change = self._changes[path]
        if not change.state:
            return change.since + max(change.still, GONE_AFTER)
        early = change.since + change.still
        if now < early or self._whole(path, change.state):
            return early
        return change.since + max(change.still, self._patience(path).longest)

    def _whole(self, path: Path, state: State) -> bool:
        known = (path, state)
        if known not in self._finished:
            self._finished[known] = self._is_finished(path)
        return self._finished[known]
