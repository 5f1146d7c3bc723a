"""A scene with its stems, or every fault of both at once.

A scene that is wrong may still name stems that can be looked at, and a missing stem need not hide
what is wrong with another. Nothing outside the stems folder is opened, as when a scene is read.
"""

from __future__ import annotations

from collections.abc import Iterable
from pathlib import Path

from seatwright.disk.casting import Cast, cast_scene, unequal_pairs
from seatwright.disk.scene_checks import outside_faults, written_names
from seatwright.disk.scene_file import ReadScene, in_order, read_scene, scene_bytes
from seatwright.disk.stem_paths import (
    StemFiles,
    StemNames,
    find_stems,
    is_folder,
    is_inside,
    leaving,
    stem_folder,
    stem_names,
)
from seatwright.disk.stems import Stem, inspect_stem, scan_floats
from seatwright.disk.toml_text import decoded, parsed
from seatwright.errors import Fault, SceneError, StemError


def read_and_cast(
    path: Path, *, allow_outside: bool = False, allow_truncated: bool = False
) -> tuple[ReadScene, Cast]:
    """Read a scene and cast its stems.

    Parameters
    ----------
    path : Path
        Scene file.
    allow_outside, allow_truncated : bool
        As in `read_scene` and `cast_scene`.

    Returns
    -------
    read : ReadScene
    cast : Cast

    Raises
    ------
    SceneError
        With every fault of the scene, and of the stems it names as far as these can be told.
    StemError
        With every fault of every stem, where the scene itself is right.
    """
    try:
        read = read_scene(path, allow_outside=allow_outside)
    except SceneError as error:
        beside = _beside_scene_faults(path, allow_outside, allow_truncated)
        raise SceneError(dict.fromkeys([*error.faults, *beside])) from None
    try:
        return read, cast_scene(read, allow_truncated=allow_truncated)
    except StemError as error:
        names = stem_names({name: seat.stem for name, seat in read.scene.seats.items()})
        files = _openable(names, read.stem_folder, allow_outside)[0]
        faults = _file_faults(files, allow_truncated)
        raise StemError(dict.fromkeys([*error.faults, *faults])) from None


def _beside_scene_faults(path: Path, allow_outside: bool, allow_truncated: bool) -> list[Fault]:
    """What can be told of the stems of a scene that has faults of its own."""
    try:
        text, faults = decoded(scene_bytes(path))
    except SceneError:
        return []
    table, faults = ({}, faults) if faults else parsed(text)
    stems, folder = table.get("stems", "."), path.parent.absolute()
    if faults or not isinstance(stems, str) or "\0" in stems:
        return []
    root = stem_folder(folder, stems)
    refused = [] if allow_outside else outside_faults(table, folder)
    if any(fault.key == "stems" for fault in refused) or not is_folder(root):
        return []
    files, missing = _openable(written_names(table), root, allow_outside)
    return [*in_order(missing, path, text), *_file_faults(files, allow_truncated)]


def _openable(
    names: StemNames, root: Path, allow_outside: bool
) -> tuple[dict[str, tuple[StemFiles, ...]], list[Fault]]:
    """Stems that may be opened, and the faults of those that are not there."""
    if allow_outside:
        return find_stems(names, root)
    inside = {
        seat: tuple((key, name) for key, name in stems if not leaving(name))
        for seat, stems in names.items()
    }
    files, faults = find_stems(inside, root)
    kept = {
        seat: tuple(stem for stem in stems if all(is_inside(path, root) for path in stem.paths))
        for seat, stems in files.items()
    }
    return kept, faults


def _file_faults(files: dict[str, tuple[StemFiles, ...]], allow_truncated: bool) -> list[Fault]:
    """Faults of every file by itself, and of pairs whose files are right by themselves."""
    stems = [stem for each in files.values() for stem in each]
    inspected, faults = _inspected((p for stem in stems for p in stem.paths), allow_truncated)
    whole = {
        seat: tuple(stem for stem in each if all(path in inspected for path in stem.paths))
        for seat, each in files.items()
    }
    return [*faults, *unequal_pairs(whole, inspected)]


def _inspected(
    paths: Iterable[Path], allow_truncated: bool
) -> tuple[dict[Path, Stem], list[Fault]]:
    inspected: dict[Path, Stem] = {}
    faults: list[Fault] = []
    for path in dict.fromkeys(paths):
        try:
            stem, _ = inspect_stem(path, allow_truncated=allow_truncated)
            scan_floats(stem)
            inspected[path] = stem
        except StemError as error:
            faults += error.faults
    return inspected, faults
