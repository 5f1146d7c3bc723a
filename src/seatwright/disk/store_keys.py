"""Keys of the store: digests of everything that a result follows from, this program included."""

from __future__ import annotations

import hashlib
import platform
from collections.abc import Mapping
from dataclasses import fields, is_dataclass
from functools import cache
from importlib.metadata import version
from pathlib import Path
from typing import Any, Protocol
from weakref import WeakKeyDictionary

import numpy as np
import scipy
import soundfile
import soxr
from pydantic import BaseModel

_COMPUTED_WITH: tuple[Any, ...] = (np, scipy, soundfile, soxr)


class _Digest(Protocol):
    def update(self, data: bytes, /) -> None: ...


def key_of(kind: str, *things: Any) -> str:
    """Digest of a kind of result, of this program, and of things.

    Parameters
    ----------
    kind : str
    things : str, bytes, number, None, ndarray, dataclass, tuple, list or mapping, nested
        Descriptions; numbers count by every bit.

    Returns
    -------
    str
        64 hexadecimal digits.

    Raises
    ------
    TypeError
        For anything else, which may not tell all that it is.
    """
    digest = hashlib.sha256(engine_digest().encode())
    _feed(digest, (kind, *things))
    return digest.hexdigest()


def _feed(digest: _Digest, thing: Any) -> None:
    if thing is None or isinstance(thing, str | bytes | bool | int | float):
        _feed_plain(digest, thing)
    elif isinstance(thing, np.ndarray):
        digest.update(f"array {thing.dtype.str} {thing.shape} ".encode())
        digest.update(np.ascontiguousarray(thing).tobytes())
    elif is_dataclass(thing) and not isinstance(thing, type):
        _feed_description(digest, thing)
    elif isinstance(thing, BaseModel):
        _feed(digest, (f"{type(thing).__module__}.{type(thing).__qualname__}", thing.__dict__))
    elif isinstance(thing, tuple | list):
        digest.update(f"row {len(thing)} ".encode())
        for each in thing:
            _feed(digest, each)
    elif isinstance(thing, Mapping):
        digest.update(f"map {len(thing)} ".encode())
        for name in sorted(thing):
            _feed(digest, name)
            _feed(digest, thing[name])
    else:
        raise TypeError(f"found {type(thing).__name__}, wanted plain data or a description")


def _feed_plain(digest: _Digest, thing: str | bytes | float | None) -> None:
    if isinstance(thing, float):
        text = float(thing).hex().encode()  # NumPy's own float64 is one too
    elif isinstance(thing, bytes):
        text = thing
    else:
        text = str(thing).encode("utf-8", "surrogatepass")
    kind = "float" if isinstance(thing, float) else type(thing).__name__
    digest.update(f"{kind} {len(text)} ".encode() + text)


_KNOWN: WeakKeyDictionary[Any, bytes] = WeakKeyDictionary()
"""Digests of descriptions that hold arrays: a head is some megabytes and asked for often."""


def _feed_description(digest: _Digest, thing: Any) -> None:
    heavy = any(isinstance(getattr(thing, each.name), np.ndarray) for each in fields(thing))
    if heavy and thing in _KNOWN:
        digest.update(_KNOWN[thing])
        return
    own = hashlib.sha256(f"{type(thing).__module__}.{type(thing).__qualname__}".encode())
    for each in fields(thing):
        _feed(own, each.name)
        _feed(own, getattr(thing, each.name))
    if heavy:
        _KNOWN[thing] = own.digest()
    digest.update(own.digest())


@cache
def engine_digest() -> str:
    """Digest of this program's own files, of what it computes with, and of the machine's kind.

    A change of any line makes all keys new: nobody can forget to count a version up.
    """
    digest = hashlib.sha256()
    package = Path(__file__).parent.parent
    for path in sorted(package.rglob("*")):
        if path.suffix in (".py", ".npz", ".toml", ".tsv", ".csv", ".json") and path.is_file():
            name = path.relative_to(package).as_posix()
            _feed(digest, (name, path.read_bytes()))
    _feed(digest, {module.__name__: module.__version__ for module in _COMPUTED_WITH})
    _feed(digest, version("pyroomacoustics"))  # its table of materials
    _feed(digest, (platform.python_version(), platform.machine(), platform.system()))
    return digest.hexdigest()
