"""Folders made on the way to an output, which go again where nothing came into them."""

from __future__ import annotations

from contextlib import suppress
from pathlib import Path

from seatwright.disk.text_files import refused
from seatwright.errors import DiskError, Fault


class MadeFolders:
    """Makes folders and knows which of them were not there before."""

    def __init__(self) -> None:
        self._made: list[Path] = []

    def make(self, folder: Path) -> None:
        """Make a folder and those above it, where missing.

        Raises
        ------
        DiskError
            Naming the path that is in the way or that the disk refuses.
        """
        for part in (*reversed(folder.parents), folder):
            try:
                if part.is_dir():
                    continue
                part.mkdir()
            except FileExistsError as error:
                if part.is_dir():  # another program was quicker
                    continue
                found = "is a file" if part.exists() else "is a link to nothing"
                raise DiskError(Fault(f"{found}, wanted a folder", file=str(part))) from error
            except OSError as error:
                raise refused(part, "cannot be made", error) from error
            self._made.append(part)

    def remove_empty(self) -> None:
        """Remove those made here that are empty, the innermost first."""
        for folder in reversed(self._made):
            with suppress(OSError):  # not empty, or gone: both are fine
                folder.rmdir()
        self._made.clear()
