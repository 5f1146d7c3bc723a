"""WAV files byte by byte: what a RIFF or RF64 header says, and headers for our own files.

Audio itself is decoded elsewhere; here stand the strict comparison of a header with the
file it heads, the broadcast extension, and the arithmetic of files beyond 4 GiB. All
integers are little endian.

Source: EBU Tech 3285 (broadcast extension, 602 fixed bytes), EBU Tech 3306 and
ITU-R BS.2088 (RF64 and its ds64 chunk, room for which is kept by a JUNK chunk).
"""

from __future__ import annotations

import os
import stat
import struct
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import BinaryIO

from seatwright.disk.broadcast import FIXED_BYTES, Broadcast, build_broadcast, parse_broadcast
from seatwright.errors import Fault, RenderError, StemError

__all__ = [
    "SAMPLE_BYTES",
    "Broadcast",
    "WavLayout",
    "build_broadcast",
    "parse_broadcast",
    "read_layout",
    "wav_header",
]

PCM, FLOAT, EXTENSIBLE = 1, 3, 0xFFFE
SAMPLE_BYTES = {"PCM_16": 2, "PCM_24": 3, "FLOAT": 4}
_UNSAID = 0xFFFFFFFF  # "see ds64" in RF64
_CHUNKS_MAX = 1024
_BROADCAST_MAX = 2**20
_DS64 = struct.Struct("<QQQI")  # RIFF, data, frames, entries of a table we leave empty
_FMT = struct.Struct("<HHIIHH")


@dataclass(frozen=True)
class WavLayout:
    """What a WAV header says and what the file holds.

    Parameters
    ----------
    is_rf64 : bool
        True for RF64, whose sizes have 64 bits.
    format_tag : int
        1 PCM, 3 float; of an extensible header the tag inside it.
    channels, rate, bits, block_align : int
        As written in the header, unchecked: channels, Hz, bits a sample, bytes a frame.
    data_offset : int
        Where the audio begins, in bytes.
    data_bytes_declared, data_bytes_present : int
        Bytes of audio the header claims, and how many of them the file really has.
    broadcast : Broadcast or None
        The broadcast extension.
    trailing_bytes : int
        Bytes after the audio that belong to no chunk.
    broadcast_fault : str
        Why a broadcast extension was not read; "" if there was none or it was.
    """

    is_rf64: bool
    format_tag: int
    channels: int
    rate: int
    bits: int
    block_align: int
    data_offset: int
    data_bytes_declared: int
    data_bytes_present: int
    broadcast: Broadcast | None
    trailing_bytes: int
    broadcast_fault: str = ""

    @property
    def has_placeholder(self) -> bool:
        """True if the size is what a writer puts down before it knows (a pipe, a crash)."""
        size = self.data_bytes_declared
        low = 0x7FFFF000 - max(self.block_align, 1) < size <= 0x80000000
        high = 0xFFFFF000 - max(self.block_align, 1) < size <= _UNSAID
        return (low or high or size >= 2**62) and self.data_bytes_present < size


def read_layout(path: Path) -> WavLayout:
    """Read the header of a WAV file and compare its sizes with the file's own.

    At most 1024 chunks are looked at and at most 1 MiB is read, whatever the header says.

    Parameters
    ----------
    path : Path
        A regular file.

    Returns
    -------
    WavLayout
        Sizes and format as found; it is the caller who judges them.

    Raises
    ------
    StemError
        If it is no regular file, cannot be read, is no WAV, or lacks format or audio.
    """
    try:
        with open(path, "rb", opener=_unblocked) as file:
            return _layout(file, os.fstat(file.fileno()).st_size, path)
    except OSError as error:
        raise _fault(path, f"cannot be read: {error.strerror}") from error


def wav_header(
    rate: int, channels: int, encoding: str, frames: int, broadcast: Broadcast | None = None
) -> bytes:
    """Build all that stands before the audio of a WAV file whose length is known.

    Chunks in order: RIFF, JUNK (as large as ds64), bext, fmt, fact (float only), data. If
    the whole does not fit 32-bit sizes, RIFF becomes RF64 and JUNK becomes ds64; the length
    of the header stays the same. An odd number of audio bytes wants one zero byte after it.
    A coding history of odd length gets a zero byte that counts as part of it, since
    libsndfile 1.2.2 skips no pad bytes in RF64 and finds no audio then.

    Parameters
    ----------
    rate : int
        In Hz.
    channels : int
        1 or 2.
    encoding : str
        "PCM_16", "PCM_24" or "FLOAT".
    frames : int
        How many frames will follow.
    broadcast : Broadcast or None
        The broadcast extension to write.

    Returns
    -------
    bytes
        The header, up to the first byte of audio.

    Raises
    ------
    RenderError
        If an argument is outside the ranges above or a broadcast field is too long.

    Source
    ------
    EBU Tech 3306 v1.1 and ITU-R BS.2088-1 (ds64 takes the place of JUNK).
    """
    _check_writable(rate, channels, encoding, frames)
    data_bytes = frames * channels * SAMPLE_BYTES[encoding]
    chunks = b"" if broadcast is None else _chunk(b"bext", _even(build_broadcast(broadcast)))
    chunks += _format_chunks(rate, channels, encoding, frames)
    riff_bytes = 4 + 8 + _DS64.size + len(chunks) + 8 + data_bytes + (data_bytes & 1)
    if riff_bytes < _UNSAID:
        start = b"RIFF" + struct.pack("<I", riff_bytes) + b"WAVE"
        start += _chunk(b"JUNK", bytes(_DS64.size))
        return start + chunks + b"data" + struct.pack("<I", data_bytes)
    start = b"RF64" + struct.pack("<I", _UNSAID) + b"WAVE"
    start += _chunk(b"ds64", _DS64.pack(riff_bytes, data_bytes, frames, 0))
    return start + chunks + b"data" + struct.pack("<I", _UNSAID)


def _check_writable(rate: int, channels: int, encoding: str, frames: int) -> None:
    if encoding not in SAMPLE_BYTES:
        raise RenderError(f"Expected encoding {', '.join(SAMPLE_BYTES)}; got {encoding}")
    if channels not in (1, 2):
        raise RenderError(f"Expected 1 or 2 channels, got {channels}")
    if not 0 < rate < 2**28:
        raise RenderError(f"Expected a rate from 1 Hz to 268 MHz, got {rate} Hz")
    if not 0 <= frames < 2**59:
        raise RenderError(f"Expected 0 to 2**59 frames, got {frames}")


def _format_chunks(rate: int, channels: int, encoding: str, frames: int) -> bytes:
    size = SAMPLE_BYTES[encoding]
    tag = FLOAT if encoding == "FLOAT" else PCM
    block = channels * size
    fmt = _FMT.pack(tag, channels, rate, rate * block, block, 8 * size)
    if tag == PCM:
        return _chunk(b"fmt ", fmt)
    fact = struct.pack("<I", min(frames, _UNSAID))
    return _chunk(b"fmt ", fmt + bytes(2)) + _chunk(b"fact", fact)


def _chunk(name: bytes, body: bytes) -> bytes:
    return name + struct.pack("<I", len(body)) + body + bytes(len(body) & 1)


def _even(body: bytes) -> bytes:
    return body + bytes(len(body) & 1)


def _layout(file: BinaryIO, size: int, path: Path) -> WavLayout:
    head = file.read(12)
    if head[:4] not in (b"RIFF", b"RF64") or head[8:] != b"WAVE":
        raise _fault(path, "expected a RIFF or RF64 header of kind WAVE")
    found: dict[bytes, tuple[int, int]] = {}
    for name, offset, length in _chunks(file, 12, size):
        found.setdefault(name, (offset, length))
        if name == b"data":
            break
    if b"data" not in found:
        raise _fault(path, f"header only: no data chunk in the file's {size} bytes")
    tag, channels, rate, block_align, bits = _format(file, found, path)
    offset, declared = found[b"data"][0], _declared(file, found, head[:4] == b"RF64")
    present = min(declared, max(size - offset, 0))
    trailing = _after_audio(file, offset + declared, declared & 1, size, found)
    broadcast, fault = _broadcast(file, found.get(b"bext"))
    return WavLayout(
        is_rf64=head[:4] == b"RF64",
        format_tag=tag,
        channels=channels,
        rate=rate,
        bits=bits,
        block_align=block_align,
        data_offset=offset,
        data_bytes_declared=declared,
        data_bytes_present=present,
        broadcast=broadcast,
        trailing_bytes=trailing,
        broadcast_fault=fault,
    )


def _chunks(file: BinaryIO, start: int, size: int) -> Iterator[tuple[bytes, int, int]]:
    """Walk chunk headers: name, offset of the body, declared length of the body."""
    for _ in range(_CHUNKS_MAX):
        file.seek(start)
        head = file.read(8)
        if len(head) < 8:
            return
        length = int.from_bytes(head[4:], "little")
        yield head[:4], start + 8, length
        start += 8 + length + (length & 1)
        if start >= size:
            return


def _format(
    file: BinaryIO, found: dict[bytes, tuple[int, int]], path: Path
) -> tuple[int, int, int, int, int]:
    if b"fmt " not in found:
        raise _fault(path, "no format chunk before the audio")
    offset, length = found[b"fmt "]
    file.seek(offset)
    body = file.read(min(length, 40))
    if len(body) < _FMT.size:
        raise _fault(path, f"format chunk of {len(body)} bytes, expected at least {_FMT.size}")
    tag, channels, rate, _, block_align, bits = _FMT.unpack_from(body)
    if tag == EXTENSIBLE and len(body) >= 26:
        tag = int.from_bytes(body[24:26], "little")
    return tag, channels, rate, block_align, bits


def _declared(file: BinaryIO, found: dict[bytes, tuple[int, int]], is_rf64: bool) -> int:
    length = found[b"data"][1]
    if not is_rf64 or length != _UNSAID or b"ds64" not in found:
        return length
    file.seek(found[b"ds64"][0])
    body = file.read(16)
    return int.from_bytes(body[8:16], "little") if len(body) == 16 else length


def _after_audio(
    file: BinaryIO, end: int, pad: int, size: int, found: dict[bytes, tuple[int, int]]
) -> int:
    """Collect the chunks after the audio; returns how many bytes belong to none."""
    if pad and not _is_chunk(file, end + 1, size) and _is_chunk(file, end, size):
        pad = 0  # a writer that forgot the pad byte
    place = end + pad
    for _ in range(_CHUNKS_MAX):
        if not _is_chunk(file, place, size):
            break
        file.seek(place)
        head = file.read(8)
        length = int.from_bytes(head[4:], "little")
        found.setdefault(head[:4], (place + 8, length))
        place += 8 + length + (length & 1)
    return max(size - place, 0)


def _is_chunk(file: BinaryIO, place: int, size: int) -> bool:
    """Tell whether a chunk with a printable name begins here and ends inside the file."""
    if place + 8 > size:
        return False
    file.seek(place)
    head = file.read(8)
    length = int.from_bytes(head[4:], "little")
    return all(32 <= byte < 127 for byte in head[:4]) and place + 8 + length <= size


def _broadcast(file: BinaryIO, place: tuple[int, int] | None) -> tuple[Broadcast | None, str]:
    if place is None:
        return None, ""
    offset, length = place
    file.seek(offset)
    body = file.read(length) if FIXED_BYTES <= length <= _BROADCAST_MAX else b""
    if len(body) < length or not body:
        wanted = f"expected {FIXED_BYTES} bytes to 1 MiB"
        return None, f"broadcast extension of {length} bytes left out: {wanted}"
    return parse_broadcast(body), ""


def _unblocked(path: str, flags: int) -> int:
    """Open a regular file, and nothing that could keep us waiting or do something."""
    handle = os.open(path, flags | os.O_NONBLOCK)
    if stat.S_ISREG(os.fstat(handle).st_mode):
        return handle
    os.close(handle)
    raise OSError(0, "expected a regular file, found a folder, pipe or device")


def _fault(path: Path, what: str) -> StemError:
    return StemError(Fault(what, file=str(path)))
