"""Loop sound: every seat's loop rendered ahead, the changed ones anew while the music plays.

Workers look for a seat whose rendered loop is not the wanted one, render it, and put it into the
sum. A seat that is moved again before its turn is rendered once, where it is by then. While music
plays and one seat alone is changed, the stretch that the music is in is rendered before the rest.
"""

from __future__ import annotations

from collections import OrderedDict
from collections.abc import Callable
from contextlib import suppress
from math import inf, log10
from threading import Condition, Event, Thread

import numpy as np
from numpy.typing import NDArray

from seatwright.acoustics.impulse_response import Grid
from seatwright.acoustics.kept_tails import KeptTails
from seatwright.acoustics.listening import Listening
from seatwright.acoustics.seat_figures import SeatFigures
from seatwright.disk.casting import Cast
from seatwright.errors import SeatwrightError
from seatwright.loop_stretch import STRETCH_SECONDS, Beginning, Playing
from seatwright.seat_loops import SeatLoop, SeatLoops, Wanted
from seatwright.sound.loops import Loop, LoopSum

WORKERS = 2

KEPT_BYTES = 400 * 2**20
"""Of loops that are not heard now: undo and a seating heard before cost no time."""

_FIGURES = 400
"""Seats whose figures are kept."""


class LoopSound:
    """The loop as it is heard, always the sum of one loop a seat.

    Parameters
    ----------
    cast : Cast
    listening : Listening
        Its room and microphones do not change.
    grid : Grid
        Fixed: a nearer chair does not shift all others.
    frames : int
        Of the loop.

    Attributes
    ----------
    changed : Condition
        Guards all that is below; told of every change.
    version : int
        Goes up with every new sound; 0 before the first.
    trim : float
        Gain on all that is played, found once, when every seat is rendered for the first time.
    failed : dict of str to str
        Seats that could not be rendered, and why; they are silent.
    """

    def __init__(self, cast: Cast, listening: Listening, grid: Grid, frames: int):
        self.changed = Condition()
        self.version = 0
        self.news = 0
        self.trim = 0.0
        self.failed: dict[str, str] = {}
        self.frames = frames
        self._seats = SeatLoops(cast, listening, grid, frames)
        self._rate, self._first = grid.rate, 0
        self._sum = LoopSum(frames)
        self._listeners: list[Playing] = []
        self._beginning: Beginning | None = None
        self._wanted: dict[str, Wanted] = {}
        self._heard: dict[str, Wanted] = {}
        self._taken: set[Wanted] = set()
        self._kept: OrderedDict[Wanted, Loop] = OrderedDict()
        self._figures: OrderedDict[Wanted, SeatFigures] = OrderedDict()
        self._together = True
        self._ended = Event()
        self._threads: list[Thread] = []

    def start(self, first: int) -> None:
        """Begin to render the loop that begins at a sample of the scene's time line."""
        self._first = first
        for number in range(WORKERS):
            thread = Thread(target=self._work, name=f"loop {number}", daemon=True)
            thread.start()
            self._threads.append(thread)  # once it runs: only then can its end be waited for

    def close(self) -> None:
        """End the workers, which finish the seat they are at."""
        self._ended.set()
        with self.changed:
            self.changed.notify_all()
        for thread in list(self._threads):
            thread.join()

    def want(self, wanted: dict[str, Wanted], together: bool) -> None:
        """Have other loops heard, all at one instant or each as it is ready."""
        with self.changed:
            # until the first sound nothing plays: seats that are moved meanwhile come with it
            self._together = together or self.version == 0
            self._wanted = wanted
            self.failed = {}
            if self._settle():
                self.tell()
            else:  # the page hears of it with the first news of a seat that is ready
                self.changed.notify_all()

    def tell(self) -> None:
        """Wake whoever waits for news."""
        with self.changed:
            self.news += 1
            self.changed.notify_all()

    @property
    def tails(self) -> KeptTails:
        """Of the seats, wherever they are moved."""
        return self._seats.tails

    @property
    def progress(self) -> tuple[int, int]:
        """How many of the wanted seats are rendered, and how many there are."""
        with self.changed:
            done = sum(self._is_ready(wanted) for wanted in self._wanted.values())
            return done, len(self._wanted)

    @property
    def figures(self) -> dict[str, SeatFigures]:
        """Of the wanted seats, as far as they are rendered."""
        with self.changed:
            return {
                name: self._figures[wanted]
                for name, wanted in self._wanted.items()
                if wanted in self._figures
            }

    def sound_after(self, version: int, seconds: float) -> tuple[int, Loop] | None:
        """The loop as it is heard, once it is newer than a version; None if that takes longer.

        Returns
        -------
        version : int
        loop : ndarray of float32, shape (2, frames)
            With the trim.
        """
        with self.changed:
            self.changed.wait_for(lambda: self.version > version or self._ended.is_set(), seconds)
            return self._newer(version)

    def begun_after(
        self, version: int, seconds: float, playing: Playing
    ) -> Beginning | tuple[int, Loop] | None:
        """As `sound_after`, or its first stretch where that is rendered before the rest.

        Parameters
        ----------
        version : int
        seconds : float
        playing : Playing
            Where the music is, which the stretch begins with.
        """

        def begun() -> bool:
            return self._beginning is not None and self._beginning.after == self.version >= version

        with self.changed:
            self._listeners.append(playing)
            self.changed.wait_for(
                lambda: begun() or self.version > version or self._ended.is_set(), seconds
            )
            self._listeners.remove(playing)
            newer = self._newer(version)
            return self._beginning if newer is None and begun() else newer

    def rest_of(self, begun: Beginning, seconds: float) -> tuple[int, Loop] | None:
        """The whole that a stretch was sent ahead of; None if it takes longer.

        What was heard before where the seat was put back meanwhile, or cannot be rendered.
        """
        with self.changed:
            self.changed.wait_for(
                lambda: self.version > begun.after or self._ended.is_set() or self._all_ready(),
                seconds,
            )
            return self._newer(begun.after - 1 if self._all_ready() else begun.after)

    def _newer(self, version: int) -> tuple[int, Loop] | None:
        if self.version <= version or self._ended.is_set():
            return None
        return self.version, self._sum.scaled(self.trim)

    def _is_ready(self, wanted: Wanted) -> bool:
        return (
            self._heard.get(wanted.name) == wanted
            or wanted in self._kept
            or wanted.name in self.failed
        )

    def _all_ready(self) -> bool:
        return all(self._is_ready(wanted) for wanted in self._wanted.values())

    def _work(self) -> None:
        while (wanted := self._next()) is not None:
            part: Loop | None = None
            why = ""
            try:
                part, figures = self._rendered(wanted)
            except SeatwrightError as error:
                why = str(error.faults[0])
            except Exception as error:  # the others play on, and the page says what happened
                why = f"{wanted.name} cannot be rendered: {type(error).__name__}: {error}"
            with self.changed:
                self._taken.discard(wanted)
                if part is None:
                    self.failed[wanted.name] = why
                else:
                    self._kept[wanted] = part
                self._settle()
                self.tell()
            if part is not None and figures is not None:
                with suppress(Exception):  # the card shows none; the worker is needed for sound
                    self._note(wanted, figures())

    def _next(self) -> Wanted | None:
        """The next seat to render, once there is one; None at the end."""
        with self.changed:
            while not self._ended.is_set():
                for wanted in self._wanted.values():
                    if wanted not in self._taken and not self._is_ready(wanted):
                        self._taken.add(wanted)
                        return wanted
                self.changed.wait()
        return None

    def _rendered(self, wanted: Wanted) -> tuple[Loop, Callable[[], SeatFigures] | None]:
        """A seat's loop, and how to find its figures, which can wait until it is heard."""
        made = self._seats.made(wanted, self._first)
        self._begin(wanted, made)
        return made.whole(), made.figures

    def _begin(self, wanted: Wanted, made: SeatLoop) -> None:
        """Render the stretch that the music is in, where it plays and nothing else is changed."""
        with self.changed:
            if not self._listeners or not self._is_alone(wanted):
                return
            playing = self._listeners[-1]
        first = playing.sample(self._rate, self.frames)
        part = made.stretch(first, min(self.frames, round(STRETCH_SECONDS * self._rate)))
        with self.changed:
            if self._is_alone(wanted):
                total = self._sum.stretch_with(wanted.name, part, first, self.trim)
                self._beginning = Beginning(wanted, self.version, first, total)
                self.changed.notify_all()

    def _is_alone(self, wanted: Wanted) -> bool:
        """Whether a seat is wanted by now, and all others are heard as they are wanted."""
        others = {name: each for name, each in self._wanted.items() if name != wanted.name}
        heard = {name: each for name, each in self._heard.items() if name != wanted.name}
        return self.version > 0 and self._wanted.get(wanted.name) == wanted and others == heard

    def _note(self, wanted: Wanted, figures: SeatFigures) -> None:
        with self.changed:
            self._figures[wanted] = figures
            while len(self._figures) > max(_FIGURES, 2 * len(self._wanted)):
                self._figures.popitem(last=False)
            self.tell()

    def _settle(self) -> bool:
        """Put what is ready into the sum: everything at once where that is wanted.

        Gives whether all is heard as it is wanted.
        """
        begun = self._beginning and self._beginning.wanted
        if begun and (self._wanted.get(begun.name) != begun or self._is_ready(begun)):
            self._beginning = None  # put back perhaps: nobody is to hear of it any more
        late = [name for name, wanted in self._wanted.items() if not self._is_ready(wanted)]
        if self._together and late:
            return False
        gone = [name for name in self._heard if name not in self._wanted or name in self.failed]
        new = [wanted for wanted in self._wanted.values() if wanted in self._kept]
        for name in gone:
            del self._heard[name]
            self._sum.put(name, None)
        for wanted in new:
            if self._heard.get(wanted.name) != wanted:
                self._put(wanted)
        if gone or new or (self.version == 0 and not late):
            if self.version == 0:
                self.trim = playing_trim(self._sum.scaled(1.0))
            self.version += 1
        self._forget()
        return not late

    def _put(self, wanted: Wanted) -> None:
        """Hear a kept loop; the one it replaces is kept for going back."""
        old, before = self._heard.get(wanted.name), self._sum.part(wanted.name)
        part = self._kept.pop(wanted)
        self._sum.put(wanted.name, part)
        self._heard[wanted.name] = wanted
        if old is not None and before is not None:
            self._kept[old] = before

    def _forget(self) -> None:
        """Let go of the loops that were not heard for longest."""
        each = 2 * 4 * self.frames
        wanted = set(self._wanted.values())
        for kept in list(self._kept):
            if len(self._kept) * each <= KEPT_BYTES:
                return
            if kept not in wanted:
                del self._kept[kept]


HEADROOM_DB = 9.0
"""Left above the loop's peak, for chairs that come nearer."""


def playing_trim(loop: NDArray[np.float32]) -> float:
    """The one gain, at most 1, under which the first loop leaves the headroom."""
    return float(min(1.0, 10.0 ** ((-HEADROOM_DB - peak_db(loop)) / 20.0)))


def peak_db(loop: NDArray[np.float32]) -> float:
    """Sample peak in dB of full scale; -inf for silence."""
    peak = max(float(loop.max(initial=0.0)), -float(loop.min(initial=0.0)))
    return 20.0 * log10(peak) if peak > 0.0 else -inf
