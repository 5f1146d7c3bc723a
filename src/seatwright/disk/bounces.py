"""Bounces: audio files written as a stream, complete under their name or not there at all.

A bounce grows in a hidden temporary of the same folder; `commit` gives it its name in one
step. Nothing is clipped in silence: samples over full scale are counted and refused.
"""

from __future__ import annotations

import os
import secrets
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path
from types import TracebackType
from typing import Self

import numpy as np

from seatwright.disk.bounce_sinks import FlacSink, WavSink
from seatwright.disk.broadcast import Broadcast
from seatwright.disk.output_names import clashes, output_name
from seatwright.disk.riff import SAMPLE_BYTES, wav_header
from seatwright.errors import DiskError, Fault, RenderError, SceneError
from seatwright.sound.samples import Floats, quantised

__all__ = ["TEMPORARY_PREFIX", "BounceWriter", "clashes", "flush_folder", "output_name"]

TEMPORARY_PREFIX = ".seatwright-"
_PIECE_FRAMES = 2**14  # stays in the processor's cache
_LARGEST = float(np.finfo(np.float32).max)
_BITS = {"PCM_16": 16, "PCM_24": 24}


class BounceWriter:
    """Write one WAV or FLAC file of known length.

    As a context manager it closes and commits at the end, and aborts on any exception.
    16-bit files are dithered; 24-bit files are only rounded, their step lying 144 dB below
    full scale, so that what was 24 bits comes out as the same integers.

    Parameters
    ----------
    path : Path
        Final name; its suffix, .wav or .flac, chooses the kind.
    rate, channels : int
        In Hz; 1 or 2.
    encoding : str
        "PCM_16", "PCM_24" or, in WAV only, "FLOAT" (32 bits).
    frames : int
        How many frames will be written, at least 1.
    broadcast : Broadcast or None
        Broadcast extension; FLAC cannot carry one, see `carries_broadcast`.
    dither_seed : int or None
        Seed of the 16-bit dither; the same seed gives the same file. None rounds only.

    Attributes
    ----------
    written : int
        Frames so far.
    peak : float
        Largest magnitude so far, before rounding; full scale is 1.0.
    overs : int
        Samples over full scale so far; PCM only, dither included.
    carries_broadcast : bool
        Whether this kind of file holds a broadcast extension.

    Raises
    ------
    SceneError
        If suffix, encoding and the other arguments do not go together.
    RenderError
        If rate, channels or frames cannot be written, or a broadcast field is too long.
    DiskError
        If the folder cannot be written.
    """

    def __init__(
        self,
        path: Path,
        rate: int,
        channels: int,
        encoding: str,
        frames: int,
        broadcast: Broadcast | None = None,
        dither_seed: int | None = 0,
    ):
        self.path = Path(path)
        self.rate, self.channels, self.encoding, self.frames = rate, channels, encoding, frames
        self.written, self.overs, self.peak = 0, 0, 0.0
        self.carries_broadcast = _checked_suffix(self.path, encoding) == ".wav"
        dithered = encoding == "PCM_16" and dither_seed is not None
        self._dither = np.random.default_rng(dither_seed) if dithered else None
        self._sha256 = ""
        self._state = "open"
        self._temporary = self.path.with_name(f"{TEMPORARY_PREFIX}{secrets.token_hex(8)}.part")
        if frames < 1:
            raise self._error(f"{frames} frames to write, expected at least 1")
        header = wav_header(rate, channels, encoding, frames, broadcast)
        self._handle = self._created()
        with self._guarded():
            if self.carries_broadcast:
                self._sink: WavSink | FlacSink = WavSink(self._handle, header, encoding)
            else:
                self._sink = FlacSink(self._handle, rate, channels, encoding)

    @property
    def sha256(self) -> str:
        """SHA-256 of the finished file in hexadecimal; "" before `close`."""
        return self._sha256

    def write(self, block: Floats) -> None:
        """Append a block.

        Parameters
        ----------
        block : ndarray of float32 or float64, shape (n, channels)
            Left as it is; how the whole is cut into blocks changes no sample.

        Raises
        ------
        RenderError
            If the shape or the total length is wrong, or a sample is NaN, infinite or
            beyond 32-bit float; the temporary is removed.
        DiskError
            If the disk refuses; the temporary is removed.
        """
        with self._guarded():
            self._check_block(block)
            for start in range(0, len(block), _PIECE_FRAMES):
                self._write_piece(block[start : start + _PIECE_FRAMES])

    def close(self) -> None:
        """Finish the temporary and flush it to the disk; the final name stays untouched.

        Raises
        ------
        RenderError
            If frames are missing or PCM samples went over full scale; the temporary is
            removed.
        DiskError
            If the disk refuses; the temporary is removed.
        """
        if self._state in ("closed", "committed"):
            return
        with self._guarded():
            self._check_open()
            self._check_complete()
            self._sink.finish(self.frames)
            os.fsync(self._handle)
            self._sha256 = self._sink.sha256()
            self._state = "closed"  # before closing: a descriptor is gone even if that fails
            os.close(self._handle)

    def commit(self) -> None:
        """Give the file its final name, in place of any older one; closes it if need be.

        Raises
        ------
        RenderError, DiskError
            As in `close`; an older file of this name is then still as it was.
        """
        if self._state == "committed":
            return
        self.close()
        with self._guarded():
            self._temporary.replace(self.path)
            self._state = "committed"
            flush_folder(self.path.parent)

    def abort(self) -> None:
        """Remove the temporary; does nothing after `commit` or a second time."""
        if self._state in ("committed", "aborted"):
            return
        if self._state == "open":
            self._abandon()
        self._state = "aborted"
        with suppress(OSError):  # whatever led here is the news, not this
            self._temporary.unlink(missing_ok=True)

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        if kind is None and self._state != "aborted":
            self.commit()
        else:
            self.abort()

    def _created(self) -> int:
        """Create the temporary, having made sure that the final name can exist."""
        try:
            if self.path.is_dir():
                raise IsADirectoryError(0, "a folder has this name")
            flags = os.O_CREAT | os.O_EXCL | os.O_RDWR | os.O_CLOEXEC
            return os.open(self._temporary, flags, 0o666)
        except OSError as error:
            raise self._disk_error(error) from error

    @contextmanager
    def _guarded(self) -> Iterator[None]:
        """Remove the temporary on any exception; the disk's own become DiskError."""
        try:
            yield
        except OSError as error:
            self.abort()
            raise self._disk_error(error) from error
        except BaseException:
            self.abort()
            raise

    def _disk_error(self, error: OSError) -> DiskError:
        return DiskError(Fault(f"cannot be written: {error.strerror}", file=str(self.path)))

    def _abandon(self) -> None:
        sink = getattr(self, "_sink", None)
        if sink is not None:
            sink.abandon()
        os.close(self._handle)

    def _check_open(self) -> None:
        if self._state != "open":
            raise self._error(f"expected an open bounce, this one is {self._state}")

    def _check_block(self, block: Floats) -> None:
        self._check_open()
        if block.ndim != 2 or block.shape[1] != self.channels:
            wanted = f"(n, {self.channels})"
            raise self._error(f"block of shape {block.shape}, expected {wanted}")
        if block.dtype not in (np.float32, np.float64):
            raise self._error(f"block of {block.dtype}, expected float32 or float64")
        if self.written + len(block) > self.frames:
            found = self.written + len(block)
            raise self._error(f"{found} frames given, expected {self.frames}")

    def _check_complete(self) -> None:
        if self.written != self.frames:
            raise self._error(f"{self.written} frames written, expected {self.frames}")
        if self.overs:
            level = 20 * np.log10(self.peak)
            raise self._error(
                f"{self.overs} samples over full scale, peak {level:+.2f} dBFS,"
                f" expected none in {self.encoding}",
                hint="lower the level or write FLOAT",
            )

    def _write_piece(self, piece: Floats) -> None:
        peak = max(float(piece.max()), -float(piece.min()))
        if not peak <= _LARGEST:
            raise self._not_finite(piece)
        self.peak = max(self.peak, peak)
        if self.encoding == "FLOAT":
            self._sink.write(np.ascontiguousarray(piece, np.float32))
        else:
            integers, overs = quantised(piece, _BITS[self.encoding], self._dither, peak)
            self.overs += overs
            self._sink.write(integers)
        self.written += len(piece)

    def _not_finite(self, piece: Floats) -> RenderError:
        frame, channel = np.argwhere(~(np.abs(piece) <= _LARGEST))[0]
        place = self.written + int(frame)
        return self._error(
            f"sample {piece[frame, channel]} at {place / self.rate:.6f} s (frame {place}),"
            f" channel {channel + 1}, expected finite numbers"
        )

    def _error(self, what: str, hint: str = "") -> RenderError:
        return RenderError(Fault(what, file=str(self.path), hint=hint))


def _checked_suffix(path: Path, encoding: str) -> str:
    suffix = path.suffix.lower()
    if suffix not in (".wav", ".flac"):
        found = f'"{path.suffix}"' if path.suffix else "none"
        raise SceneError(Fault(f"expected suffix .wav or .flac, found {found}", file=str(path)))
    if encoding not in SAMPLE_BYTES:
        wanted = ", ".join(SAMPLE_BYTES)
        raise SceneError(Fault(f"expected encoding {wanted}, found {encoding}", file=str(path)))
    if suffix == ".flac" and encoding == "FLOAT":
        what = "FLAC holds no float samples, expected PCM_16 or PCM_24"
        raise SceneError(Fault(what, file=str(path), hint="or write .wav"))
    return suffix


def flush_folder(folder: Path) -> None:
    """Let the names in a folder reach the disk; OSError if it refuses."""
    handle = os.open(folder, os.O_RDONLY | os.O_DIRECTORY)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)
