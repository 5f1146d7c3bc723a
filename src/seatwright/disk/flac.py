"""FLAC files byte by byte: does the header agree with the first and the last frame of audio.

Every frame guards itself by checksums, which the decoder compares; rate and length in the header
are guarded by nothing, so that one flipped bit there would change pitch or cut the end in silence.

Source: RFC 9639, sections 8.2 (STREAMINFO) and 9.1 (frame header).
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path

from seatwright.errors import Fault, StemError

_BLOCKS_MAX = 1024
_TAIL_BYTES = 2**20
_TRIED_MAX = 64
_RATES = (0, 88200, 176400, 192000, 8000, 16000, 22050, 24000, 32000, 44100, 48000, 96000)
_HEAD_BYTES = 16
"""The longest frame header."""


@dataclass(frozen=True)
class FrameHead:
    """What the header of one frame says.

    Parameters
    ----------
    is_variable : bool
        Whether `number` counts samples rather than frames.
    number : int
    block : int
        Samples in this frame.
    rate : int
        In Hz; 0 where the frame leaves it to the file's header.
    """

    is_variable: bool
    number: int
    block: int
    rate: int


def flac_faults(path: Path) -> list[Fault]:
    """Compare rate and length in a FLAC header with its first and last frame.

    A frame is taken for one if its own checksums hold. Where none is found, as before a tag at
    the end of the file, there is nothing to compare.

    Parameters
    ----------
    path : Path
        A file that begins with "fLaC".

    Returns
    -------
    list of Fault

    Raises
    ------
    StemError
        If the file cannot be read.
    """
    try:
        info, first, tail = _read_ends(path)
    except OSError as error:
        raise StemError(Fault(f"cannot be read: {error.strerror}", file=str(path))) from error
    head, last = frame_head(first), last_frame(tail)
    if len(info) < 18 or head is None:
        return []
    rate = int.from_bytes(info[10:13], "big") >> 4
    frames = int.from_bytes(info[13:18], "big") & (2**36 - 1)
    said = []
    if head.rate and head.rate != rate:
        said.append(f"header says {rate} Hz, its frames {head.rate} Hz")
    if last is not None and 0 < frames != (found := _end_of(last, head.block)):
        said.append(f"header says {frames} frames, the last one ends at {found}")
    return [Fault(what, file=str(path), hint="export the stem again") for what in said]


def frame_head(data: bytes) -> FrameHead | None:
    """Read the frame header that `data` begins with; None where there is none.

    Parameters
    ----------
    data : bytes
        16 bytes or more, less only at the end of a file.

    Returns
    -------
    FrameHead or None
        None as well if its checksum does not hold.
    """
    if len(data) < 6 or data[0] != 0xFF or data[1] not in (0xF8, 0xF9):
        return None
    block_code, rate_code = data[2] >> 4, data[2] & 15
    number, place = _coded_number(data)
    if not block_code or rate_code == 15 or not place:
        return None
    block_bytes = {6: 1, 7: 2}.get(block_code, 0)
    rate_bytes = {12: 1, 13: 2, 14: 2}.get(rate_code, 0)
    block_end = place + block_bytes
    end = block_end + rate_bytes
    if len(data) <= end or _crc(data[:end], 0x07, 8) != data[end]:
        return None
    block = _block_size(block_code, int.from_bytes(data[place:block_end], "big"))
    rate = _rate(rate_code, int.from_bytes(data[block_end:end], "big"))
    return FrameHead(data[1] == 0xF9, number, block, rate)


def last_frame(tail: bytes) -> FrameHead | None:
    """Find the frame that ends where `tail` ends; None where no checksum says so."""
    tried, place = 0, len(tail)
    while tried < _TRIED_MAX and (place := _sync_before(tail, place)) >= 0:
        head = frame_head(tail[place : place + _HEAD_BYTES])
        if head is None:
            continue
        tried += 1
        if _crc(tail[place:], 0x8005, 16) == 0:  # the checksum of data and checksum is 0
            return head
    return None


def _read_ends(path: Path) -> tuple[bytes, bytes, bytes]:
    """STREAMINFO, the begin of the first frame, and the file's end."""
    with path.open("rb") as file:
        file.seek(8)
        info = file.read(34)
        file.seek(4)
        for _ in range(_BLOCKS_MAX):
            head = file.read(4)
            file.seek(int.from_bytes(head[1:], "big"), 1)
            if len(head) < 4 or head[0] & 0x80:
                break
        audio = file.tell()
        first = file.read(_HEAD_BYTES)
        file.seek(0, 2)
        file.seek(max(audio, file.tell() - _TAIL_BYTES))
        return info, first, file.read(_TAIL_BYTES)


def _end_of(last: FrameHead, block: int) -> int:
    start = last.number if last.is_variable else last.number * block
    return start + last.block


def _sync_before(data: bytes, place: int) -> int:
    return max(data.rfind(mark, 0, place + 1) for mark in (b"\xff\xf8", b"\xff\xf9"))


def _coded_number(data: bytes) -> tuple[int, int]:
    """The frame's number, coded as UTF-8 codes letters, and where it ends; 0, 0 if it is none."""
    first = data[4]
    if first < 0x80:
        return first, 5
    more = 7 - (first ^ 0xFF).bit_length()
    if not 1 <= more <= 6 or len(data) < 5 + more:
        return 0, 0
    number = first & (2 ** (6 - more) - 1)
    for byte in data[5 : 5 + more]:
        if byte & 0xC0 != 0x80:
            return 0, 0
        number = number << 6 | byte & 0x3F
    return number, 5 + more


def _block_size(code: int, written: int) -> int:
    if code in (6, 7):
        return written + 1
    if code >= 8:
        return 256 << (code - 8)
    return 192 if code == 1 else 144 << code


def _rate(code: int, written: int) -> int:
    if code < 12:
        return _RATES[code]
    return written * {12: 1000, 13: 1, 14: 10}[code]


def _crc(data: bytes, polynomial: int, bits: int) -> int:
    table, mask, value = _crc_table(polynomial, bits), 2**bits - 1, 0
    for byte in data:
        value = (value << 8 & mask) ^ table[value >> (bits - 8) ^ byte]
    return value


@lru_cache(maxsize=2)
def _crc_table(polynomial: int, bits: int) -> tuple[int, ...]:
    """Checksum of each single byte."""
    table = []
    for byte in range(256):
        value = byte << (bits - 8)
        for _ in range(8):
            carry = value >> (bits - 1)
            value = (value << 1 & (2**bits - 1)) ^ (polynomial if carry else 0)
        table.append(value)
    return tuple(table)
