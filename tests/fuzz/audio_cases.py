"""Stems: WAV, RF64, AIFF and FLAC whose headers lie, read as a render reads them."""

from __future__ import annotations

import struct
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from io import BytesIO
from pathlib import Path
from random import Random
from zlib import crc32

import numpy as np
import soundfile

from fuzz.chance import INTERESTING, damaged, few
from seatwright.disk.broadcast import Broadcast, build_broadcast
from seatwright.disk.stems import StemReader, inspect_stem, scan_floats, verify_stem
from seatwright.errors import Fault

_TAGS = (0, 1, 2, 3, 6, 7, 0x11, 0x55, 0x161, 0xFFFE, 0xFFFF)
_BITS = (0, 1, 7, 8, 12, 16, 20, 24, 32, 64, 65535)
_RATES = (0, 1, 7999, 8000, 44100, 48000, 96000, 384000, 384001, 2**31, 2**32 - 1)
_COUNTS = (0, 1, 2, 3, 8, 255, 256, 32767, 65535)
_NAMES = (b"fmt ", b"data", b"bext", b"ds64", b"JUNK", b"fact", b"LIST", b"iXML", b"cue ",
         b"PEAK", b"\0\0\0\0", b"\xff\xff\xff\xff", b"COMM", b"SSND", b"FORM",
          b"NAME", b"RIFF")  # fmt: skip
_COMPRESSIONS = (b"NONE", b"sowt", b"twos", b"raw ", b"in24", b"in32", b"42n1", b"23ni", b"fl32",
                 b"FL32", b"fl64", b"FL64", b"ulaw", b"ima4", b"\x1b[2J", b"\0\0\0\0")  # fmt: skip
_STARTS = (b"RIFX", b"BW64", b"caff", b"riff", b"OggS", b"ID3\x03", b"\xff\xfb", b"FORM", b"text")


@dataclass(frozen=True)
class Chunk:
    """A chunk whose declared size need not be its own."""

    name: bytes
    body: bytes
    lie: int | None = None
    pads: bool = True

    def packed(self, order: str) -> bytes:
        size = len(self.body) if self.lie is None else self.lie % 2**32
        pad = bytes(len(self.body) & 1) if self.pads else b""
        return self.name + struct.pack(f"{order}I", size) + self.body + pad


class AudioTarget:
    """Bytes of a stem's file."""

    name = "audio"

    def __init__(self, scratch: Path):
        self.path = scratch / "stem.wav"
        self.flacs = list(_encoded("FLAC", ("PCM_S8", "PCM_16", "PCM_24")))
        self.others = [*_encoded("WAV", ("PCM_16", "PCM_24", "FLOAT", "DOUBLE", "PCM_U8", "ULAW")),
                       *_encoded("AIFF", ("PCM_16", "PCM_24", "FLOAT", "PCM_S8")),
                       *_encoded("RF64", ("PCM_24",)), *_encoded("WAVEX", ("PCM_24", "FLOAT")),
                       *_encoded("W64", ("PCM_16",)), *_encoded("CAF", ("PCM_16",))]  # fmt: skip

    def make(self, chance: Random) -> bytes:
        """Half of them made of chunks, the others damaged files of a real encoder."""
        kind = chance.random()
        if kind < 0.45:
            data = _wav(chance)
        elif kind < 0.65:
            data = _aiff(chance)
        elif kind < 0.85:
            data = damaged(chance.choice(self.flacs), chance)
        else:
            data = damaged(chance.choice(self.others), chance)
        if chance.random() < 0.15:
            data = damaged(data, chance, 2)
        return data

    def run(self, data: bytes) -> Iterable[Fault | str]:
        """Inspect, then decode everything; a resampled stretch now and then."""
        self.path.write_bytes(data)
        chosen = crc32(data)
        stem, told = inspect_stem(self.path, allow_truncated=bool(chosen & 1))
        told += scan_floats(stem, full=bool(chosen & 2))
        verify_stem(stem)
        rate = 48_000 if chosen % 16 == 0 and stem.rate < 200_000 else stem.rate
        with StemReader(stem, rate) as reader:
            for start in (0, reader.frames - 1, -5, reader.frames // 2):
                assert reader.read(start, 64).shape == (64, stem.channels)
        return told


def _encoded(kind: str, subtypes: Sequence[str]) -> Iterable[bytes]:
    rng = np.random.default_rng(1)
    for subtype in subtypes:
        for channels, frames, rate in ((1, 30, 44_100), (2, 700, 48_000), (2, 5000, 96_000)):
            file = BytesIO()
            samples = rng.uniform(-0.1, 0.1, (frames, channels)) * (frames < 5000)
            soundfile.write(file, samples, rate, subtype, format=kind)
            yield file.getvalue()


def _wav(chance: Random) -> bytes:
    tag, bits = chance.choice(((1, 16), (1, 24), (3, 32), (1, 32), (3, 64), (1, 8)))
    channels, rate = chance.choice((1, 1, 2, 2, 3)), chance.choice((44_100, 48_000, 96_000))
    frames = chance.choice((0, 1, 2, 10, 100, 300))
    audio = _samples(frames * channels * bits // 8, chance)
    fields = [tag, channels, rate, rate * channels * bits // 8, channels * bits // 8, bits]
    if chance.random() < 0.3:
        field = chance.randrange(6)
        pool = (_TAGS, _COUNTS, _RATES, _RATES, _COUNTS, _BITS)[field]
        fields[field] = chance.choice(pool) % (2**32 if field in (2, 3) else 2**16)
    fmt = struct.pack("<HHIIHH", *fields)
    if chance.random() < 0.2:
        extensible = struct.pack("<HHIH", 22, fields[5], 3, fields[0]) + chance.randbytes(14)
        fmt = struct.pack("<H", 0xFFFE) + fmt[2:] + extensible
    chunks = [Chunk(b"fmt ", fmt), Chunk(b"data", audio)]
    if chance.random() < 0.3:
        chunks.insert(chance.randint(0, 2), Chunk(b"bext", _bext(chance)))
    is_rf64 = chance.random() < 0.25
    if is_rf64:
        sizes = [chance.choice((len(audio), *INTERESTING)) % 2**64 for _ in range(3)]
        chunks.insert(0, Chunk(b"ds64", struct.pack("<QQQI", *sizes, 0)))
        chunks[-1] = replace(chunks[-1], lie=2**32 - 1)
    start = b"RF64" if is_rf64 else b"RIFF"
    return _form(start, b"WAVE", _worse(chunks, chance), "<", chance)


def _aiff(chance: Random) -> bytes:
    kind = chance.choice((b"AIFF", b"AIFC"))
    bits, channels = chance.choice((8, 16, 24, 32, 64)), chance.choice((1, 2))
    frames, rate = chance.choice((0, 1, 5, 100)), chance.choice((44_100, 48_000))
    audio = _samples(frames * channels * bits // 8, chance)
    raw = _extended(rate)
    if chance.random() < 0.1:
        raw = chance.choice((chance.randbytes(10), bytes(10), b"\x7f\xff" + raw[2:], _extended(3)))
    if chance.random() < 0.2:
        frames = chance.choice(INTERESTING) % 2**32
    if chance.random() < 0.1:
        bits, channels = chance.choice(_BITS), chance.choice(_COUNTS)
    common = struct.pack(">HLH", channels % 2**16, frames, bits % 2**16) + raw
    if kind == b"AIFC":
        common += chance.choice(_COMPRESSIONS) + b"\0\0"
    skip = 0 if chance.random() < 0.8 else chance.choice(INTERESTING) % 2**32
    chunks = [Chunk(b"COMM", common), Chunk(b"SSND", struct.pack(">LL", skip, 0) + audio)]
    return _form(b"FORM", kind, _worse(chunks, chance), ">", chance)


def _worse(chunks: list[Chunk], chance: Random) -> list[Chunk]:
    """Chunks that lie, are missing, come twice or in another order."""
    for _ in range(chance.choice((0, 0, 1, 1, 2, 3))):
        if not chunks:
            break
        place = chance.randrange(len(chunks))
        one = chunks[place]
        match chance.randrange(7):
            case 0:
                near = len(one.body) + chance.randint(-3, 3)
                one = replace(one, lie=chance.choice((near, *INTERESTING)))
            case 1:
                one = replace(one, body=one.body[: chance.randint(0, len(one.body))])
            case 2:
                one = replace(one, body=one.body + chance.randbytes(few(chance, 20)))
            case 3:
                one = replace(one, name=chance.choice(_NAMES))
            case 4:
                one = replace(one, pads=False)
            case 5:
                chance.shuffle(chunks)
                continue
            case _:
                extra = Chunk(chance.choice(_NAMES), chance.randbytes(chance.choice((0, 1, 4, 40))))
                chunks = [
                    *chunks[:place],
                    *[extra] * chance.choice((1, 1, 2, 1100)),
                    *chunks[place:],
                ]
                continue
        chunks = [*chunks[:place], one, *chunks[place + chance.choice((1, 1, 1, 0)) :]]
    return chunks


def _form(start: bytes, kind: bytes, chunks: Sequence[Chunk], order: str, chance: Random) -> bytes:
    body = kind + b"".join(chunk.packed(order) for chunk in chunks)
    size = len(body) if chance.random() < 0.8 else chance.choice(INTERESTING) % 2**32
    if chance.random() < 0.02:
        start = chance.choice(_STARTS)
    data = start[:4].ljust(4) + struct.pack(f"{order}I", size) + body
    if chance.random() < 0.15:
        data = data[: chance.randint(0, len(data))]
    if chance.random() < 0.1:
        data += chance.randbytes(chance.choice((1, 2, 3, 8, 100)))
    return data


def _samples(size: int, chance: Random) -> bytes:
    """Silence, noise of any bits (NaN among them), or one pattern."""
    kind = chance.randrange(4)
    if kind == 0:
        return chance.randbytes(size)
    pattern = (bytes(8), b"\0\0\xc0\x7f\x7f\xc0\0\0", struct.pack("<ff", 0.25, 1.5))[kind - 1]
    return (pattern * (size // 8 + 1))[:size]


def _bext(chance: Random) -> bytes:
    body = build_broadcast(
        Broadcast(
            description="\x1b[2J a stem",
            time_reference=chance.choice(INTERESTING) % 2**64,
            coding_history="A=PCM\r\n" * chance.choice((0, 1, 300)),
        )
    )
    return damaged(body, chance) if chance.random() < 0.4 else body


def _extended(rate: int) -> bytes:
    """A whole number as an 80-bit float."""
    power = rate.bit_length() - 1
    return struct.pack(">HQ", 16383 + power, rate << (63 - power))


def target(scratch: Path) -> AudioTarget:
    """The target in a folder."""
    return AudioTarget(scratch)
