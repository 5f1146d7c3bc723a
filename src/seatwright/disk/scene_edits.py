"""Edits of a scene file: written only where the file is still the one that was read.

The new text is read again and compared with the scene that is wanted before it takes the file's
place, so that a text that would mean something else is never written.
"""

from __future__ import annotations

import hashlib
import os
import stat
import sys
from collections.abc import Iterator, Mapping
from contextlib import contextmanager, suppress
from pathlib import Path

from seatwright.disk.scene_checks import checked
from seatwright.disk.scene_file import scene_bytes
from seatwright.disk.toml_edits import edited
from seatwright.disk.toml_lines import KeyPath
from seatwright.disk.toml_text import decoded, parsed
from seatwright.disk.whole_file import write_whole
from seatwright.errors import DiskError, Fault, SceneError
from seatwright.stage.moves import Leaf, leaf_changes, written
from seatwright.stage.scene import Scene

if sys.platform != "win32":
    import fcntl


class ChangedMeanwhile(SceneError):
    """The scene file is no longer the one that was read; nothing was written."""


def write_edits(path: Path, content_hash: str, old: Scene, new: Scene) -> str:
    """Write what differs between two scenes into a scene file.

    Parameters
    ----------
    path : Path
        A link keeps leading to the file it led to.
    content_hash : str
        SHA-256 of the file's bytes in hexadecimal when `old` was read.
    old, new : Scene
        As written, not seated.

    Returns
    -------
    str
        The new file's hash.

    Raises
    ------
    ChangedMeanwhile
        If the file's bytes are others by now.
    SceneError
        If the new scene has faults, or its text cannot take the changes.
    DiskError
        If the disk refuses, or the file is read-only; it is then as it was.
    """
    real = Path(os.path.realpath(path))
    with _alone(real):
        data = scene_bytes(path)
        if hashlib.sha256(data).hexdigest() != content_hash:
            what = "the scene file was changed since it was read here; nothing was written"
            hint = "save as a new seating: the changed file keeps all that is in it"
            raise ChangedMeanwhile(Fault(what, file=str(path), hint=hint))
        text = scene_with_edits(path, data, leaf_changes(old, new), new)
        if text != data:
            _refuse_read_only(path, real)
            _replace(real, text)
    return hashlib.sha256(text).hexdigest()


def scene_with_edits(
    path: Path, data: bytes, changes: Mapping[KeyPath, Leaf | None], wanted: Scene
) -> bytes:
    """The bytes of a scene file with changes in it, read again to be sure of what they mean.

    Parameters
    ----------
    path : Path
        For faults.
    data : bytes
    changes : mapping of tuple of str to value or None
    wanted : Scene
        What the new text must read as.

    Returns
    -------
    bytes

    Raises
    ------
    SceneError
        If it does not, with its faults.
    """
    text = edited(data, changes)
    content, faults = decoded(text)
    table, faults = parsed(content) if not faults else ({}, faults)
    scene = None
    if not faults:
        scene, faults = checked(table)
    if faults:
        raise SceneError([_not_written(path, fault) for fault in faults])
    if scene is None or written(scene) != written(wanted):
        what = "the way this file writes its tables does not take the change; nothing was written"
        hint = "write each seat as a table of its own, [seats.NAME]"
        raise SceneError(Fault(what, file=str(path), hint=hint))
    return text


def _not_written(path: Path, fault: Fault) -> Fault:
    hint = fault.hint or "nothing was written"
    return Fault(f"with the change: {fault.what}", str(path), 0, fault.key, hint)


def _refuse_read_only(path: Path, real: Path) -> None:
    """A protected file stays as it is, though its folder would let another take its place.

    By its mode too, as some users may write everywhere.
    """
    try:
        protected = not real.stat().st_mode & 0o222 or not os.access(real, os.W_OK)
    except OSError as error:
        raise DiskError(Fault(f"cannot be read: {error.strerror}", file=str(path))) from error
    if protected:
        what = "the scene file is read-only; nothing was written"
        raise DiskError(Fault(what, file=str(path), hint="allow writing to it, then save again"))


def _replace(path: Path, data: bytes) -> None:
    """Put new bytes in the file's place, with the old one's permissions."""
    try:
        mode = stat.S_IMODE(path.stat().st_mode)
    except OSError as error:
        raise DiskError(Fault(f"cannot be read: {error.strerror}", file=str(path))) from error
    write_whole(path, data, mode)


@contextmanager
def _alone(path: Path) -> Iterator[None]:
    """Hold the file against another writer of this kind, as far as the file system can.

    Whoever waits here finds another file in its place afterwards, and another hash.
    """
    handle = None
    with suppress(OSError):
        handle = os.open(path, os.O_RDONLY | getattr(os, "O_NONBLOCK", 0))
        if sys.platform != "win32":
            fcntl.flock(handle, fcntl.LOCK_EX)
    try:
        yield
    finally:
        if handle is not None:
            os.close(handle)
