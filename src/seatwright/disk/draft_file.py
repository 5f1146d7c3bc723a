"""Drafts on disk: the stems of a folder, and scene files that grow without losing a byte.

A scene that is there already keeps every character; new sections and seats are written behind it.
"""

from __future__ import annotations

import os
from pathlib import Path

from seatwright.disk.scene_file import ReadScene, read_scene, stem_files
from seatwright.disk.stem_paths import ENDINGS
from seatwright.errors import Fault, StemError

_MOST_STEMS = 1000


def folder_stems(folder: Path) -> list[str]:
    """Names of the audio files of a folder, sorted.

    Raises
    ------
    StemError
        If the folder is missing, cannot be listed, or holds no stem or more than 1000.
    """
    try:
        with os.scandir(folder) as entries:
            names = sorted(entry.name for entry in entries if _is_stem(entry))
    except OSError as error:
        what = f"found no folder to list: {error.strerror}, wanted a folder of stems"
        raise StemError(Fault(what, file=str(folder))) from error
    if not 0 < len(names) <= _MOST_STEMS:
        kinds = ", ".join(ENDINGS)
        what = f"found {len(names)} stems, wanted 1 to {_MOST_STEMS} files ending in {kinds}"
        raise StemError(Fault(what, file=str(folder)))
    return names


def _is_stem(entry: os.DirEntry[str]) -> bool:
    hidden = entry.name.startswith(".")
    return not hidden and entry.name.lower().endswith(ENDINGS) and entry.is_file()


def existing_scene(path: Path, folder: Path) -> tuple[ReadScene | None, frozenset[str]]:
    """The scene that is there already, and which stems of the folder it seats.

    Raises
    ------
    SceneError, StemError
        If a file of this name is there but is no scene that can be read, or if its stems lie in
        another folder.
    """
    if not path.exists():
        return None, frozenset()
    read = read_scene(path)
    if read.stem_folder != Path(os.path.realpath(folder)):
        found = f"found a scene whose stems are in {read.stem_folder}, wanted {folder}"
        raise StemError(Fault(found, file=str(path), key="stems"))
    files = stem_files(read)
    seated = {path.name for stems in files.values() for stem in stems for path in stem.paths}
    return read, frozenset(seated)


def relative_stems(scene: Path, folder: Path) -> str:
    """The stems' folder as it is written in a scene: relative to the scene, with slashes."""
    return Path(os.path.relpath(os.path.realpath(folder), scene.absolute().parent)).as_posix()


def grown(read: ReadScene, addition: str) -> bytes:
    """The bytes of a scene with tables behind it, in its own line ends."""
    old = read.path.read_bytes()
    ends = b"\r\n" if b"\r\n" in old else b"\n"
    gap = b"" if old.endswith(b"\n") else ends
    return old + gap + ends + addition.encode().replace(b"\n", ends)
