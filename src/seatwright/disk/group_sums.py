"""Sums of groups of seats, block by block: found in the store, or rendered and kept.

A block that is silent takes no place. Where the store takes no more, what it has of a sum moves to
the folder of the outputs, as everything does where there is no store.
"""

from __future__ import annotations

import secrets
from collections.abc import Sequence
from contextlib import suppress
from math import isfinite
from pathlib import Path
from types import TracebackType
from typing import Self

import numpy as np
from numpy.typing import NDArray

from seatwright.disk.bounces import TEMPORARY_PREFIX
from seatwright.disk.kept_file import DamagedFile, KeptReader, KeptWriter
from seatwright.disk.store import Store
from seatwright.errors import DiskError, Fault
from seatwright.sound.mix import Signal


class GroupSums:
    """Signals of groups of seats, to be read at any block once they are there.

    Parameters
    ----------
    keys : sequence of str
        Of each group in the store.
    folder : Path
        Of the outputs.
    store : Store, optional
    known : bool
        False renders all anew.
    """

    def __init__(
        self,
        keys: Sequence[str],
        folder: Path,
        store: Store | None = None,
        known: bool = True,
    ):
        self._keys, self._folder = tuple(keys), folder
        self._store = store
        self._readers: dict[int, KeptReader] = {}
        self._writers: dict[int, _SumWriter] = {}
        self._memory: dict[tuple[int, int], NDArray[np.float32]] = {}
        if store is not None and known:
            self._find(store)

    def _find(self, store: Store) -> None:
        for group, key in enumerate(self._keys):
            if reader := store.find("sums", key):
                self._readers[group] = reader

    @property
    def missing(self) -> tuple[int, ...]:
        """Groups that are to be rendered."""
        return tuple(group for group in range(len(self._keys)) if group not in self._readers)

    def write(self, group: int, signals: Sequence[Signal]) -> None:
        """Keep the next block of a missing group, all its signals."""
        if group not in self._writers:
            self._writers[group] = _SumWriter(self._keys[group], self._folder, self._store)
        self._writers[group].add(signals)

    def finish(self) -> None:
        """All blocks are written: every group can be read."""
        for group in self.missing:
            self._readers[group] = self._writers[group].finished()

    def signal(self, group: int, number: int, block: int, frames: int) -> Signal:
        """One signal of a group in one block, which the same signal of the next one overwrites.

        Raises
        ------
        DamagedFile
            If the store holds something else than it was given.
        """
        reader = self._readers[group]
        try:
            place = reader.facts["blocks"][block][number]
            if place is None:
                return None
            found = reader.read(place, self._memory.get((group, number)))
        except (KeyError, IndexError, TypeError) as error:
            raise DamagedFile(reader.path, f"no signal {number} in block {block}") from error
        if found.shape != (2, frames) or found.dtype != np.float32:
            raise DamagedFile(reader.path, f"{found.dtype} of shape {found.shape} in block {block}")
        if not isfinite(float(found.sum())):
            raise DamagedFile(reader.path, f"samples that are no numbers in block {block}")
        self._memory[group, number] = found
        return found

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        value: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        for reader in self._readers.values():
            reader.close()
        for writer in self._writers.values():
            writer.remove()


class _SumWriter:
    """Writes one group's signals to the store, or beside the outputs."""

    def __init__(self, key: str, folder: Path, store: Store | None):
        self._key, self._folder, self._store = key, folder, store
        self._blocks: list[list[int | None]] = []
        self._temporary: Path | None = None
        self._writer: KeptWriter | None = None
        if store is not None and store.keeping:
            try:
                self._writer = store.writer("sums", key)
            except OSError as error:
                store.refused(error)
        if self._writer is None:
            self._begin_beside()

    def add(self, signals: Sequence[Signal]) -> None:
        self._blocks.append([None if each is None else self._added(each) for each in signals])

    def _added(self, signal: NDArray[np.float32]) -> int:
        assert self._writer is not None
        try:
            return self._writer.add(signal)
        except OSError as error:
            if self._temporary is not None:
                raise self._disk_error(error) from error
            self._move(error)
        return self._added(signal)

    def finished(self) -> KeptReader:
        assert self._writer is not None
        facts = {"key": self._key, "blocks": self._blocks}
        try:
            self._writer.finish(facts, name=self._temporary is None)
        except OSError as error:
            if self._temporary is not None:
                raise self._disk_error(error) from error
            self._move(error)
            return self.finished()
        path = self._temporary or self._writer.path
        try:
            return KeptReader(path)
        except OSError as error:  # taken away by somebody
            raise DamagedFile(path, f"no file: {error.strerror}") from error

    def remove(self) -> None:
        """What was not finished, and what stands beside the outputs."""
        if self._writer is not None:
            self._writer.abandon()
        if self._temporary is not None:
            with suppress(OSError):
                self._temporary.unlink(missing_ok=True)

    def _begin_beside(self) -> None:
        path = self._folder / f"{TEMPORARY_PREFIX}{secrets.token_hex(8)}.raw"
        try:
            self._writer = KeptWriter(path, path)
        except OSError as error:
            raise self._disk_error(error) from error
        self._temporary = path

    def _move(self, refusal: OSError) -> None:
        """Go on beside the outputs with all that was written before the store refused."""
        before, store = self._writer, self._store
        assert before is not None and store is not None
        store.refused(refusal)
        self._begin_beside()
        assert self._writer is not None
        try:
            for array in before.written():
                self._writer.add(array)
        except DamagedFile:
            raise
        except OSError as error:
            if not before.temporary.exists():  # taken away: all of it has to be rendered again
                raise DamagedFile(before.path, "no file any more") from error
            raise self._disk_error(error) from error
        finally:
            before.abandon()

    def _disk_error(self, error: OSError) -> DiskError:
        what = f"cannot keep rendered blocks: {error.strerror}"
        return DiskError(Fault(what, file=str(self._folder)))
