"""Where the bytes of a bounce go: a WAV whose header is known, or a FLAC encoder.

Both write to an open file that belongs to the caller, and raise OSError when it refuses.
"""

from __future__ import annotations

import hashlib
import os
from contextlib import suppress
from typing import Any

import numpy as np
import soundfile
from numpy.typing import NDArray

from seatwright.sound.samples import packed_24


class WavSink:
    """Write the header, then audio, hashing both on the way.

    Parameters
    ----------
    handle : int
        File descriptor of an empty file.
    header : bytes
        All that stands before the audio.
    encoding : str
        "PCM_16", "PCM_24" or "FLOAT".

    Raises
    ------
    OSError
        If the disk refuses; so do all methods.
    """

    def __init__(self, handle: int, header: bytes, encoding: str):
        self._handle = handle
        self._encoding = encoding
        self._digest = hashlib.sha256()
        self._bytes = 0
        self._append(header)
        self._header_bytes = len(header)

    def write(self, samples: NDArray[Any]) -> None:
        """Append samples: int32 for PCM, float32 for FLOAT, shape (n, channels)."""
        if self._encoding == "PCM_24":
            self._append(packed_24(samples).data)
        else:
            kind = "<i2" if self._encoding == "PCM_16" else "<f4"
            self._append(np.ascontiguousarray(samples, kind).reshape(-1).view(np.uint8).data)

    def finish(self, frames: int) -> None:
        """Make the audio an even number of bytes and compare the file's size."""
        if (self._bytes - self._header_bytes) % 2:
            self._append(b"\0")
        found = os.fstat(self._handle).st_size
        if found != self._bytes:
            raise OSError(0, f"{found} bytes after writing {self._bytes} for {frames} frames")

    def sha256(self) -> str:
        """SHA-256 of everything written, in hexadecimal."""
        return self._digest.hexdigest()

    def abandon(self) -> None:
        """Let go; there is nothing to flush."""

    def _append(self, data: bytes | memoryview) -> None:
        self._digest.update(data)
        _write_all(self._handle, memoryview(data))
        self._bytes += len(data)


class FlacSink:
    """Encode to FLAC through libsndfile.

    The encoder writes by way of this object's file methods, since libsndfile tells
    neither that nor why the disk refused.

    Parameters
    ----------
    handle : int
        File descriptor of an empty file.
    rate, channels : int
        In Hz; 1 or 2.
    encoding : str
        "PCM_16" or "PCM_24".

    Raises
    ------
    OSError
        If the disk or the encoder refuses; so do all methods.
    """

    def __init__(self, handle: int, rate: int, channels: int, encoding: str):
        self._file = _EncoderFile(handle)
        self._shift = 32 - {"PCM_16": 16, "PCM_24": 24}[encoding]
        try:
            self._encoder = soundfile.SoundFile(
                self._file, "w", rate, channels, format="FLAC", subtype=encoding
            )
        except soundfile.LibsndfileError as error:
            self._file.raise_refusal()
            raise OSError(0, f"FLAC encoder refuses {rate} Hz: {error.error_string}") from error
        self._file.raise_refusal()

    def write(self, samples: NDArray[np.int32]) -> None:
        """Append samples, shape (n, channels), as integers of the encoding's bits."""
        try:
            self._encoder.write(np.ascontiguousarray(samples << self._shift))
        except (AssertionError, soundfile.SoundFileRuntimeError) as error:
            self._file.raise_refusal()
            raise OSError(0, f"FLAC encoder failed: {error}") from error
        self._file.raise_refusal()

    def finish(self, frames: int) -> None:
        """Close the encoder and let a decoder count what it left."""
        self._close()
        self._file.raise_refusal()
        self._file.seek(0, os.SEEK_SET)
        try:
            with soundfile.SoundFile(self._file) as finished:
                found = int(finished.frames)
        except soundfile.LibsndfileError as error:
            self._file.raise_refusal()
            raise OSError(0, f"FLAC encoder left no FLAC: {error.error_string}") from error
        self._file.raise_refusal()
        if found != frames:
            raise OSError(0, f"FLAC encoder wrote {found} frames, expected {frames}")

    def sha256(self) -> str:
        """SHA-256 of the finished file, read back, in hexadecimal; OSError if it cannot be."""
        digest = hashlib.sha256()
        self._file.seek(0, os.SEEK_SET)
        while block := self._file.read(2**20):
            digest.update(block)
        self._file.raise_refusal()
        return digest.hexdigest()

    def abandon(self) -> None:
        """Let the encoder go; what it still has is thrown away."""
        self._file.refuse_all()
        self._close()

    def _close(self) -> None:
        with suppress(soundfile.SoundFileRuntimeError):  # the file's own refusal says more
            self._encoder.close()


class _EncoderFile:
    """A file for libsndfile's callbacks, which must not raise: keeps the first OSError."""

    def __init__(self, handle: int):
        self._handle = handle
        self._refusal: OSError | None = None

    def write(self, data: bytes) -> int:
        if self._refusal:
            return 0
        try:
            _write_all(self._handle, memoryview(data))
        except OSError as error:
            self._refusal = error
            return 0
        return len(data)

    def read(self, count: int) -> bytes:
        try:
            return os.read(self._handle, count)
        except OSError as error:
            self._refusal = self._refusal or error
            return b""

    def seek(self, offset: int, whence: int) -> int:
        try:
            return os.lseek(self._handle, offset, whence)
        except OSError as error:
            self._refusal = self._refusal or error
            return -1

    def tell(self) -> int:
        return self.seek(0, os.SEEK_CUR)

    def refuse_all(self) -> None:
        self._refusal = self._refusal or OSError(0, "abandoned")

    def raise_refusal(self) -> None:
        if self._refusal:
            raise self._refusal


def _write_all(handle: int, data: memoryview) -> None:
    while data:
        data = data[os.write(handle, data) :]
