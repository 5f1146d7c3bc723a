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

from collections.abc import Callable, Iterable, Iterator
from concurrent.futures import Future, ThreadPoolExecutor
from dataclasses import dataclass
from threading import local
from typing import Any

import numpy as np
import scipy.fft
from numpy.typing import NDArray

ROWS = 4
"""Rows of one transform call; scipy.fft vectorises float32 from four rows on."""

BLOCK_PER_RESPONSE = 3.25
"""A block is at least this many responses long."""

ReadVoice = Callable[[int, int], NDArray[np.float32]]
"""Gives (start, frames) of a signal, shape (frames,), zeros outside of it."""


Sums = dict[int, NDArray[np.complex64]]
"""Spectra summed per bus, shape (2, bins) each."""


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
    """

    name: str
    read: ReadVoice
    routes: tuple[tuple[int, NDArray[np.float32]], ...] = ()
    direct: tuple[tuple[int, float, float], ...] = ()


@dataclass(frozen=True)
class BlockGrid:
    """Where blocks lie.

    Parameters
    ----------
    taps : int
        Length of the responses.
    length : int
        Of a transform.
    """

    taps: int
    length: int

    @property
    def hop(self) -> int:
        """New samples of a block."""
        return self.length - self.history

    @property
    def history(self) -> int:
        """Samples before a block that still sound in it."""
        return self.taps - 1


def block_grid(taps: int, per_response: float = BLOCK_PER_RESPONSE) -> BlockGrid:
    """The grid for responses of a length in samples: 36, 45, 60 or 72 times a power of two.

    With an odd factor a transform is faster than at a power of two, whose rows lie in memory so
    that they push one another out of the processor's cache. Longer blocks would be faster still,
    but the responses' spectra of a whole orchestra have to stay in memory.
    """
    needed = max(4096.0, per_response * taps)
    power = 2 ** int(np.floor(np.log2(needed / 36.0)))
    length = next(c * power for c in (36, 45, 60, 72) if c * power >= needed)
    return BlockGrid(max(1, taps), length)


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
    per_response : float
        How many responses long a block is at least; 4.5 is faster and takes a third more memory.
    spare : int
        Rows of zeros in front of every block, for sums of the caller's.
    """

    def __init__(
        self,
        voices: Iterable[Voice],
        buses: int,
        taps: int,
        threads: int = 1,
        skip_silence: bool = True,
        spare: int = 0,
        per_response: float = BLOCK_PER_RESPONSE,
    ):
        self.buses = buses
        self.threads = max(1, threads)
        self.skip_silence = skip_silence
        self.spare = spare
        self.grid = block_grid(taps, per_response)
        self._groups: list[_Group] = []
        self._direct: list[Voice] = []
        for voice in voices:
            self._seat(voice)

    def _seat(self, voice: Voice) -> None:
        if voice.direct:
            self._direct.append(voice)
        if not voice.routes:
            return
        if not self._groups or self._groups[-1].full:
            self._groups.append(_Group(self.grid))
        self._groups[-1].add(voice)

    def blocks(self, start: int, stop: int) -> Iterator[tuple[int, NDArray[np.float32]]]:
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
                forward = [
                    pool.submit(group.forward, number, self.skip_silence) for group in self._groups
                ]
                if previous is not None:
                    yield self._finished(previous, inverse, start, stop)
                block = np.zeros((self.spare + self.buses, 2, hop), dtype=np.float32)
                inverse = self._submit_inverse(pool, _summed(forward), block)
                previous = (number * hop, block)
            if previous is not None:
                yield self._finished(previous, inverse, start, stop)

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
        sounding = sorted(spectra)
        pairs = [sounding[i : i + ROWS // 2] for i in range(0, len(sounding), ROWS // 2)]
        return [pool.submit(self._inverse, pair, spectra, block) for pair in pairs]

    def _inverse(
        self,
        buses: list[int],
        spectra: Sums,
        block: NDArray[np.float32],
    ) -> None:
        bins = self.grid.length // 2 + 1
        rows = np.zeros((ROWS // 2, 2, bins), dtype=np.complex64)
        for row, bus in enumerate(buses):
            rows[row] = spectra.pop(bus)
        signals = scipy.fft.irfft(
            rows.reshape(ROWS, bins), n=self.grid.length, axis=1, overwrite_x=True
        ).reshape(ROWS // 2, 2, self.grid.length)
        for row, bus in enumerate(buses):
            block[self.spare + bus] = signals[row, :, self.grid.history :]


def _summed(forward: list[Future[Sums]]) -> Sums:
    """Add the groups up in their order; each part is let go as soon as it is added."""
    sums: Sums = {}
    forward.reverse()
    while forward:
        for bus, part in forward.pop().result().items():
            if bus in sums:
                sums[bus] += part
            else:
                sums[bus] = part
    return sums


class _Group:
    """Up to four voices that are transformed together, with their responses' spectra."""

    def __init__(self, grid: BlockGrid):
        self._grid = grid
        self._reads: list[ReadVoice] = []
        self._spectra: list[list[tuple[int, NDArray[np.complex64]]]] = []
        self._history = np.zeros((ROWS, grid.history), dtype=np.float32)
        self._number: int | None = None
        self._waiting: list[tuple[NDArray[np.float32], NDArray[np.complex64]]] = []

    @property
    def full(self) -> bool:
        return len(self._reads) == ROWS

    def add(self, voice: Voice) -> None:
        """Take in a voice; buses that share one response share its spectrum."""
        made: dict[int, NDArray[np.complex64]] = {}
        for _, response in voice.routes:
            if id(response) not in made:
                bins = self._grid.length // 2 + 1
                made[id(response)] = np.empty((2, bins), dtype=np.complex64)
                self._waiting.append((response, made[id(response)]))
                if len(self._waiting) == ROWS // 2:
                    self._transform_waiting()
        self._reads.append(voice.read)
        self._spectra.append([(bus, made[id(response)]) for bus, response in voice.routes])

    def _transform_waiting(self) -> None:
        """Transform responses, two at a time, and let go of them."""
        if not self._waiting:
            return
        rows = np.zeros((ROWS // 2, 2, self._grid.length), dtype=np.float32)
        for row, (response, _) in zip(rows, self._waiting, strict=False):
            row[:, : response.shape[1]] = response
        spectra = scipy.fft.rfft(rows.reshape(ROWS, -1), axis=1).reshape(ROWS // 2, 2, -1)
        for spectrum, (_, into) in zip(spectra, self._waiting, strict=False):
            into[:] = spectrum
        self._waiting.clear()

    def forward(self, number: int, skip_silence: bool) -> Sums:
        """Sum of this group's voices per bus in the frequency domain, for one block."""
        self._transform_waiting()
        window = self._window(number)
        rows = window[: len(self._reads)]
        active = [not skip_silence or _sounds(row) for row in rows]
        sums: Sums = {}
        if not any(active):
            return sums
        spectra = scipy.fft.rfft(window, axis=1)
        product = _scratch("product", (spectra.shape[1],), np.complex64)
        for row, routes in enumerate(self._spectra):
            if active[row]:
                _accumulate(spectra[row], routes, sums, product)
        return sums

    def _window(self, number: int) -> NDArray[np.float32]:
        """What sounds in a block and what came before it, shape (4, length)."""
        hop, history = self._grid.hop, self._grid.history
        first = number * hop
        follows = self._number is not None and number == self._number + 1
        window: NDArray[np.float32] = _scratch("window", (ROWS, self._grid.length), np.float32)
        window[len(self._reads) :] = 0.0
        for row, read in enumerate(self._reads):
            window[row, :history] = (
                self._history[row] if follows else read(first - history, history)
            )
            window[row, history:] = read(first, hop)
        self._history[:] = window[:, hop:]
        self._number = number
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
    spectrum: NDArray[np.complex64],
    routes: list[tuple[int, NDArray[np.complex64]]],
    sums: Sums,
    product: NDArray[np.complex64],
) -> None:
    for bus, response in routes:
        if bus not in sums:
            sums[bus] = spectrum * response
            continue
        for channel in range(2):
            np.multiply(spectrum, response[channel], out=product)
            sums[bus][channel] += product


def _add_scaled(into: NDArray[np.float32], samples: NDArray[np.float32], gain: float) -> None:
    """Add, exactly where the gain is 1."""
    if gain == 1.0:
        into += samples
    elif gain != 0.0:
        into += samples * np.float32(gain)
