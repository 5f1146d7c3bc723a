"""Voices: every seat's stems with the responses that place them, made one after the other."""

from __future__ import annotations

from collections import deque
from collections.abc import Callable, Iterable, Iterator
from concurrent.futures import Future, ThreadPoolExecutor
from dataclasses import dataclass, field

from seatwright.disk.feeds import Feed
from seatwright.seat_responses import BuiltSeat, SeatResponses
from seatwright.sound.convolution import Voice
from seatwright.stage.routing import SeatGroup


@dataclass
class Voices:
    """Voices of groups of seats, in the order in which they are summed.

    Parameters
    ----------
    responses : SeatResponses
    groups : iterable of (int, SeatGroup)
        Numbered.
    routes : callable
        From a group's number and a seat to the rows of the engine's output it feeds: index of the
        row and "mix", or the perspective it takes of the seat.
    threads : int
        Responses are built by as many; the result does not depend on it.
    progress : callable
        Told what share of the seats is ready, 0 to 1.
    """

    responses: SeatResponses
    groups: Iterable[tuple[int, SeatGroup]]
    routes: Callable[[int, str], dict[int, str]]
    threads: int = 1
    progress: Callable[[float], None] = lambda _share: None
    _feeds: list[Feed] = field(default_factory=list)

    def __iter__(self) -> Iterator[Voice]:
        order = [(number, name) for number, group in self.groups for name in group.seats]
        cast = self.responses.cast
        with ThreadPoolExecutor(self.threads) as pool:
            ready = zip(order, self._ahead(pool, [name for _, name in order]), strict=True)
            for count, ((group, name), built) in enumerate(ready, start=1):
                self.progress(count / len(order))
                feed = Feed(cast.seats[name], cast.rate)
                self._feeds.append(feed)
                yield from self._voices(group, name, feed, built)

    def _ahead(self, pool: ThreadPoolExecutor, order: list[str]) -> Iterator[BuiltSeat | None]:
        """Responses in order, few of them ahead, so that memory stays bounded."""
        waiting: deque[Future[BuiltSeat | None]] = deque()
        for name in order:
            waiting.append(pool.submit(self._built, name))
            if len(waiting) > self.threads:
                yield waiting.popleft().result()
        while waiting:
            yield waiting.popleft().result()

    def close(self) -> None:
        """Close all stems."""
        for feed in self._feeds:
            feed.close()

    def _built(self, name: str) -> BuiltSeat | None:
        """Responses of a seat; None for an untouched one."""
        return self.responses.built(name) if self.responses.placed(name) else None

    def _voices(
        self, group: int, name: str, feed: Feed, built: BuiltSeat | None
    ) -> Iterator[Voice]:
        rows = self.routes(group, name)
        if built is None:
            scene = self.responses.scene
            gain = 10.0 ** (scene.gain_of(scene.seats[name]) / 20.0)
            for channel in range(feed.channels):
                left, right = _passed_through(feed.channels, channel, gain)
                direct = tuple((row, left, right) for row in rows)
                yield Voice(name, feed.channel(channel), direct=direct, group=group)
            return
        for channel in range(feed.channels):
            taken = {part: built.parts[part][channel] for part in set(rows.values())}
            yield Voice(
                name,
                feed.channel(channel),
                tuple((row, taken[part]) for row, part in rows.items()),
                group=group,
            )


def _passed_through(channels: int, channel: int, gain: float) -> tuple[float, float]:
    """Gains left and right of an untouched channel; mono goes to both."""
    if channels == 1:
        return gain, gain
    return (gain, 0.0) if channel == 0 else (0.0, gain)
