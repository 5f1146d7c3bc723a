"""A file of results: arrays one after the other, then what they are, each with its checksum.

Layout: the arrays' bytes; an index as JSON; the index's length in eight bytes, its checksum in
sixteen, the format's name in eight. Written under a temporary name, so that a file is whole or
absent; whatever changes in it afterwards is noticed when it is read. Checksums are XXH3 of 128
bits: against mishaps, not against malice.
"""

from __future__ import annotations

import json
import os
import sys
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager, suppress
from errno import EINVAL
from io import FileIO
from math import prod
from pathlib import Path
from stat import S_ISREG
from threading import Lock
from typing import Any

import numpy as np
import xxhash
from numpy.typing import NDArray

if sys.platform != "win32":
    import fcntl

FORMAT = b"swkept-1"
_TAIL = 8 + 16 + len(FORMAT)
_MOST_INDEX = 64 * 2**20
_MOST_AXES = 8


def open_regular(path: Path) -> FileIO:
    """A file to be read; OSError also for a pipe or a device, which could keep one waiting."""

    def without_waiting(name: str, flags: int) -> int:
        return os.open(name, flags | getattr(os, "O_NONBLOCK", 0))

    file = open(path, "rb", buffering=0, opener=without_waiting)  # noqa: SIM115
    try:
        if not S_ISREG(os.fstat(file.fileno()).st_mode):
            raise OSError(EINVAL, "no regular file", str(path))
    except BaseException:
        file.close()
        raise
    return file


def mark_in_use(file: FileIO) -> None:
    """Lock a file as long as it is open, where the system can: whoever writes it is alive."""
    if sys.platform != "win32":
        with suppress(OSError):
            fcntl.flock(file, fcntl.LOCK_EX | fcntl.LOCK_NB)


def is_in_use(path: Path) -> bool:
    """Whether somebody has marked a file; False where the system cannot tell."""
    if sys.platform == "win32":
        return False
    try:
        with open_regular(path) as file:
            fcntl.flock(file, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except BlockingIOError:
        return True
    except OSError:
        return False
    return False


class DamagedFile(Exception):
    """A file of results that is not what was written; says what was found."""

    def __init__(self, path: Path, found: str):
        super().__init__(f"{path}: {found}")
        self.path, self.found = path, found


class KeptWriter:
    """Writes one file of results, array by array.

    Parameters
    ----------
    path : Path
        Its name once it is whole.
    temporary : Path
        Its name until then, in the same folder; must not exist.

    Raises
    ------
    OSError
        If the disk refuses; so do all methods.
    """

    def __init__(self, path: Path, temporary: Path):
        self.path, self.temporary = path, temporary
        self._arrays: list[dict[str, Any]] = []
        self._bytes = 0
        self._file: FileIO | None = temporary.open("xb", buffering=0)
        mark_in_use(self._file)

    def add(self, array: NDArray[Any]) -> int:
        """Append an array; its number."""
        plain = np.asarray(array, order="C")
        data = _data(plain)
        row = {
            "type": plain.dtype.str,
            "shape": list(plain.shape),
            "begin": self._bytes,
            "check": xxhash.xxh3_128_hexdigest(data),
        }
        self._append(data)
        self._arrays.append(row)
        return len(self._arrays) - 1

    def finish(self, facts: Mapping[str, Any], name: bool = True) -> None:
        """Write the index and give the file its name.

        Parameters
        ----------
        facts : mapping
            Plain data as JSON holds it, also infinite numbers and NaN.
        name : bool
            False leaves the file under its temporary name.
        """
        index = json.dumps({"facts": facts, "arrays": self._arrays}).encode()
        check = xxhash.xxh3_128_digest(index)
        self._append(memoryview(index + len(index).to_bytes(8, "little") + check + FORMAT))
        self._close()
        if name:
            self.temporary.replace(self.path)

    def abandon(self) -> None:
        """Remove what was written; nothing after `finish`."""
        if self._file is not None:
            self._close()
            with suppress(OSError):
                self.temporary.unlink(missing_ok=True)

    def written(self) -> Iterator[NDArray[Any]]:
        """Every array so far, read back."""
        with self.temporary.open("rb", buffering=0) as file:
            for row in self._arrays:
                array = np.empty(row["shape"], row["type"])
                _fill(array, file, self.temporary, row["begin"])
                yield _checked(array, self.temporary, row)

    def _append(self, data: memoryview) -> None:
        assert self._file is not None
        whole = len(data)
        while data:
            data = data[self._file.write(data) :]
        self._bytes += whole

    def _close(self) -> None:
        if self._file is not None:
            file, self._file = self._file, None
            file.close()


class KeptReader:
    """Reads a file of results; several threads may.

    Parameters
    ----------
    path : Path

    Attributes
    ----------
    facts : dict

    Raises
    ------
    OSError
        If it cannot be opened.
    DamagedFile
        If its index is not what was written.
    """

    def __init__(self, path: Path):
        self.path = path
        self._file = open_regular(path)
        self._lock = Lock()
        try:
            self.facts, self._arrays = _index(self._file, path)
        except BaseException:
            self.close()
            raise

    def __len__(self) -> int:
        return len(self._arrays)

    def read(self, number: int, into: NDArray[Any] | None = None) -> NDArray[Any]:
        """An array, as it was written.

        Parameters
        ----------
        number : int
        into : ndarray, optional
            Memory for it, used where it fits; fresh memory costs as much as reading.

        Raises
        ------
        DamagedFile
            If it is not, or cannot be read.
        """
        if type(number) is not int or not 0 <= number < len(self._arrays):
            raise DamagedFile(self.path, f"no array {number!r} among {len(self._arrays)}")
        row = self._arrays[number]
        kind, shape = np.dtype(row["type"]), tuple(row["shape"])
        array = into
        if into is None or into.dtype != kind or into.shape != shape:
            array = np.empty(shape, kind)
        assert array is not None
        with self._lock:
            _fill(array, self._file, self.path, row["begin"])
        return _checked(array, self.path, row)

    def close(self) -> None:
        """Let go of the file."""
        self._file.close()


@contextmanager
def opened(path: Path) -> Iterator[KeptReader]:
    """A reader that is closed at the end."""
    reader = KeptReader(path)
    try:
        yield reader
    finally:
        reader.close()


def write_kept(
    path: Path, temporary: Path, facts: Mapping[str, Any], arrays: Sequence[NDArray[Any]] = ()
) -> None:
    """Write a whole file of results; OSError if the disk refuses, nothing is left then."""
    writer = KeptWriter(path, temporary)
    try:
        for array in arrays:
            writer.add(array)
        writer.finish(facts)
    finally:
        writer.abandon()


def _index(file: FileIO, path: Path) -> tuple[dict[str, Any], list[dict[str, Any]]]:
    size = file.seek(0, os.SEEK_END)
    tail = _bytes(file, path, max(0, size - _TAIL), min(_TAIL, size))
    if len(tail) < _TAIL or not tail.endswith(FORMAT):
        raise DamagedFile(path, f"{size} bytes that do not end as a file of results does")
    length = int.from_bytes(tail[:8], "little")
    if length > min(size - _TAIL, _MOST_INDEX):
        raise DamagedFile(path, f"an index of {length} bytes in a file of {size}")
    index = _bytes(file, path, size - _TAIL - length, length)
    if xxhash.xxh3_128_digest(index) != tail[8:24]:
        raise DamagedFile(path, "an index with another checksum than was written")
    try:
        found = json.loads(index)
        facts, arrays = found["facts"], found["arrays"]
        fits = isinstance(facts, dict) and all(_fits(row, size) for row in arrays)
    except (ValueError, KeyError, TypeError, RecursionError) as error:
        raise DamagedFile(path, f"an index that cannot be read: {type(error).__name__}") from error
    if not fits:
        raise DamagedFile(path, "an index of arrays that the file cannot hold")
    return facts, arrays


def _fits(row: Mapping[str, Any], size: int) -> bool:
    """Whether a row of an index tells of plain numbers within a file of so many bytes."""
    kind, shape, begin = np.dtype(row["type"]), row["shape"], row["begin"]
    plain = kind.kind in "fciu" and kind.subdtype is None and isinstance(row["check"], str)
    whole = all(type(each) is int and each >= 0 for each in (*shape, begin))
    inside = whole and begin + prod(shape) * kind.itemsize <= size
    return plain and inside and len(shape) <= _MOST_AXES


def _checked(array: NDArray[Any], path: Path, row: Mapping[str, Any]) -> NDArray[Any]:
    if xxhash.xxh3_128_hexdigest(_data(array)) != row["check"]:
        raise DamagedFile(path, f"other bytes than were written, from byte {row['begin']} on")
    return array


def _data(array: NDArray[Any]) -> memoryview:
    """The bytes of a contiguous array."""
    return memoryview(array.reshape(-1).view(np.uint8).data)


def _bytes(file: FileIO, path: Path, begin: int, count: int) -> bytes:
    data = np.empty(count, np.uint8)
    _fill(data, file, path, begin)
    return data.tobytes()


def _fill(array: NDArray[Any], file: FileIO, path: Path, begin: int) -> None:
    into = _data(array)
    try:
        file.seek(begin)
        while into:
            got = file.readinto(into)
            if not got:
                raise DamagedFile(path, f"its end {len(into)} bytes early")
            into = into[got:]
    except OSError as error:
        raise DamagedFile(path, f"bytes that cannot be read: {error.strerror}") from error
