"""Small files written complete or not at all."""

from __future__ import annotations

import os
import secrets
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path

from seatwright.disk.bounces import TEMPORARY_PREFIX
from seatwright.errors import DiskError, Fault


class WaitingFile:
    """A file written and flushed beside its place, waiting for its name.

    Parameters
    ----------
    path : Path
    data : bytes
    mode : int, optional
        Its permissions, where not the usual ones.

    Raises
    ------
    DiskError
        If the disk refuses; so does `commit`. An older file of this name is then still as it was.
    """

    def __init__(self, path: Path, data: bytes, mode: int | None = None):
        self.path = path
        self._temporary = path.with_name(f"{TEMPORARY_PREFIX}{secrets.token_hex(8)}.part")
        with self._guarded(), self._temporary.open("xb") as file:
            file.write(data)
            file.flush()
            if mode is not None:
                self._temporary.chmod(mode)
            os.fsync(file.fileno())

    def commit(self) -> None:
        """Give the file its name."""
        with self._guarded():
            self._temporary.replace(self.path)

    def abort(self) -> None:
        """Remove the file, unless it has its name."""
        with suppress(OSError):
            self._temporary.unlink(missing_ok=True)

    @contextmanager
    def _guarded(self) -> Iterator[None]:
        try:
            yield
        except OSError as error:
            self.abort()
            what = f"cannot be written: {error.strerror}"
            raise DiskError(Fault(what, file=str(self.path))) from error
        except BaseException:
            self.abort()
            raise


def write_whole(path: Path, data: bytes, mode: int | None = None) -> None:
    """Write a file beside its place, flush it, then give it its name.

    Parameters
    ----------
    path : Path
    data : bytes
    mode : int, optional
        Permissions of the file, such as those of the one it replaces.

    Raises
    ------
    DiskError
        If the disk refuses; an older file of this name is then still as it was.
    """
    WaitingFile(path, data, mode).commit()
