"""Files of bounded size read without waiting: a pipe or a device is never opened."""

from __future__ import annotations

import errno
import os
import stat
from pathlib import Path

_FLAGS = os.O_RDONLY | getattr(os, "O_NONBLOCK", 0) | getattr(os, "O_BINARY", 0)
_NOT_REGULAR = "found a pipe or device, wanted a regular file"


def regular_bytes(path: Path, most: int) -> bytes:
    """Read a regular file, or what a link to one leads to.

    Parameters
    ----------
    path : Path
    most : int
        Bytes; of a longer file one more than these is read, so that the caller can tell.

    Returns
    -------
    bytes

    Raises
    ------
    OSError
        If it is no regular file, or cannot be read.
    """
    refuse_irregular(path)
    handle = os.open(path, _FLAGS)
    with os.fdopen(handle, "rb") as file:
        _refuse(path, os.fstat(handle).st_mode)  # another may have come into its place
        return file.read(most + 1)


def refuse_irregular(path: Path) -> None:
    """OSError where a path leads to no regular file; opens nothing."""
    _refuse(path, path.stat().st_mode)


def is_plain_file(path: Path) -> bool:
    """Whether a path is a regular file itself, no link to one."""
    try:
        return stat.S_ISREG(path.lstat().st_mode)
    except (OSError, ValueError):
        return False


def _refuse(path: Path, mode: int) -> None:
    if stat.S_ISDIR(mode):
        raise IsADirectoryError(errno.EISDIR, os.strerror(errno.EISDIR), str(path))
    if not stat.S_ISREG(mode):
        raise OSError(errno.EINVAL, _NOT_REGULAR, str(path))
