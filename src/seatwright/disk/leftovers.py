"""What renders that were cut off leave: hidden temporaries that nobody will ever finish."""

from __future__ import annotations

import re
from collections.abc import Iterator
from contextlib import suppress
from pathlib import Path

from seatwright.disk.bounces import TEMPORARY_PREFIX

KINDS = ("sections", "stems", "perspectives")
"""Folders within a folder of outputs."""

_TEMPORARY = re.compile(re.escape(TEMPORARY_PREFIX) + r"[0-9a-f]{16}\.(raw|part)")


def remove_leftovers(folder: Path) -> None:
    """Remove temporaries of dead renders; only for the one render that holds the folder's lock."""
    for place in (folder, *(folder / kind for kind in KINDS)):
        for path in files_of(place):
            if _TEMPORARY.fullmatch(path.name) and not path.is_symlink():
                with suppress(OSError):  # in nobody's way
                    path.unlink(missing_ok=True)


def files_of(folder: Path) -> Iterator[Path]:
    """Regular files and links to them, by name; none where there is no such folder."""
    with suppress(OSError):
        yield from (path for path in sorted(folder.iterdir()) if path.is_file())
