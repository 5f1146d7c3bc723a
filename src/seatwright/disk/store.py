"""The store of results: what was computed once and would come out the same again.

A folder of plain files, one a result, in a folder a kind, named by a digest of everything that the
result follows from. Whatever is damaged, foreign or gone is computed again; a store that cannot be
written is done without. Nothing here is worth a backup.
"""

from __future__ import annotations

import os
import secrets
import time
from collections.abc import Iterator, Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass
from errno import EEXIST, EISDIR, ELOOP, ENOTDIR
from pathlib import Path
from threading import Lock
from typing import Any

from numpy.typing import NDArray

from seatwright.disk.kept_file import (
    DamagedFile,
    KeptReader,
    KeptWriter,
    is_in_use,
    open_regular,
    write_kept,
)
from seatwright.errors import DiskError, Fault

KINDS = ("responses", "sums", "levels", "figures", "stems", "files", "reports")
"""Folders of a store."""

LIMIT_BYTES = 8 * 10**9
"""How large a store may grow where nobody said otherwise."""

_MARK = "CACHEDIR.TAG"
_MARK_TEXT = (
    "Signature: 8a477f597d28d172789f06886806bc55\n"
    "# Results that seatwright would otherwise compute again; may be removed at any time.\n"
)
_LIMIT_NAME = "limit-bytes"
_ENDING = ".kept"
_TEMPORARY = ".being-written-"
_ABANDONED_SECONDS = 24 * 3600.0
_ONE_PLACE = (EISDIR, ENOTDIR, ELOOP, EEXIST)
"""Refusals that concern one name: something else stands there."""


@dataclass(frozen=True)
class Holding:
    """What a store holds of one kind.

    Parameters
    ----------
    kind : str
    count, size : int
        Results; bytes.
    """

    kind: str
    count: int
    size: int


class Store:
    """Finds and keeps results; several threads and processes may use one folder.

    Parameters
    ----------
    folder : Path
        Made where missing.

    Attributes
    ----------
    doubts : list of Fault
        What was damaged or could not be kept.

    Raises
    ------
    DiskError
        If the folder cannot be made, or is not a store and not empty.
    """

    def __init__(self, folder: Path):
        self.folder = folder
        self.doubts: list[Fault] = []
        self._used: set[Path] = set()
        self._lock = Lock()
        self._refused = False
        try:
            self._mark()
        except OSError as error:
            what = f"cannot be used as a store of results: {error.strerror or error}"
            raise DiskError(Fault(what, file=str(folder))) from error

    def _mark(self) -> None:
        mark = self.folder / _MARK
        if mark.is_file():
            return
        self.folder.mkdir(parents=True, exist_ok=True)
        if any(self.folder.iterdir()) and not mark.is_file():
            what = "found a folder with other things in it, wanted an empty one or a store"
            raise DiskError(Fault(what, file=str(self.folder)))
        with suppress(FileExistsError), mark.open("x", encoding="ascii") as file:
            file.write(_MARK_TEXT)

    def find(self, kind: str, key: str) -> KeptReader | None:
        """A result with its index verified, to be closed by the caller; None where there is none.

        A damaged one is removed and told of in `doubts`.
        """
        path = self._path(kind, key)
        try:
            reader = KeptReader(path)
        except DamagedFile as damage:
            self.forget(damage)
            return None
        except OSError:
            return None
        if reader.facts.get("key") != key:
            reader.close()
            self.forget(DamagedFile(path, "the result of something else under this name"))
            return None
        with self._lock:
            self._used.add(path)
        with suppress(OSError):
            os.utime(path)
        return reader

    def facts(self, kind: str, key: str) -> dict[str, Any] | None:
        """The plain data of a result; None where there is none."""
        reader = self.find(kind, key)
        if reader is None:
            return None
        reader.close()
        return reader.facts

    def keep(
        self, kind: str, key: str, facts: Mapping[str, Any], arrays: Sequence[NDArray[Any]] = ()
    ) -> None:
        """Keep a result, if the disk lets it."""
        if self._refused:
            return
        path = self._path(kind, key)
        try:
            path.parent.mkdir(parents=True, exist_ok=True)
            write_kept(path, self._temporary(path), {**facts, "key": key}, arrays)
        except OSError as error:
            self.refused(error, path)
            return
        with self._lock:
            self._used.add(path)

    def writer(self, kind: str, key: str) -> KeptWriter:
        """For a result that comes piece by piece; its facts must hold the key.

        Raises
        ------
        OSError
            If the disk refuses; tell `refused`.
        """
        path = self._path(kind, key)
        path.parent.mkdir(parents=True, exist_ok=True)
        with self._lock:
            self._used.add(path)
        return KeptWriter(path, self._temporary(path))

    def refused(self, error: OSError, path: Path | None = None) -> None:
        """Keep nothing from now on, and say so once; but one place that is taken stops no other."""
        one = path is not None and error.errno in _ONE_PLACE
        with self._lock:
            first = one or not self._refused
            self._refused = self._refused or not one
        if first:
            what = f"results are not kept{' here' if one else ''}: {error.strerror or error}"
            self.doubts.append(Fault(what, file=str(path if one else self.folder)))

    @property
    def keeping(self) -> bool:
        """Whether results are still kept."""
        return not self._refused

    def forget(self, damage: DamagedFile) -> None:
        """Remove a damaged result, to be computed again."""
        self.doubts.append(Fault(f"computed again: found {damage.found}", file=str(damage.path)))
        with suppress(OSError):
            damage.path.unlink(missing_ok=True)

    @property
    def limit(self) -> int:
        """Bytes it may hold."""
        try:
            return max(0, int(self.noted(_LIMIT_NAME)[:20]))
        except ValueError:
            return LIMIT_BYTES

    @limit.setter
    def limit(self, size: int) -> None:
        path = self.folder / _LIMIT_NAME
        try:
            self.note(_LIMIT_NAME, str(size))
        except OSError as error:
            raise DiskError(
                Fault(f"cannot be written: {error.strerror}", file=str(path))
            ) from error

    def note(self, name: str, text: str) -> None:
        """Write a line into a file of the store itself; OSError if the disk refuses."""
        path = self.folder / name
        temporary = self._temporary(path)
        try:
            temporary.write_text(f"{text}\n", encoding="ascii")
            temporary.replace(path)
        finally:
            with suppress(OSError):
                temporary.unlink(missing_ok=True)

    def noted(self, name: str) -> str:
        """The beginning of such a line; "" where there is none."""
        try:
            with open_regular(self.folder / name) as file:
                return file.read(200).decode("ascii", "replace").strip()
        except OSError:
            return ""

    def holdings(self) -> tuple[Holding, ...]:
        """What it holds, kind by kind."""
        found = []
        for kind in KINDS:
            sizes = [size for _, size, path in self._results() if path.parent.parent.name == kind]
            found.append(Holding(kind, len(sizes), sum(sizes)))
        return tuple(found)

    def shrink(self, limit: int | None = None) -> int:
        """Remove what was used longest ago until the limit holds; bytes removed.

        What this object has found or kept stays to the last.
        """
        limit = self.limit if limit is None else limit
        results = sorted(self._results(), key=lambda each: (each[2] in self._used, each[0]))
        excess = sum(size for _, size, _ in results) - limit
        removed = 0
        for _, size, path in results:
            if removed >= excess:
                break
            with suppress(OSError):
                path.unlink()
                removed += size
        return removed

    def clear(self) -> int:
        """Remove all results; bytes removed."""
        self._used.clear()
        return self.shrink(0)

    def damaged(self) -> tuple[DamagedFile, ...]:
        """Read every result through; what was damaged, which is removed."""
        found = []
        for _, _, path in self._results():
            try:
                _read_through(path)
            except DamagedFile as damage:
                found.append(damage)
                self.forget(damage)
            except OSError:  # removed meanwhile
                continue
        return tuple(found)

    def _results(self) -> Iterator[tuple[float, int, Path]]:
        """When each was last used, its size and its path; abandoned temporaries are removed."""
        for kind in KINDS:
            for folder in _folders(self.folder / kind):
                with suppress(OSError):
                    yield from self._results_in(folder)

    def _results_in(self, folder: Path) -> Iterator[tuple[float, int, Path]]:
        for entry in os.scandir(folder):
            with suppress(OSError):
                status = entry.stat(follow_symlinks=False)
                if entry.name.endswith(_ENDING):
                    yield status.st_mtime, status.st_size, Path(entry.path)
                elif _abandoned(Path(entry.path), status.st_mtime):
                    Path(entry.path).unlink(missing_ok=True)

    def _path(self, kind: str, key: str) -> Path:
        assert kind in KINDS
        return self.folder / kind / key[:2] / f"{key}{_ENDING}"

    def _temporary(self, path: Path) -> Path:
        return path.with_name(f"{_TEMPORARY}{secrets.token_hex(8)}")


def _abandoned(path: Path, changed: float) -> bool:
    """Whether a temporary is old and nobody writes it; clocks alone may differ."""
    old = abs(time.time() - changed) > _ABANDONED_SECONDS
    return old and path.name.startswith(_TEMPORARY) and not is_in_use(path)


def _folders(folder: Path) -> list[Path]:
    """Folders in a folder; none behind links, which may lead anywhere."""
    if folder.is_symlink():
        return []
    try:
        return [Path(e.path) for e in os.scandir(folder) if e.is_dir(follow_symlinks=False)]
    except OSError:
        return []


def _read_through(path: Path) -> None:
    reader = KeptReader(path)
    try:
        if path.name != f"{reader.facts.get('key')}{_ENDING}":
            raise DamagedFile(path, "the result of something else under this name")
        for number in range(len(reader)):
            reader.read(number)
    finally:
        reader.close()
