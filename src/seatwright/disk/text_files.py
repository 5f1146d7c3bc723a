"""Text files that are complete or as they were before."""

from __future__ import annotations

import os
from pathlib import Path

from seatwright.disk.bounces import TEMPORARY_PREFIX
from seatwright.errors import DiskError, Fault


def write_text_files(folder: Path, texts: dict[str, str]) -> list[Path]:
    """Write several text files into a folder.

    Parameters
    ----------
    folder : Path
        Made where missing.
    texts : dict of str to str
        File names and what they hold, UTF-8.

    Returns
    -------
    list of Path
        The files, in the order given.

    Raises
    ------
    DiskError
        If the folder cannot be made or a file cannot be written.
    """
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise refused(folder, "cannot be made", error) from error
    for name, text in texts.items():
        replace_text(folder / name, text)
    return [folder / name for name in texts]


def replace_text(path: Path, text: str) -> None:
    """Write a text file under a temporary name, then give it its own.

    Parameters
    ----------
    path : Path
    text : str

    Raises
    ------
    DiskError
        If it cannot be written; an earlier file stays as it was.
    """
    temporary = path.with_name(f"{TEMPORARY_PREFIX}{os.getpid()}-{path.name}")
    try:
        with temporary.open("x", encoding="utf-8", newline="\n") as file:
            file.write(text)
            file.flush()
            os.fsync(file.fileno())
        temporary.replace(path)
    except OSError as error:
        raise refused(path, "cannot be written", error) from error
    finally:
        temporary.unlink(missing_ok=True)


def refused(path: Path, what: str, error: OSError) -> DiskError:
    """The error that says what the system refused."""
    return DiskError(Fault(f"{what}: {error.strerror}", file=str(path)))
