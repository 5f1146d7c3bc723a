"""Text files that are complete or as they were before."""

from __future__ import annotations

from pathlib import Path

from seatwright.disk.whole_file import write_whole
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
        write_whole(folder / name, text.encode())
    return [folder / name for name in texts]


def refused(path: Path, what: str, error: OSError) -> DiskError:
    """The error that says what the system refused."""
    return DiskError(Fault(f"{what}: {error.strerror}", file=str(path)))
