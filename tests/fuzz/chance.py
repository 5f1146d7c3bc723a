"""Bytes made worse by chance: small damage that every kind of file can suffer."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from random import Random
from typing import TypeVar

Item = TypeVar("Item")

INTERESTING = (
    0, 1, 2, 3, 4, 7, 8, 16, 32, 64, 127, 128, 255, 256, 1024, 32767, 32768, 65535, 65536,
    2**31 - 1, 2**31, 2**32 - 2, 2**32 - 1, 2**32, 2**53, 2**63 - 1, 2**63, 2**64 - 1,
)  # fmt: skip
"""Numbers at the edges of what fields hold."""

_BYTES = (b"\0", b"\xff", b"\x1b[2J", b"\r", b"\n", b"\xe2\x80\xae", b"\xed\xa0\x80",
          b"\xef\xbb\xbf", b"\xf4\x90\x80\x80", b"\xc2\x85", b"\xe2\x80\xa8",
          b"\xef\xbf\xbf")  # fmt: skip


def damaged(data: bytes, chance: Random, most: int = 4) -> bytes:
    """Bytes with one to `most` small injuries."""
    for _ in range(chance.randint(1, most)):
        data = chance.choice(_INJURIES)(data, chance)
    return data


def few(chance: Random, most: int) -> int:
    """A number from 1 to `most`, mostly a low one."""
    return min(most, 1 + int(chance.expovariate(0.7)))


def spliced(items: Sequence[Item], others: Sequence[Item], chance: Random) -> list[Item]:
    """The begin of one sequence and the end of another."""
    return [*items[: chance.randint(0, len(items))], *others[chance.randint(0, len(others)) :]]


def _place(data: bytes, chance: Random) -> int:
    """A place in the bytes; the begin, where headers stand, more often."""
    end = len(data) if chance.random() < 0.5 else min(len(data), 96)
    return chance.randint(0, end)


def _flipped(data: bytes, chance: Random) -> bytes:
    if not data:
        return data
    place = min(_place(data, chance), len(data) - 1)
    return data[:place] + bytes([data[place] ^ 1 << chance.randrange(8)]) + data[place + 1 :]


def _overwritten(data: bytes, chance: Random) -> bytes:
    place = _place(data, chance)
    new = chance.randbytes(chance.choice((1, 1, 2, 4, 8)))
    return data[:place] + new + data[place + len(new) :]


def _numbered(data: bytes, chance: Random) -> bytes:
    """An interesting number over what stood there, in either order of bytes."""
    place, size = _place(data, chance), chance.choice((1, 2, 4, 8))
    value = chance.choice(INTERESTING) % 2 ** (8 * size)
    new = value.to_bytes(size, chance.choice(("little", "big")))
    return data[:place] + new + data[place + size :]


def _cut(data: bytes, chance: Random) -> bytes:
    return data[: _place(data, chance)]


def _without(data: bytes, chance: Random) -> bytes:
    place = _place(data, chance)
    return data[:place] + data[place + chance.choice((1, 2, 3, 4, 8, 16, 64)) :]


def _inserted(data: bytes, chance: Random) -> bytes:
    place = _place(data, chance)
    new = chance.choice(_BYTES) if chance.random() < 0.5 else chance.randbytes(few(chance, 16))
    return data[:place] + new + data[place:]


def _repeated(data: bytes, chance: Random) -> bytes:
    first = _place(data, chance)
    piece = data[first : first + chance.choice((1, 2, 4, 8, 24, 64))]
    return data[:first] + piece * few(chance, 8) + data[first:]


def _swapped(data: bytes, chance: Random) -> bytes:
    first, size = _place(data, chance), chance.choice((1, 2, 4, 8, 24))
    one, two = data[first : first + size], data[first + size : first + 2 * size]
    return data[:first] + two + one + data[first + 2 * size :]


_INJURIES: tuple[Callable[[bytes, Random], bytes], ...] = (
    _flipped, _overwritten, _numbered, _cut, _without, _inserted, _repeated, _swapped,
)  # fmt: skip
