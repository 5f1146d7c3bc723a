"""Voices: every seat's stems with the responses that place them, made one after the other."""

from __future__ import annotations

from collections import deque
from collections.abc import Callable, Iterator
from concurrent.futures import Future, ThreadPoolExecutor
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from seatwright.acoustics.impulse_response import Grid
from seatwright.acoustics.listening import Listening, seat_plan
from seatwright.acoustics.seat_figures import SeatFigures, seat_figures
from seatwright.acoustics.seat_response import SeatResponse, seat_response
from seatwright.disk.casting import Cast
from seatwright.disk.feeds import Feed
from seatwright.errors import naming
from seatwright.sound.convolution import Voice
from seatwright.stage.description import dotted_key
from seatwright.stage.routing import Bus, routes_of
from seatwright.stage.scene import Scene


@dataclass
class Voices:
    """All voices of a render, in the order in which they are summed.

    Parameters
    ----------
    scene : Scene
    heard : tuple of str
        Seats that sound.
    buses : tuple of Bus
    listening : Listening
    grid : Grid
    cast : Cast
    threads : int
        Responses are built by as many; the result does not depend on it.
    progress : callable
        Told what share of the seats is ready, 0 to 1.

    Attributes
    ----------
    figures : dict of str to SeatFigures
        Of every placed or blended seat, filled while the voices are taken.
    """

    scene: Scene
    heard: tuple[str, ...]
    buses: tuple[Bus, ...]
    listening: Listening
    grid: Grid
    cast: Cast
    threads: int = 1
    progress: Callable[[float], None] = lambda _share: None
    figures: dict[str, SeatFigures] = field(default_factory=dict)
    _feeds: list[Feed] = field(default_factory=list)

    def __iter__(self) -> Iterator[Voice]:
        by_section = [bus.name for bus in self.buses if bus.kind == "sections"]
        order = sorted(
            self.heard, key=lambda name: by_section.index(self.scene.seats[name].section_name)
        )
        with ThreadPoolExecutor(self.threads) as pool:
            ready = zip(order, self._ahead(pool, order), strict=True)
            for number, (name, response) in enumerate(ready, start=1):
                self.progress(number / len(order))
                feed = Feed(self.cast.seats[name], self.cast.rate)
                self._feeds.append(feed)
                yield from self._voices(name, feed, response)

    def _ahead(self, pool: ThreadPoolExecutor, order: list[str]) -> Iterator[SeatResponse | None]:
        """Responses in order, few of them ahead, so that memory stays bounded."""
        waiting: deque[Future[SeatResponse | None]] = deque()
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

    def _built(self, name: str) -> SeatResponse | None:
        """Responses of a seat, its figures noted; None for an untouched one."""
        if self.scene.treatment_of(self.scene.seats[name]) == "untouched":
            return None
        plan = seat_plan(self.scene, name, self.cast.channels(name))
        apart = any(bus.kind == "perspectives" for bus in self.buses)
        with naming("its responses cannot be built", key=dotted_key("seats", name)):
            response = seat_response(self.listening, plan, self.grid, apart)
            self.figures[name] = seat_figures(self.listening, plan, response)
        return response

    def _voices(self, name: str, feed: Feed, response: SeatResponse | None) -> Iterator[Voice]:
        routes = routes_of(self.scene, name, self.buses)
        if response is None:
            gain = 10.0 ** (self.scene.gain_of(self.scene.seats[name]) / 20.0)
            for channel in range(feed.channels):
                left, right = _passed_through(feed.channels, channel, gain)
                direct = tuple((bus, left, right) for bus in routes)
                yield Voice(name, feed.channel(channel), direct=direct)
            return
        sources: dict[str, NDArray[np.float32]] = {"mix": response.mix, **response.perspectives}
        for channel in range(feed.channels):
            taken = {part: sources[part][channel] for part in set(routes.values())}
            yield Voice(
                name,
                feed.channel(channel),
                tuple((bus, taken[part]) for bus, part in routes.items()),
            )


def _passed_through(channels: int, channel: int, gain: float) -> tuple[float, float]:
    """Gains left and right of an untouched channel; mono goes to both."""
    if channels == 1:
        return gain, gain
    return (gain, 0.0) if channel == 0 else (0.0, gain)
