"""Scene files: read whole, checked whole, with every fault at its line.

Conventions: paths in a scene are relative to the folder of the scene file; keys are dotted as
TOML writes them; nothing here opens a stem.
"""

from __future__ import annotations

import hashlib
import os
import stat
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from functools import cached_property
from pathlib import Path
from typing import Any

from seatwright.disk.folder_listing import is_folder, nearest_names
from seatwright.disk.scene_checks import (
    checked,
    linked_outside,
    openable_stems,
    outside_faults,
    repeated_stems,
    too_many_stems,
)
from seatwright.disk.stem_paths import (
    StemFiles,
    find_stems,
    stem_folder,
    stem_names,
)
from seatwright.disk.toml_lines import dotted_lines, line_of
from seatwright.disk.toml_text import MOST_BYTES, decoded, parsed
from seatwright.errors import Fault, SceneError, StemError
from seatwright.stage.rules import nearest, scene_doubts
from seatwright.stage.scene import Scene
from seatwright.stage.slips import slips

__all__ = ["ReadScene", "StemFiles", "read_scene", "stem_files"]

_SHOWN_FAULTS = 500
_BINARY = getattr(os, "O_BINARY", 0)


@dataclass(frozen=True)
class ReadScene:
    """A scene and where it came from.

    Parameters
    ----------
    scene : Scene
    path : Path
        The scene file as it was named.
    folder : Path
        Folder of the scene file, absolute.
    stem_folder : Path
        Folder of the stems, absolute, every link followed.
    warnings : tuple of Fault
        What is probably not meant, with file and line.
    content_hash : str
        SHA-256 of the file's bytes in hexadecimal.
    allow_outside : bool
        Whether stems may lie outside `stem_folder`.
    text : str
        The file's text, for `located`.
    """

    scene: Scene
    path: Path
    folder: Path
    stem_folder: Path
    warnings: tuple[Fault, ...]
    content_hash: str
    allow_outside: bool = False
    text: str = field(default="", repr=False, compare=False)

    def seated(self, seating: str | None, other_words: tuple[str, ...] = ()) -> Scene:
        """The scene in one of its seatings; SceneError names those there are.

        It names `other_words` too, which whoever asks takes as well.
        """
        known = tuple(self.scene.seatings)
        if seating is not None and seating not in known:
            named = tuple(dict.fromkeys([*other_words, *known]))
            what = f'found no seating "{seating}", wanted one of: {", ".join(named) or "none"}'
            near = nearest(seating, named)
            hint = near if near.startswith("nearest") else ""
            raise SceneError(Fault(what, file=str(self.path), hint=hint))
        return self.scene.seated(seating)

    def located(self, fault: Fault) -> Fault:
        """A fault with the file and line of its key, or of the nearest key above it."""
        return _located(fault, self.path, self._lines)

    @cached_property
    def _lines(self) -> dict[str, int]:
        return dotted_lines(self.text)


def read_scene(path: Path | str, *, allow_outside: bool = False) -> ReadScene:
    """Read a scene file and check everything that can be told without opening its stems.

    Parameters
    ----------
    path : Path or str
        A TOML file.
    allow_outside : bool
        Accept stems outside their folder and an absolute stem folder.

    Returns
    -------
    ReadScene

    Raises
    ------
    SceneError
        With every fault found, in the order of their lines.
    """
    path = Path(path)
    data = scene_bytes(path)
    text, faults = decoded(data)
    table: dict[str, Any] = {}
    if not faults:
        table, faults = parsed(text)
        faults = faults or list(too_many_stems(table))
    if faults:
        raise SceneError(in_order(faults, path, text))
    folder = path.parent.absolute()
    scene, faults = checked(table)
    if not allow_outside:
        faults += outside_faults(table, folder)
    if faults or scene is None:
        raise SceneError(in_order(faults, path, text))
    root = stem_folder(folder, scene.stems)
    doubts: list[Fault] = [*scene_doubts(scene), *slips(scene), *repeated_stems(scene, root)]
    warnings = in_order(doubts, path, text)
    digest = hashlib.sha256(data).hexdigest()
    return ReadScene(scene, path, folder, root, tuple(warnings), digest, allow_outside, text)


def stem_files(read: ReadScene) -> dict[str, tuple[StemFiles, ...]]:
    """Find the stems of every seat on disk.

    Parameters
    ----------
    read : ReadScene

    Returns
    -------
    dict of str to tuple of StemFiles
        For each seat its stems in the order written; a left and a right file are one stem.

    Raises
    ------
    StemError
        With every missing file, every left without its right and every name that fits more
        than one file.
    """
    files, faults = found_stems(read)
    if faults:
        raise StemError(in_order(faults, read.path, read.text))
    return files


def found_stems(read: ReadScene) -> tuple[dict[str, tuple[StemFiles, ...]], list[Fault]]:
    """The stems of every seat that may be opened, and the faults of all others, with their keys."""
    if not is_folder(read.stem_folder):
        return {}, [_no_stem_folder(read)]
    names = stem_names({name: seat.stem for name, seat in read.scene.seats.items()})
    files, faults = openable_stems(names, read.stem_folder, read.allow_outside)
    if not read.allow_outside:
        faults += linked_outside(find_stems(names, read.stem_folder)[0], read.stem_folder)
    return files, faults


def _no_stem_folder(read: ReadScene) -> Fault:
    return Fault(
        f'found no folder "{read.stem_folder}", wanted the folder of the stems',
        key="stems",
        hint=nearest_names(read.stem_folder),
    )


def scene_bytes(path: Path) -> bytes:
    """Read a regular file of bounded size; a pipe or device is refused before it is opened.

    Raises
    ------
    SceneError
        If there is none, or it cannot be read.
    """
    try:
        if fault := _kind_fault(path, path.stat().st_mode):
            raise SceneError(fault)
        handle = os.open(path, os.O_RDONLY | getattr(os, "O_NONBLOCK", 0) | _BINARY)
        with os.fdopen(handle, "rb") as file:
            if fault := _kind_fault(path, os.fstat(handle).st_mode):
                raise SceneError(fault)
            return file.read(MOST_BYTES + 1)
    except FileNotFoundError:
        hint = nearest_names(path)
        raise SceneError(
            Fault("found no such file, wanted a scene", str(path), hint=hint)
        ) from None
    except (OSError, ValueError) as error:
        reason = getattr(error, "strerror", None) or str(error)
        what = f"found a file that cannot be read ({reason}), wanted a scene"
        raise SceneError(Fault(what, str(path))) from None


def _kind_fault(path: Path, mode: int) -> Fault | None:
    if stat.S_ISREG(mode):
        return None
    if not stat.S_ISDIR(mode):
        return Fault("found a pipe or device, wanted a scene file", str(path))
    scenes = sorted(entry.name for entry in path.glob("*.toml"))
    hint = "in it: " + ", ".join(scenes[:6]) if scenes else ""
    return Fault("found a folder, wanted a scene file", str(path), hint=hint)


def _located(fault: Fault, path: Path, lines: Mapping[str, int]) -> Fault:
    line = fault.line or (line_of(fault.key, lines) if fault.key else 0)
    return Fault(fault.what, str(path), line, fault.key, fault.hint)


def in_order(faults: Iterable[Fault], path: Path, text: str) -> list[Fault]:
    """Faults with file and line, sorted by line; a newer format, which explains others, first."""
    faults = list(faults)
    lines = dotted_lines(text) if any(fault.key and not fault.line for fault in faults) else {}
    found = sorted(
        (_located(fault, path, lines) for fault in faults),
        key=lambda fault: (not fault.hint.startswith("made for a newer"), fault.line),
    )
    if len(found) > _SHOWN_FAULTS:
        more = Fault(f"and {len(found) - _SHOWN_FAULTS} more faults", str(path))
        found = [*found[:_SHOWN_FAULTS], more]
    return found
