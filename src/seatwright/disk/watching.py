"""Watching files: what a scene reads, how it stands on the disk, and a call when that may change.

The system's notices only wake; what changed is told by comparing states. A notice that is lost, as
on network disks, thus costs time and nothing else.
"""

from __future__ import annotations

import os
from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path
from threading import Event, Thread
from types import TracebackType
from typing import Self

from seatwright.disk.scene_checks import openable_stems
from seatwright.disk.scene_file import ReadScene
from seatwright.disk.settling import Patience, State
from seatwright.disk.stem_paths import stem_names
from seatwright.disk.stems import inspect_stem
from seatwright.errors import StemError
from seatwright.stage.microphones import HEAD_MODELS

STILL_SECONDS = 0.7
"""For which a stem must not change before it is taken."""

_SCENE = Patience(0.15, 1.0)
_LONGEST_SECONDS = 6.0
_IDLE_SECONDS = 2.0
"""Between two looks at files of which no notice came."""

_POLL_SECONDS = 0.5
_STEP_MS = 50


@dataclass(frozen=True)
class WatchedFiles:
    """What a scene reads.

    Parameters
    ----------
    scene : Path
    stems : tuple of Path
        Files that were found.
    head : Path or None
        A SOFA file.
    folders : tuple of Path
        Where stems are looked for.
    """

    scene: Path
    stems: tuple[Path, ...] = ()
    head: Path | None = None
    folders: tuple[Path, ...] = ()

    @property
    def inputs(self) -> tuple[Path, ...]:
        """All files, the scene first."""
        return (self.scene, *self.stems, *([self.head] if self.head else []))

    def patience(self, path: Path, still: float) -> Patience:
        """How long one of them is waited for, `still` being that of stems in seconds."""
        return _SCENE if path == self.scene else Patience(still, max(_LONGEST_SECONDS, still))

    def is_finished(self, path: Path) -> bool:
        """Whether a file that stands still is whole: a scene with text in it, a stem's header."""
        if path in self.stems:
            return _has_whole_header(path)
        state = state_of(path)
        return path in self.folders or not state or state[2] > 0

    def also(self, earlier: WatchedFiles) -> WatchedFiles:
        """These and what an earlier scene read, which may come back."""
        return WatchedFiles(
            self.scene,
            tuple(dict.fromkeys((*self.stems, *earlier.stems))),
            self.head or earlier.head,
            tuple(dict.fromkeys((*self.folders, *earlier.folders))),
        )


def watched_files(read: ReadScene) -> WatchedFiles:
    """What a scene reads, as far as it is there; a head that is missing too.

    Parameters
    ----------
    read : ReadScene

    Returns
    -------
    WatchedFiles
    """
    names = stem_names({name: seat.stem for name, seat in read.scene.seats.items()})
    files, _ = openable_stems(names, read.stem_folder, read.allow_outside)
    stems = [path for each in files.values() for stem in each for path in stem.paths]
    written = [read.stem_folder / name for each in names.values() for _, name in each]
    folders = [read.stem_folder, *(path.parent for path in (*stems, *written))]
    model = read.scene.microphones.head.model
    head = None if model in HEAD_MODELS else read.folder / model
    return WatchedFiles(read.path, tuple(dict.fromkeys(stems)), head, tuple(dict.fromkeys(folders)))


def state_of(path: Path) -> State:
    """Device, number, size and time of a file or folder; empty where there is none."""
    try:
        status = path.stat()
    except (OSError, ValueError):
        return ()
    return status.st_dev, status.st_ino, status.st_size, status.st_mtime_ns


def states_of(paths: Iterable[Path]) -> dict[Path, State]:
    """How files stand now."""
    return {path: state_of(path) for path in paths}


def _has_whole_header(path: Path) -> bool:
    try:
        inspect_stem(path)
    except StemError:
        return False
    return True


class Notices:
    """Waits until files may have changed, woken by the system's notices of their folders.

    Parameters
    ----------
    poll : bool
        Ask the system for no notices and look twice a second, as network disks need it.

    Attributes
    ----------
    doubt : str
        Why there are no notices though they were wanted; "" where there are.
    """

    def __init__(self, poll: bool = False):
        self._poll = poll
        self._woken = Event()
        self._end = Event()
        self._thread: Thread | None = None
        self._followed: frozenset[tuple[str, State]] = frozenset()
        self.doubt = ""

    def follow(self, paths: Iterable[Path]) -> None:
        """Be woken by the folders of some files; those that are missing, once they are there."""
        if self._poll:
            return
        near = {path if path.is_dir() else path.parent for path in paths}
        folders = {folder for folder in near if folder.is_dir()}
        wanted = frozenset((os.fspath(folder), state_of(folder)[:2]) for folder in folders)
        alive = self._thread is not None and self._thread.is_alive()
        if wanted == self._followed and (alive or not wanted):
            return
        self.close()
        self._followed, self._end = wanted, Event()
        if wanted:
            self._thread = Thread(
                target=self._listen, args=(self._end, [name for name, _ in wanted]), daemon=True
            )
            self._thread.start()

    def wait(self, seconds: float) -> None:
        """Until a notice comes, at most for some seconds."""
        self._woken.wait(min(seconds, self.idle_seconds))
        self._woken.clear()

    @property
    def idle_seconds(self) -> float:
        """Longest time between two looks."""
        return _POLL_SECONDS if self._poll else _IDLE_SECONDS

    def _listen(self, end: Event, folders: list[str]) -> None:
        """In a thread of its own, so that signals still reach the main one."""
        from watchfiles import watch

        try:
            for _ in watch(
                *folders, watch_filter=None, debounce=_STEP_MS, step=_STEP_MS, stop_event=end,
                rust_timeout=0, recursive=False, raise_interrupt=False,
                ignore_permission_denied=True,
            ):  # fmt: skip
                self._woken.set()
        except FileNotFoundError:  # gone meanwhile: followed again when it is back
            self._woken.set()
        except (OSError, RuntimeError) as error:
            self.doubt = str(error)
            self._poll = True
            self._woken.set()

    def close(self) -> None:
        """End listening."""
        self._end.set()
        if self._thread is not None:
            self._thread.join()
            self._thread = None

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        value: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self.close()
