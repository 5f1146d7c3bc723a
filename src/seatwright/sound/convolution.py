"""The engine: every stem through its impulse responses into stereo buses, block by block.

Overlap-save with one partition as long as the responses. Each voice (one channel of one stem) is
transformed once and feeds all its buses; spectra are summed per bus; one inverse a bus. Blocks lie
on a fixed grid and sums are taken in a fixed order, so the samples depend neither on the number of
threads nor on where a render starts.

Conventions: signals are float32; a bus is stereo; times in samples.

Source
------
A. V. Oppenheim, R. W. Schafer, "Discrete-Time Signal Processing", overlap-save method.
"""

from __future__ import annotations

from collections.abc import Callable, Generator, Iterable, Iterator
from concurrent.futures import Future, ThreadPoolExecutor
from dataclasses import dataclass
from math import ceil
from threading import local
from typing import Any

import numpy as np
from numpy.typing import NDArray

from seatwright.sound.transform import Spectrum, Transform, transform_of

VOICES = 4
"""Voices that are summed by one thread before the groups' sums are added up."""

BLOCK_PER_RESPONSE = 4.0
"""A block is at least this many responses long."""

ReadVoice = Callable[[int, int], NDArray[np.float32]]
"""Gives (start, frames) of a signal, shape (frames,), zeros outside of it."""


Sums = dict[int, tuple[Spectrum, Spectrum]]
"""Spectra summed per bus, left and right."""


@dataclass(frozen=True)
class Voice:
    """One input signal and the buses it feeds.

    Parameters
    ----------
    name : str
        For messages.
    read : callable
        (start, frames) to float32 samples, shape (frames,); reads come in rising order.
    routes : tuple of (int, ndarray)
        Bus and response, shape (2, taps) float32, for each bus the voice feeds.
    direct : tuple of (int, float, float)
        Bus and gains into its left and right for a voice that is passed through.
    group : int or None
        Voices in a row of one group are summed before any others, up to `VOICES`; where groups
        have buses of their own, these do not depend on what other groups there are.
    """

    name: str
    read: ReadVoice
    routes: tuple[tuple[int, NDArray[np.float32]], ...] = ()
    direct: tuple[tuple[int, float, float], ...] = ()
    group: int | None = None


@dataclass(frozen=True)
class BlockGrid:
    """Where blocks lie.

    Parameters
    ----------
    taps : int
        Length of the responses.
    transform : Transform
        As long as a block with what came before it.
    """

    taps: int
    transform: Transform

    @property
    def length(self) -> int:
        """Of a transform."""
        return self.transform.length

    @property
    def hop(self) -> int:
        """New samples of a block."""
        return self.length - self.history

    @property
    def history(self) -> int:
        """Samples before a block that still sound in it."""
        return self.taps - 1


def block_ranges(taps: int, start: int, stop: int) -> Iterator[tuple[int, int]]:
    """First sample of every block and the one after its last, as `Engine.blocks` cuts them."""
    hop = block_grid(taps).hop
    for number in range(start // hop, (stop - 1) // hop + 1):
        yield max(start, number * hop), min(stop, (number + 1) * hop)


def block_grid(taps: int) -> BlockGrid:
    """The grid for responses of a length in samples.

    Longer blocks would be a little faster, but the responses' spectra of a whole orchestra have to
    stay in memory.
    """
    return BlockGrid(max(1, taps), transform_of(max(4096, ceil(BLOCK_PER_RESPONSE * taps))))


class Engine:
    """Renders voices into buses.

    Parameters
    ----------
    voices : iterable of Voice
        In the order in which they are summed; taken one by one, so that responses can be made as
        they are needed.
    buses : int
    taps : int
        Length of the longest response; shorter ones are padded.
    threads : int
        Does not change the result.
    skip_silence : bool
        Leave out transforms of voices that are silent over a whole block.
    spare : int
        Rows in front of every block, left to the caller to fill.
    """

    def __init__(
        self,
        voices: Iterable[Voice],
        buses: int,
        taps: int,
        threads: int = 1,
        skip_silence: bool = True,
        spare: int = 0,
    ):
        self.buses = buses
        self.threads = max(1, threads)
        self.skip_silence = skip_silence
        self.spare = spare
        self.grid = block_grid(taps)
        self._groups: list[_Group] = []
        self._direct: list[Voice] = []
        for voice in voices:
            self._seat(voice)

    def _seat(self, voice: Voice) -> None:
        if voice.direct:
            self._direct.append(voice)
        if not voice.routes:
            return
        if not self._groups or self._groups[-1].full or self._groups[-1].name != voice.group:
            self._groups.append(_Group(self.grid, voice.group))
        self._groups[-1].add(voice)

    def blocks(
        self, start: int, stop: int
    ) -> Generator[tuple[int, NDArray[np.float32]], None, None]:
        """Render from sample `start` up to but without `stop`.

        Yields
        ------
        first : int
            Sample at which the block begins.
        block : ndarray, shape (spare + buses, 2, frames)
            Float32; owned by the caller.
        """
        if stop <= start:
            return
        hop = self.grid.hop
        numbers = range(start // hop, (stop - 1) // hop + 1)
        with ThreadPoolExecutor(self.threads) as pool:
            inverse: list[Future[None]] = []
            previous: tuple[int, NDArray[np.float32]] | None = None
            for number in numbers:
                summed = self._submit_forward(pool, number)
                if previous is not None:
                    yield self._finished(previous, inverse, start, stop)
                block = np.empty((self.spare + self.buses, 2, hop), dtype=np.float32)
                inverse = self._submit_inverse(pool, summed.result(), block)
                previous = (number * hop, block)
            if previous is not None:
                yield self._finished(previous, inverse, start, stop)

    def _submit_forward(self, pool: ThreadPoolExecutor, number: int) -> Future[Sums]:
        """Start a block's groups, each to add itself to what the one before it leaves."""
        summed: Future[Sums] = Future()
        summed.set_result({})
        for group in self._groups:
            summed = pool.submit(_added, group, number, self.skip_silence, summed)
        return summed

    def _finished(
        self,
        pending: tuple[int, NDArray[np.float32]],
        inverse: list[Future[None]],
        start: int,
        stop: int,
    ) -> tuple[int, NDArray[np.float32]]:
        first, block = pending
        for future in inverse:
            future.result()
        frames = block.shape[2]
        for voice in self._direct:
            samples = voice.read(first, frames)
            for bus, left, right in voice.direct:
                _add_scaled(block[self.spare + bus, 0], samples, left)
                _add_scaled(block[self.spare + bus, 1], samples, right)
        low, high = max(start - first, 0), min(stop - first, frames)
        return first + low, block[:, :, low:high]

    def _submit_inverse(
        self,
        pool: ThreadPoolExecutor,
        spectra: Sums,
        block: NDArray[np.float32],
    ) -> list[Future[None]]:
        for bus in range(self.buses):
            if bus not in spectra:
                block[self.spare + bus] = 0.0
        return [
            pool.submit(self._inverse, spectra.pop(bus), block[self.spare + bus])
            for bus in sorted(spectra)
        ]

    def _inverse(self, spectra: tuple[Spectrum, Spectrum], into: NDArray[np.float32]) -> None:
        for channel, spectrum in enumerate(spectra):
            signal = self.grid.transform.inverse(spectrum)
            into[channel] = signal[self.grid.history :]


def _added(group: _Group, number: int, skip_silence: bool, before: Future[Sums]) -> Sums:
    """Add a group up to those before it, in their order whatever the threads.

    Groups are started in order, so that the one that is waited for is under way.
    """
    own = group.forward(number, skip_silence)
    sums = before.result()
    for bus, part in own.items():
        if bus not in sums:
            sums[bus] = part
            continue
        for total, spectrum in zip(sums[bus], part, strict=True):
            total += spectrum
    return sums


class _Group:
    """Up to four voices, with their responses' spectra."""

    def __init__(self, grid: BlockGrid, name: int | None):
        self.name = name
        self._grid = grid
        self._voices: list[tuple[ReadVoice, list[tuple[int, tuple[Spectrum, Spectrum]]]]] = []
        self._history = np.zeros((VOICES, grid.history), dtype=np.float32)
        self._number: int | None = None

    @property
    def full(self) -> bool:
        return len(self._voices) == VOICES

    def add(self, voice: Voice) -> None:
        """Take in a voice; buses that share one response share its spectrum."""
        made: dict[int, tuple[Spectrum, Spectrum]] = {}
        for _, response in voice.routes:
            if id(response) not in made:
                made[id(response)] = (self._spectrum(response[0]), self._spectrum(response[1]))
        routes = [(bus, made[id(response)]) for bus, response in voice.routes]
        self._voices.append((voice.read, routes))

    def _spectrum(self, response: NDArray[np.float32]) -> Spectrum:
        padded: NDArray[np.float32] = _scratch("window", (self._grid.length,), np.float32)
        padded[: len(response)] = response
        padded[len(response) :] = 0.0
        return self._grid.transform.forward(padded)

    def forward(self, number: int, skip_silence: bool) -> Sums:
        """Sum of this group's voices per bus in the frequency domain, for one block."""
        sums: Sums = {}
        follows = self._number is not None and number == self._number + 1
        self._number = number
        product: Spectrum = _scratch("product", self._grid.transform.shape, np.complex64)
        for place, (read, routes) in enumerate(self._voices):
            window = self._window(number * self._grid.hop, read, place, follows)
            if skip_silence and not _sounds(window):
                continue
            _accumulate(self._grid.transform.forward(window), routes, sums, product)
        return sums

    def _window(
        self, first: int, read: ReadVoice, place: int, follows: bool
    ) -> NDArray[np.float32]:
        """What sounds in a block and what came before it, shape (length,)."""
        hop, history = self._grid.hop, self._grid.history
        window: NDArray[np.float32] = _scratch("window", (self._grid.length,), np.float32)
        window[:history] = self._history[place] if follows else read(first - history, history)
        window[history:] = read(first, hop)
        self._history[place] = window[hop:]
        return window


_THREAD = local()


def _scratch(name: str, shape: tuple[int, ...], kind: type) -> NDArray[Any]:
    """An array of this thread's own, kept for its next block: fresh memory costs a tenth."""
    kept: NDArray[Any] | None = getattr(_THREAD, name, None)
    if kept is None or kept.shape != shape:
        kept = np.empty(shape, dtype=kind)
        setattr(_THREAD, name, kept)
    return kept


def _sounds(row: NDArray[np.float32]) -> bool:
    """Whether anything in a row is not 0; looks at every 997th sample first."""
    return bool(row[::997].any() or row.any())


def _accumulate(
    spectrum: Spectrum,
    routes: list[tuple[int, tuple[Spectrum, Spectrum]]],
    sums: Sums,
    product: Spectrum,
) -> None:
    for bus, (left, right) in routes:
        if bus not in sums:
            sums[bus] = (spectrum * left, spectrum * right)
            continue
        for response, total in zip((left, right), sums[bus], strict=True):
            np.multiply(spectrum, response, out=product)
            total += product


def _add_scaled(into: NDArray[np.float32], samples: NDArray[np.float32], gain: float) -> None:
    """Add, exactly where the gain is 1."""
    if gain == 1.0:
        into += samples
    elif gain != 0.0:
        into += samples * np.float32(gain)
