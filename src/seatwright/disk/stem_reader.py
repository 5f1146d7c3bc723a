"""A stem's samples, any stretch of them, at any rate.

Conventions: positions and lengths are frames at the output rate; what lies before the first
frame or after the last is silence; full scale is 1.0. Whatever way the reads are cut, each
sample comes out with the same bits.
"""

from __future__ import annotations

import os
from collections import deque
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from types import TracebackType
from typing import Any, Self

import numpy as np
import soundfile
import soxr
from numpy.typing import NDArray

from seatwright.disk.broadcast import Broadcast
from seatwright.disk.riff import read_layout
from seatwright.errors import Fault, StemError
from seatwright.sound.samples import unpacked_24

FLOAT_ENCODINGS = ("FLOAT", "DOUBLE")
BLOCK_FRAMES = 2**14
_PIECE = 2**15  # samples; stays in the processor's cache
_TINY = np.finfo(np.float32).tiny
LOUDEST = 1e6
"""Above it, +120 dBFS, no number in a float stem is sound; its square would leave float32."""

Block = NDArray[np.float32]


@dataclass(frozen=True)
class Stem:
    """A stem that was inspected and found fit to read.

    Parameters
    ----------
    path : Path
        Its file.
    rate, channels, frames : int
        In Hz; 1 or 2; how many frames can be read, at the file's own rate.
    encoding : str
        "PCM_16", "PCM_24", "FLOAT", ... as libsndfile names them.
    broadcast : Broadcast or None
        The broadcast extension of a WAV file.
    """

    path: Path
    rate: int
    channels: int
    frames: int
    encoding: str
    broadcast: Broadcast | None = None

    @property
    def seconds(self) -> float:
        """Length in seconds."""
        return self.frames / self.rate


class Decoder:
    """A file's frames at its own rate; never fewer than asked for.

    Parameters
    ----------
    path : Path
        A regular file; pipes and devices must have been ruled out before.

    Attributes
    ----------
    rate, channels, frames : int
        As the decoder sees the file.
    kind, encoding : str
        Such as "WAV" and "PCM_24".

    Raises
    ------
    StemError
        If the file cannot be opened or decoded.
    """

    def __init__(self, path: Path):
        self.path = path
        self._position = 0
        try:
            self._handle = os.open(path, os.O_RDONLY | os.O_NONBLOCK | os.O_CLOEXEC)
        except OSError as error:
            raise self._fault(f"cannot be read: {error.strerror}") from error
        try:
            self._file = soundfile.SoundFile(self._handle, closefd=False)
        except soundfile.LibsndfileError as error:
            os.close(self._handle)
            why = str(error.error_string).rstrip(". ")
            raise self._fault(f"cannot be decoded ({why}), expected whole audio") from error
        self.rate = int(self._file.samplerate)
        self.channels = int(self._file.channels)
        self.frames = int(self._file.frames)
        self.kind, self.encoding = str(self._file.format), str(self._file.subtype)
        self._packed_at = self._packed_audio()

    def _packed_audio(self) -> int:
        """Byte at which plain 24-bit audio begins, which is read here; 0 for any other kind.

        Three times as fast as the decoder, and 24-bit WAV is what most stems are.
        """
        is_wav = self.kind in ("WAV", "WAVEX", "RF64") and self.encoding == "PCM_24"
        if not is_wav or not hasattr(os, "preadv"):
            return 0
        try:
            layout = read_layout(self.path)
        except StemError:
            return 0
        plain = layout.bits == 24 and layout.block_align == 3 * self.channels
        reaches = layout.data_bytes_present >= 3 * self.channels * self.frames
        return layout.data_offset if plain and reaches else 0

    def read(self, start: int, frames: int, kind: str = "float32") -> NDArray[Any]:
        """Decode exactly `frames` frames.

        Parameters
        ----------
        start, frames : int
            At the file's own rate.
        kind : str
            "float32" or "int32" (left-justified).

        Returns
        -------
        ndarray of `kind`, shape (frames, channels)
            Float encodings unchecked.

        Raises
        ------
        StemError
            If the decoder fails or gives fewer frames than asked for.
        """
        block = np.empty((frames, self.channels), kind)
        if self._packed_at and kind == "float32":
            self._read_packed(start, block)
            return block
        try:
            if start != self._position:
                self._position = -1
                self._file.seek(start)
            found = len(self._file.read(frames, dtype=kind, always_2d=True, out=block))
        except soundfile.SoundFileRuntimeError as error:
            self._position = -1
            where = f"decoder failed at {start / self.rate:.3f} s (frame {start})"
            raise self._fault(f"{where}: {error}") from error
        self._position = start + found
        if found < frames:
            raise self._short(start, found, frames)
        return block

    def _read_packed(self, start: int, block: Block) -> None:
        samples = block.reshape(-1)
        packed = np.empty(3 * min(_PIECE, samples.size) + 1, np.uint8)
        place = self._packed_at + 3 * self.channels * start
        for first in range(0, samples.size, _PIECE):
            piece = samples[first : first + _PIECE]
            found = self._fill(packed[: 3 * piece.size], place + 3 * first)
            if found < 3 * piece.size:
                whole = (3 * first + found) // (3 * self.channels)
                raise self._short(start, whole, len(block))
            unpacked_24(packed, piece)

    def _fill(self, into: NDArray[np.uint8], place: int) -> int:
        """Read bytes from a place on; how many there were."""
        found = 0
        try:
            while found < into.size:
                got = os.preadv(self._handle, [into[found:].data], place + found)
                if got == 0:
                    break
                found += got
        except OSError as error:
            raise self._fault(f"cannot be read: {error.strerror}") from error
        return found

    def _short(self, start: int, found: int, frames: int) -> StemError:
        where = f"at {start / self.rate:.3f} s (frame {start})"
        return self._fault(f"short read {where}: found {found} frames, expected {frames}")

    def close(self) -> None:
        """Close the file; closing twice does no harm."""
        if not self._file.closed:
            self._file.close()
            os.close(self._handle)

    def _fault(self, what: str) -> StemError:
        return StemError(Fault(what, file=str(self.path)))


class StemReader:
    """Any stretch of a stem at the rate asked for.

    At its own rate the file is read directly. Otherwise it is resampled as one stream from
    its first frame, in blocks of fixed length; going back before the start of the read
    before begins that stream anew. One thread at a time.

    Parameters
    ----------
    stem : Stem
        As inspected.
    rate : int
        Output rate in Hz.

    Attributes
    ----------
    stem : Stem
    rate : int
    frames : int
        Length at the output rate, rounded up.

    Raises
    ------
    StemError
        If the file is no longer what was inspected.
    """

    def __init__(self, stem: Stem, rate: int):
        self.stem = stem
        self.rate = rate
        self.frames = -(-stem.frames * rate // stem.rate)
        self._decoder = Decoder(stem.path)
        self._check_unchanged()
        self._stream = None if rate == stem.rate else _Resampled(self._checked, stem, rate)

    def read(self, start: int, frames: int) -> Block:
        """Read `frames` frames from `start` on, silence where the stem has none.

        Parameters
        ----------
        start, frames : int
            At the output rate; `start` may be negative.

        Returns
        -------
        ndarray of float32, shape (frames, channels)
            PCM of up to 24 bits exactly; denormals of float stems as zero.

        Raises
        ------
        StemError
            If the file ends early, cannot be decoded, or holds NaN, Inf or what is no sound.
        """
        first, last = max(start, 0), min(start + frames, self.frames)
        if first == start and last == start + frames and self._stream is None and frames:
            return self._checked(first, frames)
        block = np.zeros((frames, self.stem.channels), np.float32)
        if first < last:
            part = block[first - start : last - start]
            if self._stream is None:
                part[:] = self._checked(first, last - first)
            else:
                self._stream.read(first, part)
        return block

    def close(self) -> None:
        """Close the file; closing twice does no harm."""
        self._decoder.close()

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self.close()

    def _check_unchanged(self) -> None:
        stem, now = self.stem, self._decoder
        if (now.rate, now.channels) == (stem.rate, stem.channels) and now.frames >= stem.frames:
            return
        self.close()
        what = (
            f"changed since it was inspected: found {now.frames} frames of {now.channels}"
            f" channels at {now.rate} Hz, expected {stem.frames} of {stem.channels} at {stem.rate}"
        )
        raise StemError(Fault(what, file=str(stem.path)))

    def _checked(self, start: int, frames: int) -> Block:
        """Decode frames at the stem's own rate; float encodings are checked and cleaned."""
        block: Block = self._decoder.read(start, frames)
        if self.stem.encoding not in FLOAT_ENCODINGS:
            return block
        sizes = np.abs(block)
        if not sizes.max() <= LOUDEST:
            frame, channel = np.argwhere(~(sizes <= LOUDEST))[0]
            when = (start + frame) / self.stem.rate
            found = block[frame, channel]
            what = f"sample {found} at {when:.6f} s (frame {start + frame}), channel {channel + 1}"
            wanted = "expected finite numbers below +120 dBFS"
            raise StemError(Fault(f"{what}, {wanted}", file=str(self.stem.path)))
        block[sizes < _TINY] = 0.0
        return block


class _Resampled:
    """One resampled stream, fed in blocks of fixed length so that reads cannot change it."""

    def __init__(self, source: Callable[[int, int], Block], stem: Stem, rate: int):
        self._source = source
        self._stem = stem
        self._rate = rate
        self._restart()

    def read(self, start: int, out: Block) -> None:
        """Fill `out`; what came before `start` is forgotten."""
        stop = start + len(out)
        if start < self._kept_from:
            self._restart()
        self._forget(start)
        while self._made < stop and self._fed < self._stem.frames:
            self._feed()
            self._forget(start)
        for place, piece in self._pieces:
            first, last = max(start, place), min(stop, place + len(piece))
            if first < last:
                out[first - start : last - start] = piece[first - place : last - place]

    def _restart(self) -> None:
        stem = self._stem
        self._resampler = soxr.ResampleStream(
            stem.rate, self._rate, stem.channels, dtype="float32", quality="VHQ"
        )
        self._pieces: deque[tuple[int, Block]] = deque()
        self._kept_from = self._made = self._fed = 0

    def _feed(self) -> None:
        frames = min(BLOCK_FRAMES, self._stem.frames - self._fed)
        block = self._source(self._fed, frames)
        self._fed += frames
        piece = self._resampler.resample_chunk(block, last=self._fed == self._stem.frames)
        if len(piece):
            self._pieces.append((self._made, piece))
            self._made += len(piece)

    def _forget(self, start: int) -> None:
        while self._pieces and self._end_of_first() <= start:
            self._kept_from = self._end_of_first()
            self._pieces.popleft()

    def _end_of_first(self) -> int:
        place, piece = self._pieces[0]
        return place + len(piece)
