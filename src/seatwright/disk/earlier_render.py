"""What an earlier render left in a folder, by its report: what is reproducible, and its trim.

A report is read as data from anywhere: nothing in it leads to a path that was not looked up on
the disk.
"""

from __future__ import annotations

import errno
import hashlib
from collections.abc import Iterable
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from seatwright.disk.leftovers import KINDS, files_in
from seatwright.disk.report_file import read_report
from seatwright.disk.text_files import refused

REPORT_NAME = "report.json"
_AUDIO = (".wav", ".flac")
_MOST_TRIM = 1000.0
"""dB; no render needs as much, and what is not finite is no trim."""

_NOTHING_THERE = (errno.ENOENT, errno.ENOTDIR, errno.ELOOP)


@dataclass(frozen=True)
class OldOutput:
    """An output of an earlier render.

    Parameters
    ----------
    file : str
        Path within the folder.
    sha256 : str
        Of the file, as it was written and as it is.
    state : tuple of int
        Device, number, size and time when it was looked at.
    """

    file: str
    sha256: str
    state: tuple[int, ...]


@dataclass(frozen=True)
class Superseded:
    """Audio files in a folder that the next render will not write.

    Parameters
    ----------
    ours : tuple of OldOutput
        Listed by the earlier report and not changed since.
    foreign : tuple of str
        All others.
    """

    ours: tuple[OldOutput, ...] = ()
    foreign: tuple[str, ...] = ()


@dataclass(frozen=True)
class WholeRender:
    """An earlier render of a whole scene, and the trim in dB it had."""

    folder: Path
    trim_db: float


def superseded(folder: Path, written: Iterable[str], inputs: Iterable[Path]) -> Superseded:
    """What stands where outputs stand and is none of the next render's.

    Parameters
    ----------
    folder : Path
    written : iterable of str
        Outputs of the next render, within the folder.
    inputs : iterable of Path
        Which are left out.

    Raises
    ------
    DiskError
        If the report, a folder of outputs or a listed output cannot be read: nobody could say
        what is whose.
    """
    try:
        return _superseded(folder, written, inputs)
    except OSError as error:
        path = Path(error.filename or folder)
        raise refused(path, "of an earlier render, cannot be read", error) from error


def _superseded(folder: Path, written: Iterable[str], inputs: Iterable[Path]) -> Superseded:
    kept = {
        state[:2] for path in (*(folder / f for f in written), *inputs) if (state := _state(path))
    }
    listed = _listed(_report(folder))
    ours, foreign = [], []
    for path in _audio_in(folder):
        state = _state(path)
        if not state or state[:2] in kept:
            continue
        file = path.relative_to(folder).as_posix()
        if file in listed and not path.is_symlink() and _hash(path) == listed[file]:
            ours.append(OldOutput(file, listed[file], state))
        else:
            foreign.append(file)
    return Superseded(tuple(ours), tuple(foreign))


def is_still(folder: Path, old: OldOutput) -> bool:
    """Whether an output is still what it was: neither gone nor another one in its place."""
    return _state(folder / old.file) == old.state


def whole_render(folders: Iterable[Path], scene: str, scene_sha256: str) -> WholeRender | None:
    """The first of some folders that holds a render of the whole scene as written."""
    for folder in folders:
        report: dict[str, Any] = {}
        with suppress(OSError):  # a hint only
            report = _report(folder)
        same = report.get("scene") == scene or report.get("scene_sha256") == scene_sha256
        trim: Any = report.get("trim_db")
        whole = report.get("part") == report.get("seating") == ""
        if same and whole and _is_trim(trim):
            return WholeRender(folder, float(trim))
    return None


def listed_outputs(folder: Path) -> dict[str, dict[str, Any]]:
    """Rows of the outputs that a report in a folder lists, by their files."""
    rows = _report(folder).get("outputs")
    found = [row for row in rows if isinstance(row, dict)] if isinstance(rows, list) else []
    return {row["file"]: row for row in found if isinstance(row.get("file"), str)}


def _is_trim(value: Any) -> bool:
    number = isinstance(value, int | float) and not isinstance(value, bool)
    return number and -_MOST_TRIM < value < _MOST_TRIM


def _report(folder: Path) -> dict[str, Any]:
    """The report in a folder; empty where there is none to make sense of; OSError if unreadable."""
    found = read_report(folder)
    return found if found.get("report_format") == 1 else {}


def _listed(report: dict[str, Any]) -> dict[str, str]:
    """Hash of every file a report lists, those too that its render was to remove."""
    listed = {}
    for rows in (report.get("removed"), report.get("outputs")):
        for row in rows if isinstance(rows, list) else ():
            if isinstance(row, dict) and isinstance(row.get("file"), str):
                listed[row["file"]] = str(row.get("sha256"))
    return listed


def _audio_in(folder: Path) -> list[Path]:
    """Audio files where outputs stand."""
    mixes = [path for path in files_in(folder) if path.stem == "mix"]
    parts = [path for kind in KINDS for path in files_in(folder / kind)]
    return [p for p in mixes + parts if p.suffix in _AUDIO and not p.name.startswith(".")]


def _state(path: Path) -> tuple[int, ...]:
    """What changes when a file is written or replaced; empty where there is none."""
    try:
        status = path.stat()
    except OSError as error:
        if error.errno in _NOTHING_THERE:
            return ()
        raise
    return status.st_dev, status.st_ino, status.st_size, status.st_mtime_ns


def _hash(path: Path) -> str:
    with path.open("rb") as file:
        return hashlib.file_digest(file, "sha256").hexdigest()
