"""Feeds: what plays at each seat, all stems of it added up on the scene's time line.

A mono stem on a seat that also holds a stereo one goes to both its sources at -3 dB each.
"""

from __future__ import annotations

from collections.abc import Sequence
from contextlib import ExitStack
from dataclasses import dataclass
from threading import Lock

import numpy as np
from numpy.typing import NDArray

from seatwright.disk.stem_paths import StemFiles
from seatwright.disk.stems import Stem, StemReader
from seatwright.errors import naming

_SPREAD = np.float32(0.5**0.5)


@dataclass(frozen=True)
class SeatStem:
    """One stem of a seat: a file, or a left and a right one.

    Parameters
    ----------
    files : StemFiles
    stems : tuple of Stem, shape (1,) or (2,)
    offset : int
        Samples at the scene's rate by which it begins later than the earliest.
    """

    files: StemFiles
    stems: tuple[Stem, ...]
    offset: int = 0

    @property
    def channels(self) -> int:
        """1 or 2."""
        return 2 if len(self.stems) == 2 else self.stems[0].channels

    def frames(self, rate: int) -> int:
        """Samples at the scene's rate from the common start to its end."""
        return self.offset + max(-(-stem.frames * rate // stem.rate) for stem in self.stems)


def seat_channels(stems: Sequence[SeatStem]) -> int:
    """Sources a seat needs: 2 if any of its stems is stereo."""
    return max(stem.channels for stem in stems)


class Feed:
    """The signal of one seat; may be read by several threads.

    Parameters
    ----------
    stems : sequence of SeatStem
    rate : int
        The scene's, samples per second.
    """

    def __init__(self, stems: Sequence[SeatStem], rate: int):
        self.channels = seat_channels(stems)
        self._stems = stems
        self._lock = Lock()
        self._recent: list[tuple[tuple[int, int], NDArray[np.float32]]] = []
        with ExitStack() as opening:
            self._readers = [
                [opening.enter_context(StemReader(stem, rate)) for stem in seat_stem.stems]
                for seat_stem in stems
            ]
            self._open = opening.pop_all()

    def channel(self, number: int) -> _Channel:
        """Reader of one channel: (start, frames) to float32, shape (frames,)."""
        return _Channel(self, number)

    def read(self, start: int, frames: int) -> NDArray[np.float32]:
        """All stems added up, shape (frames, channels)."""
        with self._lock:
            for place, samples in self._recent:
                if place == (start, frames):
                    return samples
            samples = self._summed(start, frames)
            if self.channels == 2:  # the other channel will ask for the same
                self._recent = [*self._recent[-1:], ((start, frames), samples)]
            return samples

    def _summed(self, start: int, frames: int) -> NDArray[np.float32]:
        parts = []
        for stem, readers in zip(self._stems, self._readers, strict=True):
            with naming("cannot be read", file=str(stem.stems[0].path)):
                parts.append(self._stem(stem, readers, start - stem.offset, frames))
        total = parts[0]
        for part in parts[1:]:
            total = total + part
        return total

    def _stem(
        self, stem: SeatStem, readers: list[StemReader], start: int, frames: int
    ) -> NDArray[np.float32]:
        parts = [reader.read(start, frames) for reader in readers]
        samples = parts[0] if len(parts) == 1 else np.concatenate(parts, axis=1)
        if samples.shape[1] < self.channels:
            return np.asarray(np.repeat(samples * _SPREAD, 2, axis=1))
        return samples

    def close(self) -> None:
        """Close all files."""
        self._open.close()


@dataclass(frozen=True)
class _Channel:
    feed: Feed
    number: int

    def __call__(self, start: int, frames: int) -> NDArray[np.float32]:
        return self.feed.read(start, frames)[:, self.number]
