"""What a watch is asked for and what it needs of the world."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from contextlib import AbstractContextManager
from dataclasses import dataclass, replace
from datetime import datetime
from pathlib import Path
from time import monotonic
from typing import Protocol

from seatwright.disk.coarse_levels import playing_steps
from seatwright.disk.every_fault import read_and_cast
from seatwright.disk.watching import STILL_SECONDS
from seatwright.errors import SceneError
from seatwright.render import Progress, render
from seatwright.sound.fullest_stretch import fullest_start
from seatwright.stage.request import Request
from seatwright.views.report import Report

EXCERPT_SECONDS = 30.0
WHOLE_SECONDS = 36.0
"""Pieces that are no longer are rendered whole: an excerpt would save next to nothing."""


class Waiting(Protocol):
    """What wakes a watch; see `disk.watching.Notices`."""

    doubt: str

    def follow(self, paths: Iterable[Path]) -> None:
        """Be woken by these files from now on."""

    def wait(self, seconds: float) -> None:
        """Until something may have changed, at most for some seconds."""


@dataclass(frozen=True)
class WatchOrder:
    """What to watch and to render.

    Parameters
    ----------
    scene : Path
    request : Request
        Without begin and end the 30 s in which most stems sound are rendered.
    folder : Path or None
        The default folder of what is rendered where None.
    whole : bool
        No excerpt.
    still : float
        Seconds for which a stem must not change before it is taken.
    """

    scene: Path
    request: Request
    folder: Path | None = None
    whole: bool = False
    still: float = STILL_SECONDS

    def __post_init__(self) -> None:
        asked = self.request.start is not None or self.request.stop is not None
        if self.whole and asked:
            raise SceneError("found --whole with --from or --to, wanted one or the other")

    @property
    def finds_excerpt(self) -> bool:
        """Whether the excerpt is left to the stems."""
        return not self.whole and self.request.start is None and self.request.stop is None


def time_of_day() -> str:
    """Such as 14:02:11."""
    return f"{datetime.now():%H:%M:%S}"


@dataclass(frozen=True)
class Surroundings:
    """What a watch needs of the world, so that tests can bring their own.

    Parameters
    ----------
    notices : Waiting
    say, complain : callable
        Take one line: of a render; of what hinders one.
    bar : callable
        Opens a progress bar.
    clock : callable
        Seconds that never go back.
    now : callable
        Time of day.
    render : callable
        The one place where renders are made.
    """

    notices: Waiting
    say: Callable[[str], None]
    complain: Callable[[str], None]
    bar: Callable[[], AbstractContextManager[Progress]]
    clock: Callable[[], float] = monotonic
    now: Callable[[], str] = time_of_day
    render: Callable[[Path, Path, Request, Progress], Report] = render


def wanted_request(order: WatchOrder, heard: tuple[str, ...]) -> Request:
    """What to render, with both ends of its excerpt.

    Parameters
    ----------
    order : WatchOrder
    heard : tuple of str
        Seats that sound: their stems are looked at where the excerpt is left to them.

    Returns
    -------
    Request
        Without an excerpt where the whole is wanted or is no longer than one.

    Raises
    ------
    SceneError, StemError
        With every fault, where stems have to be read.
    """
    request = order.request
    if not order.finds_excerpt:
        return _both_ends(request)
    _, cast, _ = read_and_cast(
        order.scene,
        allow_outside=request.allow_outside,
        allow_truncated=request.allow_truncated,
    )
    if cast.frames <= WHOLE_SECONDS * cast.rate:
        return request
    start = fullest_start(playing_steps(cast, heard), EXCERPT_SECONDS)
    return replace(request, start=start, stop=start + EXCERPT_SECONDS)


def begin_words(folder: Path, request: Request) -> str:
    """What the first render is called, of which nobody can say what was changed."""
    whole = request.start is request.stop is None and not request.only
    return f"{'the whole' if whole else request.part} into {folder}"


def _both_ends(request: Request) -> Request:
    """An excerpt with one end given gets the other 30 s away."""
    start, stop = request.start, request.stop
    if start is not None and stop is None:
        return replace(request, stop=start + EXCERPT_SECONDS)
    if stop is not None and start is None:
        return replace(request, start=max(0.0, stop - EXCERPT_SECONDS))
    return request
