"""Small files written complete or not at all."""

from __future__ import annotations

import os
import secrets
from contextlib import suppress
from pathlib import Path

from seatwright.disk.bounces import TEMPORARY_PREFIX
from seatwright.errors import DiskError, Fault


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
    temporary = path.with_name(f"{TEMPORARY_PREFIX}{secrets.token_hex(8)}.part")
    try:
        with temporary.open("xb") as file:
            file.write(data)
            file.flush()
            if mode is not None:
                temporary.chmod(mode)
            os.fsync(file.fileno())
        temporary.replace(path)
    except OSError as error:
        what = f"cannot be written: {error.strerror}"
        raise DiskError(Fault(what, file=str(path))) from error
    finally:
        with suppress(OSError):
            temporary.unlink(missing_ok=True)
