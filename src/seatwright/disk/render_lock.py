"""One render at a time into a folder: a lock that ends with its process, however that ends."""

from __future__ import annotations

import os
import re
import sys
from contextlib import suppress
from datetime import datetime
from pathlib import Path

from seatwright.disk.bounces import TEMPORARY_PREFIX
from seatwright.disk.text_files import refused
from seatwright.errors import DiskError, Fault

if sys.platform != "win32":
    import fcntl

LOCK_NAME = f"{TEMPORARY_PREFIX}lock"
_HOLDER = re.compile(rb"(\d+) (\d{4}-\d\d-\d\d \d\d:\d\d:\d\d)\n")
_TRIES = 10


class FolderTaken(DiskError):
    """Another render is at work in the folder: worth another try when it has ended."""


class RenderLock:
    """A hidden file in the folder, locked by the kernel and removed at the end.

    Parameters
    ----------
    folder : Path
    """

    def __init__(self, folder: Path):
        self._path = folder / LOCK_NAME
        self._handle: int | None = None

    @property
    def held(self) -> bool:
        """Whether nobody else renders into the folder; unknown, thus False, without locks."""
        return self._handle is not None

    def take(self) -> None:
        """Take the lock; where the file system has none, the render goes on without.

        Raises
        ------
        FolderTaken
            If another render has it, naming its process and since when.
        DiskError
            If the folder cannot be written.
        """
        for _ in range(_TRIES):
            flags = os.O_RDWR | os.O_CREAT | getattr(os, "O_NOFOLLOW", 0)
            try:
                handle = os.open(self._path, flags, 0o666)
            except OSError as error:
                raise refused(self._path.parent, "cannot be written", error) from error
            try:
                if self._locked(handle):
                    return
            except BaseException:
                if self._handle is None:
                    os.close(handle)
                self.release()
                raise
            os.close(handle)

    def release(self) -> None:
        """Remove the file, then let go: whoever opened it meanwhile finds another in its place."""
        if self._handle is None:
            return
        handle, self._handle = self._handle, None
        with suppress(OSError):
            self._path.unlink(missing_ok=True)
        os.close(handle)

    def _locked(self, handle: int) -> bool:
        """Whether this is over: locked, or no locks here. Not, where the file was just removed."""
        if sys.platform == "win32":
            return False
        try:
            fcntl.flock(handle, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except BlockingIOError as error:
            raise FolderTaken(self._taken(handle)) from error
        except OSError:  # a network disk that knows no locks
            return False
        if not self._in_place(handle):
            return False
        self._handle = handle
        with suppress(OSError):  # only words for others
            os.ftruncate(handle, 0)
            os.pwrite(handle, f"{os.getpid()} {datetime.now():%Y-%m-%d %H:%M:%S}\n".encode(), 0)
        return True

    def _in_place(self, handle: int) -> bool:
        try:
            return os.path.samestat(os.fstat(handle), os.stat(self._path))  # noqa: PTH116
        except OSError:
            return False

    def _taken(self, handle: int) -> Fault:
        words = _HOLDER.fullmatch(os.pread(handle, 64, 0))
        known = f" (process {int(words[1])}, since {words[2].decode()})" if words else ""
        return Fault(
            f"found another render{known} into this folder, wanted one at a time",
            file=str(self._path.parent),
            hint="wait until it ends, or choose another folder with --out",
        )
