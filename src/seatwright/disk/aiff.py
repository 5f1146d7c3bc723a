"""AIFF and AIFF-C files byte by byte: what a header says and what the file holds.

Audio itself is decoded elsewhere. All integers are big endian; chunks stand in any order and
begin at even places.

Source: Apple Computer, "Audio Interchange File Format: AIFF", version 1.3 (1989), and
"AIFF-C", draft of 1991: chunks COMM and SSND.
"""

from __future__ import annotations

import os
import struct
from dataclasses import dataclass
from pathlib import Path
from typing import BinaryIO

from seatwright.errors import Fault, StemError

UNCOMPRESSED = "NONE"
_CHUNKS_MAX = 1024
_COMMON = struct.Struct(">hLh10s")
_SOUND = struct.Struct(">LL")
_EXPONENT_OF_ONE = 16383 + 63


@dataclass(frozen=True)
class AiffLayout:
    """What an AIFF header says and what the file holds.

    Parameters
    ----------
    compression : str
        Four characters of AIFF-C such as "sowt" or "fl32"; "NONE" for AIFF.
    channels, bits : int
        As written in the header, unchecked.
    rate : float
        In Hz, as written; 0 where the number makes no sense.
    frames_declared : int
        As COMM says.
    data_bytes_declared, data_bytes_present : int
        Bytes of audio SSND claims, and how many of them the file really has.
    bytes_after : int
        Bytes the file holds from the first byte of audio on.
    """

    compression: str
    channels: int
    bits: int
    rate: float
    frames_declared: int
    data_bytes_declared: int
    data_bytes_present: int
    bytes_after: int

    @property
    def block_align(self) -> int:
        """Bytes a frame."""
        return self.channels * -(-self.bits // 8)

    @property
    def frames_present(self) -> int:
        """Whole frames the file holds, at most as many as COMM declares."""
        return min(self.frames_declared, self.data_bytes_present // max(self.block_align, 1))


def read_aiff(path: Path) -> AiffLayout:
    """Read the header of an AIFF file and compare its sizes with the file's own.

    At most 1024 chunks are looked at.

    Parameters
    ----------
    path : Path
        A regular file.

    Returns
    -------
    AiffLayout
        Sizes and format as found; it is the caller who judges them.

    Raises
    ------
    StemError
        If it cannot be read, is no AIFF, or lacks format or audio.
    """
    try:
        with path.open("rb") as file:
            return _layout(file, os.fstat(file.fileno()).st_size, path)
    except OSError as error:
        raise _fault(path, f"cannot be read: {error.strerror}") from error


def _layout(file: BinaryIO, size: int, path: Path) -> AiffLayout:
    head = file.read(12)
    if head[:4] != b"FORM" or head[8:] not in (b"AIFF", b"AIFC"):
        raise _fault(path, "expected a FORM header of kind AIFF or AIFC")
    chunks = _chunks(file, size)
    if b"COMM" not in chunks:
        raise _fault(path, f"header only: no COMM chunk in the file's {size} bytes")
    channels, frames, bits, rate, compression = _common(file, chunks[b"COMM"], path)
    if b"SSND" not in chunks:
        if frames == 0:
            raise _fault(path, "no audio: 0 frames")
        raise _fault(path, f"header only: no SSND chunk, expected {frames} frames")
    start, length = chunks[b"SSND"]
    file.seek(start)
    body = file.read(_SOUND.size)
    if len(body) < _SOUND.size:
        raise _fault(path, f"header only: 0 frames follow, expected {frames}")
    skipped = _SOUND.size + _SOUND.unpack(body)[0]
    after = max(size - start - skipped, 0)
    declared = max(length - skipped, 0)
    return AiffLayout(
        compression, channels, bits, rate, frames, declared, min(declared, after), after
    )


def _chunks(file: BinaryIO, size: int) -> dict[bytes, tuple[int, int]]:
    """Name of each chunk with offset and declared length of its body; the first of each name."""
    found: dict[bytes, tuple[int, int]] = {}
    place = 12
    for _ in range(_CHUNKS_MAX):
        file.seek(place)
        head = file.read(8)
        if len(head) < 8:
            break
        length = int.from_bytes(head[4:], "big")
        found.setdefault(head[:4], (place + 8, length))
        place += 8 + length + (length & 1)
        if place >= size:
            break
    return found


def _common(file: BinaryIO, place: tuple[int, int], path: Path) -> tuple[int, int, int, float, str]:
    offset, length = place
    file.seek(offset)
    body = file.read(min(length, _COMMON.size + 4))
    if len(body) < _COMMON.size:
        raise _fault(path, f"COMM chunk of {len(body)} bytes, expected at least {_COMMON.size}")
    channels, frames, bits, rate = _COMMON.unpack_from(body)
    compression = body[_COMMON.size :].decode("latin-1") or UNCOMPRESSED
    return channels, frames, bits, _extended(rate), compression


def _extended(raw: bytes) -> float:
    """An 80-bit float of IEEE 754: sign and exponent in 16 bits, then 64 bits of mantissa."""
    exponent = int.from_bytes(raw[:2], "big")
    mantissa = int.from_bytes(raw[2:], "big")
    if not 16383 - 64 < exponent < 16383 + 64:  # negative, tiny, huge or no number at all
        return 0.0
    return mantissa * 2.0 ** (exponent - _EXPONENT_OF_ONE)


def _fault(path: Path, what: str) -> StemError:
    return StemError(Fault(what, file=str(path)))
