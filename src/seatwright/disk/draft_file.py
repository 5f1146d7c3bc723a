"""Drafts on disk: the stems of a folder, and scene files that grow without losing a byte.

A scene that is there already keeps every character; new sections and seats are written behind it.
"""

from __future__ import annotations

import json
import os
from dataclasses import replace
from pathlib import Path

from pydantic import TypeAdapter

from seatwright.disk.folder_listing import ENDINGS
from seatwright.disk.scene_checks import checked
from seatwright.disk.scene_file import ReadScene, read_scene, stem_files
from seatwright.disk.toml_text import decoded, parsed
from seatwright.disk.whole_file import write_whole
from seatwright.errors import Fault, SceneError, StemError
from seatwright.stage.description import StemName

_MOST_STEMS = 1000
_STEM_NAME: TypeAdapter[str] = TypeAdapter(StemName)


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
    if unwritable := [name for name in names if not _is_writable(name)]:
        raise StemError([_unwritable(folder, name) for name in unwritable])
    if not 0 < len(names) <= _MOST_STEMS:
        kinds = ", ".join(ENDINGS)
        what = f"found {len(names)} stems, wanted 1 to {_MOST_STEMS} files ending in {kinds}"
        raise StemError(Fault(what, file=str(folder)))
    return names


def _is_stem(entry: os.DirEntry[str]) -> bool:
    hidden = entry.name.startswith(".")
    if hidden or not entry.name.lower().endswith(ENDINGS):
        return False
    try:
        return entry.is_file()
    except OSError:  # a link that leads round in a circle is no file
        return False


def _is_writable(name: str) -> bool:
    """Whether a scene can hold a name."""
    try:
        name.encode()
        _STEM_NAME.validate_python(name)
    except ValueError:
        return False
    return True


def _unwritable(folder: Path, name: str) -> Fault:
    shown = name.encode("utf-8", "backslashreplace").decode()
    what = f"found the stem {json.dumps(shown, ensure_ascii=False)}, wanted a name in UTF-8 without"
    return Fault(f"{what} line breaks and control characters", file=str(folder), hint="rename it")


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


def write_scene(path: Path, data: bytes) -> None:
    """Write a drafted scene, if it is one; a link keeps leading to the file it led to.

    Raises
    ------
    SceneError
        If the bytes are no scene that can be rendered, such as tables behind a `seats = {...}`
        that is closed already, or seats outside the hall of an older scene.
    DiskError
        If the disk refuses.
    """
    text, faults = decoded(data)
    table, faults = parsed(text) if not faults else ({}, faults)
    faults = faults or checked(table)[1]
    if faults:
        raise SceneError([_not_drafted(path, fault) for fault in faults])
    write_whole(Path(os.path.realpath(path)), data)


def _not_drafted(path: Path, fault: Fault) -> Fault:
    """A fault of a scene that was not written, so that its lines are nowhere to be seen."""
    hint = fault.hint or "nothing was written"
    if fault.what.startswith("found more keys for"):
        hint = "write each as a table of its own, [seats.NAME] or [sections.NAME]"
    return replace(fault, file=str(path), line=0, what=f"with new seats: {fault.what}", hint=hint)
