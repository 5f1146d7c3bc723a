"""What renders that were cut off leave: hidden temporaries that nobody will ever finish."""

from __future__ import annotations

import os
import re
from contextlib import suppress
from pathlib import Path

from seatwright.disk.bounces import TEMPORARY_PREFIX

KINDS = ("sections", "stems", "perspectives")
"""Folders within a folder of outputs."""

JOURNAL_NAME = f"{TEMPORARY_PREFIX}exchange"
"""Says what is kept where while new outputs are put in the place of old ones."""

_AUDIO = (".wav", ".flac")
_TOP_NAMES = ("mix.wav", "mix.flac", "report.json", "report.txt", "report.html")
_TEMPORARY = re.compile(re.escape(TEMPORARY_PREFIX) + r"[0-9a-f]{16}\.(raw|part|old)")


def is_kept_name(name: str) -> bool:
    """Whether a name is one under which an output of the render before is kept for a while."""
    return bool(_TEMPORARY.fullmatch(name)) and name.endswith(".old")


def stays_inside(file: str) -> bool:
    """Whether a path within a folder of outputs is that of a file there or in one of `KINDS`."""
    parts = file.split("/")
    plain = all(p not in ("", ".", "..") and not {"\\", "\0"} & set(p) for p in parts)
    return plain and (len(parts) == 1 or (len(parts) == 2 and parts[0] in KINDS))


def is_output_name(file: str) -> bool:
    """Whether a path within a folder of outputs is one that an output or a report can have."""
    parts = file.split("/")
    if not stays_inside(file) or parts[-1].startswith("."):
        return False
    if len(parts) == 1:
        return file in _TOP_NAMES
    return parts[1].endswith(_AUDIO) and is_encodable(file)


def is_encodable(name: str) -> bool:
    """Whether the file system's encoding has all letters of a name."""
    try:
        os.fsencode(name)
    except UnicodeEncodeError:
        return False
    return True


def remove_leftovers(folder: Path) -> None:
    """Remove temporaries of dead renders; only for the one render that holds the folder's lock.

    Where outputs could not be put back everything stays: it may be all there is of them. A linked
    folder of outputs is left alone: what it leads to is not part of this one.
    """
    if os.path.lexists(folder / JOURNAL_NAME):
        return
    for place in (folder, *(folder / kind for kind in KINDS)):
        if place != folder and place.is_symlink():
            continue
        with suppress(OSError):  # in nobody's way
            for path in files_in(place):
                if _TEMPORARY.fullmatch(path.name) and not path.is_symlink():
                    with suppress(OSError):
                        path.unlink(missing_ok=True)


def files_in(folder: Path) -> list[Path]:
    """Regular files and links to them, by name; none where there is no such folder.

    Raises
    ------
    OSError
        If the folder is there and cannot be listed.
    """
    try:
        return [path for path in sorted(folder.iterdir()) if path.is_file()]
    except (FileNotFoundError, NotADirectoryError):
        return []
