"""What is in a file: the digest of its bytes, and of its audio alone where that can be told.

A file whose device, number, size and times are what they were when it was last read need not be
read again. A file changed within two seconds before it was read may change once more without its
time telling; of such a one nothing is noted.
"""

from __future__ import annotations

import hashlib
import time
from collections.abc import Iterable
from concurrent.futures import Future, ThreadPoolExecutor
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path
from types import TracebackType
from typing import Self

import xxhash

from seatwright.disk.regular_files import refuse_irregular
from seatwright.disk.riff import read_layout
from seatwright.disk.stem_reader import Stem
from seatwright.disk.stems import file_state
from seatwright.disk.store import Store
from seatwright.disk.store_keys import key_of
from seatwright.disk.typed_facts import typed
from seatwright.errors import Fault, StemError

_PIECE = 2**20
_SETTLED_SECONDS = 2.0


@dataclass(frozen=True)
class Content:
    """What is in a file.

    Parameters
    ----------
    sha256 : str
        Of the whole file, hexadecimal.
    audio : str
        Digest of the audio as it is encoded: the same for an export whose dates alone differ.
    """

    sha256: str
    audio: str


def file_content(path: Path, store: Store | None = None) -> Content:
    """What is in a file, read only where that is not known.

    Parameters
    ----------
    path : Path
    store : Store, optional
        Where it is looked up and noted.

    Returns
    -------
    Content

    Raises
    ------
    StemError
        If it cannot be read, or is no regular file.
    """
    return known_content(path, store) or _read_and_noted(path, store)


def known_content(path: Path, store: Store | None) -> Content | None:
    """What is in a file as it was noted when it was last read; None where that is not known."""
    with suppress(OSError, KeyError, ValueError):
        known = store.facts("files", _key(path, _state(path))) if store else None
        if known:
            return typed(Content, {name: known[name] for name in ("sha256", "audio")})
    return None


def _read_and_noted(path: Path, store: Store | None) -> Content:
    try:
        refuse_irregular(path)
        state = _state(path)
        content = _read(path)
        if store and _state(path) == state and _settled(state):
            facts = {"sha256": content.sha256, "audio": content.audio}
            store.keep("files", _key(path, state), facts)
    except OSError as error:
        raise StemError(Fault(f"cannot be read: {error.strerror}", file=str(path))) from error
    return content


def _key(path: Path, state: tuple[int, ...]) -> str:
    return key_of("files", str(path.absolute()), state)


def settled_state(path: Path) -> tuple[int, ...]:
    """What tells a file from what it was, without reading it; empty where that may not tell all."""
    state = known_state(path)
    return state if state and _settled(state) else ()


def known_state(path: Path) -> tuple[int, ...]:
    """What tells that a file was not changed between two looks; empty where it is gone."""
    try:
        return _state(path)
    except OSError:
        return ()


def _state(path: Path) -> tuple[int, ...]:
    status = path.stat()
    return (
        status.st_dev, status.st_ino, status.st_size, status.st_mtime_ns, status.st_ctime_ns,
    )  # fmt: skip


def _settled(state: tuple[int, ...]) -> bool:
    """Whether the last change lies some time back; times ahead of this clock never do."""
    return time.time() - max(state[3:]) / 1e9 > _SETTLED_SECONDS


def _read(path: Path) -> Content:
    begin, end = _audio_place(path)
    whole, audio = hashlib.sha256(), xxhash.xxh3_128()
    with path.open("rb", buffering=0) as file:
        piece, place = bytearray(_PIECE), 0
        while got := file.readinto(piece):
            data = memoryview(piece)[:got]
            whole.update(data)
            audio.update(data[max(0, begin - place) : max(0, end - place)])
            place += got
    return Content(whole.hexdigest(), f"{end - begin} {audio.hexdigest()}" if end else "")


def _audio_place(path: Path) -> tuple[int, int]:
    """First byte of a WAV's audio and the one after the last; the whole file of any other."""
    try:
        wav = read_layout(path)
    except StemError:
        return 0, path.stat().st_size
    return wav.data_offset, wav.data_offset + wav.data_bytes_present


class StemContents:
    """What is in the stems of a render, read in the background; and whether they stay as they are.

    Parameters
    ----------
    stems : tuple of Stem
    store : Store, optional
    threads : int

    Raises
    ------
    StemError
        If a stem's file is gone.
    """

    def __init__(self, stems: tuple[Stem, ...], store: Store | None = None, threads: int = 1):
        self._states = {stem.path: file_state(stem.path) for stem in stems}
        self._pool = ThreadPoolExecutor(threads)
        paths = [stem.path for stem in stems]
        self._known = {path: known for path in paths if (known := known_content(path, store))}
        self._read: dict[Path, Future[Content]] = {
            path: self._pool.submit(file_content, path, store)
            for path in paths
            if path not in self._known
        }

    def of(self, path: Path) -> Content:
        """What is in a stem's file, once it is read."""
        return self._known.get(path) or self._read[path].result()

    def finished(self) -> dict[Path, Content]:
        """What is in every stem; StemError if a file changed meanwhile."""
        self.unchanged(self._states)
        return {path: self.of(path) for path in self._states}

    def unchanged(self, paths: Iterable[Path]) -> None:
        """StemError for every file that is not as it was at the begin."""
        changed = [path for path in paths if file_state(path) != self._states[path]]
        if changed:
            raise StemError(Fault("changed while it was rendered", str(path)) for path in changed)

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        value: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self._pool.shutdown(cancel_futures=True)
